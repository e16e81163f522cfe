"""A whole job judged: every stage's findings, waivers laid over them, hold points above."""

# `Any` here: what is remembered of a judgement, whatever it is.
from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any, TypeVar, cast

from startkit.facts import kept_files
from startkit.facts.baseline import NO_BASELINE, Baseline
from startkit.facts.job import RELEASES, Job, State
from startkit.facts.journal import Entry
from startkit.facts.last_visit import NONE as NO_VISIT
from startkit.facts.last_visit import LastVisit
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.facts.trend.trend import Trend
from startkit.procedure import chronology, memory, registry, releases, site
from startkit.procedure.as_taken import as_taken
from startkit.procedure.early_entries import Mark, marks
from startkit.procedure.entries import Entries, JobEntries
from startkit.procedure.holds import HOLDS, HoldPoint, HoldState, needs
from startkit.procedure.judging import filled
from startkit.procedure.releases import Basis, Release
from startkit.procedure.stage import Findings, Stage
from startkit.procedure.waivers import NOT_APPLICABLE, WAIVER, Waivers, by_name, reasons
from startkit.units import SI
from startkit.verdict import Outcome, Verdict, worst


@dataclass(frozen=True)
class Assessment:
    """One job at one moment: pure function of machine, limits, stages and entries."""

    machine: Machine
    limits: Limits
    stages: Mapping[str, Stage]
    state: State
    system: str = SI
    baseline: Baseline = NO_BASELINE
    trends: Mapping[str, Trend] = field(default_factory=dict, compare=False)
    # What of the job's files is not as recorded; asked only where it is shown.
    changes: Callable[[], tuple[str, ...]] = field(default=tuple, compare=False)
    last_visit: LastVisit = NO_VISIT
    shown: bool = True  # False: nothing but verdicts is asked for

    @cached_property
    def entries(self) -> JobEntries:
        """Every stage's entries at this moment."""
        return JobEntries(
            stages=self.stages,
            state_held=self.state,
            machine=self.machine,
            limits=self.limits,
            system=self.system,
            baseline_held=self.baseline,
            trends_held=self.trends,
            last_visit=self.last_visit,
        )

    def stage_entries(self, name: str) -> Entries:
        return self.entries.stage(name)

    @property
    def any_entries(self) -> Entries:
        """Entries of some stage, for what is shown in the job's units and belongs to none."""
        return self.stage_entries(next(iter(self.stages)))

    def findings(self, name: str) -> Findings:
        """The findings of one stage, its verdicts with waivers laid over them; judged once."""
        if name not in self._judged:
            self._judged[name] = self._judge(name)
        return self._judged[name]

    @cached_property
    def _judged(self) -> dict[str, Findings]:
        return {}

    def _judge(self, name: str) -> Findings:
        findings = self.entries.findings(name, self.shown)
        taken = self._taken(name)
        paused = chronology.paused(self.state) if name == site.PREFIX else ()
        besides = (*((taken,) if taken else ()), *paused)
        verdicts = (self._filled(name), *besides, *findings.verdicts)
        return replace(findings, verdicts=tuple(map(self.exempted.laid_over, verdicts)))

    @cached_property
    def exempted(self) -> Waivers:
        """The reasons given on this job, with the rules by which they count."""
        latest = self.entries.latest
        return Waivers(
            self.limits.exemptions,
            self.roles,
            reasons(latest, WAIVER),
            reasons(latest, NOT_APPLICABLE),
        )

    @property
    def roles(self) -> Mapping[str, str] | None:
        """Name -> code of the role of everyone on the job; None: it keeps no list of people."""
        return by_name(self.entries.people) if site.PREFIX in self.stages else None

    @property
    def waivers(self) -> Mapping[str, tuple[str, str]]:
        """Verdict key -> who waives it and why, whether or not it counts."""
        return self.exempted.waived

    @property
    def not_applicable(self) -> Mapping[str, tuple[str, str]]:
        """Verdict key -> who calls it not applicable and why, whether or not it counts."""
        return self.exempted.not_applicable

    def verdicts(self) -> tuple[tuple[Stage, Verdict], ...]:
        """Every verdict of the job with its stage, in working order."""
        return tuple(
            (stage, v) for name, stage in self.stages.items() for v in self.findings(name).verdicts
        )

    def hold(self, name: str) -> HoldState:
        """One hold point with the verdicts that it needs."""
        hold = next(h for h in HOLDS if h.name == name)
        return HoldState(
            hold, tuple(v for stage, v in self.verdicts() if needs(hold, v.gate or stage.before))
        )

    def holds(self) -> tuple[HoldState, ...]:
        return tuple(self.hold(h.name) for h in HOLDS if self._has_stages_before(h))

    def _has_stages_before(self, hold: HoldPoint) -> bool:
        """A hold point that follows no stage of this job is empty."""
        return any(stage.before == hold.name for stage in self.stages.values())

    # --- hold points released ---------------------------------------------------------------------

    @property
    def by_release(self) -> bool:
        """Whether hold points of this job are released by name; older jobs go by clear alone."""
        return RELEASES in self.state.latest

    def release(self, name: str) -> Release | None:
        """A hold point's release as it is now; None if nobody has released it, or it was
        withdrawn.
        """
        if name not in self._released:
            given = self._given(name)
            counts = given is not None and given.counts
            self._released[name] = (
                releases.as_it_is(
                    given, self._basis_before(given.entry, name), self.hold(name), self.state.latest
                )
                if given is not None and counts
                else given
            )
        return self._released[name]

    @cached_property
    def _released(self) -> dict[str, Release | None]:
        return {}

    def is_passed(self, name: str) -> bool:
        """Whether work beyond a hold point may go on: it is clear and, unless the job is older than
        releases, released.
        """
        given = self.release(name) if self.by_release else None
        return self.hold(name).is_clear and (
            not self.by_release or (given is not None and given.counts)
        )

    def _given(self, name: str) -> Release | None:
        """A hold point's release as it was when it was given."""
        latest = self.state.latest
        entry = latest.get(f"{releases.RELEASE}{name}")
        if entry is None or not entry.value:
            return None
        hold = next(h for h in HOLDS if h.name == name)
        witness = releases.witness_of(entry, latest)
        seen_by = witness.who if witness is not None else ""
        why = _once(
            (entry.digest, f"barred {seen_by}") if entry.digest else None,
            self._judged_by,
            lambda: self._before(entry).release_barred(hold, entry.who, seen_by),
        )
        return Release(hold, entry, witness, releases.VOID if why else releases.GIVEN, why)

    def release_barred(self, hold: HoldPoint, who: str, witness: str = "") -> str:
        """Why these persons may not release a hold point now; empty if nothing is against it."""
        if not self._is_clear(hold, self._stages_before[hold.name]):
            return "it is not clear"
        for other in self.holds():
            if other.hold.name == hold.name:
                break
            given = self._given(other.hold.name)
            if given is None or not given.counts:
                return f"the hold point before it was not released: {other.hold.clear.lower()}"
        return releases.objection(self.limits.releases, self.roles, hold, who, witness)

    def basis(self, name: str) -> Basis:
        """What a release of a hold point would rest on now."""
        return releases.basis(self.hold(name), self.state.latest)

    def _before(self, entry: Entry) -> Assessment:
        """The job as it was before an entry was made."""
        upto = tuple(e for e in self.state.entries if e.seq < entry.seq)
        return replace(self, state=State(upto), shown=False)

    def _basis_before(self, entry: Entry, name: str) -> Basis:
        return _once(
            (entry.digest, "basis") if entry.digest else None,
            self._judged_by,
            lambda: self._before(entry).basis(name),
        )

    def outcome(self, name: str) -> Outcome:
        """What a whole stage is worth."""
        return worst([v.outcome for v in self.findings(name).verdicts])

    def started(self, name: str) -> bool:
        """True once anything of the stage was entered."""
        return any(what.startswith(f"{name}.") for what in self.entries.latest)

    # --- the order of stages, softly enforced -----------------------------------------------------

    @cached_property
    def early(self) -> Mapping[int, Mark]:
        """Number of each entry made before its hold point was passed, with that hold point."""
        return marks(
            self.stages, self.state, self._stages_before, self._was_passed, self.by_release
        )

    @cached_property
    def _stages_before(self) -> dict[str, frozenset[str]]:
        """For each hold point the stages with a verdict that it needs."""
        everything = self.verdicts()
        return {
            hold.name: frozenset(
                stage.name for stage, v in everything if needs(hold, v.gate or stage.before)
            )
            for hold in HOLDS
        }

    def _was_passed(self, hold: HoldPoint, seq: int) -> bool:
        """Whether work beyond a hold point might go on once entry number `seq` was written."""
        upto = tuple(entry for entry in self.state.entries if entry.seq <= seq)
        by_release = self.by_release
        known = not upto or bool(upto[-1].digest)
        return _once(
            (upto[-1].digest if upto else "", f"passed {hold.name} {by_release}")
            if known
            else None,
            self._judged_by,
            lambda: self._at(upto)._is_passed(  # noqa: SLF001 - its own class
                hold, self._stages_before[hold.name], by_release
            ),
        )

    def _at(self, upto: tuple[Entry, ...]) -> Assessment:
        # What is compared with an earlier record is due at the very end: it would only make the
        # look back slow.
        return replace(self, state=State(upto), baseline=NO_BASELINE, shown=False)

    def _is_passed(self, hold: HoldPoint, names: Iterable[str], by_release: bool) -> bool:
        if not self._is_clear(hold, names):
            return False
        given = self._given(hold.name) if by_release else None
        return not by_release or (given is not None and given.counts)

    def _is_clear(self, hold: HoldPoint, names: Iterable[str]) -> bool:
        """Whether nothing is in the way; most often a stage is not complete, which is seen without
        judging it.
        """
        due = [name for name in self.stages if name in names]
        if any(
            needs(hold, self.stages[name].before) and not self._complete(name).settled
            for name in due
        ):
            return False
        return bool(due) and all(v.settled for name in due for v in self._due(name, hold))

    def _due(self, name: str, hold: HoldPoint) -> Iterable[Verdict]:
        """The verdicts of a stage that a hold point needs."""
        stage = self.stages[name]
        if hold.name in stage.gated and not needs(hold, stage.before):
            with suppress(Exception):  # a stage that cannot be judged says so in its findings
                return self._gated(stage, hold)
        return (v for v in self.findings(name).verdicts if needs(hold, v.gate or stage.before))

    def _gated(self, stage: Stage, hold: HoldPoint) -> tuple[Verdict, ...]:
        entries = self.entries.stage(stage.name).unshown()
        made = self.entries.remembered(
            stage.name,
            f"{memory.VERDICTS} {hold.name}",
            lambda: stage.gated[hold.name](self.machine, self.limits, entries),
        )
        return tuple(map(self.exempted.laid_over, made))

    def _complete(self, name: str) -> Verdict:
        return self.exempted.laid_over(self._filled(name))

    def _filled(self, name: str) -> Verdict:
        return self.entries.remembered(
            name, memory.FILLED, lambda: self._filled_anew(self.entries.stage(name))
        )

    def _taken(self, name: str) -> Verdict | None:
        return self.entries.remembered(
            name, memory.TAKEN, lambda: as_taken(self.stage_entries(name))
        )

    @staticmethod
    def _filled_anew(entries: Entries) -> Verdict:
        return filled(entries, chronology.faults(entries))

    @property
    def _judged_by(self) -> _Same:
        return _Same((self.machine, self.limits, self.stages))


def of_job(
    job: Job, stages: Mapping[str, Stage] | None = None, state: State | None = None
) -> Assessment:
    """A job judged as its folder holds it.

    Parameters
    ----------
    job : Job
    stages : mapping, optional
        Those of the job, where they were looked up before.
    state : State, optional
        Entries to judge instead of those in the journal.
    """
    return Assessment(
        machine=job.machine,
        limits=job.limits,
        stages=registry.for_job(job) if stages is None else stages,
        state=job.state() if state is None else state,
        system=job.system,
        baseline=job.baseline,
        trends=job.trends,
        changes=partial(kept_files.changes, job),
        last_visit=job.last_visit,
    )


@dataclass(frozen=True, eq=False)
class _Same:
    """Equal only to one that holds the very same things: neither sheets nor limits can be compared
    quickly.
    """

    things: tuple[object, ...]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and all(
            a is b for a, b in zip(self.things, other.things, strict=True)
        )

    __hash__ = None  # type: ignore[assignment]  # how Python marks what cannot be hashed


# The past does not change: what a hold point was at an entry is calculated once, though the job is
# judged anew at every keystroke. An entry's digest covers all entries before it.
_REMEMBERED: dict[tuple[str, str], tuple[_Same, Any]] = {}
_MOST_REMEMBERED = 2000
T = TypeVar("T")


def _once(key: tuple[str, str] | None, judged_by: _Same, make: Callable[[], T]) -> T:
    """What `make` finds of the past; worked out once where a key represents it."""
    # One look: another thread may empty it at any time.
    remembered = _REMEMBERED.get(key) if key is not None else None
    if remembered is not None and remembered[0] == judged_by:
        return cast("T", remembered[1])
    made = make()
    if key is not None:
        if len(_REMEMBERED) >= _MOST_REMEMBERED:
            _REMEMBERED.clear()
        _REMEMBERED[key] = (judged_by, made)
    return made

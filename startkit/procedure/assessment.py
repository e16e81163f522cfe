"""A whole job judged: every stage's findings, waivers laid over them, hold points above."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

from startkit.facts import kept_files
from startkit.facts.baseline import NO_BASELINE, Baseline
from startkit.facts.job import Job, State
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.facts.trend.trend import Trend
from startkit.procedure import memory, registry, site
from startkit.procedure.as_taken import as_taken
from startkit.procedure.early_entries import marks
from startkit.procedure.entries import Entries, JobEntries
from startkit.procedure.holds import HOLDS, HoldPoint, HoldState, needs
from startkit.procedure.judging import filled
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
        verdicts = (self._filled(name), *((taken,) if taken else ()), *findings.verdicts)
        return replace(findings, verdicts=tuple(map(self.exempted.laid_over, verdicts)))

    @cached_property
    def exempted(self) -> Waivers:
        """The reasons given on this job, with the rules by which they count."""
        latest, people = self.entries.latest, by_name(self.entries.people)
        return Waivers(
            self.limits.exemptions,
            people if site.PREFIX in self.stages else None,
            reasons(latest, WAIVER),
            reasons(latest, NOT_APPLICABLE),
        )

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
        """A hold point that no stage of this job stands before says nothing."""
        return any(stage.before == hold.name for stage in self.stages.values())

    def outcome(self, name: str) -> Outcome:
        """What a whole stage is worth."""
        return worst([v.outcome for v in self.findings(name).verdicts])

    def started(self, name: str) -> bool:
        """True once anything of the stage was entered."""
        return any(what.startswith(f"{name}.") for what in self.entries.latest)

    # --- the order of stages, softly enforced -----------------------------------------------------

    @cached_property
    def early(self) -> Mapping[int, HoldPoint]:
        """Number of each entry made before its hold point was clear, with that hold point."""
        return marks(self.stages, self.state, self._stages_before, self._was_clear)

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

    def _was_clear(self, hold: HoldPoint, seq: int) -> bool:
        """Whether a hold point was clear once entry number `seq` was written."""
        upto = tuple(entry for entry in self.state.entries if entry.seq <= seq)
        known = not upto or bool(upto[-1].digest)
        key = (upto[-1].digest if upto else "", hold.name) if known else None
        # One look: another thread may empty it at any time.
        remembered = _REMEMBERED.get(key) if key is not None else None
        if remembered is not None and remembered[0] == self._judged_by:
            return remembered[1]
        # What is compared with an earlier record is due at the very end: it would only make the
        # look back slow.
        then = replace(self, state=State(upto), baseline=NO_BASELINE, shown=False)
        clear = then._is_clear(hold, self._stages_before[hold.name])  # noqa: SLF001 - its own class
        if key is not None:
            _remember(key, (self._judged_by, clear))
        return clear

    def _is_clear(self, hold: HoldPoint, names: Iterable[str]) -> bool:
        """Whether nothing stands in the way; most often a stage is not complete, which is seen
        without judging it.
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
            name, memory.FILLED, lambda: filled(self.entries.stage(name))
        )

    def _taken(self, name: str) -> Verdict | None:
        return self.entries.remembered(
            name, memory.TAKEN, lambda: as_taken(self.stage_entries(name))
        )

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


# The past does not change: what a hold point was at an entry is worked out once, though the job is
# judged anew at every keystroke.
# An entry's digest stands for all entries before it.
_REMEMBERED: dict[tuple[str, str], tuple[_Same, bool]] = {}
_MOST_REMEMBERED = 2000


def _remember(key: tuple[str, str], value: tuple[_Same, bool]) -> None:
    if len(_REMEMBERED) >= _MOST_REMEMBERED:
        _REMEMBERED.clear()
    _REMEMBERED[key] = value

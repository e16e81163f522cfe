"""The book: one open job, its stages, and everything of it that is on the screen."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

import threading
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Protocol

from startkit.desk import cards, fieldset, plots, releasing
from startkit.desk.cards import CellOutput
from startkit.desk.uploads import Uploads
from startkit.errors import JobError, StartkitError
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.procedure import payload
from startkit.procedure.assessment import Assessment, of_job
from startkit.procedure.early_entries import Mark, due_after
from startkit.procedure.holds import NAMES
from startkit.procedure.stage import Stage

MODES = FORM, RECORD = ("form", "record")
PAUSE = 0.15  # s after the last change before the cards that show the whole job are redrawn
VIEWS_KEPT = 3  # views kept for one part: a cell that is run again leaves its old view behind


class View(Protocol):
    """What the book asks of a live view."""

    def renew(self, everything: bool = False) -> None:
        """Send what has changed, or everything."""

    def close(self) -> None:
        """Take it off the screen."""


@dataclass(frozen=True)
class _Overall:
    """What depends on the whole job: which entries were made early, and in which stages the next
    would be.
    """

    seq: int = 0
    early: Mapping[int, Mark] = field(default_factory=dict)
    warnings: Mapping[str, str] = field(default_factory=dict)


def _warning(assessment: Assessment, stage: Stage) -> str:
    hold = due_after(stage, None)
    if hold is None or not assessment.hold(hold.name).needed or assessment.is_passed(hold.name):
        return ""
    said = (
        f"{hold.clear}, but not released"
        if assessment.hold(hold.name).is_clear
        else (hold.not_clear)
    )
    return f"{said}: what you enter here now is kept and marked as early."


class Book:
    """One open job on the desk.

    Callbacks of forms may run in another thread: `lock` is held round every change.
    """

    def __init__(
        self,
        job: Job,
        mode: str,
        stages: Mapping[str, Stage],
        live: Callable[[Book, str, str], View] | None = None,
    ) -> None:
        self.job, self.mode, self.stages, self._live = job, mode, stages, live
        self.lock = threading.RLock()
        self._cached: tuple[int, Assessment] | None = None
        self._views: dict[str, list[View]] = {}
        self._overall = _Overall()
        self._worker: threading.Thread | None = None
        self._changed = threading.Event()
        self.uploads = Uploads()
        latest = job.state().latest
        self.who = latest["job.who"].value if "job.who" in latest else ""
        self.instruments = {
            w.removeprefix("job.instrument."): e.value
            for w, e in latest.items()
            if w.startswith("job.instrument.")
        }

    # --- the cells --------------------------------------------------------------------------

    def front(self) -> CellOutput:
        """The state of the job: machine, what to do next, hold points, stages."""
        return self._shown("front", "")

    def stage(self, name: str) -> CellOutput:
        """One stage: its form in form mode, and what was found."""
        return self._shown("stage", name)

    def hold(self, name: str) -> CellOutput:
        """One hold point and the items in its way."""
        return self._shown("hold", name)

    def handover(self) -> CellOutput:
        """Open items, corrections and statements."""
        return self._shown("handover", "")

    def frame(self, what: str = "journal") -> Any:
        """A part of the job as a pandas frame: ``"journal"``, ``"figures"``, ``"load_up.points"``,
        ``"vanes.trace"``, ``"trend.name"``.
        """
        from startkit.desk.frames import frame

        return frame(self.assessment(), what)

    def refresh(self) -> None:
        """Read what others have entered since and redraw the screen."""
        self.assessment()
        self._renew(everything=True)

    def _shown(self, part: str, name: str) -> CellOutput:
        drawn = self.part(part, name)
        if self.mode == RECORD:
            return CellOutput(drawn)
        return CellOutput(
            drawn, datetime.now().strftime("%Y-%m-%d %H:%M:%S"), self._view(part, name, drawn)
        )

    def _view(self, part: str, name: str, drawn: dict[str, Any]) -> View | None:
        if self._live is None or (part == "stage" and name not in self.stages):
            return None
        view = self._live(self, part, name)
        kept = self._views.setdefault(f"{part} {name}", [])
        kept.append(view)
        while len(kept) > VIEWS_KEPT:
            kept.pop(0).close()
        return view

    # --- parts ------------------------------------------------------------------------------

    def assessment(self) -> Assessment:
        """The job judged as of its newest entry; made once for each."""
        with self.lock:
            state = self.job.state()
            newest = state.entries[-1].seq if state.entries else 0
            if self._cached is None or self._cached[0] != newest:
                self._cached = (newest, of_job(self.job, self.stages, state))
            return self._cached[1]

    @property
    def newest(self) -> int:
        """Number of the newest entry that is judged."""
        return self._cached[0] if self._cached is not None else 0

    def overall(self, fresh: bool = True) -> _Overall:
        """What depends on every stage; judging them all takes long, so a hurried card uses it as it
        was a moment ago.
        """
        assessment = self.assessment()
        if fresh and self._overall.seq != self.newest:
            self._overall = _Overall(
                self.newest,
                assessment.early,
                {name: _warning(assessment, stage) for name, stage in self.stages.items()},
            )
        return self._overall

    def part(
        self, part: str, name: str = "", with_plots: bool = True, haste: bool = False
    ) -> dict[str, Any]:
        """A part as data; where it cannot be made, a part that gives the reason in one sentence."""
        try:
            return self._drawn(part, name, with_plots, haste)
        except StartkitError as error:
            return {"part": "error", "sentence": str(error)}
        except Exception as error:  # a stage may come from another package and fail in any way
            where = " ".join(word for word in (part, name) if word)
            sentence = (
                f"{where}: this cannot be calculated ({type(error).__name__}: {error}); your"
                " entries are safe in the job's journal."
            )
            return {"part": "error", "sentence": sentence, "detail": traceback.format_exc(limit=-4)}

    def _drawn(self, part: str, name: str, with_plots: bool, haste: bool) -> dict[str, Any]:
        assessment = self.assessment()
        if part == "stage":
            self._known(name, self.stages, "stage")
            found = payload.stage_part(assessment, name, self.overall(fresh=not haste).early)
            return {**found, "plots": self.plots(name)} if with_plots else found
        if part == "hold":
            self._known(name, NAMES, "hold point")
            return payload.hold_part(assessment, name)
        if part == "front" and self.mode == RECORD:
            self._plots_ahead()
        return (
            payload.front_part(assessment) if part == "front" else payload.handover_part(assessment)
        )

    def _known(self, name: str, names: Any, what: str) -> None:
        if name not in names:
            raise JobError(
                f"there is no {what} {name!r}", "notebook", f"use one of {', '.join(names)}"
            )

    def plots(self, name: str) -> list[dict[str, str]]:
        """The drawn plots of a stage."""
        assessment = self.assessment()
        return plots.drawn(
            assessment.findings(name).plots,
            assessment.system,
            assessment.entries.barometer.quantity,
        )

    def _plots_ahead(self) -> None:
        """Every stage judged, and its plots named while the next is: all of them are due further
        down.
        """
        assessment = self.assessment()
        for name in self.stages:
            plots.request(
                assessment.findings(name).plots,
                assessment.system,
                assessment.entries.barometer.quantity,
            )

    def card(self, part: str, name: str, haste: bool = False) -> dict[str, str]:
        """The replaceable pieces of a part's HTML, without plots."""
        drawn = self.part(part, name, with_plots=False, haste=haste)
        warning = self.overall(fresh=not haste).warnings.get(name, "") if part == "stage" else ""
        if part == "hold" and self.mode == FORM and "hold" in drawn:
            drawn["ask"] = releasing.asked(self.assessment(), name, self.who)
        pieces = cards.slots({**drawn, "warning": warning}, can_waive=part == "stage")
        return {slot: str(piece) for slot, piece in pieces.items() if slot != "plots"}

    # --- forms ------------------------------------------------------------------------------

    def form(self, stage: str) -> dict[str, Any]:
        """A stage's form: fields with their states, who enters, with which instruments."""
        assessment = self.assessment()
        first = assessment.state.entries[0].digest if assessment.state.entries else ""
        declared = self.stages[stage]
        return {
            "job": first[:16],
            "stage": stage,
            "title": declared.title,
            "groups": fieldset.described(assessment, stage),
            "desk": self.desk(stage),
        }

    def desk(self, stage: str) -> dict[str, Any]:
        """Who enters, which instruments, which units: the head of every form."""
        assessment = self.assessment()
        return {
            "who": self.who,
            "people": fieldset.people(assessment),
            "units": assessment.system,
            "instruments": (
                fieldset.instruments(assessment, stage, self.instruments) if stage else []
            ),
        }

    def set_desk(self, who: str, instruments: Mapping[str, str], entries: list[Entry]) -> None:
        """Keep who enters and with what, as default for the next time the job is opened."""
        with self.lock:
            self.job.record(entries)
            self.who = who
            self.instruments |= instruments

    # --- redrawing the screen -----------------------------------------------------

    def views(self) -> list[View]:
        """Every live view on the screen."""
        with self.lock:
            return [view for views in self._views.values() for view in views]

    def changed(self) -> None:
        """Redraw the other cards soon: after a pause, so that quick typing is not held up."""
        with self.lock:
            self._changed.set()
            if self._worker is None or not self._worker.is_alive():
                self._worker = threading.Thread(
                    target=self._renew_when_quiet, name="startkit desk", daemon=True
                )
                self._worker.start()

    def _renew_when_quiet(self) -> None:
        while True:
            self._changed.clear()
            if self._changed.wait(PAUSE):
                continue
            self._renew()
            with self.lock:
                if not self._changed.is_set():
                    self._worker = None
                    return

    def _renew(self, everything: bool = False) -> None:
        for view in self.views():
            view.renew(everything)

    def settle(self, timeout: float = 30.0) -> bool:
        """Wait until every card is redrawn; True if that was in time."""
        worker = self._worker
        if worker is not None:
            worker.join(timeout)
        return worker is None or not worker.is_alive()

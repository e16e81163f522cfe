"""A job opened for the notebook, or the reason why it is not open, in every cell."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from startkit.desk.book import FORM, MODES, RECORD, Book
from startkit.desk.cards import CellOutput
from startkit.errors import JobError, StartkitError
from startkit.facts.job import Job
from startkit.procedure import registry
from startkit.procedure.stage import Stage


def open_book(
    job: str | Path, mode: str, stages: Mapping[str, Stage] | None = None
) -> Book | ClosedBook:
    """Open a job for the notebook.

    Parameters
    ----------
    job : str or pathlib.Path
        Folder of the job.
    mode : str
        ``"form"`` to enter readings, ``"record"`` to read only.
    stages : mapping, optional
        Stages by name; default: those that the job's machine has, with the check lists of its
        folder.

    Returns
    -------
    Book, or a ClosedBook that shows in every cell why the job is not open.
    """
    try:
        if mode not in MODES:
            raise JobError(
                (f"mode {mode!r} is not known"), "first cell", f"use {FORM!r} or {RECORD!r}"
            )
        opened = Job(Path(job), read_only=mode == RECORD)
        known = registry.for_job(opened) if stages is None else stages
        return _live(opened, known) if mode == FORM else Book(opened, mode, known)
    except StartkitError as error:
        closed = ClosedBook(str(error))
        _display(closed.front())
        return closed


def _live(job: Job, stages: Mapping[str, Stage]) -> Book:
    from startkit.desk.forms import LiveView  # a record needs no widgets

    return Book(job, FORM, stages, LiveView)


def _display(shown: CellOutput) -> None:
    from IPython.display import display

    display(shown)


class ClosedBook:
    """A job that could not be opened: every part shows the same calm sentence."""

    def __init__(self, sentence: str) -> None:
        self._part = {"part": "error", "sentence": sentence}

    def front(self) -> CellOutput:
        return CellOutput(self._part)

    def stage(self, name: str) -> CellOutput:
        return CellOutput(self._part)

    def hold(self, name: str) -> CellOutput:
        return CellOutput(self._part)

    def handover(self) -> CellOutput:
        return CellOutput(self._part)

    def refresh(self) -> None:
        """Nothing to read again."""

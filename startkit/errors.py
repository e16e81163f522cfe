"""Errors that a technician can act on: what is wrong, where, and what to do."""

from __future__ import annotations

import re

# Signs that move a cursor, change colours, end a line, or turn the direction of writing round.
_UNSEEN = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
LONGEST = 1200  # characters of one part of a sentence: what was typed may be a whole file


def shown(text: str) -> str:
    """A text for a terminal: signs that would act there are shown as their code; line ends stay."""
    return _UNSEEN.sub(
        lambda found: (
            " " if found.group() == "\t" else found.group().encode("unicode_escape").decode()
        ),
        text,
    )


def _part(text: str) -> str:
    line = " ".join(shown(text[: LONGEST + 1]).splitlines())
    return line if len(line) <= LONGEST else f"{line[:LONGEST]}…"


class StartkitError(Exception):
    """One sentence: what is wrong, where, and the remedy.

    Parameters
    ----------
    what : str
        What is wrong, without a full stop.
    where : str
        File and line, field, cell or command; empty if it is plain from `what`.
    remedy : str
        What to do next, without a full stop.
    """

    def __init__(self, what: str, where: str = "", remedy: str = "") -> None:
        self.what, self.where, self.remedy = what, where, remedy
        super().__init__(what, where, remedy)

    @property
    def lines(self) -> list[str]:
        """What a terminal prints, one line after another."""
        return [str(self)]

    def __str__(self) -> str:
        what, where, remedy = map(_part, (self.what, self.where, self.remedy))
        head = f"{where}: {what}" if where else what
        return f"{head}; {remedy}." if remedy else f"{head}."


class UnitError(StartkitError):
    """A number without its unit, or with one of another dimension."""


class ReadingError(StartkitError):
    """A typed value that cannot be read as what its field asks for."""


class SheetError(StartkitError):
    """A machine sheet, limits file or check list that cannot be used."""


class JournalError(StartkitError):
    """The job's journal cannot be read or written, or was altered."""


class JobError(StartkitError):
    """The job folder is not what the command needs."""


class ScienceError(StartkitError):
    """A formula was asked for a result outside its valid range."""


class PaperError(StartkitError):
    """The notebook could not be run or the record could not be written."""

"""From a filled entry sheet into the journal: changed cells become entries, refused ones are named,
all or nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from startkit.desk.entry_sheet.cells import shown
from startkit.desk.entry_sheet.reader import Sheet, Typed, read
from startkit.errors import ReadingError, StartkitError
from startkit.facts import taken
from startkit.facts.job import ROW_REMOVED, Job, State, needs_reason
from startkit.facts.journal import Entry, now
from startkit.procedure.assessment import of_job
from startkit.procedure.entries import JobEntries
from startkit.procedure.reading import Reading
from startkit.procedure.registry import for_job
from startkit.procedure.site import PREFIX
from startkit.procedure.stage import SERIES, Field, Stage
from startkit.procedure.tags import stranger
from startkit.units import KINDS, split, unit_for

Made = tuple[Typed, Entry]


class CellsRefused(ReadingError):
    """Cells of an entry sheet that cannot be taken: every one with its address, the reason and the
    remedy.
    """

    def __init__(self, refused: list[str], where: str) -> None:
        self.refused = refused
        count = "1 cell is refused" if len(refused) == 1 else f"{len(refused)} cells are refused"
        super().__init__(
            f"{count}, nothing was saved", where, "correct the sheet and enter it again"
        )

    def __str__(self) -> str:
        return "\n".join(self.lines)

    @property
    def lines(self) -> list[str]:
        """The sentence, then one line for each cell."""
        return [super().__str__(), *(f"  {cell}" for cell in self.refused)]


@dataclass(frozen=True)
class Entered:
    """What was entered from a sheet: the entries as the journal has them, and the readings that are
    kept but flagged.
    """

    entries: list[Entry]
    flagged: list[str]


def enter_sheet(folder: Path, path: Path, who: str = "") -> Entered:
    """Write what was filled into an entry sheet into its job: all of it or nothing.

    Parameters
    ----------
    folder, path : pathlib.Path
        Job, and the sheet that `startkit.desk.entry_sheet.export.write` made for it.
    who : str
        Who entered it, where the sheet does not say.

    Raises
    ------
    CellsRefused
        Cells that cannot be taken; each is named.
    ReadingError
        The file is not an entry sheet of this job.
    """
    job, path = Job(folder), Path(path)
    stages = for_job(job)
    sheet = read(path, job, stages)
    state = job.state()
    made = _made(sheet, state.latest, who)
    refused = [
        *sheet.refused,
        *_nobody(made),
        *_clashes(sheet.typed, made, state.latest),
        *_without_reason(made, state.latest),
    ]
    after = _after(job, stages, state, made)
    refused += [*_unreadable(made, after), *_unknown_instruments(made, after)]
    if refused:
        raise CellsRefused(list(dict.fromkeys(refused)), path.name)
    flagged = [
        f"{typed.address}: {flag}."
        for typed, entry in made
        if entry.value and (flag := _reading(typed, after).flag)
    ]
    return Entered(job.record(_as_kept(made)), flagged)


def _as_kept(made: Iterable[Made]) -> list[Entry]:
    """Entries for the journal: what a sheet says of the time is when the reading was taken, never
    when it was entered.
    """
    return [each for _, entry in made for each in taken.dated([replace(entry, at="")], entry.at)]


# --- from cells to entries ----------------------------------------------------------------------


def _made(sheet: Sheet, latest: Mapping[str, Entry], who: str) -> list[Made]:
    """The entry of every cell with something new."""
    made = []
    for typed in sheet.typed:
        entry = _entry(typed, latest.get(typed.what), *_reader(sheet, typed, who))
        if _is_new(typed, entry, latest.get(typed.what)):
            made.append((typed, entry))
    return made


def _reader(sheet: Sheet, typed: Typed, who: str) -> tuple[str, str]:
    """Who read, and when: from the tab, else from the first tab or the command."""
    name, when = sheet.readers.get(typed.what.split(".")[0], ("", ""))
    common, _ = sheet.readers.get("", ("", ""))
    return name or common or who, taken.typed(when) if when else ""


def _entry(typed: Typed, old: Entry | None, who: str, at: str) -> Entry:
    value, unit, instrument = typed.value, "", ""
    if typed.declared.kind in KINDS and value:
        value, unit = _number(value, typed.declared.kind, typed.unit)
        instrument = typed.instrument or (old.instrument if typed.row and old is not None else "")
    entry = Entry(typed.what, value, unit, who, instrument, at=at)
    # A row of a table has one reason for all its cells: it belongs to those that are corrected, not
    # to those that were blank.
    return replace(entry, note=typed.why if not typed.row or needs_reason(old, entry) else "")


def _number(text: str, kind: str, beside: str) -> tuple[str, str]:
    """Number and unit as typed; a unit in the text wins over that of the cell next to it."""
    number, unit = split(text)
    if not unit:
        return text, beside
    try:
        unit_for(unit, kind)
    except StartkitError:
        return text, ""
    return number, unit


def _is_new(typed: Typed, entry: Entry, old: Entry | None) -> bool:
    """False for what was not touched, what was blank and is blank, and what the journal has
    already.
    """
    same = (
        (old.value, old.unit, old.instrument) == (entry.value, entry.unit, entry.instrument)
        if old is not None
        else entry.value == ""
    )
    remark = bool(entry.note) and entry.value != "" and (old is None or old.note != entry.note)
    return remark if same or typed.as_written else True


# --- what is refused ----------------------------------------------------------------------------


def _nobody(made: Iterable[Made]) -> list[str]:
    lacking = {typed.address.split("!")[0] for typed, entry in made if not entry.who}
    return [
        f"{tab}!C3: no one is named; write who took the readings, here or on the first tab, or"
        " give --who."
        for tab in sorted(lacking)
    ]


def _clashes(
    every: Iterable[Typed], made: Iterable[Made], latest: Mapping[str, Entry]
) -> list[str]:
    """Rows that someone else has removed or filled since the sheet was made."""
    rows: dict[str, list[Typed]] = {}
    for typed in every:
        rows.setdefault(typed.row, []).append(typed)
    refused = []
    for row in dict.fromkeys(typed.row for typed, _ in made if typed.row):
        first = next(typed.address for typed, _ in made if typed.row == row)
        if f"{row}.row" in latest and latest[f"{row}.row"].value == ROW_REMOVED:
            refused.append(
                f"{first}: this row was removed since the sheet was made; use a blank row below."
            )
        elif _is_anothers(rows[row], latest):
            refused.append(
                f"{first}: someone else has filled this row since the sheet was made; use the next"
                " blank row or write a new sheet."
            )
    return refused


def _is_anothers(cells: list[Typed], latest: Mapping[str, Entry]) -> bool:
    """True if a row that was blank in the sheet holds something in the journal, and nothing of it
    is what the sheet has.
    """
    standing = [
        (typed, latest[typed.what])
        for typed in cells
        if typed.what in latest and latest[typed.what].value
    ]
    return (
        bool(standing)
        and all(typed.was_blank for typed in cells)
        and not any(_says(typed, entry) for typed, entry in standing)
    )


def _says(typed: Typed, entry: Entry) -> bool:
    return typed.value in (entry.value, shown(entry.value, entry.unit, typed.unit))


def _without_reason(made: Iterable[Made], latest: Mapping[str, Entry]) -> list[str]:
    refused = []
    for typed, entry in made:
        old = latest.get(typed.what)
        if old is None or not needs_reason(old, entry):
            continue
        if typed.as_written:
            refused.append(f"{typed.address}: {_since(old)}; write a new sheet and check it there.")
        elif not entry.note:
            stands = f"{old.value} {old.unit}".strip() if len(old.value) < 60 else "something else"
            refused.append(
                f"{typed.address}: {old.who or 'someone'} entered {stands} here on"
                f" {old.at[:16].replace('T', ' ')}; restore it, or give the reason for the change"
                f" in {typed.why_address.split('!')[1]}."
            )
    return refused


def _since(old: Entry) -> str:
    return f"{old.who or 'someone'} has changed this since the sheet was made"


def _after(job: Job, stages: Mapping[str, Stage], state: State, made: Iterable[Made]) -> JobEntries:
    """The job as it would be: what is refused here is what the form would mark."""
    entries = tuple(replace(entry, at=now()) for entry in _as_kept(made))
    return of_job(job, stages, State((*state.entries, *entries))).entries


def _reading(typed: Typed, after: JobEntries) -> Reading:
    stage, name, *cell = typed.what.split(".")
    entries = after.stage(stage)
    if not cell:
        return entries.reading(name) if typed.declared.kind != SERIES else Reading(what=typed.what)
    row = next((r for r in entries.rows(name) if r.index == int(cell[0])), None)
    return row.reading(cell[1]) if row else Reading(what=typed.what)


def _unreadable(made: Iterable[Made], after: JobEntries) -> list[str]:
    refused = []
    for typed, entry in made:
        if isinstance(typed.declared, Field) and typed.declared.kind == SERIES:
            stage, name = typed.what.split(".")
            refused += [
                f"{typed.address}: {problem}"
                for problem in (after.stage(stage).block(name).problems if entry.value else ())
            ]
        elif entry.value and (problem := _reading(typed, after).problem):
            refused.append(f"{typed.address}: {problem}")
    return refused


def _unknown_instruments(made: Iterable[Made], after: JobEntries) -> list[str]:
    if PREFIX not in after.stages:
        return []
    known = [row.text("tag") for row in after.instrument_rows]
    # In a table one instrument applies to a whole column: it is named once.
    unknown: dict[tuple[str, str], str] = {}
    for typed, entry in made:
        if told := stranger(entry.instrument, known):
            stage, name, *cell = typed.what.split(".")
            place = ".".join([stage, name, *cell[1:]])
            unknown.setdefault((place, entry.instrument), f"{typed.address}: {told}")
    return list(unknown.values())


__all__ = ["CellsRefused", "Entered", "enter_sheet"]

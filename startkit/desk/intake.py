"""Entries that come from a file instead of the form."""

from __future__ import annotations

from pathlib import Path

from startkit.errors import JobError, ReadingError
from startkit.facts import file_types, named_pictures, pictures, readings
from startkit.facts.blank import write_new
from startkit.facts.job import Job
from startkit.facts.journal import Entry, row_number
from startkit.facts.trend import column_map, quality, trend
from startkit.facts.trend.guess import guess_file
from startkit.facts.trend.importer import import_file
from startkit.procedure import tags
from startkit.procedure.registry import for_job
from startkit.procedure.site import PREFIX
from startkit.procedure.stage import SERIES, TABLE, Field
from startkit.procedure.waivers import NOT_APPLICABLE, WAIVER


def fault_of(item: str, fields: dict[str, dict[str, Field]]) -> str:
    """What is wrong with the name of an item; empty if it can be entered.

    Items are ``stage.field``, ``stage.table.row.column``, ``waiver.verdict`` and
    ``not_applicable.verdict``.
    """
    if item.startswith((WAIVER, NOT_APPLICABLE)):
        return ""
    shown = repr(item if len(item) < 100 else f"{item[:100]}…")
    stage, _, rest = item.partition(".")
    name, *cell = rest.split(".")
    if stage not in fields:
        return f"{shown}: there is no stage {stage!r} (stages are {', '.join(fields)})"
    field = fields[stage].get(name)
    if field is None:
        return f"{shown}: the stage {stage} asks for no {name!r} on this machine"
    if field.kind != TABLE:
        return f"{shown}: {name!r} is not a table" if cell else ""
    columns = [c.name for c in field.columns]
    if len(cell) == 2 and row_number(cell[0]) is not None and cell[1] in (*columns, "row"):
        return ""
    return (
        f"{shown}: name row and column, as {stage}.{name}.1.{columns[0]} (columns are"
        f" {', '.join(columns)})"
    )


def _fields(job: Job) -> dict[str, dict[str, Field]]:
    return {
        name: {f.name: f for f in stage.fields_for(job.machine)}
        for name, stage in for_job(job).items()
    }


def enter_file(folder: Path, path: Path, who: str = "") -> tuple[list[Entry], list[str]]:
    """Write the readings of a CSV file or of a filled entry sheet (XLSX) into a job: all of them or
    none.

    Returns
    -------
    entries : list of Entry
    flagged : list of str
        Readings of an entry sheet that are kept but outside their usual range, by sheet and cell.

    Raises
    ------
    ReadingError
        A line or a cell cannot be entered; every fault is named.
    """
    if file_types.is_workbook(path):
        from startkit.desk.entry_sheet.entries import enter_sheet

        entered = enter_sheet(folder, Path(path), who)
        return entered.entries, entered.flagged
    job = Job(folder)
    fields = _fields(job)
    there = job.state().latest  # what is in the journal can be corrected, whatever its name

    def fault(item: str) -> str:
        return "" if item in there else fault_of(item, fields)

    entries = readings.load(Path(path), fault, who)
    for entry in entries:
        standing = there.get(entry.what)
        if _kind(entry.what, fields) in pictures.FOLDERS and (
            standing is None or standing.value != entry.value.strip()
        ):
            named_pictures.refuse(folder, entry.what, entry.value)
    _refuse_strangers(job, entries, path)
    return job.record(entries), []


def _refuse_strangers(job: Job, entries: list[Entry], path: Path) -> None:
    """Refuse readings whose instrument is neither on the job nor in the file."""
    if PREFIX not in for_job(job):
        return
    told = [f"{entry.what}: {said}" for entry, said in tags.strangers(entries, job.state().latest)]
    if told:
        more = f" And {len(told) - 5} more." if len(told) > 5 else ""
        raise ReadingError(" ".join(told[:5]) + more, Path(path).name, "nothing was saved")


def _kind(item: str, fields: dict[str, dict[str, Field]]) -> str:
    """Kind of a field, or of a table's column; empty where there is none of that name."""
    stage, _, rest = item.partition(".")
    name, *cell = rest.split(".")
    field = fields.get(stage, {}).get(name)
    if field is None or not cell:
        return field.kind if field is not None else ""
    return next((column.kind for column in field.columns if column.name == cell[-1]), "")


def enter_series(
    folder: Path, item: str, path: Path, who: str, instrument: str = "", note: str = ""
) -> list[Entry]:
    """Write a text file of columns into one series field, as if it had been pasted.

    Raises
    ------
    JobError
        The item is not a series field of this job.
    ReadingError
        The file cannot be read, or no one is named.
    """
    job = Job(folder)
    stage, _, name = item.partition(".")
    field = _fields(job).get(stage, {}).get(name)
    if field is None or field.kind != SERIES:
        raise JobError(
            f"{item!r} does not take a series", "item", "see `startkit items` for the names"
        )
    if not who:
        raise ReadingError("no one is named", item, "give --who")
    text = readings.read_text(Path(path))
    rows = [line for line in text.splitlines() if line.strip()]
    if rows and "\t" not in rows[0] and ";" not in rows[0]:
        text = "\n".join(line.replace(",", "\t") for line in rows)
    entry = Entry(item, text, "", who, instrument, note)
    _refuse_strangers(job, [entry], Path(path))
    return job.record(entry)


def enter_trend(folder: Path, path: Path, map_path: Path | None = None, who: str = "") -> list[str]:
    """Guess the map of a trend file, or import it with the map that a person has confirmed; in
    lines for a terminal.

    Parameters
    ----------
    folder, path : pathlib.Path
        Job and trend file.
    map_path : pathlib.Path, optional
        Read if it exists, else the guess is written to it; without one the guess is only shown.
    who : str
        Who confirmed the map.

    Raises
    ------
    ReadingError, SheetError, JobError
        As `startkit.facts.trend.import_file`.
    """
    job = Job(folder, read_only=map_path is None or not Path(map_path).exists())
    if map_path is not None and Path(map_path).exists():
        columns = column_map.load(Path(map_path)).columns
        named = [Entry(column.column, "", instrument=column.instrument) for column in columns]
        _refuse_strangers(job, named, Path(map_path))
        return _imported(import_file(job, Path(path), Path(map_path), who))
    guessed = guess_file(Path(path), job.machine)
    lines = _guessed(guessed)
    if map_path is None:
        return [
            *lines,
            "",
            (
                "Nothing was imported. Write the map with --map FILE, check every line, confirm"
                " it, and run this again."
            ),
        ]
    write_new(Path(map_path), column_map.text(guessed))
    return [
        *lines,
        "",
        (
            f"Map: {map_path}. Check every line, set confirmed = true, and run this again with"
            " --who."
        ),
    ]


def _guessed(guessed: column_map.TrendMap) -> list[str]:
    used = sorted(guessed.used, key=lambda column: column.confidence)
    lines = [
        f"Stamps: {' and '.join(guessed.stamps)}, read as {guessed.format}, zone"
        f" {guessed.zone or 'not known: the panel clock'}"
    ]
    lines += [f"Check first: {remark}" for remark in guessed.remarks]
    lines += [
        f"  {100 * column.confidence:3.0f} %  {column.column[:40]:40} -> {column.point:22}"
        f" {column.unit} {column.reference}  ({column.why})"
        for column in used
    ]
    return [*lines, f"  {len(guessed.columns) - len(used)} columns are not used."]


def _imported(found: trend.Trend) -> list[str]:
    lines = [
        f"Trend {found.name}: {len(found)} rows of {len(found.values)} points,"
        f" {found.moment(found.clock[0])} to {found.moment(found.clock[-1])}, a row every"
        f" {found.step:g} s."
    ]
    lines += [f"  {problem}" for problem in found.problems]
    lines += [f"  no rows from {found.moment(a)} to {found.moment(b)}" for a, b in found.gaps[:5]]
    for point, marks in found.marks().items():
        said = ", ".join(
            f"{count} x {quality.WORDS[mark]}"
            for mark, count in marks.items()
            if mark != quality.GAP
        )
        lines += [f"  {point}: {said}"] if said else []
    return [
        *lines,
        (
            "The original file and its map are kept in the job's folder trends; their SHA-256 are"
            " in the journal."
        ),
    ]


def items(folder: Path) -> list[tuple[str, str, str]]:
    """(item, kind, question) for everything that can be entered in a job."""
    rows = []
    for stage, fields in _fields(Job(folder, read_only=True)).items():
        for field in fields.values():
            if field.retired:
                continue
            if field.kind == TABLE:
                rows += [
                    (f"{stage}.{field.name}.1.{c.name}", c.kind, f"{field.question}: {c.label}")
                    for c in field.columns
                ]
            else:
                rows.append((f"{stage}.{field.name}", field.kind, field.question))
    return rows

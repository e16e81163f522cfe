"""What is fuzzed: every reader of something that came from outside, each with seeds that it reads
well.
"""

from __future__ import annotations

import functools
import io
import re
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

from benchmarks import fuzz_papers
from benchmarks.fuzz_base import (
    BYTES,
    CELLS,
    JSON,
    MACHINES,
    ROOT,
    TOML,
    WORDS,
    XML,
    Target,
    exchanged,
    plant,
    unless_refused,
    written,
)
from benchmarks.fuzz_records import (
    baseline,
    carried,
    damaged_journal,
    entry_parts,
    entry_sheet,
    evidence,
    journal,
    notebook,
    notebooks,
    pdf,
    record_pdf,
)

# --- TOML: sheet, limits, check lists, map --------------------------------------------------------


def _sheet(data: bytes, folder: Path) -> None:
    from startkit.facts import machine

    machine.load(written(data, folder, "machine.toml"))


def _specification(data: bytes, folder: Path) -> None:
    from startkit.facts import limits

    found = limits.specification(limits.defaults(), written(data, folder, "specification.toml"))
    assert all(limit.origin is not None for limit in found.values())


def _checklist(data: bytes, folder: Path) -> None:
    from startkit.facts import checklists
    from startkit.procedure import registry

    registry.stages([checklists.load(written(data, folder, "list.toml"))])


def _specifications() -> list[bytes]:
    body = (
        b'[limits]\n"lube.oil_superheat" = { low = "12 K", source = "Specification, 3.2"'
        b' }\n"vanes.switch_distance" = { low = "1 %", high = "5 %", source = "page 3"'
        b' }\n"lube.heater_time" = { confirmed = "the standard, edition, clause" }\n'
    )
    return [(ROOT / "workbook" / "plant" / "specification.toml").read_bytes(), body]


def _map(data: bytes, folder: Path) -> None:
    from startkit.facts.trend import column_map, trend

    made = column_map.load(written(data, folder, "map.toml"))
    _looked_at(trend.build(written(_trends()[0], folder, "trend.csv"), made))


@functools.cache
def _maps() -> list[bytes]:
    import tempfile

    from startkit.facts.trend import column_map
    from startkit.facts.trend.guess import guess_file

    with tempfile.TemporaryDirectory() as folder:
        guessed = guess_file(written(_trends()[0], Path(folder), "trend.csv"), plant()[0])
    return [column_map.text(guessed).encode()]


# --- readings: CSV, series, single values ---------------------------------------------------------


def _readings(data: bytes, folder: Path) -> None:
    """Readings as they are entered, then read as a stage reads them."""
    from startkit.procedure.entries import JobEntries

    machine, limits, stages = plant()
    entries = JobEntries(stages, _state(data, folder), machine, limits=limits)
    for name in stages:
        entries.stage(name).problems()


def _state(data: bytes, folder: Path) -> Any:
    from startkit.desk.intake import fault_of
    from startkit.facts import readings
    from startkit.facts.job import State
    from startkit.facts.journal import GENESIS, chained

    fields = {
        name: {f.name: f for f in stage.fields_for(plant()[0])}
        for name, stage in plant()[2].items()
    }
    entries = readings.load(
        written(data, folder, "readings.csv"), lambda item: fault_of(item, fields), "Ana"
    )
    return State(tuple(chained(entries, 0, GENESIS)))


def _judged(data: bytes, folder: Path) -> None:
    """Readings judged and drawn: no stage may fail to be calculated."""
    from startkit.desk import cards
    from startkit.procedure import payload
    from startkit.procedure.assessment import Assessment

    machine, limits, stages = plant()
    seen = Assessment(machine, limits, stages, _state(data, folder))
    broken = [
        f"{stage.name}: {v.sentence}"
        for stage, v in seen.verdicts()
        if "cannot be calculated" in v.sentence
    ]
    assert not broken, broken[0]
    for part in (
        payload.front_part(seen),
        payload.handover_part(seen),
        *(payload.stage_part(seen, name) for name in stages),
    ):
        cards.html(part)
        cards.plain(part)


@functools.cache
def _tables() -> list[bytes]:
    """Every field of every stage with a likely value."""
    values = {
        "yes_no": "yes",
        "date": "2026-11-25",
        "moment": "2026-11-25 14:30",
        "text": "seen",
        "person": "Ana",
    }
    head, rows = "item,value,unit,who,instrument,note,at", []
    for name, stage in plant()[2].items():
        for each in stage.fields_for(plant()[0]):
            columns = (
                [(f"{name}.{each.name}.{row}.{c.name}", c) for row in (1, 2) for c in each.columns]
                if each.kind == "table"
                else [(f"{name}.{each.name}", each)]
            )
            rows += [
                f"{item},{_likely(what, values)},,Ana,T-1,,"
                for item, what in columns
                if what.kind != "series"
            ]
    step = max(1, len(rows) // 6)
    return ["\n".join([head, *rows[i : i + step]]).encode() for i in range(0, len(rows), step)]


def _likely(what: Any, values: dict[str, str]) -> str:
    from startkit.units import KINDS

    if what.choices:
        return what.labels[0]
    if what.kind not in KINDS:
        return values.get(what.kind, "seen")
    # A range that the sheet gives is a function of the machine.
    return (
        f'"{what.plausible[0]}"'
        if isinstance(what.plausible, tuple) and what.plausible
        else f'"1 {KINDS[what.kind].si.label}"'
    )


def _series(data: bytes, folder: Path) -> None:
    from startkit.procedure.block import read_block
    from startkit.units import IP, SI, Q

    text = data.decode("utf-8", "replace")
    for declared in _series_fields():
        for system in (SI, IP):
            read_block.__wrapped__(text, declared, system, Q(101.3, "kPa"))


@functools.cache
def _series_fields() -> list[Any]:
    return [
        f
        for stage in plant()[2].values()
        for f in stage.fields_for(plant()[0])
        if f.kind == "series"
    ]


def _blocks() -> list[bytes]:
    rows = [b"\t".join(b"%d" % (n + m) for m in range(6)) for n in range(40)]
    named = b"Time (s)\tL1 [A]\tL2 (A)\tDifferential (psi)\tx\ty\n"
    return [
        b"\n".join(rows),
        named + b"\n".join(rows).replace(b"1", b"1,5"),
        b"\n".join(rows).replace(b"\t", b";").replace(b"3", b"3 kPa"),
    ]


def _units(data: bytes, folder: Path) -> None:
    from startkit.units import KINDS, SYSTEMS, Q, parse, show

    text = data.decode("utf-8", "replace")
    for name in KINDS:
        found = unless_refused(parse, text, name, KINDS[name].si.label, Q(101.3, "kPa"))
        for system in SYSTEMS if found is not None else ():
            show(found, name, system, Q(101.3, "kPa"))


def _instruments(data: bytes, folder: Path) -> None:
    from startkit.facts import instruments
    from startkit.units import Q

    text = data.decode("utf-8", "replace")
    for kind, reading in (
        ("temperature", Q(7.0, "degC")),
        ("pressure_difference", Q(100.0, "kPa")),
        ("current", Q(40.0, "A")),
    ):
        length = unless_refused(instruments.span, text, kind)
        stated = unless_refused(instruments.accuracy, text, kind)
        if stated is not None:
            instruments.Instrument("T-1", "", "", kind, stated, length).standard_uncertainty(
                reading
            )


_QUANTITIES = [
    b"12,5 kPa",
    b"1 234,5 Pa",
    b"-3.5e2 psig",
    b"30 in Hg vac",
    b"700 micron",
    b"6.7 \xc2\xb0C",
    b"1,234.5",
    b"44 degF",
]
_STATED = [
    b"0.1 K",
    b"0.5 % of range",
    b"1 % of reading + 0.2 A",
    b"0 to 1000 kPa",
    "-20..120 °C".encode(),
    "±0,3 K".encode(),
    "0 – 600 A".encode(),
]


# --- trends ---------------------------------------------------------------------------------------


def _looked_at(found: Any) -> None:
    """What every stage asks of a trend."""
    found.marks()
    for point in found.values:
        found.usable(point)
    for moment in found.clock[[0, -1]]:
        found.seconds(found.moment(float(moment)))


def _trend(data: bytes, folder: Path, name: str = "trend.csv") -> None:
    """Guess a map, write it, read it again, build the trend."""
    from startkit.facts import toml_file
    from startkit.facts.trend import column_map, trend
    from startkit.facts.trend.guess import guess_file

    path = written(data, folder, name)
    guessed = guess_file(path, plant()[0])
    text = column_map.text(guessed)
    again = column_map.from_table(toml_file.parse(text, "map.toml"), "map.toml", text)
    plain = replace(
        guessed,
        columns=tuple(
            replace(
                c,
                confidence=1.0,
                why="",
                unit=c.unit if c.point else "",
                reference=c.reference if c.point else "",
            )
            for c in guessed.columns
        ),
        remarks=(),
    )
    assert (
        again.layout,
        again.stamps,
        again.format,
        {c.column: c.point for c in again.columns},
    ) == (plain.layout, plain.stamps, plain.format, {c.column: c.point for c in plain.columns})
    if guessed.used:
        _looked_at(trend.build(path, guessed))


@functools.cache
def _trends() -> list[bytes]:
    head = [
        "Time",
        "CHWS Temp (°C)",
        "CHWR Temp (°C)",
        "CHW Flow (L/s)",
        "Evap Press (kPa)",
        "Power kW",
        "Status",
    ]
    rows = [
        [
            f"2026-04-16 08:{m:02d}:{s:02d}",
            f"{7 + m / 100:.2f}",
            f"{12 + m / 90:.2f}",
            "75.1",
            f"{254 + s / 10:.1f}",
            f"{280 + m}",
            "on",
        ]
        for m in range(12)
        for s in (0, 20, 40)
    ]
    plain = "\n".join(",".join(row) for row in [head, *rows])
    european = "Plant export\n\n" + "\n".join(
        ";".join(cell.replace(".", ",") for cell in row) for row in [head, *rows]
    ).replace("2026-04-16", "16.04.2026")
    american = (
        plain.replace("2026-04-16 ", "04/16/2026,")
        .replace("Time,", "Date,Time,")
        .replace("°C", "°F")
    )
    zoned = (
        plain.replace(":00,", ":00 EDT,").replace(":20,", ":20 EDT,").replace(":40,", ":40 EDT,")
    )
    counted = "\n".join(
        "\t".join(row)
        for row in [head, *([str(1_776_326_400 + 20 * n), *row[1:]] for n, row in enumerate(rows))]
    )
    return [
        plain.encode(),
        european.encode("utf-16"),
        american.encode("cp1252"),
        zoned.encode(),
        counted.encode(),
    ]


@functools.cache
def _workbook() -> bytes:
    import openpyxl

    book = openpyxl.Workbook()
    for line in _trends()[0].decode().splitlines():
        book.active.append(
            [float(cell) if re.fullmatch(r"[\d.]+", cell) else cell for cell in line.split(",")]
        )
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


_PARTS = (
    "xl/worksheets/sheet1.xml",
    "xl/sharedStrings.xml",
    "xl/workbook.xml",
    "xl/styles.xml",
    "[Content_Types].xml",
    "xl/_rels/workbook.xml.rels",
)


def _parts() -> list[bytes]:
    """Parts of a workbook, each behind the number of its place."""
    with zipfile.ZipFile(io.BytesIO(_workbook())) as archive:
        return [
            bytes((n,)) + archive.read(name)
            for n, name in enumerate(_PARTS)
            if name in archive.namelist()
        ]


def _workbook_part(data: bytes, folder: Path) -> None:
    """A trend's workbook with one part exchanged."""
    changed = _PARTS[data[0] % len(_PARTS)] if data else ""
    path = exchanged(_workbook(), changed, data[1:], folder / "part.xlsx")
    _trend(path.read_bytes(), folder, "trend.xlsx")


@functools.cache
def _parquet() -> bytes:
    import pyarrow as pa
    from pyarrow import csv, parquet

    table = csv.read_csv(io.BytesIO(_trends()[0]))
    sink = pa.BufferOutputStream()
    parquet.write_table(table, sink, compression="NONE")
    return sink.getvalue().to_pybytes()


TARGETS = {
    target.name: target
    for target in (
        Target(
            "sheet",
            lambda: [path.read_bytes() for path in sorted(MACHINES.glob("*.toml"))],
            _sheet,
            TOML,
        ),
        Target("limits", _specifications, _specification, TOML),
        Target(
            "check list",
            lambda: [
                path.read_bytes()
                for path in sorted((ROOT / "startkit" / "facts" / "lists").glob("*.toml"))
            ],
            _checklist,
            TOML,
        ),
        Target("readings", _tables, _readings, CELLS),
        Target("judged", _tables, _judged, CELLS, 0.05),
        Target("series", _blocks, _series, CELLS, 0.5),
        Target("units", lambda: _QUANTITIES, _units, WORDS),
        Target("instruments", lambda: _STATED, _instruments, WORDS),
        Target("entry sheet", entry_parts, entry_sheet, XML, 0.05),
        Target("trend, text", _trends, _trend, CELLS),
        Target("trend, map", _maps, _map, TOML),
        Target("trend, workbook", _parts, _workbook_part, XML, 0.5),
        Target(
            "trend, archive",
            lambda: [_workbook()],
            functools.partial(_trend, name="trend.xlsx"),
            BYTES,
            0.5,
        ),
        Target(
            "trend, Parquet",
            lambda: [_parquet()],
            functools.partial(_trend, name="trend.parquet"),
            BYTES,
            0.5,
        ),
        Target("journal", lambda: [journal()], damaged_journal, BYTES, 0.5),
        Target(
            "record, carried", lambda: [b"r" + carried()[0], b"j" + carried()[1]], evidence, JSON
        ),
        Target("record, PDF", lambda: [pdf()], record_pdf, BYTES, 0.5),
        Target("baseline", lambda: [carried()[0]], baseline, JSON),
        Target("notebook", notebooks, notebook, JSON, 0.5),
        Target("record, verified", fuzz_papers.carried, fuzz_papers.looked_at, JSON, 0.01),
        Target("record, layout", fuzz_papers.added, fuzz_papers.layout, BYTES, 0.05),
        Target("pictures", fuzz_papers.pictures, fuzz_papers.picture, BYTES, 0.1),
    )
}

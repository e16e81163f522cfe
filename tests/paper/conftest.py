"""A small invented job with stages of its own, and a notebook that shows it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from startkit.facts import kept_files
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.procedure import payload
from startkit.procedure.assessment import Assessment
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Column, Field, Figure, Findings, Heading, Stage, Table
from startkit.units import Q
from startkit.verdict import Outcome, Verdict, within

T = TypeVar("T")


def in_a_thread(work: Callable[[], T]) -> T:
    """`work` in a fresh thread: a browser test on the same worker leaves an event loop in the main
    one.
    """
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(work).result()


def where_a_loop_runs(work: Callable[[], T]) -> T:
    """`work` inside a running event loop, as in a notebook's kernel."""

    async def inside() -> T:
        return work()

    return in_a_thread(lambda: asyncio.run(inside()))


SHEET = """
[machine]
tag = "CH-3"
maker = "Example Works"
model = "EW-900"
serial = "EW-0042"
year = 2026
refrigerant = "R-134a"

[site]
plant = "Harbour Street district cooling plant"
elevation = "12 m"

[motor]
rated_power = "560 kW"
voltage = "400 V"
frequency = "50 Hz"
full_load_current = "905 A"
starter = "variable-speed drive"
run_up_time = "30 s"
overcurrent_trip = "108 %"

[vanes]
opening_time = "45 s"
closing_time = "40 s"

[oil]
kind = "polyolester"
grade = "ISO VG 68"
differential_set_point = "175 kPa"
low_trip = "100 kPa"

[evaporator]
design_flow = "120 L/s"
design_pressure_drop = "65 kPa"

[condenser]
design_flow = "145 L/s"
design_pressure_drop = "70 kPa"

[selection]
document = "Selection 2026-114, revision 2"

[[selection.points]]
load = "100 %"
capacity = "3200 kW"
power = "520 kW"
leaving_chilled = "6.7 degC"
entering_condenser = "29.4 degC"
"""

AT = "2026-11-25T{:02d}:{:02d}:00.000+01:00"
PLOT = """<svg xmlns="http://www.w3.org/2000/svg" width="400" height="150" viewBox="0 0 400 150">
<rect x="40" y="10" width="350" height="110" fill="none" stroke="#000"/>
<polyline points="40,110 120,60 200,55 280,56 390,54" fill="none" stroke="#000"
 stroke-width="1.5"/>
<text x="200" y="142" font-family="DejaVu Sans" font-size="11">Time [s]</text></svg>"""


def judge_setup(machine, limits, entries: Entries) -> Findings:
    return Findings(
        verdicts=(
            Verdict(
                key="setup.people",
                title="People and roles",
                outcome=Outcome.PASS,
                sentence="Technician and witness are named.",
            ),
        )
    )


def judge_oil(machine, limits, entries: Entries) -> Findings:
    reading, sump = entries.reading("differential"), entries.reading("sump")
    u = Q(2.0, "kPa")
    low = Q(140, "kPa")
    outcome = within(reading.quantity, low=low, u=u)
    verdicts = (
        Verdict(
            key="oil.differential",
            title="Oil differential before start",
            outcome=outcome,
            sentence=f"{entries.show(reading.quantity, 'pressure_difference')}"
            " against at least 140 kPa.",
            next_step=""
            if outcome is Outcome.PASS
            else "Check the filter and the relief valve of the pump.",
            reading=reading.quantity,
            uncertainty=u,
            kind="pressure_difference",
            low=low,
            high=None,
            source="machine sheet: data sheet, page 3",
        ),
        Verdict(
            key="oil.sump",
            title="Sump temperature",
            outcome=within(sump.quantity, low=Q(45, "degC")),
            sentence="Sump against its lower limit.",
            next_step="",
            reading=sump.quantity,
            uncertainty=None,
            kind="temperature",
            low=Q(45, "degC"),
            high=Q(70, "degC"),
            source="common practice, no source",
        ),
        Verdict(
            key="oil.filter",
            title="Filter drop",
            outcome=Outcome.OPEN,
            sentence="Not taken.",
            next_step="Take the reading.",
        ),
    )
    rows = tuple(
        (Q(float(n), "s"), Q(12.5 * n**0.5, "kPa"), "steady" if n > 4 else "rising")
        for n in range(1, 9)
    )
    return Findings(
        figures=(
            Figure(
                "Oil differential",
                reading.quantity,
                "pressure_difference",
                u,
                "mean of the last minute",
                "oil_differential",
            ),
            Figure("Time to set point", Q(9.25, "s"), "time", None, "", "time"),
        ),
        verdicts=verdicts,
        tables=(
            Table(
                "Rise of the differential",
                (
                    Heading("Time", "time", 0),
                    Heading("Differential", "pressure_difference", 2),
                    Heading("State"),
                ),
                rows,
                "Read from the panel.",
            ),
        ),
        remarks=("Oil foamed for twenty seconds after the pump was started.",),
    )


STAGES = {
    "setup": Stage(
        "setup",
        "Setup",
        "The machine against its papers.",
        (
            Field(
                "people",
                "People on this job",
                "table",
                columns=(
                    Column("name", "Name", "person"),
                    Column("role", "Role"),
                    Column("firm", "Firm"),
                ),
            ),
            Field("barometer", "Barometric pressure in the plant room", "barometer"),
            Field("remark", "Remark", "long_text", required=False),
        ),
        judge_setup,
        order=10,
        before="oil_pump",
    ),
    "oil": Stage(
        "oil",
        "Lubrication",
        "Oil pressure and temperature before the shaft turns.",
        (
            Field(
                "differential",
                "Oil differential at the pump",
                "pressure_difference",
                group="Oil pump",
            ),
            Field("sump", "Sump temperature", "temperature", group="Oil pump"),
            Field("filter_drop", "Drop over the filter", "pressure_difference", group="Oil filter"),
            Field("foamed", "Did the oil foam?", "yes_no", required=False, group="Oil filter"),
            Field(
                "strokes",
                "Readings over time",
                "table",
                columns=(
                    Column("t", "Time", "time"),
                    Column("dp", "Differential", "pressure_difference"),
                    Column("seen", "What was seen"),
                ),
                rows=5,
            ),
        ),
        judge_oil,
        cautions=(
            "The oil heater is hot; the pump may start by itself when the controls are live.",
        ),
        before="turn_shaft",
        order=20,
    ),
}
READINGS = [
    Entry("setup.people.1.name", "R. Calder", who="R. Calder"),
    Entry("setup.people.1.role", "technician", who="R. Calder"),
    Entry("setup.people.1.firm", "Northline Cooling Service", who="R. Calder"),
    Entry("setup.people.2.name", "M. Osei", who="R. Calder"),
    Entry("setup.people.2.role", "owner's witness", who="R. Calder"),
    Entry("setup.barometer", "101.3", "kPa abs", who="R. Calder"),
    Entry("oil.differential", "118", "kPa", who="R. Calder", instrument="PG-2"),
    Entry(
        "oil.differential",
        "148.5",
        "kPa",
        who="R. Calder",
        instrument="PG-2",
        note="Filter changed, read again",
    ),
    Entry("oil.sump", "52,5", "°C", who="R. Calder"),
    Entry("oil.foamed", "yes", who="R. Calder"),
    Entry("oil.strokes.1.t", "1", "s", who="R. Calder"),
    Entry("oil.strokes.1.dp", "12.5", "kPa", who="R. Calder"),
    Entry("oil.strokes.1.seen", "rising", who="R. Calder"),
    Entry("oil.strokes.2.t", "10", "s", who="R. Calder"),
    Entry("oil.strokes.2.dp", "148", "kPa", who="R. Calder"),
    Entry("oil.strokes.2.seen", "steady", who="R. Calder"),
]


def make_job(
    folder: Path,
    readings: list[Entry] = READINGS,
    sheet: str = SHEET,
    system: str = "SI",
    installed: Path | None = None,
) -> Job:
    """An invented job in `folder`, of a template of its own or an installed one."""
    from dataclasses import replace

    source = folder.parent / "given"
    source.mkdir(exist_ok=True)
    (source / "sheet.toml").write_text(sheet, encoding="utf-8")
    template = new_notebook(
        cells=[
            new_code_cell(
                'job = "."\nmode = "form"\n', metadata={"tags": ["parameters"]}, id="parameters"
            )
        ],
        metadata={
            "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}
        },
    )
    nbformat.write(template, source / "template.ipynb")
    used = installed or source / "template.ipynb"
    job = Job.create(folder, source / "sheet.toml", used, system)
    for n, entry in enumerate(readings):
        job.record(replace(entry, at=AT.format(8 + n // 60, n % 60)))
    return job


def assessed(job: Job, stages: dict[str, Stage] = STAGES) -> Assessment:
    return Assessment(
        job.machine,
        job.limits,
        stages,
        job.state(),
        job.system,
        changes=lambda: kept_files.changes(job),
    )


def part_cell(part: dict, source: str) -> nbformat.NotebookNode:
    """A cell as the desk leaves it in record mode."""
    output = new_output(
        "display_data",
        {payload.MIME: part, "text/html": "<p>shown on screen</p>", "text/plain": "part"},
    )
    return new_code_cell(
        source,
        outputs=[output],
        execution_count=1,
        id=source.replace('"', "").replace("(", "-").replace(")", "").replace(".", "-"),
    )


def book(job: Job, stages: dict[str, Stage] = STAGES) -> nbformat.NotebookNode:
    """The executed notebook of `job`."""
    seen = assessed(job, stages)
    cells = [
        new_markdown_cell("# Start-up of a new machine", id="title"),
        part_cell(payload.front_part(seen), "book.front()"),
    ]
    for name, stage in stages.items():
        part = payload.stage_part(seen, name)
        if name == "oil":
            part["plots"] = [
                {
                    "title": "Oil differential over time",
                    "alt": "The differential rises to its set point in nine seconds and stays.",
                    "svg": PLOT,
                }
            ]
        cells.append(part_cell(part, f'book.stage("{name}")'))
        cells.append(
            part_cell(payload.hold_part(seen, stage.before), f'book.hold("{stage.before}")')
        )
    return new_notebook(cells=cells, metadata={"startkit": {"title": "Start-up of a new machine"}})


def put(job: Job, notebook: nbformat.NotebookNode) -> Path:
    """The notebook as a file in the job's records."""
    path = job.folder / "records" / "CH-3.ipynb"
    path.parent.mkdir(exist_ok=True)
    nbformat.write(notebook, path)
    return path


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return make_job(tmp_path / "CH-3 start-up")

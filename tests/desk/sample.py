"""A small job for the desk's tests: two declared stages, and one that fails on purpose."""

from __future__ import annotations

import json
from pathlib import Path

from startkit.facts.job import Job
from startkit.facts.limits import Limit
from startkit.procedure.judging import check, confirm
from startkit.procedure.people import PEOPLE
from startkit.procedure.registry import ordered
from startkit.procedure.site import BAROMETER, INSTRUMENTS
from startkit.procedure.stage import (
    Column,
    Field,
    Figure,
    Findings,
    Heading,
    Line,
    Plot,
    Rule,
    Stage,
    Table,
)
from startkit.units import Q

SHEET = """
[machine]
tag = "CH-9"
serial = "T-1"
refrigerant = "R-134a"
[site]
plant = "Test hall"
elevation = "100 m"
[motor]
rated_power = "300 kW"
voltage = "400 V"
frequency = "50 Hz"
full_load_current = "480 A"
starter = "soft start"
run_up_time = "12 s"
overcurrent_trip = "108 %"
[vanes]
opening_time = "30 s"
closing_time = "30 s"
[oil]
kind = "synthetic"
differential_set_point = "150 kPa"
low_trip = "100 kPa"
[evaporator]
design_flow = "60 L/s"
design_pressure_drop = "60 kPa"
[condenser]
design_flow = "75 L/s"
design_pressure_drop = "70 kPa"
[selection]
document = "selection sheet"
[[selection.points]]
load = "100 %"
capacity = "1500 kW"
power = "280 kW"
leaving_chilled = "6.7 degC"
entering_condenser = "29.4 degC"
"""
LOW = Limit(
    "oil.differential",
    "Oil differential",
    "pressure_difference",
    low=Q(140, "kPa"),
    source="test sheet, page 1",
    authority="machine sheet",
)


def judge_oil(machine, limits, entries):
    reading = entries.reading("differential")
    strokes = entries.rows("strokes")
    rows = tuple((row.text("n"), row.quantity("travel")) for row in strokes)
    times = [q.to("s").magnitude for _, q in rows if q is not None]
    return Findings(
        figures=(
            Figure(
                "Oil differential",
                reading.quantity,
                "pressure_difference",
                reading.u,
                key="oil.differential",
            ),
        ),
        verdicts=(
            check(entries, LOW, reading, next_step="Look at the relief valve."),
            confirm(
                entries,
                "seen",
                "oil.seen",
                "Oil seen",
                good="Seen.",
                bad="Not seen.",
                next_step="Look again.",
            ),
        ),
        tables=(Table("Strokes", (Heading("Stroke"), Heading("Travel time", "time")), rows),),
        plots=(
            Plot(
                "Travel times",
                "Stroke",
                "count",
                "Travel time",
                "time",
                (Line("travel", range(len(times)), times, "line and points"),),
                (Rule("limit", 45.0),),
                alt="Travel time of each stroke",
            ),
        ),
    )


OIL = Stage(
    "oil",
    "Oil",
    "Whether the oil holds its pressure.",
    (
        Field(
            "differential",
            "Oil differential",
            "pressure_difference",
            "At the header.",
            plausible=("50 kPa", "400 kPa"),
        ),
        Field("header", "Header pressure", "gauge_pressure", required=False),
        Field("sump", "Sump temperature", "temperature", required=False),
        Field("seen", "Oil seen in the glass", "yes_no"),
        Field("maker", "Oil maker's name", "text", required=False),
        Field(
            "trace",
            "Trace",
            "series",
            required=False,
            columns=(Column("t", "Time", "time"), Column("p", "Pressure", "pressure_difference")),
        ),
        Field(
            "strokes",
            "Strokes",
            "table",
            required=False,
            columns=(
                Column("n", "Stroke", "count", required=True),
                Column("travel", "Travel time", "time", plausible=("5 s", "100 s")),
                Column("way", "Way", "choice", choices=("opening", "closing")),
            ),
        ),
    ),
    judge_oil,
    cautions=("Hot oil.",),
    before="turn_shaft",
    order=20,
)


def judge_fault(machine, limits, entries):
    raise ZeroDivisionError("a foreign stage's fault")


SETUP = Stage(
    "setup",
    "Setup",
    "Who is here and what is measured with.",
    (PEOPLE, INSTRUMENTS, BAROMETER),
    lambda machine, limits, entries: Findings(),
    before="oil_pump",
    order=10,
)
STAGES = ordered([SETUP, OIL])
FAULTY = Stage("faulty", "Faulty", "Fails.", (Field("note", "Note"),), judge_fault, order=900)


def make_job(folder: Path, name: str = "job") -> Job:
    """A new job with the sample sheet."""
    sheet, template = folder / "sheet.toml", folder / "template.ipynb"
    sheet.write_text(SHEET, encoding="utf-8")
    template.write_text(
        json.dumps({"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}),
        encoding="utf-8",
    )
    return Job.create(folder / name, sheet, template)

"""Fields of the stage Overhaul: what was opened, replaced and measured."""

from __future__ import annotations

from startkit.procedure.stage import Column, Field

# Table of each kind of measurement: its title and whether it has a lower limit.
MEASURED = {"clearances": ("Clearance", True), "run_outs": ("Run-out", False)}


def _length(name: str, label: str, required: bool = False) -> Column:
    return Column(name, label, "clearance", plausible=("0 mm", "10 mm"), required=required)


def _measured(name: str, question: str, help: str) -> Field:
    limits = (_length("low", "At least"),) if MEASURED[name][1] else ()
    return Field(
        name,
        question,
        "table",
        help,
        rows=4,
        group="Measured",
        columns=(
            Column("place", "Where", required=True),
            _length("as_found", "As found"),
            _length("as_left", "As left", True),
            *limits,
            _length("high", "At most", not limits),
            Column("source", "Limit from", help="Document and page", required=True),
            Column("who", "By", "person"),
        ),
    )


FIELDS = (
    Field(
        "opened",
        "What was opened",
        "table",
        "Every cover, shell, joint and box, and its condition inside.",
        group="Opened",
        columns=(
            Column("part", "Part", required=True),
            Column("reason", "Why"),
            Column("found", "As found"),
            Column("who", "By", "person"),
        ),
    ),
    Field(
        "replaced",
        "What was replaced",
        "table",
        required=False,
        group="Replaced",
        columns=(
            Column("part", "Part", required=True),
            Column("old", "Old part number"),
            Column("new", "New part number", required=True),
            Column("reason", "Why"),
            Column("who", "By", "person"),
        ),
    ),
    _measured(
        "clearances",
        "Clearances",
        "Bearings, seals, impeller, thrust: with feeler gauge, plastic strip or dial indicator,"
        " as the maker specifies.",
    ),
    _measured(
        "run_outs", "Run-outs", "Shaft, coupling, impeller: total indicator reading over one turn."
    ),
    Field(
        "baseline",
        "Figures of the last record",
        "table",
        "Name as shown in the stage, and value with unit. Not needed if the data of the last"
        " record are in the job's folder as baseline.json.",
        required=False,
        rows=2,
        group="Last record",
        columns=(
            Column("figure", "Figure", required=True),
            Column("value", "Value with unit", required=True),
        ),
    ),
)

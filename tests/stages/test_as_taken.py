"""Readings as they were taken: what is doubtful about them whatever they are compared with."""

from __future__ import annotations

import pytest

from startkit.procedure.stage import Column, Field, Findings, Stage
from startkit.procedure.usual import about, near
from startkit.stages.setup import STAGE as SETUP
from startkit.verdict import Outcome

PROBE = Stage(
    "probe",
    "Probe",
    "Whether a reading is doubtful.",
    (
        Field(
            "flow",
            "Flow",
            "flow",
            required=False,
            plausible=about(lambda machine: machine.evaporator.design_flow, 0.5, 2.0),
        ),
        Field(
            "water",
            "Water",
            "temperature",
            required=False,
            plausible=near(lambda machine: machine.design.leaving_chilled, 5, 30),
        ),
        Field("time", "Time", "time", required=False),
        Field("gauge", "Gauge", "pressure_drop", required=False, measured=True),
        Field(
            "rows",
            "Rows",
            "table",
            required=False,
            columns=(
                Column("name", "Name", required=True),
                Column("current", "Current", "current", measured=True),
            ),
        ),
    ),
    lambda machine, limits, entries: Findings(),
)


@pytest.fixture
def doubts(make_job, put, assess):
    """The sentence on readings as they were taken; empty if there is nothing to doubt."""

    def find(**given):
        made = make_job(stages={"setup": SETUP, "probe": PROBE})
        for name, value in {"tag": "G1", "kind": "pressure drop", "accuracy": "1 kPa"}.items():
            put(made, f"setup.instruments.1.{name}", value)
        for what, (value, unit, *tag) in given.items():
            put(made, f"probe.{what.replace('__', '.')}", value, unit, instrument="".join(tag))
        found = [v for v in assess(made).findings("probe").verdicts if v.key == "probe.as_taken"]
        assert all(v.outcome is Outcome.UNPROVEN for v in found)
        return "".join(v.sentence for v in found)

    return find


# Sheet: chilled water 75 L/s, leaving at 7.0 °C.
@pytest.mark.parametrize(
    ("flow", "doubtful"), [("37.6", False), ("37.4", True), ("149", False), ("151", True)]
)
def test_a_reading_far_from_the_sheets_figure_is_doubted(doubts, flow, doubtful):
    assert ("outside the usual" in doubts(flow=(flow, "L/s"))) is doubtful


@pytest.mark.parametrize(
    ("water", "doubtful"), [("2.1", False), ("1.9", True), ("36.9", False), ("37.1", True)]
)
def test_a_temperature_far_from_the_sheets_is_doubted(doubts, water, doubtful):
    assert ("outside the usual" in doubts(water=(water, "°C"))) is doubtful


def test_a_negative_time_is_doubted(doubts):
    assert "sign" in doubts(time=("-4", "s"))
    assert doubts(time=("0", "s")) == ""


@pytest.mark.parametrize(
    ("tag", "word"), [("", "no instrument"), ("G2", "not on the list"), ("G1", "")]
)
def test_what_is_measured_names_an_instrument_of_the_list(doubts, tag, word):
    found = doubts(gauge=("40", "kPa", tag))
    assert word in found
    assert bool(found) is bool(word)


def test_a_row_that_lacks_what_another_has_is_doubted(doubts):
    whole = {"rows__1__name": ("a", ""), "rows__2__name": ("b", "")}
    assert "other rows" in doubts(**whole, rows__1__current=("5", "A", "G1"))
    assert doubts(**whole) == ""


def test_a_row_without_a_required_cell_is_doubted(doubts):
    assert "Name: still empty" in doubts(rows__1__current=("5", "A", "G1"))

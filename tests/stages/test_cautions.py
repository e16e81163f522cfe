"""Cautions stand before every stage that needs them, and none takes the place of code, maker or
licensed people.
"""

from __future__ import annotations

import pytest

from startkit.procedure import cautions
from startkit.procedure.registry import stages

NEEDED = {
    "safety": (
        "STORED_ENERGY",
        "LIVE_PANELS",
        "ROTATING",
        "REFRIGERANT",
        "PRESSURE_TEST",
        "LIFTING",
    ),
    "overhaul": ("STORED_ENERGY", "LIFTING", "ROTATING", "REFRIGERANT"),
    "tightness": ("PRESSURE_TEST", "REFRIGERANT", "STORED_ENERGY"),
    "electrical": ("LIVE_PANELS", "HIGH_VOLTAGE_TEST", "STORED_ENERGY"),
    "controls": ("SAFETIES", "LIVE_PANELS"),
    "water": ("WATER_CIRCUITS", "ROTATING"),
    "setup": ("LIVE_PANELS",),
    "vanes": ("STORED_ENERGY",),
    "lube": ("STORED_ENERGY",),
    "first_start": ("ROTATING", "LIVE_PANELS"),
    "pull_down": ("ROTATING",),
    "shut_down": ("ROTATING",),
    "trips": ("SAFETIES", "LIVE_PANELS"),
}


@pytest.mark.parametrize("name", NEEDED)
def test_a_stage_shows_the_cautions_that_it_needs(name):
    shown = stages()[name].cautions
    assert [word for word in NEEDED[name] if getattr(cautions, word) not in shown] == []


@pytest.mark.parametrize("stage", stages().values(), ids=lambda stage: stage.name)
def test_every_stage_has_a_caution(stage):
    assert stage.cautions


@pytest.mark.parametrize("caution", cautions.EVERY)
def test_every_caution_leaves_the_decision_to_code_maker_and_licensed_people(caution):
    words = caution.lower()
    assert "licensed" in words and ("local code" in words or "manual" in words)

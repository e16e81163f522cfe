"""Cautions stand before every stage that needs them, and none takes the place of code, maker or
licensed people.
"""

from __future__ import annotations

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


def test_a_stage_shows_the_cautions_that_it_needs():
    known = stages()
    assert [
        (name, word)
        for name, words in NEEDED.items()
        for word in words
        if getattr(cautions, word) not in known[name].cautions
    ] == []


def test_every_stage_has_a_caution():
    assert [name for name, stage in stages().items() if not stage.cautions] == []


def test_every_caution_leaves_the_decision_to_code_maker_and_licensed_people():
    for caution in cautions.EVERY:
        words = caution.lower()
        assert "licensed" in words and ("local code" in words or "manual" in words), caution

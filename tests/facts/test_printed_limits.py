"""Limits before the shaft turns against the documents that print them."""

from __future__ import annotations

import pytest

from startkit.facts.limits import defaults
from startkit.units import Q

UFGS, MG1 = "UFGS 15652A 3.2.1.2", "NEMA MG 1-2011 condensed, 9.9.1 [12.44.1]"
PRINTED = [
    ("tightness.hold_time", "low", 24, "hour", f"{UFGS}: hold 24 h or more", "published"),
    (
        "tightness.test_pressure",
        "low",
        100,
        "percent",
        "ASHRAE 15 9.14, 10.1: not less than the lower of design pressure and relief setting",
        "from memory",
    ),
    (
        "tightness.test_pressure",
        "high",
        125,
        "percent",
        f"{UFGS}: at most 25 % above the least test pressure",
        "published",
    ),
    (
        "tightness.low_pressure_test",
        "high",
        10,
        "psi",
        (
            "technician training for 40 CFR 82 subpart F: low-pressure machines are tested at 10"
            " psig at most"
        ),
        "secondary",
    ),
    (
        "tightness.vacuum",
        "high",
        300,
        "micron_mercury",
        f"{UFGS}: evacuate to 300 µm Hg",
        "published",
    ),
    ("tightness.rise", "high", 500, "micron_mercury", f"{UFGS}: fail above 500 µm Hg", "published"),
    ("tightness.rise_time", "low", 1, "hour", f"{UFGS}: isolate for 1 h", "published"),
    (
        "tightness.evacuation_temperature",
        "low",
        35,
        "degF",
        f"{UFGS}: ambient above 35 °F",
        "published",
    ),
    (
        "tightness.leak_rate_comfort_cooling",
        "high",
        10,
        "percent/year",
        "40 CFR 82.157: comfort cooling",
        "secondary",
    ),
    (
        "tightness.leak_rate_commercial_refrigeration",
        "high",
        20,
        "percent/year",
        "40 CFR 82.157: commercial refrigeration",
        "secondary",
    ),
    (
        "tightness.leak_rate_industrial_process",
        "high",
        30,
        "percent/year",
        "40 CFR 82.157: industrial process",
        "secondary",
    ),
    (
        "electrical.polarisation_a",
        "low",
        1.5,
        "dimensionless",
        "IEEE 43-2000, quoted in an instrument's manual: class A",
        "secondary",
    ),
    (
        "electrical.polarisation_b_f_h",
        "low",
        2.0,
        "dimensionless",
        "IEEE 43-2000, quoted in an instrument's manual: classes B, F, H",
        "secondary",
    ),
    (
        "electrical.unbalance",
        "high",
        1,
        "percent",
        "NEMA MG 1 14.36: derate above 1 %",
        "secondary",
    ),
    ("electrical.voltage", "high", 10, "percent", f"{MG1}: voltage within 10 %", "published"),
    ("electrical.voltage", "low", -10, "percent", f"{MG1}: voltage within 10 %", "published"),
    ("electrical.frequency", "high", 5, "percent", f"{MG1}: frequency within 5 %", "published"),
    ("electrical.frequency", "low", -5, "percent", f"{MG1}: frequency within 5 %", "published"),
    (
        "electrical.voltage_and_frequency",
        "high",
        10,
        "percent",
        f"{MG1}: sum of both within 10 %",
        "published",
    ),
]


@pytest.mark.parametrize(
    ("key", "side", "printed", "unit", "source", "standing"),
    PRINTED,
    ids=lambda value: (
        str(value) if isinstance(value, str) and "." in value and " " not in value else ""
    ),
)
def test_a_limit_is_what_its_document_prints(outside, key, side, printed, unit, source, standing):
    ours = getattr(defaults()[key], side).to(unit).magnitude
    outside.check(
        f"limits.{key}", printed=printed, ours=ours, source=source, standing=standing, rel=1e-9
    )


def test_the_specifications_vacuum_is_that_of_the_formulas_too():
    from startkit.science import evacuation

    limits = defaults()
    assert limits["tightness.vacuum"].high == Q(evacuation.SPECIFIED_START, "pascal")
    assert limits["tightness.rise"].high.to("pascal").magnitude == pytest.approx(
        evacuation.SPECIFIED_END
    )
    assert limits["tightness.rise_time"].low == Q(evacuation.SPECIFIED_HOLD, "second")

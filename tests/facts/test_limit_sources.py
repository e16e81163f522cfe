"""Each limit that claims a document is held against the figure as that document, or a text that
restates it, prints it.

A limit that is this workbook's own default or common practice claims none, and is printed as such.
Limits that a rule
fills in are held against one line of the rule's table.
"""

from __future__ import annotations

import pytest

from startkit.facts.limits import defaults
from startkit.science import insulation, vibration
from startkit.units import Q

UFGS = "UFGS 15652A 3.2.1.2, ufgscriteriadocreport.tpub.com/15652A"
MG1 = "Condensed NEMA MG 1-2011, 9.9.1 [12.44.1], read at manualarchiveguide.com"
UNBALANCE = "NEMA MG 1 14.36 as restated in a forum of engineers (eng-tips.com 481112)"
LEAKS = "40 CFR 82.157 as restated at rrrbuddy.com, 40 CFR 84.106 has the same rates"
TABLE_11 = "AHRI 550/590 Table 11 at full load and 10 °F range: 0.105 - 0.07 + 0.15/10"
TABLE_12 = "AHRI 550/590-2015 Table 12"
IEEE_43 = "IEEE 43-2000 12.2 as quoted in an instrument's manual"

# key, side, printed figure, its unit, where it was printed
PRINTED = [
    (
        "controls.high_pressure_setting",
        "high",
        90,
        "percent",
        "ASHRAE 15 9.9.2: at most 90 % of the relief setting (from memory)",
    ),
    (
        "controls.winding_setting",
        "high",
        0,
        "delta_degC",
        "IEC 60085: the class is the highest temperature of continuous use (from memory)",
    ),
    (
        "load_up.heat_balance",
        "low",
        -5,
        "percent",
        "Singapore practice for heat balance (SS 591), restated at mnv.com.sg",
    ),
    (
        "load_up.heat_balance",
        "high",
        5,
        "percent",
        "Singapore practice for heat balance (SS 591), restated at mnv.com.sg",
    ),
    (
        "load_up.capacity",
        "low",
        -5,
        "percent",
        "UFGS 15620A, note to the writer: up to 5 % at full load",
    ),
    ("load_up.specific_power", "high", 5, "percent", TABLE_11),
    (
        "load_up.part_load_value",
        "high",
        10,
        "percent",
        "AHRI 550/590 Table 11 at 10 °F range: 0.065 + 0.35/10",
    ),
    ("load_up.steady_window", "low", 15, "minute", TABLE_12),
    ("load_up.steady_readings", "low", 30, "dimensionless", TABLE_12),
    ("load_up.steady_temperature", "high", 0.18, "delta_degF", TABLE_12),
    ("load_up.steady_flow", "high", 0.75, "percent", TABLE_12),
    ("first_start.voltage_unbalance", "high", 1, "percent", UNBALANCE),
    (
        "safety.emergency_exhaust",
        "low",
        100,
        "percent",
        "New York City Mechanical Code 1105.6.3.2: not less than 100 √G cfm",
    ),
    (
        "safety.normal_exhaust",
        "low",
        100,
        "percent",
        "Chicago 18-28-1105.8: not less than the larger of its three rules",
    ),
    (
        "safety.detector_alarm",
        "high",
        100,
        "percent",
        "ASHRAE 15 8.11.2.1: not above the occupational exposure limit",
    ),
    (
        "tightness.test_pressure",
        "low",
        100,
        "percent",
        "ASHRAE 15 9.14: not less than the lower of design pressure and relief setting",
    ),
    (
        "tightness.test_pressure",
        "high",
        125,
        "percent",
        UFGS + ", in memory joined with ASHRAE 15: at most 25 % above it",
    ),
    (
        "tightness.low_pressure_test",
        "high",
        10,
        "psi",
        "40 CFR 82 subpart F training, hvaclicense.com/type_3: 10 psig",
    ),
    ("tightness.hold_time", "low", 24, "hour", UFGS),
    ("tightness.vacuum", "high", 300, "micron_mercury", UFGS),
    ("tightness.evacuation_temperature", "low", 35, "degF", UFGS),
    ("tightness.rise_time", "low", 1, "hour", UFGS),
    ("tightness.rise", "high", 500, "micron_mercury", UFGS),
    ("tightness.leak_rate_comfort_cooling", "high", 10, "percent/year", LEAKS),
    ("tightness.leak_rate_commercial_refrigeration", "high", 20, "percent/year", LEAKS),
    ("tightness.leak_rate_industrial_process", "high", 30, "percent/year", LEAKS),
    ("electrical.polarisation_a", "low", 1.5, "dimensionless", IEEE_43),
    ("electrical.polarisation_b_f_h", "low", 2.0, "dimensionless", IEEE_43),
    (
        "electrical.dew_margin",
        "low",
        0,
        "delta_degC",
        "IEEE 43, winding above the dew point, as restated at amperis.com",
    ),
    ("electrical.unbalance", "high", 1, "percent", UNBALANCE),
    ("electrical.voltage", "low", -10, "percent", MG1),
    ("electrical.voltage", "high", 10, "percent", MG1),
    ("electrical.frequency", "low", -5, "percent", MG1),
    ("electrical.frequency", "high", 5, "percent", MG1),
    ("electrical.voltage_and_frequency", "high", 10, "percent", MG1),
]

# Limits without a figure of their own: a rule fills it in. key, printed figure, ours, where it was
# printed.
BY_RULE = [
    (
        "first_start.vibration",
        2.8,
        lambda: (
            vibration.zone(
                Q(1, "mm/s"), 2, "rigid", Q(2960, "revolutions_per_minute"), Q(295, "kW")
            )
            .bc.to("mm/s")
            .magnitude
        ),
        "ISO 20816-3:2022 Table A.2, group 2, rigid, boundary B/C, restated in public source",
    ),
    (
        "electrical.insulation",
        5,
        lambda: (
            insulation.minimum_insulation("random-wound", Q(480, "volt")).to("megaohm").magnitude
        ),
        "IEEE 43-2013 12.3, Table 3, random-wound and below 1 kV, restated in public source",
    ),
    (
        "electrical.test_voltage",
        2500,
        lambda: insulation.applied_voltage(Q(4160, "volt"))[1].to("volt").magnitude,
        "IEEE 43-2000 Table 1, 2501 to 5000 V, from an instrument maker's table",
    ),
]


@pytest.mark.parametrize(
    ("key", "side", "printed", "unit", "source"),
    PRINTED,
    ids=lambda value: value if isinstance(value, str) and len(value) < 50 else "",
)
def test_a_limit_is_the_figure_that_its_document_prints(outside, key, side, printed, unit, source):
    limit = defaults()[key]
    ours = getattr(limit, side).to(unit).magnitude
    outside.check(
        f"limits.{key}",
        printed=printed,
        ours=ours,
        source=source,
        standing=limit.standing,
        rel=1e-9,
        abs=1e-12,
    )


@pytest.mark.parametrize(
    ("key", "printed", "ours", "source"), BY_RULE, ids=[row[0] for row in BY_RULE]
)
def test_a_limit_by_rule_is_a_line_of_the_rules_table(outside, key, printed, ours, source):
    limit = defaults()[key]
    assert limit.low is None and limit.high is None
    outside.check(
        f"limits.{key}",
        printed=printed,
        ours=ours(),
        source=source,
        standing=limit.standing,
        rel=1e-9,
    )

"""Load-up just inside and just outside of the limits that a trend, a sign or a cross-check is
judged by.
"""

from __future__ import annotations

import numpy as np
import pytest

from startkit.facts.limits import defaults
from startkit.science.refrigerant import saturation_pressure
from startkit.science.symptoms import HIGH, LOW, USUAL
from startkit.stages.load_up import signs as load_signs
from startkit.stages.load_up import trend_windows
from startkit.stages.load_up.fields import LABORATORY
from startkit.stages.load_up.points import points
from startkit.units import Q
from startkit.verdict import Outcome

from .loads import BAROMETER, put_load
from .test_trend_windows import FULL, made

# --- a trend that stands still, or not quite ------------------------------------------------------


def still(length: float, step: float = 10.0, **changed) -> dict[str, np.ndarray]:
    """Readings of one load without noise over `length` seconds, both ends read; those in `changed`
    as given.
    """
    count = int(length / step) + 1
    return {name: np.full(count, level) for name, level in FULL.items()} | changed


def swinging(name: str, sd: float, length: float = 1800.0) -> dict[str, np.ndarray]:
    """One reading goes up and down from row to row with this standard deviation in a window of 91
    rows.
    """
    signs = np.where(np.arange(int(length / 10) + 1) % 2, 1.0, -1.0)
    return still(length, **{name: FULL[name] + sd / signs[:91].std(ddof=1) * signs})


def stands_still(make_job, values, step=10.0, **flags) -> bool:
    job = make_job()
    return bool(
        trend_windows.steady(
            job.machine, job.limits, made(values, step=step, **flags), Q(BAROMETER, "kilopascal")
        ).stretches
    )


@pytest.mark.parametrize(
    ("limit", "reading", "unit"),
    [
        ("temperature", "chilled_leaving", "delta_degC"),
        ("flow", "evaporator_flow", "percent"),
        ("power", "power", "percent"),
    ],
)
def test_a_deviation_inside_its_limit_is_steady_and_one_outside_is_not(
    make_job, edges, limit, reading, unit
):
    key = f"load_up.steady_{limit}"
    bound = defaults()[key].high
    for factor, steady in ((0.99, True), (1.01, False)):
        sd = factor * bound
        size = (
            float(sd.to("delta_degC").magnitude)
            if unit == "delta_degC"
            else float(sd.to("dimensionless").magnitude) * FULL[reading]
        )
        assert stands_still(make_job, swinging(reading, size)) is steady
        edges.note(key, "high", bound, sd.to(bound.units), steady)


def test_a_drift_inside_its_limit_is_steady_and_one_outside_is_not(make_job, edges):
    bound = defaults()["load_up.steady_slope"].high
    for factor, steady in ((0.99, True), (1.01, False)):
        slope = factor * bound
        ramp = FULL["chilled_leaving"] + float(
            slope.to("delta_degC/second").magnitude
        ) * 10.0 * np.arange(91)
        assert stands_still(make_job, still(900.0, chilled_leaving=ramp)) is steady
        edges.note("load_up.steady_slope", "high", bound, slope.to(bound.units), steady)


def test_a_quarter_of_an_hour_is_long_enough_and_a_row_less_is_not(make_job, edges):
    bound = defaults()["load_up.steady_window"].low
    for seconds, steady in ((900, True), (890, False)):
        assert stands_still(make_job, still(float(seconds))) is steady
        edges.note(
            "load_up.steady_window", "low", bound, Q(seconds, "second").to(bound.units), steady
        )


def test_thirty_readings_are_enough_and_twenty_nine_are_not(make_job, edges):
    from startkit.facts.trend.quality import SPIKE

    bound = defaults()["load_up.steady_readings"].low
    for known, steady in ((30, True), (29, False)):
        # A row every 30 s: a quarter of an hour has 31.
        values = still(900.0, step=30.0)
        flags = {name: np.zeros(31, np.uint8) for name in values}
        for each in flags.values():
            each[[7, 19][: 31 - known]] = SPIKE
        assert stands_still(make_job, values, step=30.0, **flags) is steady
        edges.note("load_up.steady_readings", "low", bound, Q(known, "dimensionless"), steady)


# --- signs ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "asked", "key", "bound", "fall"),
    [
        ("subcooling", "subcooling", "load_up.usual_subcooling", "low", LOW),
        ("subcooling", "subcooling", "load_up.usual_subcooling", "high", HIGH),
        ("suction superheat", "superheat", "load_up.usual_superheat", "low", LOW),
        ("suction superheat", "superheat", "load_up.usual_superheat", "high", HIGH),
        ("condenser approach", "condenser_approach", "load_up.usual_excess", "high", HIGH),
        ("evaporator approach", "evaporator_approach", "load_up.usual_excess", "high", HIGH),
    ],
)
def test_a_sign_is_usual_inside_its_band_and_told_outside(
    make_job, put, assess, edges, name, asked, key, bound, fall
):
    edge = getattr(defaults()[key], bound)
    inward = 0.01 if bound == "low" else -0.01
    for step, sign in ((inward, USUAL), (-inward, fall)):
        reading = edge + Q(step, "delta_degC")
        # An approach counts by its excess over the selection's, 1.1 K at full load.
        value = float(reading.to("delta_degC").magnitude) + (1.1 if "approach" in name else 0.0)
        job = make_job()
        put_load(put, job, **{asked: value})
        (point,), _ = points(job.machine, assess(job).stage_entries("load_up"))
        assert load_signs.signs(job.machine, job.limits, point)[name] == sign
        edges.note(key, bound, edge, reading, sign == USUAL)


# --- cross-checks ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("side", "flow", "drop"), [("evaporator", 75.0, 55.0), ("condenser", 95.0, 60.0)]
)
@pytest.mark.parametrize(
    ("percent", "outcome"),
    [(9.9, Outcome.PASS), (10.1, Outcome.FAIL), (-9.9, Outcome.PASS), (-10.1, Outcome.FAIL)],
)
def test_a_meter_that_reads_a_tenth_off_the_pressure_drop(
    make_job, put, verdict_of, side, flow, drop, percent, outcome
):
    job = make_job()
    by_drop = drop / (1 + percent / 100) ** 2
    put_load(
        put,
        job,
        changed={f"{side}_drop": (f"{by_drop:.9f}", "kPa"), f"{side}_flow": (f"{flow}", "L/s")},
    )
    assert verdict_of(job, f"load_up.{side}_flow").outcome is outcome


@pytest.mark.parametrize(("approach", "outcome"), [(3.09, Outcome.PASS), (3.11, Outcome.FAIL)])
def test_lift_a_twentieth_below_the_surge_line(make_job, put, verdict_of, approach, outcome):
    # The line stands at 34 K, a twentieth below it is 32.3 K; saturation lies at 6 °C and at 35.2
    # °C and the approach.
    job = make_job(
        {
            "selection.surge_line": [
                {"load": "100 %", "lift": "34 K"},
                {"load": "50 %", "lift": "30 K"},
            ]
        }
    )
    put_load(put, job, condenser_approach=approach)
    assert verdict_of(job, "load_up.surge_margin").outcome is outcome


@pytest.mark.parametrize(("excess", "outcome"), [(-0.99, Outcome.PASS), (-1.01, Outcome.FAIL)])
def test_pressure_under_the_refrigerants_own_at_standstill(
    make_job, put, verdict_of, excess, outcome
):
    job = make_job()
    put(job, "setup.barometer", str(BAROMETER), "kPa")
    pressure = saturation_pressure("R-134a", Q(21 + excess, "degC")).to("kilopascal").magnitude
    put(job, "load_up.standstill_pressure", f"{pressure - BAROMETER:.6f}", "kPa gauge")
    put(job, "load_up.standstill_temperature", "21", "°C")
    assert verdict_of(job, "load_up.non_condensables").outcome is outcome


@pytest.mark.parametrize(("factor", "outcome"), [(1.099, Outcome.PASS), (1.102, Outcome.FAIL)])
def test_a_part_load_value_a_tenth_over_the_selections(make_job, put, verdict_of, factor, outcome):
    shares, powers = (1.0, 0.75, 0.5, 0.25), (295.0, 165.0, 79.0, 52.0)
    rows = [
        {
            "load": f"{100 * s:.0f} %",
            "capacity": f"{s * 1760} kW",
            "power": f"{p} kW",
            "entering_chilled": "12.5 °C",
            "leaving_chilled": "7 °C",
            "entering_condenser": "30 °C",
        }
        for s, p in zip(shares, powers, strict=True)
    ]
    job = make_job({"selection.points": rows})
    put(job, "load_up.tolerance", LABORATORY.label)
    for n, (share, power) in enumerate(zip(shares, powers, strict=True), 1):
        put_load(put, job, n, share=share, power=factor * power)
    assert verdict_of(job, "load_up.part_load_value").outcome is outcome

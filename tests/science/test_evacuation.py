"""The rise test: tight, leak, moisture, both, or not to be told."""

from __future__ import annotations

import numpy as np
import pytest

from startkit.errors import ScienceError, UnitError
from startkit.science import evacuation
from startkit.science.evacuation import UNDECIDED
from startkit.units import Q

WATER = 2339.3  # Pa at 20 °C, IAPWS-IF97
TIMES = np.arange(0, 3601, 300.0)


def judged(curve, noise=1.0, seed=1, known=True, times=TIMES):
    pressure = curve(times) + np.random.default_rng(seed).normal(0, noise, times.size)
    return evacuation.rise(
        Q(times, "s"), Q(pressure, "Pa"), Q(WATER, "Pa"), Q(noise, "Pa") if known else None
    )


def tight(t):
    return 40 + 0 * t


def leaking(t):
    return 40 + 0.1 * t


def wet(t):
    return 40 + (WATER - 40) * (1 - np.exp(-t / 3000))


def damp(t):
    return 40 + 60 * (1 - np.exp(-t / 900))


def both(t):
    return 40 + 0.02 * t + 60 * (1 - np.exp(-t / 500))


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize(
    ("curve", "kind"),
    [
        (tight, "tight"),
        (leaking, "leak"),
        (wet, "moisture"),
        (damp, "moisture"),
        (both, "leak and moisture"),
    ],
)
def test_each_shape_is_found_again_in_at_least_nine_of_ten_tests(curve, kind, known):
    found = [judged(curve, seed=seed, known=known).kind for seed in range(40)]
    assert found.count(kind) >= 36


def test_a_noiseless_straight_line_gives_its_rate_back(outside):
    found = evacuation.rise(Q(TIMES, "s"), Q(leaking(TIMES), "Pa"), Q(WATER, "Pa"))
    outside.check(
        "evacuation.rise",
        printed=0.1,
        ours=found.rate.magnitude,
        source="straight line p = 40 Pa + 0.1 Pa/s t",
        standing="closed form",
        rel=1e-6,
    )
    assert found.kind == "leak"


def test_a_noiseless_levelling_curve_gives_its_time_and_plateau_back(outside):
    found = evacuation.rise(Q(TIMES, "s"), Q(damp(TIMES), "Pa"), Q(WATER, "Pa"))
    outside.check(
        "evacuation.rise",
        printed=900,
        ours=found.tau.magnitude,
        source="p = 40 + 60 (1 - exp(-t/900 s)) Pa",
        standing="closed form",
        rel=1e-3,
    )
    outside.check(
        "evacuation.rise",
        printed=100,
        ours=found.plateau.magnitude,
        source="p = 40 + 60 (1 - exp(-t/900 s)) Pa",
        standing="closed form",
        rel=1e-3,
    )


def test_the_rate_agrees_with_an_independent_least_squares_line(outside):
    from scipy.stats import linregress

    pressure = leaking(TIMES) + np.random.default_rng(3).normal(0, 1, TIMES.size)
    ours = evacuation.rise(Q(TIMES, "s"), Q(pressure, "Pa"), Q(WATER, "Pa"))
    theirs = linregress(TIMES, pressure)
    outside.check(
        "evacuation.rise",
        printed=theirs.slope,
        ours=ours.rate.magnitude,
        source="scipy.stats.linregress, slope",
        standing="library",
        rel=1e-6,
    )
    outside.check(
        "evacuation.rise",
        printed=theirs.stderr,
        ours=ours.u_rate.magnitude,
        source="scipy.stats.linregress, stderr",
        standing="library",
        rel=1e-6,
    )


def test_a_slow_rise_could_be_either_and_says_so():
    slow_leak = [judged(lambda t: 40 + 0.01 * t, seed=seed).kind for seed in range(20)]
    slow_moisture = [
        judged(lambda t: 40 + (WATER - 40) * (1 - np.exp(-t / 200_000)), seed=seed).kind
        for seed in range(20)
    ]
    assert slow_leak.count(UNDECIDED) >= 18
    assert slow_moisture.count(UNDECIDED) >= 18


def test_a_longer_hold_tells_what_a_short_one_could_not():
    long = np.arange(0, 24 * 3600 + 1, 1800.0)
    assert judged(lambda t: 40 + 0.01 * t, times=long).kind == "leak"
    assert (
        judged(lambda t: 40 + (WATER - 40) * (1 - np.exp(-t / 200_000)), times=long).kind
        == "moisture"
    )


def test_two_standard_uncertainties_of_the_rate_cover_it_as_often_as_they_should():
    found = [judged(both, seed=seed) for seed in range(200)]
    covered = np.mean(
        [abs(rise.rate.magnitude - 0.02) <= 1.96 * rise.u_rate.magnitude for rise in found]
    )
    assert 0.90 <= covered <= 0.985


def test_moisture_still_says_what_leak_could_have_hidden():
    found = judged(damp)
    assert found.kind == "moisture"
    assert found.u_rate.magnitude > 0


def test_the_plateau_never_exceeds_the_vapour_pressure_of_water():
    # A curve that levels above water's vapour pressure cannot be moisture alone.
    found = judged(lambda t: 40 + 2 * WATER * (1 - np.exp(-t / 900)))
    assert found.kind != "moisture"
    for shape in found.shapes:
        if shape.name == "moisture":
            assert shape.gain == 0 or shape.start + shape.gain <= WATER * (1 + 1e-6)


def test_weights_of_all_shapes_add_up_to_one():
    found = judged(leaking)
    assert sum(found.weights.values()) == pytest.approx(1)
    assert set(found.weights) == {"tight", "leak", "moisture", "leak and moisture"}


@pytest.mark.parametrize(
    ("times", "pressures"),
    [
        ([0, 1, 2, 3, 4], [1, 1, 1, 1, 1]),
        ([0, 1, 2, 3, 4, 5], [1, 1, 1, 1, 1, float("nan")]),
        ([0, 1, 2, 2, 4, 5], [1] * 6),
    ],
)
def test_too_few_missing_or_unordered_readings_are_refused(times, pressures):
    with pytest.raises(ScienceError, match="rise test"):
        evacuation.rise(Q(np.array(times), "min"), Q(np.array(pressures), "Pa"), Q(WATER, "Pa"))


def test_pressures_need_a_unit():
    with pytest.raises(UnitError):
        evacuation.rise(Q(TIMES, "s"), tight(TIMES), Q(WATER, "Pa"))


def test_microns_and_minutes_give_the_same_finding():
    si = evacuation.rise(Q(TIMES, "s"), Q(leaking(TIMES), "Pa"), Q(WATER, "Pa"))
    shop = evacuation.rise(
        Q(TIMES / 60, "min"), Q(leaking(TIMES), "Pa").to("micron_mercury"), Q(17.54, "mmHg")
    )
    assert shop.kind == si.kind
    assert shop.rate.to("micron_mercury/hour").magnitude == pytest.approx(
        0.1 * 3600 / 0.133322, rel=1e-4
    )


@pytest.mark.parametrize(
    ("microns", "frozen"), [(5000, False), (4589, False), (4587, True), (500, True)]
)
def test_below_the_triple_point_only_ice_is_left(outside, microns, frozen):
    ours = evacuation.only_ice(Q(microns, "micron_mercury"))
    outside.check(
        "evacuation.only_ice",
        printed=frozen,
        ours=ours,
        source="IAPWS triple point, 4588 microns",
        standing="published",
        abs=1e-9,
    )


def test_the_triple_point_in_microns(outside):
    ours = Q(evacuation.TRIPLE_POINT, "Pa").to("micron_mercury").magnitude
    outside.check(
        "evacuation.TRIPLE_POINT",
        printed=4588,
        ours=ours,
        source="IAPWS triple point 611.66 Pa, in microns",
        standing="published",
        abs=0.5,
    )


def test_the_specified_evacuation(outside):
    source = "UFGS 15652A 3.2.1.2 (ufgscriteriadocreport.tpub.com)"
    for name, printed, ours in (
        (
            "SPECIFIED_START",
            300,
            Q(evacuation.SPECIFIED_START, "Pa").to("micron_mercury").magnitude,
        ),
        ("SPECIFIED_END", 500, Q(evacuation.SPECIFIED_END, "Pa").to("micron_mercury").magnitude),
        ("SPECIFIED_HOLD", 1, evacuation.SPECIFIED_HOLD / 3600),
    ):
        outside.check(
            f"evacuation.{name}",
            printed=printed,
            ours=ours,
            source=source,
            standing="published",
            rel=1e-9,
        )

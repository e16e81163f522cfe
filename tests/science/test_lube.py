"""Oil superheat, dissolved refrigerant, transducer zero, filter drop."""

from __future__ import annotations

import numpy as np
import pytest

from startkit.errors import ScienceError, UnitError
from startkit.science.lube import (
    dissolved_mole_fraction,
    filter_fraction,
    foaming_risk,
    oil_differential,
    oil_superheat,
    oil_superheat_uncertainty,
    transducer_zero,
)
from startkit.units import Q


def test_oil_superheat_is_a_difference_of_temperatures(outside):
    found = oil_superheat(Q(140, "degF"), Q(75, "degF"))
    outside.check(
        "lube.oil_superheat",
        printed=65 / 1.8,
        ours=found.to("delta_degC").magnitude,
        source="140 F less 75 F by hand",
        standing="closed form",
        abs=1e-9,
    )
    assert found.to("delta_degF").magnitude == pytest.approx(65)


def test_saturation_must_be_a_temperature_and_not_a_difference():
    with pytest.raises(UnitError):
        oil_superheat(Q(60, "degC"), Q(24, "delta_degC"))


def test_its_uncertainty_is_that_of_thermometer_and_gauge(outside):
    u = oil_superheat_uncertainty(Q(0.3, "delta_degC"), Q(4, "kPa"), Q(0.1, "delta_degC/kPa"))
    outside.check(
        "lube.oil_superheat_uncertainty",
        printed=0.5,
        ours=u.to("delta_degC").magnitude,
        source="3-4-5 triangle",
        standing="closed form",
        abs=1e-12,
    )


def test_its_uncertainty_agrees_with_monte_carlo(outside):
    rng = np.random.default_rng(1)
    slope = 0.057  # [K/kPa]
    drawn = 60 + rng.normal(0, 0.5, 200_000) - (20 + slope * rng.normal(0, 5, 200_000))
    ours = (
        oil_superheat_uncertainty(Q(0.5, "delta_degC"), Q(5, "kPa"), Q(slope, "delta_degC/kPa"))
        .to("delta_degC")
        .magnitude
    )
    outside.check(
        "lube.oil_superheat_uncertainty",
        printed=drawn.std(),
        ours=ours,
        source="Monte Carlo, JCGM 101, 200 000 draws",
        standing="closed form",
        rel=0.01,
    )


def test_dissolved_refrigerant_follows_raoult(outside):
    found = dissolved_mole_fraction(Q(600, "kPa"), Q(1500, "kPa")).magnitude
    outside.check(
        "lube.dissolved_mole_fraction",
        printed=0.4,
        ours=found,
        source="Raoult's law, 600/1500",
        standing="closed form",
        abs=1e-12,
    )
    assert dissolved_mole_fraction(Q(700, "kPa"), Q(600, "kPa")).magnitude == 1.0


def _start(sump=60.0, now=24.0, after=5.0, p_now=650.0, p_after=350.0, p_oil=1680.0):
    return foaming_risk(
        Q(sump, "degC"),
        Q(now, "degC"),
        Q(after, "degC"),
        Q(p_now, "kPa"),
        Q(p_after, "kPa"),
        Q(p_oil, "kPa"),
    )


def test_what_the_pressure_drop_releases_is_the_difference_of_two_solutions(outside):
    risk = _start()
    outside.check(
        "lube.foaming_risk",
        printed=300 / 1680,
        ours=risk.released.magnitude,
        source="Raoult's law, (650 - 350)/1680",
        standing="closed form",
        abs=1e-12,
    )
    assert risk.superheat_now.to("delta_degC").magnitude == pytest.approx(
        36
    ) and risk.superheat_after.to("delta_degC").magnitude == pytest.approx(55)
    assert not risk.boils


def test_warm_oil_releases_less_than_cold_oil():
    assert _start().released < _start(sump=30.0, p_oil=770.0).released


def test_a_sump_at_saturation_boils_when_the_pressure_falls():
    risk = _start(sump=22.0, p_oil=610.0)
    assert risk.boils and risk.dissolved_now.magnitude == 1.0


def test_no_fall_of_pressure_releases_nothing():
    assert _start(after=24.0, p_after=650.0).released.magnitude == 0


def test_a_vacuum_written_as_gauge_pressure_is_refused():
    with pytest.raises(ScienceError, match="absolute"):
        _start(p_after=-20.0)


def test_the_transducer_zero_is_what_they_say_with_the_pump_off(outside):
    zero, u = transducer_zero(Q([653.0, 654.0, 655.0], "kPa"), Q([650.0, 650.0, 650.0], "kPa"))
    outside.check(
        "lube.transducer_zero",
        printed=4.0,
        ours=zero.to("kPa").magnitude,
        source="mean of 3, 4, 5",
        standing="closed form",
        abs=1e-9,
    )
    outside.check(
        "lube.transducer_zero",
        printed=4.303 / np.sqrt(3),
        ours=1.959964 * u.to("kPa").magnitude,
        source="scipy.stats t interval of 3, 4, 5; t = 4.303 in Table G.2 of JCGM 100",
        standing="published",
        rel=1e-3,
    )
    assert np.isnan(transducer_zero(Q(653, "kPa"), Q(650, "kPa"))[1].magnitude)


def test_the_differential_has_the_zero_subtracted(outside):
    found = oil_differential(Q(830, "kPa"), Q(650, "kPa"), Q(4, "kPa"))
    outside.check(
        "lube.oil_differential",
        printed=176,
        ours=found.to("kPa").magnitude,
        source="830 - 650 - 4",
        standing="closed form",
        abs=1e-9,
    )
    with pytest.raises(TypeError):
        oil_differential(Q(830, "kPa"), Q(650, "kPa"))


def test_the_filter_drop_is_a_fraction_of_the_drop_to_change_it_at(outside):
    outside.check(
        "lube.filter_fraction",
        printed=0.4,
        ours=filter_fraction(Q(4, "psi"), Q(10, "psi")).magnitude,
        source="4 of 10",
        standing="closed form",
        abs=1e-12,
    )
    with pytest.raises(ScienceError, match="filter"):
        filter_fraction(Q(4, "psi"), Q(0, "psi"))

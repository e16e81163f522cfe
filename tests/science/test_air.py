"""Site air: the standard atmosphere and the dew point."""

from __future__ import annotations

import pytest

from startkit.errors import ScienceError
from startkit.science import air
from startkit.units import Q


@pytest.mark.parametrize(
    ("metres", "hectopascal"),
    [(0, 1013.25), (1000, 898.76), (1500, 845.60), (3000, 701.21), (5000, 540.48)],
)
def test_the_standard_barometer_is_that_of_the_printed_table(outside, metres, hectopascal):
    ours = air.standard_barometer(Q(metres, "meter")).to("hectopascal").magnitude
    outside.check(
        "air.standard_barometer",
        printed=hectopascal,
        ours=ours,
        source="ISO 2533 / US Standard Atmosphere 1976, table by geometric altitude (from memory)",
        standing="from memory",
        abs=0.02,
    )


def test_an_elevation_outside_the_table_is_refused():
    with pytest.raises(ScienceError, match="site's elevation"):
        air.standard_barometer(Q(20, "kilometer"))


def test_weather_dominates_the_uncertainty_of_a_barometer_taken_from_a_map(outside):
    ours = air.standard_barometer_uncertainty(Q(10, "meter")).to("pascal").magnitude
    outside.check(
        "air.standard_barometer_uncertainty",
        printed=1007.2,
        ours=ours,
        source="root sum of squares of 1 kPa weather and 12.0 Pa/m",
        standing="closed form",
        abs=0.1,
    )
    assert air.standard_barometer_uncertainty(Q(100, "meter")).magnitude > 1.4e3


@pytest.mark.parametrize(
    ("celsius", "percent", "printed"),
    [(25, 50, 13.9), (20, 60, 12.0), (30, 80, 26.2), (10, 100, 10.0)],
)
def test_the_dew_point_is_that_of_the_printed_table(outside, celsius, percent, printed):
    ours = air.dew_point(Q(celsius, "degC"), Q(percent, "percent")).to("degC").magnitude
    outside.check(
        "air.dew_point",
        printed=printed,
        ours=ours,
        source="dew point table of moist air (from memory)",
        standing="from memory",
        abs=0.1,
    )
    assert air.dew_point(Q(celsius, "degC"), percent / 100).to("degC").magnitude == pytest.approx(
        ours
    )


@pytest.mark.parametrize(("celsius", "humidity"), [(20, 0.0), (20, 60.0), (90, 0.5)])
def test_humidity_or_temperature_that_cannot_be_is_refused(celsius, humidity):
    with pytest.raises(ScienceError, match=r"air\.dew_point"):
        air.dew_point(Q(celsius, "degC"), humidity)

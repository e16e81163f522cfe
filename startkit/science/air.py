"""Air at the site: barometric pressure from elevation, and the dew point of the machinery room."""

from __future__ import annotations

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number
from startkit.units import quantities

# ISO 2533:1975: sea level pressure, temperature, lapse rate; exponent g M / (R L).
_P0, _T0, _LAPSE, _EXPONENT = 101325.0, 288.15, 0.0065, 5.255876
_EARTH = 6356766.0  # m, nominal radius for geopotential altitude
# Standard deviation of the weather about the standard atmosphere. Common practice, no source.
WEATHER = 1000.0  # Pa


@quantities("pascal", elevation="meter")
def standard_barometer(elevation: Number) -> Number:
    """Barometric pressure of the standard atmosphere at an elevation.

    p = 101.325 kPa (1 - 0.0065 H / 288.15)^5.255876,  H = r z / (r + z)

    A stand-in until a barometer is read: see `standard_barometer_uncertainty`.

    Parameters
    ----------
    elevation : pint.Quantity
        [length] above sea level, -1000 to 11 000 m.

    Raises
    ------
    ScienceError
        Elevation outside the troposphere.

    Source: ISO 2533:1975, clause 2.
    """
    if not -1000 <= elevation <= 11000:
        raise ScienceError(
            f"{elevation:.0f} m is not a possible elevation of a plant room",
            "air.standard_barometer",
            "give the site's elevation in m or ft",
        )
    geopotential = _EARTH * elevation / (_EARTH + elevation)
    return _P0 * (1 - _LAPSE * geopotential / _T0) ** _EXPONENT


@quantities("pascal", elevation_uncertainty="meter")
def standard_barometer_uncertainty(elevation_uncertainty: Number = 10.0) -> Number:
    """Standard uncertainty of `standard_barometer` as the site's pressure: weather, and the
    elevation at 12 Pa/m.

    u = sqrt(weather^2 + (rho g u_z)^2), weather 1 kPa (common practice, no source).

    Parameters
    ----------
    elevation_uncertainty : pint.Quantity
        Standard uncertainty of the elevation [length].

    Source: root sum of squares, JCGM 100:2008, 5.1.2.
    """
    return float(np.hypot(WEATHER, 1.225 * 9.80665 * elevation_uncertainty))


@quantities("kelvin", temperature="kelvin", humidity="dimensionless")
def dew_point(temperature: Number, humidity: Number) -> Number:
    """Dew point of air: Td = 243.12 g / (17.62 - g), g = ln(RH) + 17.62 t / (243.12 + t), t in °C.

    Parameters
    ----------
    temperature : pint.Quantity
        Dry-bulb [temperature], -45 to 60 °C.
    humidity : pint.Quantity or float
        Relative humidity as a fraction above 0 up to 1 (or a quantity in percent).

    Raises
    ------
    ScienceError
        Humidity or temperature outside the range.

    Source: WMO-No. 8 (2018), Annex 4.B (Magnus form over water).

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(dew_point(Q(20, "degC"), Q(60, "percent")).to("degC").magnitude, 1)
    12.0
    """
    share = float(getattr(humidity, "magnitude", humidity))
    if not 0 < share <= 1:
        raise ScienceError(
            f"a relative humidity of {100 * share:g} % is impossible",
            "air.dew_point",
            "give it above 0 and up to 100 %",
        )
    celsius = temperature - 273.15
    if not -45 <= celsius <= 60:
        raise ScienceError(
            f"{celsius:.1f} °C is outside the range of the dew point formula",
            "air.dew_point",
            "give -45 to 60 °C",
        )
    gamma = np.log(share) + 17.62 * celsius / (243.12 + celsius)
    return float(243.12 * gamma / (17.62 - gamma)) + 273.15

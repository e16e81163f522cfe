"""Viscosity of the oil: from two points of its data sheet to any temperature, and the ISO grade."""

from __future__ import annotations

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

# ISO 3448:1992, table 1: grade -> midpoint kinematic viscosity at 40 degC [mm2/s]; limits are 10 %
# either side.
ISO_VG: dict[int, float] = {
    2: 2.2,
    3: 3.2,
    5: 4.6,
    7: 6.8,
    10: 10.0,
    15: 15.0,
    22: 22.0,
    32: 32.0,
    46: 46.0,
    68: 68.0,
    100: 100.0,
    150: 150.0,
    220: 220.0,
    320: 320.0,
    460: 460.0,
    680: 680.0,
    1000: 1000.0,
    1500: 1500.0,
    2200: 2200.0,
    3200: 3200.0,
}
ISO_VG_TOLERANCE = 0.10
LOWEST = 2e-6  # [m2/s] below 2 mm2/s the short form of the equation no longer holds
HIGHEST = 2e-2  # [m2/s] 20 000 mm2/s, upper end of the charts of ASTM D341


def _loglog(viscosity: Number) -> Number:
    """log10 log10 (v + 0.7), v in mm2/s."""
    return np.log10(np.log10(np.asarray(viscosity, float) * 1e6 + 0.7))


def _in_range(viscosity: Value, function: str) -> None:
    values = np.asarray(viscosity, float)
    if np.any(~(values >= LOWEST)) or np.any(values > HIGHEST):
        raise ScienceError(
            f"{float(np.ravel(values)[0]) * 1e6:.3g} mm2/s is outside 2 to 20 000 mm2/s, where the"
            " equation holds",
            function,
            "check the sheet values and the temperature, or take a point of the sheet nearer to"
            " this temperature",
        )


@quantities(
    ("dimensionless", "dimensionless"),
    viscosity_1="meter**2/second",
    temperature_1="kelvin",
    viscosity_2="meter**2/second",
    temperature_2="kelvin",
)
def walther_constants(
    viscosity_1: Value, temperature_1: Value, viscosity_2: Value, temperature_2: Value
) -> tuple[float, float]:
    """Constants A and B of the viscosity-temperature line.

    log10 log10 (v + 0.7) = A - B log10 T, v in mm2/s, T in K

    Parameters
    ----------
    viscosity_1, viscosity_2 : pint.Quantity
        [area/time] kinematic, 2 to 20 000 mm2/s, the lower at the higher temperature.
    temperature_1, temperature_2 : pint.Quantity
        [temperature].

    Returns
    -------
    tuple of pint.Quantity
        A and B [dimensionless].

    Raises
    ------
    ScienceError
        Viscosity outside the range, equal temperatures, or viscosity that rises with temperature.

    Source: ASTM D341-20, section 5 (equation seen in secondary copies), after Walther (1931).
    """
    _in_range([viscosity_1, viscosity_2], "walther_constants")
    if temperature_1 == temperature_2:
        raise ScienceError(
            "both viscosities are at one temperature",
            "walther_constants",
            "take two points of the oil's sheet, such as 40 and 100 degC",
        )
    one, two = float(_loglog(viscosity_1)), float(_loglog(viscosity_2))
    b = (one - two) / (np.log10(temperature_2) - np.log10(temperature_1))
    if b <= 0:
        raise ScienceError(
            "viscosity does not fall with temperature",
            "walther_constants",
            "check which viscosity belongs to which temperature",
        )
    return float(one + b * np.log10(temperature_1)), float(b)


@quantities(
    "meter**2/second",
    temperature="kelvin",
    viscosity_1="meter**2/second",
    temperature_1="kelvin",
    viscosity_2="meter**2/second",
    temperature_2="kelvin",
)
def viscosity_at(
    temperature: Number,
    viscosity_1: Number,
    temperature_1: Number,
    viscosity_2: Number,
    temperature_2: Number,
) -> Number:
    """Kinematic viscosity of the clean oil at a temperature, from two points of its sheet.

    v = 10^(10^(A - B log10 T)) - 0.7, v in mm2/s, T in K

    Parameters
    ----------
    temperature : pint.Quantity
        [temperature], scalar or array.
    viscosity_1, temperature_1, viscosity_2, temperature_2 : pint.Quantity
        As in `walther_constants`.

    Returns
    -------
    pint.Quantity
        [area/time]. Oil free of refrigerant: dissolved refrigerant makes it thinner than this.

    Raises
    ------
    ScienceError
        The result or a sheet point is outside 2 to 20 000 mm2/s.

    Source: ASTM D341-20, section 5.

    Examples
    --------
    >>> from startkit.units import Q
    >>> v = viscosity_at(Q(60, "degC"), Q(68, "mm**2/s"), Q(40, "degC"), Q(8.6, "mm**2/s"), Q(100,
    ...     "degC"))
    >>> round(float(v.to("mm**2/s").magnitude), 1)
    28.5
    """
    a, b = walther_constants.si(viscosity_1, temperature_1, viscosity_2, temperature_2)
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        found = (10.0 ** (10.0 ** (a - b * np.log10(np.asarray(temperature, float)))) - 0.7) * 1e-6
    _in_range(found, "viscosity_at")
    return found if np.ndim(temperature) else float(found)


@quantities(
    "meter**2/second/kelvin",
    temperature="kelvin",
    viscosity_1="meter**2/second",
    temperature_1="kelvin",
    viscosity_2="meter**2/second",
    temperature_2="kelvin",
)
def viscosity_slope(
    temperature: Number,
    viscosity_1: Number,
    temperature_1: Number,
    viscosity_2: Number,
    temperature_2: Number,
) -> Number:
    """Change of viscosity per kelvin, for the uncertainty that a thermometer brings.

    dv/dT = -B ln(10) w (v + 0.7) / T, w = log10(v + 0.7), v in mm2/s

    Parameters
    ----------
    temperature, viscosity_1, temperature_1, viscosity_2, temperature_2 : pint.Quantity
        As in `viscosity_at`.

    Returns
    -------
    pint.Quantity
        [area/time/temperature], negative.

    Raises
    ------
    ScienceError
        As `viscosity_at`.

    Source: derivative of ASTM D341-20, section 5 (closed form).
    """
    _, b = walther_constants.si(viscosity_1, temperature_1, viscosity_2, temperature_2)
    z = (
        viscosity_at.si(temperature, viscosity_1, temperature_1, viscosity_2, temperature_2) * 1e6
        + 0.7
    )
    return -b * np.log(10.0) * np.log10(z) * z / temperature * 1e-6


@quantities(None, viscosity_at_40c="meter**2/second")
def iso_grade(viscosity_at_40c: Number) -> int | None:
    """ISO viscosity grade that an oil's viscosity at 40 degC belongs to.

    0.9 midpoint <= v <= 1.1 midpoint

    Parameters
    ----------
    viscosity_at_40c : pint.Quantity
        [area/time].

    Returns
    -------
    int or None
        The grade (ISO VG 68 is 68); None between grades.

    Source: ISO 3448:1992, table 1.
    """
    value = float(viscosity_at_40c) * 1e6
    for grade, midpoint in ISO_VG.items():
        if abs(value - midpoint) <= ISO_VG_TOLERANCE * midpoint * (1 + 1e-9):
            return grade
    return None

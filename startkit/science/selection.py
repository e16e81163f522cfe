"""Selection: what the machine was sold to do at the load and temperatures found.

Between the rows of a part-load table values are interpolated; beyond them nothing is known. Where
the maker gave performance curves, they are evaluated inside the range they were fitted over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pint

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import Q, quantities

# largest change of specific power for conditions that differ, before the comparison is refused
CORRECTION_LIMIT = 0.15
MOST_LOAD = 1.1  # of available capacity: no curve was fitted beyond


def interpolate(
    load: Value, loads: Sequence[Value] | Value, values: Sequence[Value] | Value
) -> Value:
    """Value of a part-load table at a load: the straight line between the rows either side, never
    beyond them.

    Parameters
    ----------
    load : float or pint.Quantity or array
        Share of full load found; also any other quantity along which the rows are ordered.
    loads, values : sequence
        The table's rows, pint quantities or bare numbers.

    Returns
    -------
    pint.Quantity or float
        As `values`; in a trend, points beyond the rows are not a number.

    Raises
    ------
    ScienceError
        The load is beyond the rows by more than a rounding, or the table has rows of one load.

    Source: AHRI 550/590 clause 5.4 (straight line, no extrapolation; from memory).
    """
    unit, figures = _bare(values)
    _, along = _bare(loads)
    _, at = _bare(load)
    order = np.argsort(along)
    along, figures = along[order], figures[order]
    if (np.diff(along) <= 0).any():
        raise ScienceError(
            "two rows of the part-load table have the same load",
            "selection.interpolate",
            "check the sheet",
        )
    slack = 1e-9 * max(1.0, float(np.abs(along).max()))
    outside = ~((at >= along[0] - slack) & (at <= along[-1] + slack))
    if at.ndim == 0 and outside:
        raise ScienceError(
            f"{100 * float(at):.0f} % load is outside the table's {100 * along[0]:.0f} to"
            f" {100 * along[-1]:.0f} %",
            "selection.interpolate",
            "add a row to the sheet or measure inside it; nothing is extrapolated",
        )
    values = np.where(outside, np.nan, np.interp(at, along, figures))
    found = values if values.ndim else float(values)
    return found if unit is None else Q(found, unit)


def _bare(values: Value) -> tuple[str | None, np.ndarray]:
    """Base unit and bare numbers of quantities, a list of quantities, or numbers."""
    if isinstance(values, pint.Quantity):
        base = values.to_base_units()
        return str(base.units), np.asarray(base.magnitude, float)
    listed = list(values) if isinstance(values, list | tuple) else None
    if listed and isinstance(listed[0], pint.Quantity):
        each_base = [each.to_base_units() for each in listed]
        return str(each_base[0].units), np.array([each.magnitude for each in each_base], float)
    return None, np.asarray(values, float)


@quantities(
    "dimensionless",
    evaporator="kelvin",
    condenser="kelvin",
    selected_evaporator="kelvin",
    selected_condenser="kelvin",
)
def lift_correction(
    evaporator: Value, condenser: Value, selected_evaporator: Value, selected_condenser: Value
) -> float:
    """Factor on the selection's kW/ton for another lift, at an unchanged share of Carnot.

    factor = [(Tc - Te) / Te] / [(Tc - Te) / Te]_selected

    Parameters
    ----------
    evaporator, condenser : pint.Quantity
        Saturation [temperature] found.
    selected_evaporator, selected_condenser : pint.Quantity
        Saturation [temperature] of the selection at that load.

    Raises
    ------
    ScienceError
        No lift, or a correction above 15 %: the conditions are too far apart to compare.

    Source: common practice, no source; the reversed Carnot cycle is textbook.
    """
    found, selected = (
        (condenser - evaporator) / evaporator,
        (selected_condenser - selected_evaporator) / selected_evaporator,
    )
    if not (found > 0 and selected > 0):
        raise ScienceError(
            "condenser saturation is not above evaporator saturation",
            "selection.lift_correction",
            "check both pressures and the barometer",
        )
    factor = found / selected
    if abs(factor - 1) > CORRECTION_LIMIT:
        raise ScienceError(
            f"the lift found changes specific power by {100 * (factor - 1):+.0f} %, too far from"
            " the selection to compare",
            "selection.lift_correction",
            "measure closer to the selection's water temperatures, or ask for a selection at these",
        )
    return factor


@quantities("dimensionless", load="dimensionless", lift="delta_degC", line_lifts="delta_degC")
def surge_margin(load: Value, lift: Value, line_loads: Sequence[float], line_lifts: Value) -> Value:
    """Distance to the sheet's surge line at the load found: (lift of the line - lift) / lift of the
    line.

    Negative: the point is beyond the line.

    Parameters
    ----------
    load : float
        Share of full load.
    lift : pint.Quantity
        Lift found [temperature difference].
    line_loads, line_lifts : sequence, pint.Quantity
        The line's points [share of full load], [temperature difference].

    Raises
    ------
    ScienceError
        The load is beyond the line's points.

    Source: definition of this project.
    """
    at_line = interpolate(load, line_loads, line_lifts)
    return (at_line - lift) / at_line


# --- performance curves ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Curves:
    """Performance curves of a water-cooled chiller in the common biquadratic form.

    Parameters
    ----------
    capacity, power : tuple of 6 float
        Coefficients c1 + c2 x + c3 x2 + c4 y + c5 y2 + c6 x y of available capacity and of power
        per capacity,
        with x leaving chilled and y entering condenser water [°C].
    part_load : tuple of 3 float
        Coefficients of power over the share of available capacity: c1 + c2 p + c3 p2.
    reference_capacity : float
        [W]
    reference_cop : float
    reference_leaving, reference_entering : float
        [°C]
    leaving_range, entering_range : tuple of 2 float
        What the curves were fitted over [°C].
    least_load : float
        Smallest share of available capacity.
    source : str
    """

    capacity: tuple[float, ...]
    power: tuple[float, ...]
    part_load: tuple[float, ...]
    reference_capacity: float
    reference_cop: float
    reference_leaving: float
    reference_entering: float
    leaving_range: tuple[float, float]
    entering_range: tuple[float, float]
    least_load: float
    source: str = ""


@dataclass(frozen=True)
class Expected:
    """What the curves expect.

    Parameters
    ----------
    power : pint.Quantity
        Input [power].
    specific_power : pint.Quantity
        Power over capacity [dimensionless].
    available : pint.Quantity
        Capacity available at these temperatures [power].
    load : pint.Quantity
        Capacity over what is available [dimensionless].
    warnings : tuple of str
        One sentence for each temperature outside the fitted range.
    """

    power: Value
    specific_power: Value
    available: Value
    load: Value
    warnings: tuple[str, ...] = ()


@quantities(
    {
        "power": "watt",
        "specific_power": "dimensionless",
        "available": "watt",
        "load": "dimensionless",
    },
    capacity="watt",
    leaving="kelvin",
    entering="kelvin",
)
def expected_power(
    curves: Curves, capacity: Value, leaving: Value, entering: Value, normalised: bool = True
) -> Expected:
    """Input power that the curves expect at a capacity and two water temperatures.

    P = Q_ref f_cap(x, y) f_eir(x, y) f_plr(p) / COP_ref,  p = Q / (Q_ref f_cap(x, y))

    Parameters
    ----------
    curves : Curves
    capacity : pint.Quantity
        Capacity found [power].
    leaving, entering : pint.Quantity
        Leaving chilled and entering condenser water [temperature].
    normalised : bool
        Divide each curve by its value at the reference point, so that the reference capacity and
        COP come out there.

    Returns
    -------
    Expected

    Raises
    ------
    ScienceError
        Load below the least or above 110 % of what is available.

    Source: EnergyPlus Engineering Reference, electric chiller based on entering condenser
    temperature.
    """
    x, y = leaving - 273.15, entering - 273.15
    reference = (curves.reference_leaving, curves.reference_entering)
    scale = [
        _biquadratic(each, *reference) if normalised else 1.0
        for each in (curves.capacity, curves.power)
    ]
    available = curves.reference_capacity * _biquadratic(curves.capacity, x, y) / scale[0]
    load = capacity / available
    _refuse_load(curves, load)
    shape = _quadratic(curves.part_load, load) / (
        _quadratic(curves.part_load, 1.0) if normalised else 1.0
    )
    power = available / curves.reference_cop * _biquadratic(curves.power, x, y) / scale[1] * shape
    return Expected(power, power / capacity, available, load, _outside(curves, x, y))


def _biquadratic(c: Sequence[float], x: Number, y: Number) -> Number:
    return c[0] + c[1] * x + c[2] * x * x + c[3] * y + c[4] * y * y + c[5] * x * y


def _quadratic(c: Sequence[float], p: Number) -> Number:
    return c[0] + c[1] * p + c[2] * p * p


def _refuse_load(curves: Curves, load: float) -> None:
    if not curves.least_load - 1e-9 <= load <= MOST_LOAD:
        raise ScienceError(
            f"{100 * load:.0f} % of the available capacity is outside the curves,"
            f" {100 * curves.least_load:.0f} to {100 * MOST_LOAD:.0f} %",
            "selection.expected_power",
            "measure at a load inside; below its least load a machine cycles",
        )


def _outside(curves: Curves, leaving: float, entering: float) -> tuple[str, ...]:
    checks = (
        ("leaving chilled water", leaving, curves.leaving_range),
        ("entering condenser water", entering, curves.entering_range),
    )
    return tuple(
        f"{name} {value:.1f} °C is outside the {low:.1f} to {high:.1f} °C over which the curves"
        " were fitted"
        for name, value, (low, high) in checks
        if not low - 1e-6 <= value <= high + 1e-6
    )

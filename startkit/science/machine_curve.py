"""Machine curve: what a chiller cools and draws under a current limit, by its part-load table or by
published curves.

Both kinds answer the same three questions in bare SI, for arrays of leaving chilled-water
temperature [K]:
``capacity(limit, leaving)`` [W], ``current(limit, leaving)`` and ``full_vane_current(leaving)``
[parts of full-load current].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number
from startkit.units import quantities

_ZERO_C = 273.15


@dataclass(frozen=True)
class TableMachine:
    """A machine by its sheet's part-load table.

    With each kelvin of warmer water the open vanes give `growth` more capacity, and a unit of
    capacity takes `easing`
    less current, since the lift is smaller.
    """

    full_capacity: float
    design_leaving: float
    loads: tuple[float, ...]
    currents: tuple[float, ...]
    growth: float = 0.0
    easing: float = 0.0

    def full_vane_current(self, leaving: Number) -> Number:
        return self.currents[-1] * self._current_scale(leaving)

    def capacity(self, limit: Number, leaving: Number) -> Number:
        """Cooling capacity from the table [W]."""
        # Below the table's least load the machine cannot unload: it keeps that load.
        grown, eased = self._scales(leaving)
        load = np.interp(
            np.minimum(limit / (grown * eased), self.currents[-1]), self.currents, self.loads
        )
        return self.full_capacity * grown * load

    def current(self, limit: Number, leaving: Number) -> Number:
        scale = self._current_scale(leaving)
        return scale * np.clip(limit / scale, self.currents[0], self.currents[-1])

    def _current_scale(self, leaving: Number) -> Number:
        grown, eased = self._scales(leaving)
        return grown * eased

    def _scales(self, leaving: Number) -> tuple[Number, Number]:
        """How much more capacity there is, and how much less current a unit of it takes."""
        warmer = np.asarray(leaving, dtype=float) - self.design_leaving
        return np.maximum(1 + self.growth * warmer, 0.1), np.maximum(1 - self.easing * warmer, 0.3)


@dataclass(frozen=True)
class CurveMachine:
    """A machine by three published curves: capacity and power by temperature, power by part load.

    Current is taken in proportion to power: voltage and power factor as at full load (common
    practice, no source).
    Outside the range in which the curves were fitted the temperature is held at the range's end.
    """

    reference_capacity: float
    reference_cop: float
    capacity_curve: tuple[float, ...]
    power_curve: tuple[float, ...]
    load_curve: tuple[float, ...]
    condenser_entering: float
    leaving_range: tuple[float, float]
    least_load: float
    full_load_power: float

    def available(self, leaving: Number) -> Number:
        return self.reference_capacity * biquadratic(
            self.capacity_curve, self._celsius(leaving), self.condenser_entering - _ZERO_C
        )

    def power(self, leaving: Number, load: Number) -> Number:
        factor = biquadratic(
            self.power_curve, self._celsius(leaving), self.condenser_entering - _ZERO_C
        )
        c1, c2, c3 = self.load_curve
        return (
            self.available(leaving) / self.reference_cop * factor * (c1 + c2 * load + c3 * load**2)
        )

    def load_under(self, limit: Number, leaving: Number) -> Number:
        """Part load at which the power reaches the limit: one with the vanes fully open, no lower
        than the least load.
        """
        c1, c2, c3 = self.load_curve
        wanted = limit * self.full_load_power / self.power(leaving, 1.0) * (c1 + c2 + c3)
        root = np.sqrt(np.maximum(c2**2 - 4 * c3 * (c1 - wanted), 0.0))
        load = (root - c2) / (2 * c3) if c3 else (wanted - c1) / c2
        return np.clip(load, self.least_load, 1.0)

    def capacity(self, limit: Number, leaving: Number) -> Number:
        """Cooling capacity from the scaled curve [W]."""
        return self.available(leaving) * self.load_under(limit, leaving)

    def current(self, limit: Number, leaving: Number) -> Number:
        return self.power(leaving, self.load_under(limit, leaving)) / self.full_load_power

    def full_vane_current(self, leaving: Number) -> Number:
        return self.power(leaving, 1.0) / self.full_load_power

    def inside(self, leaving: Number) -> bool:
        """Whether the curves were fitted for these temperatures."""
        celsius = np.asarray(leaving, dtype=float) - _ZERO_C
        return bool(
            np.all(
                (celsius >= self.leaving_range[0] - _ZERO_C - 0.01)
                & (celsius <= self.leaving_range[1] - _ZERO_C + 0.01)
            )
        )

    def _celsius(self, leaving: Number) -> Number:
        return np.clip(np.asarray(leaving, dtype=float), *self.leaving_range) - _ZERO_C


def biquadratic(curve: tuple[float, ...], x: Number, y: Number) -> Number:
    """c1 + c2 x + c3 x^2 + c4 y + c5 y^2 + c6 x y, temperatures in degrees Celsius as the curves
    are published.
    """
    c1, c2, c3, c4, c5, c6 = curve
    return c1 + c2 * x + c3 * x**2 + c4 * y + c5 * y**2 + c6 * x * y


@quantities(
    None,
    full_capacity="watt",
    design_leaving="kelvin",
    loads="dimensionless",
    currents="dimensionless",
    growth="1/delta_degC",
    easing="1/delta_degC",
)
def machine_from_table(
    full_capacity: Number,
    design_leaving: Number,
    loads: Number,
    currents: Number,
    growth: Number = 0.0,
    easing: Number = 0.0,
) -> TableMachine:
    """A machine by the part-load table of its sheet.

    Q = Q_full k_Q table(I / k_I);  k_Q = 1 + g (T_leaving - T_design),  k_I = k_Q (1 - s (T_leaving
    - T_design))

    Parameters
    ----------
    full_capacity : Quantity
        At full load [W].
    design_leaving : Quantity
        Leaving chilled water of the table [K].
    loads, currents : Quantity
        Rows of the table, as parts of full capacity [1] and of full-load current [1].
    growth : Quantity, optional
        g, more capacity with open vanes for each kelvin of warmer water [1/K], from the sheet or
        the maker's selection.
    easing : Quantity, optional
        s, less current for a unit of capacity for each kelvin of warmer water [1/K]. Both zero: the
        table as it is.

    Returns
    -------
    TableMachine

    Raises
    ------
    ScienceError
        Fewer than two rows, or a current that does not rise with load.

    Source: the machine's own sheet; straight between its rows.
    """
    order = np.argsort(np.asarray(loads, dtype=float))
    rows, amps = np.asarray(loads, dtype=float)[order], np.asarray(currents, dtype=float)[order]
    if (
        rows.size < 2
        or rows.size != amps.size
        or np.any(np.diff(rows) <= 0)
        or np.any(np.diff(amps) <= 0)
        or full_capacity <= 0
    ):
        raise ScienceError(
            "the part-load table needs two rows or more in which current rises with load",
            "pull-down",
            "enter the part-load points of the machine's sheet",
        )
    return TableMachine(
        float(full_capacity),
        float(design_leaving),
        tuple(rows.tolist()),
        tuple(amps.tolist()),
        float(growth),
        float(easing),
    )


@quantities(
    None,
    reference_capacity="watt",
    reference_cop="dimensionless",
    condenser_entering="kelvin",
    leaving_from="kelvin",
    leaving_to="kelvin",
    full_load_power="watt",
)
def machine_from_curves(
    reference_capacity: Number,
    reference_cop: Number,
    capacity_curve: tuple[float, ...],
    power_curve: tuple[float, ...],
    load_curve: tuple[float, ...],
    condenser_entering: Number,
    leaving_from: Number,
    leaving_to: Number,
    least_load: float = 0.2,
    full_load_power: Number | None = None,
) -> CurveMachine:
    """A machine by published curves.

    Q = Q_ref capft(T_leaving, T_condenser);  P = Q/COP_ref eirft(T_leaving, T_condenser)
    eirfplr(load)

    Parameters
    ----------
    reference_capacity, reference_cop : Quantity
        At the curves' reference point [W], [1].
    capacity_curve, power_curve : tuple of six
        Biquadratic coefficients in degrees Celsius, see `biquadratic`.
    load_curve : tuple of three
        c1 + c2 load + c3 load^2.
    condenser_entering : Quantity
        Entering condenser water during the pull-down [K].
    leaving_from, leaving_to : Quantity
        Range of leaving water in which the curves were fitted [K].
    least_load : float
        Least part load without hot-gas bypass [1].
    full_load_power : Quantity, optional
        Power at full-load current [W]; left out, the power at the cold end of the range with the
        vanes open.

    Returns
    -------
    CurveMachine

    Raises
    ------
    ScienceError
        Wrong number of coefficients, or no capacity.

    Source: form of EnergyPlus Chiller:Electric:EIR, as in PNNL copper-bem 0.3.0.
    """
    if (
        (len(capacity_curve), len(power_curve), len(load_curve)) != (6, 6, 3)
        or reference_capacity <= 0
        or reference_cop <= 0
    ):
        raise ScienceError(
            "the curves need six, six and three coefficients and a capacity",
            "pull-down",
            "copy them whole from their source",
        )
    machine = CurveMachine(
        float(reference_capacity),
        float(reference_cop),
        tuple(capacity_curve),
        tuple(power_curve),
        tuple(load_curve),
        float(condenser_entering),
        (float(leaving_from), float(leaving_to)),
        least_load,
        1.0,
    )
    power = (
        float(machine.power(leaving_from, 1.0))
        if full_load_power is None
        else float(full_load_power)
    )
    return CurveMachine(**{**machine.__dict__, "full_load_power": power})

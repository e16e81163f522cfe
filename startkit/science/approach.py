"""Approach: how near the water comes to saturation, and the conductance that follows."""

from __future__ import annotations

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number
from startkit.science import refrigerant
from startkit.science.performance import _positive
from startkit.units import quantities


@quantities("delta_degC", pressure="pascal", leaving="kelvin")
def approach_evaporator(fluid: str, pressure: Number, leaving: Number) -> Number:
    """Evaporator approach: leaving chilled water - saturation (dew) temperature at evaporator
    pressure.

    Parameters
    ----------
    fluid : str
        Refrigerant.
    pressure : pint.Quantity
        Absolute evaporator [pressure].
    leaving : pint.Quantity
        Leaving chilled water [temperature].

    Source: definition; saturation by `refrigerant.dew_temperature`.
    """
    return leaving - refrigerant.dew_temperature.si(fluid, pressure)


@quantities("delta_degC", pressure="pascal", leaving="kelvin")
def approach_condenser(fluid: str, pressure: Number, leaving: Number) -> Number:
    """Condenser approach: saturation (dew) temperature at condenser pressure - leaving condenser
    water.

    Parameters
    ----------
    fluid : str
        Refrigerant.
    pressure : pint.Quantity
        Absolute condenser [pressure].
    leaving : pint.Quantity
        Leaving condenser water [temperature].

    Source: definition; saturation by `refrigerant.dew_temperature`.
    """
    return refrigerant.dew_temperature.si(fluid, pressure) - leaving


@quantities("delta_degC", entering="kelvin", leaving="kelvin", saturation="kelvin")
def lmtd(entering: Number, leaving: Number, saturation: Number) -> Number:
    """Logarithmic mean temperature difference of water against refrigerant that boils or condenses.

    LMTD = (d1 - d2) / ln(d1 / d2), d1 and d2 the distances of entering and leaving water from
    saturation.

    Parameters
    ----------
    entering, leaving : pint.Quantity
        Water [temperature].
    saturation : pint.Quantity
        Saturation [temperature] of the refrigerant.

    Raises
    ------
    ScienceError
        The water temperatures are not both on one side of saturation.

    Source: textbook.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(float(lmtd(Q(85, "degF"), Q(95, "degF"), Q(101, "degF")).to("delta_degF").magnitude),
    ...     2)
    10.2
    """
    first, second = np.abs(entering - saturation), np.abs(leaving - saturation)
    crossed = (entering - saturation) * (leaving - saturation) <= 0
    if not np.ndim(crossed) and crossed:
        raise ScienceError(
            "the saturation temperature is between entering and leaving water",
            "approach.lmtd",
            "check the refrigerant pressure, the barometer and both water sensors",
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = first / second
        # Equal ends: the logarithm's series, or 0/0.
        near = np.abs(ratio - 1) < 1e-6
        mean = np.where(
            near, (first + second) / 2, (first - second) / np.log(np.where(near, 2.0, ratio))
        )
    mean = np.where(crossed, np.nan, mean)
    return mean if mean.ndim else float(mean)


@quantities("watt/delta_degC", heat="watt", mean_difference="delta_degC")
def ua(heat: Number, mean_difference: Number) -> Number:
    """Overall conductance of a heat exchanger: UA = Q / LMTD.

    Parameters
    ----------
    heat : pint.Quantity
        [power]
    mean_difference : pint.Quantity
        From `lmtd` [temperature difference].

    Raises
    ------
    ScienceError
        The mean difference is not above zero.

    Source: definition of the overall conductance.
    """
    return heat / _positive(
        mean_difference,
        "the mean temperature difference",
        "approach.ua",
        "check the temperatures",
    )


@quantities("delta_degC", approach="delta_degC", load="dimensionless")
def approach_at_full_load(approach: Number, load: Number) -> Number:
    """Approach carried to full load, for comparison between visits: approach / load.

    At constant flow the approach goes with the heat flux; the film coefficients' own dependence is
    left out.
    Refused below 40 % load, where the correction exceeds what it corrects.

    Parameters
    ----------
    approach : pint.Quantity
        [temperature difference] at the load.
    load : float
        Share of full load, 0.4 to 1.2.

    Source: common practice, no source.
    """
    if np.ndim(load):
        return np.where((load >= 0.4) & (load <= 1.2), approach / load, np.nan)
    if not 0.4 <= load <= 1.2:
        raise ScienceError(
            f"an approach read at {100 * load:.0f} % load says little about full load",
            "approach.approach_at_full_load",
            "read it between 40 and 120 % load",
        )
    return approach / load

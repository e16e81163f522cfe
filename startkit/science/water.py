"""Water and glycol in the two circuits: density, heat capacity, freezing, vapour pressure, flow by
drop.

Water follows the IAPWS Industrial Formulation 1997, region 1, written out here: it needs no
library,
and between 0 and 60 °C agrees with IAPWS-95 to 0.002 % in density and 0.05 % in heat capacity (0.02
% up to 30 °C),
far inside any field measurement. Glycols come from CoolProp's incompressible sets; which set is
kept
with the liquid, because published sets differ by up to 2 % in heat capacity.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

ATMOSPHERE = 101325.0
# Heat capacity by IAPWS-95 is known to 0.1 % (IAPWS R6-95); by glycol sets to the spread between
# them.
WATER_CP_U, GLYCOL_CP_U = 0.0005, 0.01


@dataclass(frozen=True)
class Liquid:
    """What flows in a water circuit.

    Parameters
    ----------
    name : str
        ``"water"``, ``"ethylene glycol"`` or ``"propylene glycol"``.
    fraction : float
        Glycol share, 0 to 0.6.
    basis : str
        ``"mass"`` or ``"volume"``.
    """

    name: str = "water"
    fraction: float = 0.0
    basis: str = "mass"

    @property
    def data_set(self) -> str:
        """Where its properties come from, for the record."""
        if self.name == "water":
            return "IAPWS-IF97 region 1"
        return (
            f"CoolProp incompressible set {_SETS[self.name, self.basis]}"
            f" ({_SOURCES[_SETS[self.name, self.basis]]})"
        )

    def __str__(self) -> str:
        return (
            self.name
            if self.name == "water"
            else f"{self.name} {100 * self.fraction:g} % by {self.basis}"
        )


WATER = Liquid()
_SETS = {
    ("ethylene glycol", "mass"): "MEG",
    ("ethylene glycol", "volume"): "AEG",
    ("propylene glycol", "mass"): "MPG",
    ("propylene glycol", "volume"): "APG",
}
_SOURCES = {
    "MEG": "Melinder 2010",
    "MPG": "Melinder 2010",
    "AEG": "ASHRAE 2001",
    "APG": "ASHRAE 2001",
}
_FRACTIONS = {"MEG": (0.0, 0.6), "MPG": (0.0, 0.6), "AEG": (0.1, 0.6), "APG": (0.1, 0.6)}
_NAMES = {
    "water": "water",
    "ethyleneglycol": "ethylene glycol",
    "monoethyleneglycol": "ethylene glycol",
    "meg": "ethylene glycol",
    "eg": "ethylene glycol",
    "propyleneglycol": "propylene glycol",
    "monopropyleneglycol": "propylene glycol",
    "mpg": "propylene glycol",
    "pg": "propylene glycol",
}


def liquid(name: str, fraction: float | None = None, basis: str = "mass") -> Liquid:
    """The liquid of a circuit from its name and glycol share.

    Parameters
    ----------
    name : str
        ``"water"``, ``"propylene glycol"``; or all in one text: ``"ethylene glycol 25 % by
        volume"``.
    fraction : float, optional
        Glycol share, 0 to 0.6 (0.1 to 0.6 by volume).
    basis : str
        ``"mass"`` or ``"volume"``.

    Raises
    ------
    ScienceError
        Unknown liquid, glycol without its share, or a share outside the data set.

    Examples
    --------
    >>> str(liquid("Ethylene glycol 25 % by volume"))
    'ethylene glycol 25 % by volume'
    """
    text = name.casefold()
    typed = re.search(r"(\d+(?:[.,]\d+)?)\s*(?:%|percent)", text)
    if typed:
        fraction = float(typed.group(1).replace(",", ".")) / 100
        basis = (
            "volume"
            if re.search(r"\bvol", text)
            else "mass"
            if re.search(r"\b(?:mass|weight|wt)", text)
            else basis
        )
        text = text[: typed.start()]
    known = _NAMES.get(re.sub(r"[^a-z]", "", text))
    if known is None:
        raise ScienceError(
            f"{name!r} is not a known liquid",
            "water",
            "write water, ethylene glycol or propylene glycol",
        )
    return WATER if known == "water" else _glycol(known, fraction, basis)


def _glycol(name: str, fraction: float | None, basis: str) -> Liquid:
    if (name, basis) not in _SETS:
        raise ScienceError(
            f"a glycol share is by mass or by volume, not by {basis!r}",
            "water",
            "write mass or volume",
        )
    low, high = _FRACTIONS[_SETS[name, basis]]
    if fraction is None or not low <= fraction <= high:
        given = "no share" if fraction is None else f"a share of {100 * fraction:g} % by {basis}"
        raise ScienceError(
            f"{name} with {given} cannot be calculated",
            "water",
            f"give a share from {100 * low:g} to {100 * high:g} % by {basis}",
        )
    return Liquid(name, float(fraction), basis)


# --- density and heat capacity --------------------------------------------------------------------

# IAPWS R7-97(2012), Table 2: I, J, n of the dimensionless Gibbs energy of region 1.
_I = np.array(
    [
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        1,
        1,
        1,
        1,
        1,
        1,
        2,
        2,
        2,
        2,
        2,
        3,
        3,
        3,
        4,
        4,
        4,
        5,
        8,
        8,
        21,
        23,
        29,
        30,
        31,
        32,
    ],
    float,
)
_J = np.array(
    [
        -2,
        -1,
        0,
        1,
        2,
        3,
        4,
        5,
        -9,
        -7,
        -1,
        0,
        1,
        3,
        -3,
        0,
        1,
        3,
        17,
        -4,
        0,
        6,
        -5,
        -2,
        10,
        -8,
        -11,
        -6,
        -29,
        -31,
        -38,
        -39,
        -40,
        -41,
    ],
    float,
)
_N = np.array(
    [
        0.14632971213167,
        -0.84548187169114,
        -3.756360367204,
        3.3855169168385,
        -0.95791963387872,
        0.15772038513228,
        -0.016616417199501,
        8.1214629983568e-4,
        2.8319080123804e-4,
        -6.0706301565874e-4,
        -0.018990068218419,
        -0.032529748770505,
        -0.021841717175414,
        -5.283835796993e-5,
        -4.7184321073267e-4,
        -3.0001780793026e-4,
        4.7661393906987e-5,
        -4.4141845330846e-6,
        -7.2694996297594e-16,
        -3.1679644845054e-5,
        -2.8270797985312e-6,
        -8.5205128120103e-10,
        -2.2425281908e-6,
        -6.5171222895601e-7,
        -1.4341729937924e-13,
        -4.0516996860117e-7,
        -1.2734301741641e-9,
        -1.7424871230634e-10,
        -6.8762131295531e-19,
        1.4478307828521e-20,
        2.6335781662795e-23,
        -1.1947622640071e-23,
        1.8228094581404e-24,
        -9.3537087292458e-26,
    ]
)
_R = 461.526  # J/(kg K)
_COLDEST, _HOTTEST, _HIGHEST = (
    273.15,
    393.15,
    20e6,
)  # K, K, Pa: a part of region 1 that no circuit leaves


def _if97(prop: str, temperature: Number, pressure: Number) -> Number:
    """Density or heat capacity of water from the derivatives of the Gibbs energy."""
    pi, tau = (
        np.asarray(pressure, float)[..., None] / 16.53e6,
        1386.0 / np.asarray(temperature, float)[..., None],
    )
    a, b = 7.1 - pi, tau - 1.222
    if prop == "rho":
        gamma_pi = -np.sum(_N * _I * a ** (_I - 1) * b**_J, axis=-1)
        return 16.53e6 / (_R * np.asarray(temperature, float) * gamma_pi)
    gamma_tau2 = np.sum(_N * a**_I * _J * (_J - 1) * b ** (_J - 2), axis=-1)
    return -_R * tau[..., 0] ** 2 * gamma_tau2


@functools.lru_cache(maxsize=32)
def _spline(prop: str, pressure: float) -> CubicSpline:
    """The formulation at one pressure as a spline over temperature, for trends: equal to 1e-8."""
    from scipy.interpolate import CubicSpline

    temperature = np.linspace(_COLDEST, _HOTTEST, 481)
    return CubicSpline(temperature, _if97(prop, temperature, pressure), extrapolate=False)


def _water(prop: str, temperature: Value, pressure: Value) -> Value:
    if np.ndim(temperature) and not np.ndim(pressure):
        return _spline(prop, float(pressure))(temperature)
    if not np.ndim(temperature) and not (
        _COLDEST <= temperature <= _HOTTEST and 0 < np.max(pressure) <= _HIGHEST
    ):
        raise ScienceError(
            f"water at {temperature - 273.15:.1f} °C is not liquid here",
            "water",
            "check the reading; a circuit runs from 0 to 120 °C",
        )
    value = _if97(prop, temperature, pressure)
    return value if np.ndim(value) else float(value)


def _brine(prop: str, of: Liquid, temperature: Value, pressure: Value) -> Value:
    from CoolProp.CoolProp import PropsSI  # 1.7 s

    key = f"INCOMP::{_SETS[of.name, of.basis]}[{of.fraction}]"
    if not np.ndim(temperature):
        _refuse_brine(of, temperature)
        return PropsSI(prop, "T", float(temperature), "P", float(pressure), key)
    values = np.asarray(
        PropsSI(
            prop, "T", np.ravel(np.asarray(temperature, float)), "P", float(np.mean(pressure)), key
        ),
        float,
    )
    return np.where(np.isfinite(values), values, np.nan).reshape(np.shape(temperature))


def _refuse_brine(of: Liquid, temperature: float) -> None:
    freezing = freezing_point.si(of)
    if not freezing <= temperature <= 373.15:
        raise ScienceError(
            f"{of} at {temperature - 273.15:.1f} °C is outside its range, {freezing - 273.15:.1f}"
            " to 100 °C",
            "water",
            "check the reading and the glycol share",
        )


@quantities("kilogram/meter**3", temperature="kelvin", pressure="pascal")
def density(temperature: Number, of: Liquid = WATER, pressure: Number = ATMOSPHERE) -> Number:
    """Density of the liquid in a circuit, at the flow meter's temperature.

    Parameters
    ----------
    temperature : pint.Quantity
        [temperature]; water 0 to 120 °C, glycol from its freezing point to 100 °C.
    of : Liquid
        What flows; water if not given.
    pressure : pint.Quantity
        Absolute [pressure]; each 100 kPa is 0.005 % of density.

    Raises
    ------
    ScienceError
        Outside the range. Arrays give not-a-number there.

    Source: IAPWS R7-97(2012), region 1; glycols as `Liquid.data_set` names.
    """
    return (
        _water("rho", temperature, pressure)
        if of.name == "water"
        else _brine("D", of, temperature, pressure)
    )


@quantities("joule/kilogram/delta_degC", temperature="kelvin", pressure="pascal")
def heat_capacity(temperature: Number, of: Liquid = WATER, pressure: Number = ATMOSPHERE) -> Number:
    """Specific heat capacity of the liquid in a circuit, at the mean of inlet and outlet.

    Parameters
    ----------
    temperature : pint.Quantity
        [temperature]; range as for `density`.
    of : Liquid
        What flows; water if not given.
    pressure : pint.Quantity
        Absolute [pressure].

    Source: as `density`.
    """
    return (
        _water("cp", temperature, pressure)
        if of.name == "water"
        else _brine("C", of, temperature, pressure)
    )


@quantities("kelvin")
def freezing_point(of: Liquid = WATER) -> Number:
    """Temperature at which ice begins to form in the liquid.

    Source: 0 °C for water; glycols as `Liquid.data_set` names.
    """
    return 273.15 if of.name == "water" else _brine_freezing(of)


@functools.cache
def _brine_freezing(of: Liquid) -> float:
    from CoolProp.CoolProp import PropsSI

    return float(
        PropsSI(
            "T_freeze",
            "T",
            300.0,
            "P",
            ATMOSPHERE,
            f"INCOMP::{_SETS[of.name, of.basis]}[{of.fraction}]",
        )
    )


# --- vapour pressure ------------------------------------------------------------------------------

# --- flow from pressure drop ----------------------------------------------------------------------


@quantities("meter**3/second", design_flow="meter**3/second", design_drop="pascal", drop="pascal")
def flow_from_pressure_drop(
    design_flow: Value, design_drop: Value, drop: Value, exponent: float = 0.5
) -> Value:
    """Flow through a heat exchanger from its pressure drop: Q = Q_design (dp / dp_design)^n.

    Parameters
    ----------
    design_flow, design_drop : pint.Quantity
        Selection point: [volume/time], [pressure].
    drop : pint.Quantity
        Measured drop [pressure], same liquid.
    exponent : float
        0.5 for turbulent flow; the maker's curve may give 0.5 to 0.57.

    Raises
    ------
    ScienceError
        A drop that is negative, or a design point that is not positive.

    Source: textbook (Darcy-Weisbach, constant friction factor).

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(flow_from_pressure_drop(Q(1000, "gallon/minute"), Q(14.0, "foot_H2O"), Q(16.2,
    ...     "foot_H2O")).to("gallon/minute").magnitude, 1)
    1075.7
    """
    if design_flow <= 0 or design_drop <= 0:
        raise ScienceError(
            "the design flow and design pressure drop must be above zero",
            "water.flow_from_pressure_drop",
            "check the sheet",
        )
    if np.any(np.asarray(drop) < 0):
        raise ScienceError(
            "a negative pressure drop was read",
            "water.flow_from_pressure_drop",
            "check which gauge is at the inlet and level both gauges",
        )
    return design_flow * (drop / design_drop) ** exponent

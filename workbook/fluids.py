"""Properties for the model of a chiller: refrigerant by CoolProp's equations of state, water from a
short table.

Kept apart from `startkit.science` on purpose: the model makes the readings, `startkit` has to find
from them what the model knows, and a mistake shared by both would not show.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np

# CoolProp's components and their mass fractions.
REFRIGERANTS = {
    "R-134a": {"R134a": 1.0},
    "R-1233zd(E)": {"R1233zd(E)": 1.0},
    "R-513A": {"R1234yf": 0.56, "R134a": 0.44},
}
WATER_PRESSURE = (
    400e3  # Pa, somewhere between pump and expansion tank; density and heat capacity hardly care
)


@dataclass(frozen=True)
class Vapour:
    """A state of the vapour: pressure [Pa], temperature [K], enthalpy [J/kg], entropy [J/kg K],
    volume [m3/kg].
    """

    p: float
    t: float
    h: float
    s: float
    v: float


class Refrigerant:
    """One refrigerant, evaluated point by point; all SI."""

    def __init__(self, name: str) -> None:
        import CoolProp  # 1.7 s

        self.name, self._cp = name, CoolProp
        parts = REFRIGERANTS[name]
        self._two, self._gas = (CoolProp.AbstractState("HEOS", "&".join(parts)) for _ in range(2))
        for state in (self._two, self._gas):
            if len(parts) > 1:
                state.set_mass_fractions(list(parts.values()))
        self._gas.specify_phase(CoolProp.iphase_gas)

    @functools.cache  # noqa: B019 - one object a refrigerant lives as long as the program
    def saturation_pressure(self, t: float, quality: float = 1.0) -> float:
        """Dew (quality 1) or bubble (0) pressure [Pa] at a temperature [K]."""
        self._two.update(self._cp.QT_INPUTS, quality, t)
        return self._two.p()

    @functools.cache  # noqa: B019
    def saturation_temperature(self, p: float, quality: float = 1.0) -> float:
        """Dew or bubble temperature [K] at a pressure [Pa]."""
        self._two.update(self._cp.PQ_INPUTS, p, quality)
        return self._two.T()

    @functools.cache  # noqa: B019
    def liquid_enthalpy(self, t: float) -> float:
        """Enthalpy [J/kg] of the saturated liquid at a temperature [K]; that of slightly subcooled
        liquid differs by some 10 J/kg.
        """
        self._two.update(self._cp.QT_INPUTS, 0.0, t)
        return self._two.hmass()

    def vapour(self, p: float, t: float) -> Vapour:
        """The vapour at pressure [Pa] and temperature [K]."""
        self._gas.update(self._cp.PT_INPUTS, p, t)
        return Vapour(p, t, self._gas.hmass(), self._gas.smass(), 1 / self._gas.rhomass())

    def isentropic_rise(self, suction: Vapour, p2: float) -> float:
        """Enthalpy rise [J/kg] of the vapour compressed to `p2` [Pa] without loss."""
        t = suction.t + 0.6 * (
            self.saturation_temperature(round(p2, 1))
            - self.saturation_temperature(round(suction.p, 1))
        )
        for _ in range(6):
            state = self.vapour(p2, t)
            step = (state.s - suction.s) * t / self._gas.cpmass()
            t -= step
            if abs(step) < 1e-4:
                break
        return self.vapour(p2, t).h - suction.h

    def at_enthalpy(self, p: float, h: float, near: float) -> Vapour:
        """The vapour of enthalpy `h` [J/kg] at pressure `p` [Pa]; `near` [K] is a first guess of
        its temperature.
        """
        t = near
        for _ in range(8):
            state = self.vapour(p, t)
            step = (state.h - h) / self._gas.cpmass()
            t -= step
            if abs(step) < 1e-5:
                break
        return self.vapour(p, t)


@functools.cache
def refrigerant(name: str) -> Refrigerant:
    """The refrigerant of that name, made once."""
    return Refrigerant(name)


@functools.cache
def _water_table() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    import CoolProp

    water = CoolProp.AbstractState("HEOS", "Water")
    temperatures = np.linspace(273.5, 323.15, 120)
    rows = []
    for t in temperatures:
        water.update(CoolProp.PT_INPUTS, WATER_PRESSURE, t)
        rows.append((water.rhomass(), water.cpmass()))
    density, capacity = np.array(rows).T
    return temperatures, density, capacity


def water_density(t: Any) -> Any:
    """Density [kg/m3] of water at a temperature [K]."""
    table = _water_table()
    return np.interp(t, table[0], table[1])


def water_heat_capacity(t: Any) -> Any:
    """Heat capacity [J/kg K] of water at a temperature [K]."""
    table = _water_table()
    return np.interp(t, table[0], table[2])

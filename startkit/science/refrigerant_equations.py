"""Refrigerant equations: CoolProp's equations of state, asked once for each refrigerant and written
down as a table.

The library takes 1.8 s to start and its solver fails at single points of some blends. So it is
asked when a table is
made, on a developer's computer, and the tables are shipped: `refrigerant_tables` reads them,
`refrigerant_states` lays
splines through them. Everybody who checks a record then has the very numbers that it was made with.
"""

# `Any` here: CoolProp has no types.
from __future__ import annotations

import threading
from typing import Any

import numpy as np

from startkit.science.refrigerant_data import Refrigerant
from startkit.science.refrigerant_tables import (
    BEYOND,
    PROPERTIES,
    SUBCOOLING_MAX,
    SUPERHEAT_MAX,
    Side,
    Table,
)

KNOTS = 241  # of a saturation line
PRESSURES, DISTANCES = 65, 41  # of the surface beside it
CROWDED = 1.6  # knots are closer together near saturation, where the properties bend
COLDEST = 223.15  # K, -50 °C: colder than any chiller
HOTTEST_REDUCED = (
    0.93  # of the critical temperature; above it the splines of the liquid lose accuracy
)
_DEW, _BUBBLE = 1.0, 0.0

_local = threading.local()


def state(refrigerant: Refrigerant) -> Any:
    """CoolProp's state of a refrigerant, one per thread: it is not safe to share."""
    cache = _local.__dict__.setdefault("states", {})
    if refrigerant.name not in cache:
        from CoolProp import AbstractState  # 1.8 s

        made = AbstractState("HEOS", "&".join(key for key, _ in refrigerant.parts))
        if refrigerant.is_blend:
            made.set_mass_fractions([fraction for _, fraction in refrigerant.parts])
        cache[refrigerant.name] = made
    return cache[refrigerant.name]


def _codes() -> Any:
    import CoolProp

    return CoolProp


def saturation_pressure(refrigerant: Refrigerant, temperature: float, quality: float) -> float:
    """Pressure [Pa] at which liquid (quality 0) or vapour (1) is saturated at `temperature` [K]."""
    point = state(refrigerant)
    point.update(_codes().QT_INPUTS, quality, float(temperature))
    return point.p()


def saturation_temperature(refrigerant: Refrigerant, pressure: float, quality: float) -> float:
    """Temperature [K] at which liquid (quality 0) or vapour (1) is saturated at `pressure` [Pa]."""
    point = state(refrigerant)
    point.update(_codes().PQ_INPUTS, float(pressure), quality)
    return point.T()


def single_phase(
    refrigerant: Refrigerant, pressure: float, temperature: float, quality: float
) -> dict[str, float]:
    """h [J/kg], s [J/(kg K)], rho [kg/m3] and sound speed w [m/s] of vapour (quality 1) or liquid
    (0), metastable too.
    """
    codes, point = _codes(), state(refrigerant)
    point.specify_phase(codes.iphase_gas if quality else codes.iphase_liquid)
    try:
        point.update(codes.PT_INPUTS, float(pressure), float(temperature))
        return {
            "h": point.hmass(),
            "s": point.smass(),
            "rho": point.rhomass(),
            "w": point.speed_sound(),
        }
    finally:
        point.unspecify_phase()


# --- one table -----------------------------------------------------------------------------------


def table(refrigerant: Refrigerant) -> Table:
    """Every property of a refrigerant in use, calculated on a grid."""
    import CoolProp

    ends = COLDEST, HOTTEST_REDUCED * state(refrigerant).T_reducing()
    sides = {quality: _side(refrigerant, ends, quality) for quality in (_BUBBLE, _DEW)}
    return Table(
        refrigerant.name,
        f"CoolProp {CoolProp.__version__}",
        _equations(refrigerant),
        ends,
        sides[_BUBBLE],
        sides[_DEW],
    )


def _side(refrigerant: Refrigerant, ends: tuple[float, float], quality: float) -> Side:
    low, high = (saturation_pressure(refrigerant, temperature, quality) for temperature in ends)
    log_p = np.linspace(np.log(low), np.log(high), KNOTS)
    inner = [saturation_temperature(refrigerant, p, quality) for p in np.exp(log_p[1:-1])]
    line = np.array([ends[0], *inner, ends[1]])
    most, sign = (SUPERHEAT_MAX, 1.0) if quality else (SUBCOOLING_MAX, -1.0)
    away = -BEYOND + (most + BEYOND) * np.linspace(0, 1, DISTANCES) ** CROWDED
    surface_p = np.linspace(np.log(low), np.log(high), PRESSURES)
    inner = [saturation_temperature(refrigerant, p, quality) for p in np.exp(surface_p[1:-1])]
    values = np.array(
        [
            [
                [
                    single_phase(refrigerant, np.exp(lp), at + sign * gap, quality)[prop]
                    for prop in PROPERTIES
                ]
                for gap in away
            ]
            for lp, at in zip(surface_p, [ends[0], *inner, ends[1]], strict=True)
        ]
    )
    return Side(log_p, line, surface_p, away, values)


def _equations(refrigerant: Refrigerant) -> tuple[str, ...]:
    """Equations used, as CoolProp cites them."""
    import CoolProp.CoolProp as coolprop

    equations = [f"{key}: {coolprop.get_BibTeXKey(key, 'EOS')}" for key, _ in refrigerant.parts]
    if refrigerant.is_blend:
        first, second = sorted(
            coolprop.get_fluid_param_string(key, "CAS") for key, _ in refrigerant.parts
        )
        equations.append(
            f"mixing: {coolprop.get_mixture_binary_pair_data(first, second, 'BibTeX')}"
        )
    return tuple(equations)

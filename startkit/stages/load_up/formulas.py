"""The figures of a machine under load: what each is called, what it needs, how it is made; for one
reading or a whole trend.
"""

# `Any` here: a formula takes what its figures are.
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.selection import liquid_of
from startkit.science import approach, compression, performance, refrigerant
from startkit.science.water import Liquid
from startkit.stages.load_up.assumed import CHILLED, CONDENSER, POWER, measured_liquid


@dataclass(frozen=True)
class Formula:
    """One figure.

    Parameters
    ----------
    key, label, kind, unit : str
        Name, printed name, kind of reading, SI unit.
    needs : tuple of str
        Readings, by the names of the stage's columns.
    make : callable
        From a `Circuit` and the readings [SI], single values or arrays.
    digits : int or None
        Decimals; None: those of the kind.
    slow : bool
        Takes properties off the saturation line: left out of a whole trend unless asked for.
    """

    key: str
    label: str
    kind: str
    unit: str
    needs: tuple[str, ...]
    make: Callable[..., Any]
    digits: int | None = None
    slow: bool = False


@dataclass(frozen=True)
class Circuit:
    """What the formulas need of the machine."""

    refrigerant: str
    chilled: Liquid
    condenser: Liquid
    full_capacity: float  # [W]
    full_load_current: float  # [A]


def circuit(machine: Machine, water: Entries | None = None) -> Circuit:
    """The constants of the formulas from the sheet, and what flows from the entries of Water.

    Raises
    ------
    ScienceError
        The sheet names a refrigerant or liquid that is not known.
    """
    chilled, condenser = (
        liquid_of(getattr(machine, side))
        if water is None
        else measured_liquid(machine, water, side)
        for side in ("evaporator", "condenser")
    )
    return Circuit(
        refrigerant.canonical(machine.machine.refrigerant),
        chilled,
        condenser,
        machine.design.capacity.to("watt").magnitude,
        machine.motor.full_load_current.to("ampere").magnitude,
    )


# --- formulas, all on bare SI numbers ------------------------------------------------------------


def _capacity(c: Circuit, evaporator_flow, chilled_entering, chilled_leaving, chilled_heat):
    return chilled_heat * performance.cooling_capacity.si(
        evaporator_flow, chilled_entering, chilled_leaving, None, c.chilled
    )


def _rejected(c: Circuit, condenser_flow, condenser_entering, condenser_leaving, condenser_heat):
    return condenser_heat * performance.heat_rejected.si(
        condenser_flow, condenser_entering, condenser_leaving, None, c.condenser
    )


def _balance(c: Circuit, power, power_share, **water):
    chilled, condenser = ({name: water[name] for name in side} for side in (_CHILLED, _CONDENSER))
    return performance.heat_balance.si(
        _capacity(c, **chilled), _rejected(c, **condenser), power * power_share
    )


def _ua_evaporator(c: Circuit, evaporator_pressure, **chilled):
    difference = _lmtd_evaporator(
        c, chilled["chilled_entering"], chilled["chilled_leaving"], evaporator_pressure
    )
    return approach.ua.si(_capacity(c, **chilled), difference)


def _ua_condenser(c: Circuit, condenser_pressure, **condenser):
    difference = _lmtd_condenser(
        c, condenser["condenser_entering"], condenser["condenser_leaving"], condenser_pressure
    )
    return approach.ua.si(_rejected(c, **condenser), difference)


def _lmtd_evaporator(c: Circuit, chilled_entering, chilled_leaving, evaporator_pressure):
    return approach.lmtd.si(
        chilled_entering,
        chilled_leaving,
        refrigerant.dew_temperature.si(c.refrigerant, evaporator_pressure),
    )


def _lmtd_condenser(c: Circuit, condenser_entering, condenser_leaving, condenser_pressure):
    return approach.lmtd.si(
        condenser_entering,
        condenser_leaving,
        refrigerant.dew_temperature.si(c.refrigerant, condenser_pressure),
    )


def _approach_evaporator(c: Circuit, evaporator_pressure, chilled_leaving):
    return approach.approach_evaporator.si(c.refrigerant, evaporator_pressure, chilled_leaving)


def _approach_condenser(c: Circuit, condenser_pressure, condenser_leaving):
    return approach.approach_condenser.si(c.refrigerant, condenser_pressure, condenser_leaving)


def _full_load_evaporator(c: Circuit, evaporator_pressure, **chilled):
    return approach.approach_at_full_load.si(
        _approach_evaporator(c, evaporator_pressure, chilled["chilled_leaving"]),
        _capacity(c, **chilled) / c.full_capacity,
    )


def _full_load_condenser(c: Circuit, condenser_pressure, condenser_leaving, **chilled):
    return approach.approach_at_full_load.si(
        _approach_condenser(c, condenser_pressure, condenser_leaving),
        _capacity(c, **chilled) / c.full_capacity,
    )


def _excess(c: Circuit, condenser_pressure, liquid_temperature):
    return performance.non_condensables.si(
        c.refrigerant, condenser_pressure, liquid_temperature
    ).excess_pressure


def _isentropic_efficiency(
    c: Circuit,
    evaporator_pressure,
    suction_temperature,
    condenser_pressure,
    discharge_temperature,
):
    return compression.isentropic_efficiency.si(
        c.refrigerant,
        evaporator_pressure,
        suction_temperature,
        condenser_pressure,
        discharge_temperature,
    )


def _as_read(name: str) -> Callable[..., Any]:
    return lambda c, **readings: readings[name]


_CHILLED = ("evaporator_flow", "chilled_entering", "chilled_leaving", CHILLED)
_CONDENSER = ("condenser_flow", "condenser_entering", "condenser_leaving", CONDENSER)
_COMPRESSION = (
    "evaporator_pressure",
    "suction_temperature",
    "condenser_pressure",
    "discharge_temperature",
)
_TWO_PRESSURES = ("evaporator_pressure", "condenser_pressure")
_K = ("temperature_difference", "delta_degC")


FORMULAS: tuple[Formula, ...] = (
    Formula("capacity", "Capacity", "cooling", "watt", _CHILLED, _capacity),
    Formula(
        "load",
        "Load",
        "percent",
        "dimensionless",
        _CHILLED,
        lambda c, **r: _capacity(c, **r) / c.full_capacity,
    ),
    Formula("rejected", "Heat rejected", "cooling", "watt", _CONDENSER, _rejected),
    Formula("power", "Input power", "power", "watt", ("power",), _as_read("power")),
    Formula(
        "heat_balance",
        "Heat balance, of the mean",
        "percent",
        "dimensionless",
        ("power", POWER, *_CHILLED, *_CONDENSER),
        lambda c, **r: _balance(c, **r).mean_basis,
    ),
    Formula(
        "heat_balance_rejected",
        "Heat balance, of the heat rejected",
        "percent",
        "dimensionless",
        ("power", POWER, *_CHILLED, *_CONDENSER),
        lambda c, **r: _balance(c, **r).condenser_basis,
    ),
    Formula(
        "specific_power",
        "Power for capacity",
        "specific_power",
        "dimensionless",
        ("power", *_CHILLED),
        lambda c, power, **r: performance.specific_power.si(power, _capacity(c, **r)),
    ),
    Formula(
        "cop",
        "COP",
        "cop",
        "dimensionless",
        ("power", *_CHILLED),
        lambda c, power, **r: performance.cop.si(power, _capacity(c, **r)),
    ),
    Formula(
        "evaporator_approach",
        "Evaporator approach",
        *_K,
        ("evaporator_pressure", "chilled_leaving"),
        _approach_evaporator,
    ),
    Formula(
        "condenser_approach",
        "Condenser approach",
        *_K,
        ("condenser_pressure", "condenser_leaving"),
        _approach_condenser,
    ),
    Formula(
        "evaporator_approach_full",
        "Evaporator approach, carried to full load",
        *_K,
        ("evaporator_pressure", *_CHILLED),
        _full_load_evaporator,
    ),
    Formula(
        "condenser_approach_full",
        "Condenser approach, carried to full load",
        *_K,
        ("condenser_pressure", "condenser_leaving", *_CHILLED),
        _full_load_condenser,
    ),
    Formula(
        "suction_superheat",
        "Suction superheat",
        *_K,
        ("evaporator_pressure", "suction_temperature"),
        lambda c, evaporator_pressure, suction_temperature: refrigerant.superheat.si(
            c.refrigerant, evaporator_pressure, suction_temperature
        ),
    ),
    Formula(
        "discharge_superheat",
        "Discharge superheat",
        *_K,
        ("condenser_pressure", "discharge_temperature"),
        lambda c, condenser_pressure, discharge_temperature: refrigerant.superheat.si(
            c.refrigerant, condenser_pressure, discharge_temperature
        ),
    ),
    Formula(
        "subcooling",
        "Subcooling",
        *_K,
        ("condenser_pressure", "liquid_temperature"),
        lambda c, condenser_pressure, liquid_temperature: refrigerant.subcooling.si(
            c.refrigerant, condenser_pressure, liquid_temperature
        ),
    ),
    Formula(
        "liquid_excess",
        "Condenser pressure over that of its liquid",
        "pressure_difference",
        "pascal",
        ("condenser_pressure", "liquid_temperature"),
        _excess,
    ),
    Formula(
        "lift",
        "Lift",
        *_K,
        _TWO_PRESSURES,
        lambda c, evaporator_pressure, condenser_pressure: performance.lift.si(
            c.refrigerant, evaporator_pressure, condenser_pressure
        ),
        1,
    ),
    Formula(
        "pressure_ratio",
        "Pressure ratio",
        "ratio",
        "dimensionless",
        _TWO_PRESSURES,
        lambda c, evaporator_pressure, condenser_pressure: performance.pressure_ratio.si(
            evaporator_pressure, condenser_pressure
        ),
        2,
    ),
    Formula(
        "isentropic_head",
        "Isentropic head",
        "specific_energy",
        "joule/kilogram",
        _COMPRESSION[:3],
        lambda c, evaporator_pressure, suction_temperature, condenser_pressure: (
            compression.isentropic_head.si(
                c.refrigerant, evaporator_pressure, suction_temperature, condenser_pressure
            )
        ),
        1,
        True,
    ),
    Formula(
        "isentropic_efficiency",
        "Isentropic efficiency",
        "percent",
        "dimensionless",
        _COMPRESSION,
        _isentropic_efficiency,
        None,
        True,
    ),
    Formula(
        "evaporator_lmtd",
        "Evaporator LMTD",
        *_K,
        ("chilled_entering", "chilled_leaving", "evaporator_pressure"),
        _lmtd_evaporator,
    ),
    Formula(
        "evaporator_ua",
        "Evaporator UA",
        "conductance",
        "watt/delta_degC",
        (*_CHILLED, "evaporator_pressure"),
        _ua_evaporator,
    ),
    Formula(
        "condenser_lmtd",
        "Condenser LMTD",
        *_K,
        ("condenser_entering", "condenser_leaving", "condenser_pressure"),
        _lmtd_condenser,
    ),
    Formula(
        "condenser_ua",
        "Condenser UA",
        "conductance",
        "watt/delta_degC",
        (*_CONDENSER, "condenser_pressure"),
        _ua_condenser,
    ),
    Formula(
        "current",
        "Current of full load",
        "percent",
        "dimensionless",
        ("current",),
        lambda c, current: current / c.full_load_current,
    ),
    Formula(
        "vane_position",
        "Vane position",
        "percent",
        "dimensionless",
        ("vane_position",),
        _as_read("vane_position"),
    ),
    Formula(
        "oil_differential",
        "Oil differential",
        "pressure_difference",
        "pascal",
        ("oil_differential",),
        _as_read("oil_differential"),
    ),
    Formula(
        "oil_temperature",
        "Oil supply temperature",
        "temperature",
        "kelvin",
        ("oil_temperature",),
        _as_read("oil_temperature"),
    ),
)
BY_KEY = {formula.key: formula for formula in FORMULAS}

"""What physics forbids of the readings at one load: which reading is likely wrong, and why.

A contradiction is claimed only beyond three standard uncertainties of what is compared. The errors
of field instruments are bounded, so three cover up to three of them at the ends of their accuracy.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import hypot, sqrt

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.science.refrigerant import dew_temperature
from startkit.stages.load_up.points import Point, load_of
from startkit.units import Q

SURE = 3.0  # standard uncertainties
# All of these are common practice, no source.
SUCTION_LOSS = 2.0  # [K] that the pressure drop up to the suction thermometer may feign
MOST_LOAD = 1.25  # of the selection's capacity: more gas does not go through the compressor
LOADED, NEARLY_CLOSED = 0.7, 0.15  # load that vanes so far open do not pass
POWER_FACTORS = (0.35, 1.05)
LEAST_EFFICIENCY = 0.25  # isentropic


@dataclass(frozen=True)
class Case:
    """One load with what its rules need."""

    machine: Machine
    entries: Entries
    p: Point

    def read(self, name: str) -> float | None:
        """A reading [SI base unit]."""
        quantity = self.p.readings[name].quantity if name in self.p.readings else None
        return None if quantity is None else float(quantity.to_base_units().magnitude)

    def u(self, *names: str) -> float:
        """Standard uncertainty of the difference of readings [SI base unit]."""
        known = (self.p.readings[name].u for name in names)
        return hypot(*(0.0 if u is None else float(u.to_base_units().magnitude) for u in known))

    def figure(self, key: str) -> tuple[float, float] | None:
        """A figure and its standard uncertainty [SI base unit]."""
        value, u = self.p.value(key), self.p.u(key)
        if value is None:
            return None
        return (
            float(value.to_base_units().magnitude),
            0.0 if u is None else float(u.to_base_units().magnitude),
        )

    def shown(self, name: str, kind: str = "temperature") -> str:
        return self.entries.show(self.p.readings[name].quantity, kind)

    def saturation(self, side: str) -> pint.Quantity:
        pressure = self.p.readings[f"{side}_pressure"].quantity
        return dew_temperature(self.machine.machine.refrigerant, pressure)


Rule = Callable[[Case], Iterator[str]]


def contradictions(machine: Machine, entries: Entries, p: Point) -> tuple[str, ...]:
    """What cannot be true together at one load, one sentence each without its full stop."""
    case = Case(machine, entries, p)
    return tuple(said for rule in RULES for said in rule(case))


# --- temperatures ---------------------------------------------------------------------------------


def _water_ways(c: Case) -> Iterator[str]:
    """Chilled water leaves colder than it enters, condenser water warmer."""
    for side, sign, word in (("chilled", 1, "warmer"), ("condenser", -1, "colder")):
        names = f"{side}_leaving", f"{side}_entering"
        leaving, entering = (c.read(name) for name in names)
        if leaving is None or entering is None:
            continue
        if sign * (leaving - entering) > SURE * c.u(*names):
            yield (
                f"{side} water leaves {word} ({c.shown(names[0])}) than it enters"
                f" ({c.shown(names[1])}): the thermometers are swapped, or one is wrong"
            )


def _approaches(c: Case) -> Iterator[str]:
    """The refrigerant is colder than the water that it cools, warmer than the water that cools
    it.
    """
    for side, water, word in (
        ("evaporator", "chilled_leaving", "warmer than the chilled water that it cools"),
        ("condenser", "condenser_leaving", "colder than the water that it heats"),
    ):
        found = c.figure(f"{side}_approach")
        if found is not None and found[0] < -SURE * found[1]:
            saturation = c.entries.show(c.saturation(side), "temperature")
            yield (
                f"the refrigerant in the {side} would be {word} ({saturation} against"
                f" {c.shown(water)}): the {side} pressure is likely wrong{_hint(c, side, water)}"
            )


def _hint(c: Case, side: str, water: str) -> str:
    """How the pressure would fit, if it was entered in one of the common wrong ways."""
    pressure, air = c.p.readings[f"{side}_pressure"].quantity, c.entries.job.barometer.quantity
    leaving, sign = c.read(water), -1 if side == "evaporator" else 1
    assert pressure is not None and air is not None and leaving is not None
    gauge = pressure - air
    psi = Q(6.894757, "dimensionless")
    for reading, said in (
        (pressure - air, "absolute entered as gauge"),
        (pressure + air, "gauge entered as absolute"),
        (gauge / psi + air, "kPa entered as psi"),
        (gauge * psi + air, "psi entered as kPa"),
    ):
        try:
            saturation = dew_temperature(c.machine.machine.refrigerant, reading)
        except StartkitError:
            continue
        if 0 < sign * (saturation.to("kelvin").magnitude - leaving) < 6:
            return f"; it fits as {said}"
    return ""


def _no_saturation(c: Case) -> Iterator[str]:
    """A pressure at which this refrigerant has no saturation that is known."""
    for side in ("evaporator", "condenser"):
        if c.read(f"{side}_pressure") is None:
            continue
        try:
            c.saturation(side)
        except StartkitError:
            yield (
                f"{c.machine.machine.refrigerant} does not saturate at the {side} pressure that"
                f" was read ({c.shown(f'{side}_pressure', 'gauge_pressure')}): check for a decimal"
                " or unit error"
            )


def _liquid(c: Case) -> Iterator[str]:
    """Liquid leaves the condenser no colder than the water that enters it."""
    liquid, water = c.read("liquid_temperature"), c.read("condenser_entering")
    names = "liquid_temperature", "condenser_entering"
    if liquid is not None and water is not None and water - liquid > SURE * c.u(*names):
        yield (
            f"the liquid ({c.shown(names[0])}) would be colder than the water that cools it"
            f" ({c.shown(names[1])}): the liquid temperature is likely wrong"
        )


def _suction(c: Case) -> Iterator[str]:
    """Suction gas is no colder than saturation and no warmer than the water."""
    found = c.figure("suction_superheat")
    if found is not None and found[0] < -SURE * found[1] - SUCTION_LOSS:
        yield (
            f"suction ({c.shown('suction_temperature')}) would be colder than saturation"
            f" ({c.entries.show(c.saturation('evaporator'), 'temperature')}): the suction"
            " temperature or the evaporator pressure is wrong"
        )
    gas, water = c.read("suction_temperature"), c.read("chilled_entering")
    names = "suction_temperature", "chilled_entering"
    if gas is not None and water is not None and gas - water > SURE * c.u(*names) + SUCTION_LOSS:
        yield (
            f"suction ({c.shown(names[0])}) would be warmer than the water that boils the"
            f" refrigerant ({c.shown(names[1])}): the suction temperature is likely wrong"
        )


def _discharge(c: Case) -> Iterator[str]:
    """Discharge gas is no colder than saturation, and than compression without loss makes it."""
    found = c.figure("discharge_superheat")
    if found is not None and found[0] < -SURE * found[1]:
        yield (
            f"discharge ({c.shown('discharge_temperature')}) would be colder than saturation"
            f" ({c.entries.show(c.saturation('condenser'), 'temperature')}): the discharge"
            " temperature or the condenser pressure is wrong"
        )
        return
    found = c.figure("isentropic_efficiency")
    if found is None:
        return
    if found[0] > 1 + SURE * found[1] or found[0] < -SURE * found[1]:
        yield (
            f"discharge ({c.shown('discharge_temperature')}) would be colder than loss-free"
            " compression makes the gas: the discharge or suction temperature is likely wrong"
        )
    elif found[0] < LEAST_EFFICIENCY - SURE * found[1]:
        yield (
            f"discharge ({c.shown('discharge_temperature')}) is far hotter than these pressures"
            f" explain (isentropic efficiency {100 * found[0]:.0f} %): the discharge temperature"
            " is likely wrong, or hot gas is bypassed"
        )


# --- energy ---------------------------------------------------------------------------------------


def _pressures(c: Case) -> Iterator[str]:
    low, high = c.read("evaporator_pressure"), c.read("condenser_pressure")
    names = "evaporator_pressure", "condenser_pressure"
    if low is not None and high is not None and low - high > SURE * c.u(*names):
        yield (
            "the condenser pressure is below the evaporator pressure: the gauges are swapped, or"
            " one is wrong"
        )


def _second_law(c: Case) -> Iterator[str]:
    """No machine needs less power than a reversible one between its two saturations.

    W >= Q_evap (T_c / T_e - 1)
    """
    found, power = c.figure("capacity"), c.read("power")
    if found is None or not power or found[0] <= 0 or c.figure("lift") is None:
        return
    cold, hot = (c.saturation(side).to("kelvin").magnitude for side in ("evaporator", "condenser"))
    share = found[0] * (hot / cold - 1) / power
    spread = hypot(found[1] / found[0], c.u("power") / power)
    if share > 1 + SURE * share * spread:
        yield (
            f"a machine without any loss would need {share:.1f} times the power that was read"
            f" ({c.shown('power', 'power')}): power is likely wrong (meter ratio, phases, unit),"
            " or flow or range is"
        )


def _capacity(c: Case) -> Iterator[str]:
    load, found = load_of(c.p), c.figure("load")
    if load is not None and found is not None and load > MOST_LOAD + SURE * found[1]:
        yield (
            f"{100 * load:.0f} % of the selection's capacity is more than the compressor can move:"
            " chilled water flow or range is likely wrong"
        )


def _vanes(c: Case) -> Iterator[str]:
    """Nearly closed vanes do not pass a load."""
    load, vanes = load_of(c.p), c.read("vane_position")
    if load is not None and vanes is not None and load > LOADED and vanes < NEARLY_CLOSED:
        yield (
            f"the vanes would be at {100 * vanes:.0f} % with {100 * load:.0f} % load: the vane"
            " position is likely wrong"
        )


def _power_factor(c: Case) -> Iterator[str]:
    """Power over what voltage and current carry. Behind a drive the current may be read on either
    side: the voltage is anything from that of the supply down to its share at this speed.
    """
    power, current = c.read("power"), c.read("current")
    if not power or not current or power < 0 or current < 0:
        return
    motor = c.machine.motor
    volts = float(motor.voltage.to("volt").magnitude)
    factor = power / (sqrt(3) * volts * current)
    spread = hypot(c.u("power") / power, c.u("current") / current)
    # Inside the delta a meter reads the line's current over the root of three.
    most = POWER_FACTORS[1] * (sqrt(3) if motor.kind_of_starter.in_delta else 1.0)
    if factor > most * (1 + SURE * spread):
        yield (
            f"{c.shown('power', 'power')} is more than {c.shown('current', 'current')} can carry"
            f" (power factor {factor:.2f}): current or power is wrong"
        )
    elif factor < POWER_FACTORS[0] * _voltage_share(c) * (1 - SURE * spread):
        yield (
            f"{c.shown('current', 'current')} is far too much for {c.shown('power', 'power')}"
            f" (power factor {factor:.2f}): current or power is wrong"
        )


def _voltage_share(c: Case) -> float:
    """Voltage at the motor over that of the supply, by its speed behind a drive."""
    speed = c.read("speed")
    if not c.machine.variable_speed or not speed:
        return 1.0
    full = float(c.machine.motor.frequency.to_base_units().magnitude)
    return min(1.0, max(0.2, speed / full))


RULES: tuple[Rule, ...] = (
    _water_ways,
    _approaches,
    _no_saturation,
    _pressures,
    _liquid,
    _suction,
    _discharge,
    _second_law,
    _capacity,
    _vanes,
    _power_factor,
)

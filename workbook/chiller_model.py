"""A water-cooled centrifugal chiller in steady operation, from refrigerant to kilowatts.

Evaporator and condenser are isothermal on the refrigerant side and found by effectiveness and
number
of transfer units; the compressor by its map; motor, drive and transmission by their losses. All
that
the motor and the transmission lose is taken up by refrigerant, so that the heat rejected is the
capacity and the whole input power: Q_cond = Q_evap + P, exactly.

SI throughout: K, Pa, W, kg/s.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from workbook.compressor_model import CompressorMap, NoLift, Operation, OutOfMap
from workbook.fluids import Vapour, refrigerant, water_density, water_heat_capacity

CELSIUS = 273.15
TON = 3516.8528420667  # W, 12 000 Btu/h


@dataclass(frozen=True)
class Exchanger:
    """Evaporator or condenser.

    1/UA = 1/UA_design (water (w_d/w)^0.8 + refrigerant (q_d/q)^exponent + fouling f)

    Parameters
    ----------
    ua : float
        [W/K] at design, with design fouling.
    flow, duty : float
        [kg/s], [W] at design.
    exponent : float
        How the refrigerant side's coefficient grows with the duty: boiling rises, condensing falls.
    drop : float
        [Pa] water pressure drop at design flow.
    fouling : float
        Share of the design allowance that is there: 0 clean, 1 as designed.
    """

    ua: float
    flow: float
    duty: float
    exponent: float
    drop: float
    fouling: float = 1.0
    shares: tuple[float, float, float] = (0.55, 0.35, 0.10)

    def ua_at(self, flow: float, duty: float) -> float:
        water, film, deposit = self.shares
        relative = max(duty / self.duty, 0.02)
        return self.ua / (
            water * (self.flow / flow) ** 0.8
            + film * relative**-self.exponent
            + deposit * self.fouling
        )

    def effectiveness(self, flow: float, duty: float, heat_capacity: float) -> float:
        return 1 - math.exp(-self.ua_at(flow, duty) / (flow * heat_capacity))

    def pressure_drop(self, flow: float) -> float:
        """[Pa]; turbulent in tubes and nozzles: w^1.9."""
        return self.drop * (flow / self.flow) ** 1.9


@dataclass(frozen=True)
class Drive:
    """Motor, transmission and, with variable speed, the drive before it.

    Parameters
    ----------
    rated_power : float
        [W] at the shaft.
    voltage, frequency : float
        [V], [Hz] at the terminals of the package.
    no_load_loss, load_loss : float
        Share of rated power lost at no load, and added at rated load (with the square).
    transmission_loss : float
        Share of rated power in gear and bearings at design speed (with the square of speed).
    drive_loss : tuple of float
        Constant and load-dependent share of rated power lost in a variable-speed drive; zeros if
        there is none.
    reactive : tuple of float
        Magnetising and load-dependent reactive power as a share of rated power.
    """

    rated_power: float
    voltage: float
    frequency: float = 60.0
    no_load_loss: float = 0.020
    load_loss: float = 0.028
    transmission_loss: float = 0.018
    drive_loss: tuple[float, float] = (0.0, 0.0)
    reactive: tuple[float, float] = (0.24, 0.22)

    def input_power(self, gas_power: float, speed: float) -> tuple[float, float]:
        """Electrical input and shaft power [W] for the power that goes into the gas."""
        shaft = gas_power + self.transmission_loss * self.rated_power * speed**2
        x = shaft / self.rated_power
        motor = self.rated_power * (self.no_load_loss * speed + self.load_loss * x**2)
        drive = (
            self.rated_power * (self.drive_loss[0] + self.drive_loss[1] * x)
            if any(self.drive_loss)
            else 0.0
        )
        return shaft + motor + drive, shaft

    def current(self, power: float) -> float:
        """Line current [A] at an input power [W]."""
        x = power / self.rated_power
        # Behind a drive's rectifier the motor's magnetising power does not show in the line.
        reactive = (
            0.08 * power
            if any(self.drive_loss)
            else self.rated_power * (self.reactive[0] + self.reactive[1] * x**2)
        )
        return math.hypot(power, reactive) / (math.sqrt(3) * self.voltage)


@dataclass(frozen=True)
class Conditions:
    """What the plant imposes.

    Parameters
    ----------
    capacity : float
        [W].
    leaving_chilled, entering_condenser : float
        [K].
    chilled_flow, condenser_flow : float
        [m3/s] at the meter, in the entering lines.
    """

    capacity: float
    leaving_chilled: float
    entering_condenser: float
    chilled_flow: float
    condenser_flow: float


@dataclass(frozen=True)
class Steady:
    """The truth about one steady state; the condenser's total pressure is that of the refrigerant
    and of any air in it.
    """

    conditions: Conditions
    entering_chilled: float
    leaving_condenser: float
    capacity: float
    rejection: float
    power: float
    shaft_power: float
    gas_power: float
    current: float
    evaporator_saturation: float
    condenser_saturation: float
    evaporator_pressure: float
    condenser_pressure: float
    condenser_total_pressure: float
    suction_pressure: float
    suction_temperature: float
    discharge_temperature: float
    liquid_temperature: float
    refrigerant_flow: float
    head: float
    chilled_drop: float
    condenser_drop: float
    operation: Operation

    @property
    def kw_per_ton(self) -> float:
        return self.power / 1000 / (self.capacity / TON)

    @property
    def cop(self) -> float:
        return self.capacity / self.power

    @property
    def evaporator_approach(self) -> float:
        return self.conditions.leaving_chilled - self.evaporator_saturation

    @property
    def condenser_approach(self) -> float:
        return self.condenser_saturation - self.leaving_condenser

    @property
    def lift(self) -> float:
        return self.condenser_saturation - self.evaporator_saturation


@dataclass(frozen=True)
class _Trial:
    """The refrigerant side for one guess of the heat rejected."""

    leaving_condenser: float
    condensing: float
    p_evaporator: float
    p_condenser: float
    liquid: float
    suction: Vapour
    discharge: Vapour
    head: float
    flow: float
    operation: Operation
    gas: float
    power: float
    shaft: float

    def as_steady(
        self,
        at: Conditions,
        entering: float,
        evaporating: float,
        drops: tuple[float, float],
        machine: Chiller,
    ) -> Steady:
        return Steady(
            at,
            entering,
            self.leaving_condenser,
            at.capacity,
            at.capacity + self.power,
            self.power,
            self.shaft,
            self.gas,
            machine.drive.current(self.power),
            evaporating,
            self.condensing,
            self.p_evaporator,
            self.p_condenser,
            self.p_condenser + machine.air,
            self.suction.p,
            self.suction.t,
            self.discharge.t,
            self.liquid,
            self.flow,
            self.head,
            *drops,
            self.operation,
        )


@dataclass(frozen=True)
class Chiller:
    """One machine, as built.

    Parameters
    ----------
    refrigerant : str
    evaporator, condenser : Exchanger
    compressor : CompressorMap
    drive : Drive
    superheat : float
        [K] of the suction vapour at design; falls with the load.
    subcooling : float
        [K] of the liquid leaving the condenser at design; falls with the load.
    suction_loss : float
        Share of evaporator pressure lost on the way to the compressor at design (with the square of
        the flow).
    air : float
        [Pa] partial pressure of non-condensable gas in the condenser.
    """

    refrigerant: str
    evaporator: Exchanger
    condenser: Exchanger
    compressor: CompressorMap
    drive: Drive
    design_flow: float
    superheat: float = 0.8
    subcooling: float = 3.0
    suction_loss: float = 0.006
    air: float = 0.0

    def steady(self, at: Conditions) -> Steady:
        """The steady state under these conditions.

        Raises
        ------
        OutOfMap
            The compressor cannot carry it.
        """
        chilled_mass, entering = self._chilled(at)
        cp = float(water_heat_capacity(0.5 * (entering + at.leaving_chilled)))
        epsilon = self.evaporator.effectiveness(chilled_mass, at.capacity, cp)
        evaporating = entering - (entering - at.leaving_chilled) / epsilon
        condenser_mass = at.condenser_flow * float(water_density(at.entering_condenser))
        rejection, trial = 1.15 * at.capacity, None
        for _ in range(30):
            trial = self._trial(at, evaporating, condenser_mass, rejection)
            change = at.capacity + trial.power - rejection
            rejection = at.capacity + trial.power
            if abs(change) < 1e-7 * rejection:
                break
        drops = (
            self.evaporator.pressure_drop(chilled_mass),
            self.condenser.pressure_drop(condenser_mass),
        )
        return trial.as_steady(at, entering, evaporating, drops, self)

    def _chilled(self, at: Conditions) -> tuple[float, float]:
        """Mass flow of chilled water [kg/s], metered in the entering line, and its entering
        temperature [K].
        """
        entering = at.leaving_chilled + 5.0
        for _ in range(8):
            mass = at.chilled_flow * float(water_density(entering))
            entering = at.leaving_chilled + at.capacity / mass / float(
                water_heat_capacity(0.5 * (entering + at.leaving_chilled))
            )
        return mass, entering

    def _condensing(self, at: Conditions, mass: float, rejection: float) -> tuple[float, float]:
        """Leaving condenser water and condensing temperature [K]."""
        leaving = at.entering_condenser + rejection / mass / float(
            water_heat_capacity(at.entering_condenser + 2.5)
        )
        leaving = at.entering_condenser + rejection / mass / float(
            water_heat_capacity(0.5 * (at.entering_condenser + leaving))
        )
        cp = float(water_heat_capacity(0.5 * (at.entering_condenser + leaving)))
        epsilon = self.condenser.effectiveness(mass, rejection, cp)
        return leaving, at.entering_condenser + (leaving - at.entering_condenser) / epsilon

    def _trial(self, at: Conditions, evaporating: float, mass: float, rejection: float) -> _Trial:
        """The cycle if the condenser rejects this much heat."""
        fluid, relative = refrigerant(self.refrigerant), at.capacity / self.evaporator.duty
        leaving, condensing = self._condensing(at, mass, rejection)
        p_evaporator, p_condenser = (
            fluid.saturation_pressure(evaporating),
            fluid.saturation_pressure(condensing),
        )
        liquid = max(
            fluid.saturation_temperature(p_condenser, 0.0) - self.subcooling * relative**0.5,
            at.entering_condenser + 0.3,
        )
        suction = fluid.vapour(
            p_evaporator * (1 - self.suction_loss * relative**2),
            evaporating + self.superheat * relative,
        )
        if p_condenser + self.air <= suction.p:
            raise NoLift("there is no lift: the condenser is as cold as the evaporator")
        head = fluid.isentropic_rise(suction, p_condenser + self.air)
        flow, operation, power, shaft = self._compression(
            at.capacity, suction, fluid.liquid_enthalpy(liquid), head
        )
        gas = flow * head / operation.efficiency
        discharge = fluid.at_enthalpy(
            p_condenser + self.air, suction.h + gas / flow, condensing + 8.0
        )
        return _Trial(
            leaving,
            condensing,
            p_evaporator,
            p_condenser,
            liquid,
            suction,
            discharge,
            head,
            flow,
            operation,
            gas,
            power,
            shaft,
        )

    def _compression(
        self, capacity: float, suction: Vapour, liquid_enthalpy: float, head: float
    ) -> tuple[float, Operation, float, float]:
        """Refrigerant flow, operation, input and shaft power; what motor and transmission lose is
        carried by refrigerant as well.
        """
        loss = 0.05 * self.drive.rated_power
        for _ in range(20):
            flow = (capacity + loss) / (suction.h - liquid_enthalpy)
            operation = self.compressor.operate(flow * suction.v, head)
            gas = flow * head / operation.efficiency
            power, shaft = self.drive.input_power(gas, operation.speed)
            if abs(power - gas - loss) < 1e-7 * power:
                break
            loss = power - gas
        return flow, operation, power, shaft

    def most(self, at: Conditions, bound: Callable[[Steady], float], limit: float) -> Steady:
        """The state with the largest capacity at which `bound(state)` does not exceed `limit`;
        `at.capacity` is the upper end.
        """
        low, high, best = 0.05 * self.evaporator.duty, at.capacity, None
        for _ in range(24):
            middle = 0.5 * (low + high)
            try:
                found = self.steady(replace(at, capacity=middle))
                fits = bound(found) <= limit
            except OutOfMap:
                # Too small is the upper end; surge at low load is not looked for here.
                fits = False
            low, high, best = (middle, high, found) if fits else (low, middle, best)
        if best is None:
            raise OutOfMap("no load at which the limit is kept")
        return best

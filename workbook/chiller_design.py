"""A machine from its design point: exchangers and compressor sized so that the model meets it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from workbook.chiller_model import CELSIUS, Chiller, Conditions, Drive, Exchanger
from workbook.compressor_model import CompressorMap
from workbook.fluids import refrigerant, water_density, water_heat_capacity


@dataclass(frozen=True)
class Design:
    """A design point, from which a machine is sized.

    Parameters
    ----------
    refrigerant : str
    capacity : float
        [W].
    entering_chilled, leaving_chilled, entering_condenser, leaving_condenser : float
        [°C].
    evaporator_approach, condenser_approach : float
        [K], with design fouling.
    efficiency : float
        Isentropic efficiency of the compressor at design.
    voltage : float
        [V].
    """

    refrigerant: str
    capacity: float
    entering_chilled: float
    leaving_chilled: float
    entering_condenser: float
    leaving_condenser: float
    evaporator_approach: float
    condenser_approach: float
    efficiency: float
    variable_speed: bool
    rated_power: float
    voltage: float
    transmission_loss: float = 0.018
    evaporator_drop: float = 60e3
    condenser_drop: float = 65e3
    reserve: float = 1.04


def chiller(design: Design, fouling: float = 1.0) -> Chiller:
    """The machine that has this design point; `fouling` is how much of the design allowance is
    there.
    """
    evaporator, condenser = _exchangers(design)
    drive = Drive(
        design.rated_power,
        design.voltage,
        transmission_loss=design.transmission_loss,
        drive_loss=(0.010, 0.016) if design.variable_speed else (0.0, 0.0),
    )
    fluid = refrigerant(design.refrigerant)
    evaporating = CELSIUS + design.leaving_chilled - design.evaporator_approach
    condensing = CELSIUS + design.leaving_condenser + design.condenser_approach
    machine = Chiller(
        design.refrigerant,
        evaporator,
        condenser,
        CompressorMap(1.0, 1.0, design.efficiency, design.variable_speed),
        drive,
        1.0,
    )
    p1, p2 = fluid.saturation_pressure(evaporating), fluid.saturation_pressure(condensing)
    suction = fluid.vapour(p1 * (1 - machine.suction_loss), evaporating + machine.superheat)
    head = fluid.isentropic_rise(suction, p2)
    liquid = fluid.liquid_enthalpy(fluid.saturation_temperature(p2, 0.0) - machine.subcooling)
    flow, loss = 0.0, 0.0
    for _ in range(20):
        flow = (design.capacity + loss) / (suction.h - liquid)
        gas = flow * head / design.efficiency
        loss = drive.input_power(gas, 1.0)[0] - gas
    compressor = CompressorMap(
        flow * suction.v * design.reserve, head, design.efficiency, design.variable_speed
    )
    return replace(
        machine,
        compressor=compressor,
        design_flow=flow,
        evaporator=replace(evaporator, fouling=fouling),
        condenser=replace(
            _sized_condenser(design, condenser, design.capacity + gas + loss), fouling=fouling
        ),
    )


def _exchangers(design: Design) -> tuple[Exchanger, Exchanger]:
    range_ = design.entering_chilled - design.leaving_chilled
    cp = float(
        water_heat_capacity(CELSIUS + 0.5 * (design.entering_chilled + design.leaving_chilled))
    )
    mass = design.capacity / cp / range_
    evaporator = Exchanger(
        _ua(mass * cp, range_, design.evaporator_approach),
        mass,
        design.capacity,
        0.30,
        design.evaporator_drop,
    )
    return evaporator, Exchanger(1.0, 1.0, 1.0, -0.20, design.condenser_drop)


def _sized_condenser(design: Design, blank: Exchanger, rejection: float) -> Exchanger:
    range_ = design.leaving_condenser - design.entering_condenser
    cp = float(
        water_heat_capacity(CELSIUS + 0.5 * (design.entering_condenser + design.leaving_condenser))
    )
    mass = rejection / cp / range_
    return replace(
        blank, ua=_ua(mass * cp, range_, design.condenser_approach), flow=mass, duty=rejection
    )


def _ua(capacity_rate: float, range_: float, approach: float) -> float:
    """UA [W/K] that leaves this approach: NTU = ln((range + approach) / approach)."""
    return capacity_rate * math.log((range_ + approach) / approach)


def design_conditions(design: Design, machine: Chiller) -> Conditions:
    """The conditions of the design point, flows as metered in the entering lines."""
    return Conditions(
        design.capacity,
        CELSIUS + design.leaving_chilled,
        CELSIUS + design.entering_condenser,
        machine.evaporator.flow / float(water_density(CELSIUS + design.entering_chilled)),
        machine.condenser.flow / float(water_density(CELSIUS + design.entering_condenser)),
    )

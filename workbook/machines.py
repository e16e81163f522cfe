"""The three machines of the invented plant as the model knows them, and the rows of their
selections.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from workbook.chiller_design import Design, chiller, design_conditions
from workbook.chiller_model import CELSIUS, TON, Chiller, Conditions, Steady
from workbook.oil_model import Oil, OilCircuit

# Entering condenser water [°C] at 100, 75, 50, 25 % load: the relief of the rating standard, SI
# form (AHRI 551/591)
# and I-P form (AHRI 550/590: 85, 75, 65, 65 °F), both as restated in secondary texts.
RELIEF_SI = {1.00: 30.0, 0.75: 24.5, 0.50: 19.0, 0.25: 19.0}
RELIEF_IP = {1.00: 29.444, 0.75: 23.889, 0.50: 18.333, 0.25: 18.333}


@dataclass(frozen=True)
class Modelled:
    """One machine: its design, the relief of its selection, how clean its tubes are, its full-load
    current [A], its oil circuit.
    """

    design: Design
    relief: dict[float, float]
    full_load_current: float
    oil: OilCircuit
    fouling: float = 1.0

    @property
    def as_sold(self) -> Chiller:
        """With the design allowance for fouling, as the selection reckons."""
        return chiller(self.design)

    @property
    def as_built(self) -> Chiller:
        """As installed."""
        return chiller(self.design, self.fouling)

    @property
    def conditions(self) -> Conditions:
        return design_conditions(self.design, self.as_sold)

    def at(
        self,
        machine: Chiller,
        load: float,
        entering_condenser: float | None = None,
        leaving_chilled: float | None = None,
    ) -> Steady:
        """A steady state at a share of design capacity; temperatures [°C], those of the selection
        if none are given.
        """
        conditions = self.conditions
        condenser = self.relief[load] if entering_condenser is None else entering_condenser
        chilled = self.design.leaving_chilled if leaving_chilled is None else leaving_chilled
        return machine.steady(
            replace(
                conditions,
                capacity=load * self.design.capacity,
                entering_condenser=CELSIUS + condenser,
                leaving_chilled=CELSIUS + chilled,
            )
        )

    def selection(self) -> list[Steady]:
        """The states behind the rows of the part-load table, full load first."""
        machine = self.as_sold
        return [self.at(machine, load) for load in self.relief]


CH1 = Modelled(
    Design(
        "R-134a",
        1760e3,
        12.5,
        7.0,
        30.0,
        35.2,
        1.1,
        1.1,
        0.835,
        True,
        300e3,
        460.0,
        evaporator_drop=58e3,
        condenser_drop=64e3,
    ),
    RELIEF_SI,
    386.0,
    OilCircuit(Oil(68e-6, 8.6e-6), 170e3, speed_at_design=24.0),
    fouling=0.35,
)
CH2 = Modelled(
    Design(
        "R-1233zd(E)",
        350 * TON,
        12.222,
        6.667,
        29.444,
        34.722,
        1.0,
        1.1,
        0.830,
        False,
        224e3,
        480.0,
        transmission_loss=0.006,
        evaporator_drop=52e3,
        condenser_drop=49e3,
    ),
    RELIEF_IP,
    262.0,
    OilCircuit(Oil(67e-6, 8.5e-6), 124e3, variable_speed=False, fixed_speed=28.5),
    fouling=0.35,
)
CH3 = Modelled(
    Design(
        "R-513A",
        1580e3,
        12.5,
        7.0,
        30.0,
        35.3,
        1.3,
        1.4,
        0.800,
        False,
        300e3,
        4160.0,
        evaporator_drop=55e3,
        condenser_drop=60e3,
    ),
    RELIEF_SI,
    45.0,
    OilCircuit(Oil(68e-6, 8.7e-6), 150e3, variable_speed=False, fixed_speed=28.5),
    fouling=1.0,
)
MACHINES = {"CH-1": CH1, "CH-2": CH2, "CH-3": CH3}

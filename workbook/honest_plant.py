"""The machine of an honest job: its sheet, the model at its site and what its instruments show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import pint

from startkit.facts.machine import Machine
from workbook.machines import MACHINES, Modelled
from workbook.measured import Measured, Truth
from workbook.sensors_model import stream
from workbook.story import Line

# Voltages of the three phases as shares of the rated one.
IMBALANCE = (1.002, 0.9985, 0.9995)


@dataclass(frozen=True)
class HonestPlant:
    """One machine without a fault, and its instruments.

    Parameters
    ----------
    sheet : Machine
        The machine's sheet; its tag names the model.
    seed : int
        Draws the errors of the instruments and the small differences of the plant.
    recorder : bool
        False: nothing but eyes, the panel's display and a stopwatch, with fewer strokes.
    """

    sheet: Machine
    seed: int = 1
    recorder: bool = True

    @property
    def modelled(self) -> Modelled:
        return MACHINES[self.sheet.machine.tag]

    @cached_property
    def measured(self) -> Measured:
        """The model of this machine at this site, without anything wrong."""
        drawn = stream(self.seed, "plant")
        volts = float(self.sheet.motor.voltage.to("V").magnitude)
        air = barometer_at(self.sheet.site.elevation) + drawn.normal(0, 0.25)
        truth = Truth(
            barometer=air,
            ambient=float(drawn.uniform(20, 26)),
            zero_found=float(drawn.normal(0, 500)),
            zero_left=float(drawn.normal(0, 500)),
            voltages=(volts * IMBALANCE[0], volts * IMBALANCE[1], volts * IMBALANCE[2]),
            standstill_water=float(drawn.uniform(19, 23)),
            condenser_warmer=float(drawn.uniform(-0.3, 0.3)),
            coast_down=self.si(self.sheet.oil.coast_down_time, "s")
            * float(drawn.uniform(0.95, 1.05)),
            pump_off=self.si(self.sheet.oil.coast_down_time, "s")
            + self.si(self.sheet.oil.post_lube_time, "s") * 1.04,
            loads=(0.985, 0.88, 0.755),
            chilled_flow=float(drawn.uniform(0.98, 1.02)),
            condenser_flow=float(drawn.uniform(0.98, 1.02)),
        )
        return Measured(truth, self.seed, self.modelled)

    def si(self, quantity: pint.Quantity, unit: str) -> float:
        return float(quantity.to(unit).magnitude)


def replaced(lines: tuple[Line, ...], values: dict[str, tuple[str, str]]) -> Iterator[Line]:
    """The lines with the values and units given by name in place of their own."""
    for line in lines:
        value, unit = values.get(line.what, (line.value, line.unit))
        yield replace(line, value=value, unit=unit)


def barometer_at(elevation: pint.Quantity | None) -> float:
    """[kPa] standard atmosphere (ISO 2533, lower layer)."""
    metres = 0.0 if elevation is None else float(elevation.to("m").magnitude)
    return 101.325 * (1 - 2.25577e-5 * metres) ** 5.25588

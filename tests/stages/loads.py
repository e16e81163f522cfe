"""Readings of one load that give exactly the figures asked for, for the tests of the load-up."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from startkit.science import performance, refrigerant
from startkit.units import Q

FLUID = "R-134a"
BAROMETER = 101.325  # kPa, sea level
TAGS = {
    "chilled_entering": "T1",
    "chilled_leaving": "T2",
    "condenser_entering": "T3",
    "condenser_leaving": "T4",
    "evaporator_flow": "F1",
    "condenser_flow": "F2",
    "evaporator_pressure": "P1",
    "condenser_pressure": "P2",
    "suction_temperature": "T5",
    "discharge_temperature": "T6",
    "liquid_temperature": "T7",
    "power": "W1",
    "current": "A1",
    "evaporator_drop": "D1",
    "condenser_drop": "D2",
}
ACCURACY = {
    "T": ("temperature", "0.05 K"),
    "F": ("flow", "1 % of reading"),
    "P": ("gauge pressure", "2 kPa"),
    "W": ("power", "0.5 % of reading"),
    "A": ("current", "1 A"),
    "D": ("pressure drop", "0.5 kPa"),
}


def readings(
    share: float = 1.0,
    power: float = 295.0,
    balance: float = 0.0,
    evaporator_approach: float = 1.0,
    condenser_approach: float = 1.0,
    subcooling: float = 3.0,
    superheat: float = 1.0,
    current: float | None = None,
    chilled: float = 7.0,
    warm: float | None = None,
    design_range: float = 5.5,
) -> dict[str, tuple[str, str]]:
    """Value and unit by column: capacity `share` of 1760 kW, heat balance on the mean basis,
    approaches [K], waters [°C], power [kW], current [A]; the current follows the power if it is not
    asked for, the discharge temperature the superheat. Condenser water enters at 30 °C, or as much
    colder as a machine of this power needs it.
    """
    if warm is None:
        lift = 0.7 * power / (share * 1760) * (273.15 + chilled - evaporator_approach)
        warm = min(30.0, chilled - evaporator_approach + lift - condenser_approach - 5.2 * share)
    current = 480.0 * power / 295.0 if current is None else current
    capacity = share * 1760e3
    spread = design_range * share
    flow = capacity / performance.cooling_capacity.si(
        1.0, 273.15 + chilled + spread, 273.15 + chilled
    )
    heat_in = capacity + power * 1e3
    # balance = (in - out) / ((in + out) / 2)
    rejected = heat_in * (1 - balance / 2) / (1 + balance / 2)
    water_rise = 5.2 * share
    condenser_flow = rejected / performance.heat_rejected.si(
        1.0, 273.15 + warm, 273.15 + warm + water_rise
    )
    evaporating, condensing = chilled - evaporator_approach, warm + water_rise + condenser_approach
    low, high = (
        float(
            refrigerant.saturation_pressure(FLUID, Q(273.15 + t, "kelvin"))
            .to("kilopascal")
            .magnitude
        )
        for t in (evaporating, condensing)
    )
    return {
        "chilled_entering": (f"{chilled + spread:.10f}", "°C"),
        "chilled_leaving": (f"{chilled:.10f}", "°C"),
        "evaporator_flow": (f"{1e3 * flow:.10f}", "L/s"),
        "condenser_entering": (f"{warm:.10f}", "°C"),
        "condenser_leaving": (f"{warm + water_rise:.10f}", "°C"),
        "condenser_flow": (f"{1e3 * condenser_flow:.10f}", "L/s"),
        "evaporator_pressure": (f"{low - BAROMETER:.10f}", "kPa gauge"),
        "condenser_pressure": (f"{high - BAROMETER:.10f}", "kPa gauge"),
        "suction_temperature": (f"{evaporating + superheat:.10f}", "°C"),
        "discharge_temperature": (f"{condensing + 8 + superheat:.10f}", "°C"),
        "liquid_temperature": (
            f"{condensing - min(subcooling, water_rise + condenser_approach):.10f}",
            "°C",
        ),
        "power": (f"{power:.10f}", "kW"),
        "current": (f"{current:.10f}", "A"),
    }


def put_load(
    put: Callable[..., None],
    job: Any,
    index: int = 1,
    label: str = "",
    steady: bool = True,
    named: bool = False,
    changed: Mapping[str, tuple[str, str]] | None = None,
    **asked: float,
) -> None:
    """One column of the stage's table, with instruments if `named`."""
    prefix = f"load_up.points.{index}."
    put(job, prefix + "label", label or f"{100 * asked.get('share', 1.0):.0f} %")
    put(job, prefix + "steady", "yes" if steady else "no")
    put(job, prefix + "steady_by", "A. Tester")
    for name, (value, unit) in {**readings(**asked), **(changed or {})}.items():
        put(job, prefix + name, value, unit, instrument=TAGS.get(name, "") if named else "")


def put_instruments(put: Callable[..., None], job: Any, **accuracies: str) -> None:
    """The instruments of the stage Setup, and a barometer that was read; an accuracy can be set by
    tag.
    """
    put(job, "setup.barometer", str(BAROMETER), "kPa")
    for n, tag in enumerate(dict.fromkeys(TAGS.values()), 1):
        kind, accuracy = ACCURACY[tag[0]]
        for column, value in (
            ("tag", tag),
            ("name", tag),
            ("kind", kind),
            ("accuracy", accuracies.get(tag, accuracy)),
            ("serial", tag),
            ("due", "2030-01-01"),
        ):
            put(job, f"setup.instruments.{n}.{column}", value)

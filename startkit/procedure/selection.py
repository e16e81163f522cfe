"""What the selection promises at the load and water temperatures that were met: interpolated,
corrected, never extrapolated silently.
"""

from __future__ import annotations

from dataclasses import dataclass

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Curves as MachineCurves
from startkit.facts.machine import Exchanger, LoadPoint, Machine
from startkit.science import selection, water
from startkit.science.rating import WINDOW
from startkit.science.water import Liquid
from startkit.unit_registry import bare
from startkit.units import Q


@dataclass(frozen=True)
class Promise:
    """The selection's power for capacity at one load, corrected to the water temperatures met.

    `specific_power` is None where the selection has no figure; `why_not` gives the reason.
    `correction` is the factor applied for water temperatures, 1 where the maker's curves hold at
    them: `curves`.
    """

    specific_power: pint.Quantity | None
    correction: float = 1.0
    why_not: str = ""
    curves: bool = False


def promised(
    machine: Machine,
    load: float,
    chilled_leaving: pint.Quantity | None,
    condenser_leaving: pint.Quantity | None,
    condenser_entering: pint.Quantity | None = None,
) -> Promise:
    """Power for capacity that the selection promises at a load, for the water temperatures met.

    By the maker's curves where the sheet holds them and they were fitted over these temperatures.
    Else the straight line between the table's rows, times the change of lift that the water
    temperatures make: both lifts are taken with the selection's own approaches, so that a fouled
    tube is not excused by the lift it makes.

    Parameters
    ----------
    machine : Machine
    load : float
        Fraction of the selection's full capacity; one within 2 % of full load beyond the table's
        ends is still that end.
    chilled_leaving, condenser_leaving, condenser_entering : pint.Quantity or None
        [temperature] met.

    Source: `science.selection`.
    """
    by_curves = _by_curves(machine, load, chilled_leaving, condenser_entering)
    if by_curves is not None:
        return Promise(by_curves, curves=True)
    loads = [_share(p) for p in machine.selection.points]
    try:
        at = _inside(load, loads)
        power = float(
            selection.interpolate(
                at,
                loads,
                [
                    float((p.power / p.capacity).to("dimensionless").magnitude)
                    for p in machine.selection.points
                ],
            )
        )
        factor = _correction(machine, at, loads, chilled_leaving, condenser_leaving)
    except StartkitError as error:
        return Promise(None, 1.0, error.what)
    return Promise(Q(power * factor, "dimensionless"), factor)


def _by_curves(
    machine: Machine,
    load: float,
    leaving: pint.Quantity | None,
    entering: pint.Quantity | None,
) -> pint.Quantity | None:
    """Power for capacity by the maker's curves; None without them, or outside what they were fitted
    over.
    """
    given = machine.curves
    if not given.of_conditions or leaving is None or entering is None:
        return None
    try:
        found = selection.expected_power(
            _curves(given), load * machine.design.capacity, leaving, entering
        )
    except StartkitError:
        return None
    return None if found.warnings else found.specific_power


def _curves(given: MachineCurves) -> selection.Curves:
    def celsius(quantity: pint.Quantity | None) -> float:
        assert quantity is not None  # `of_conditions`
        return float(bare(quantity, "degC"))

    assert given.reference_capacity is not None

    least = given.least_load
    return selection.Curves(
        capacity=given.capacity or (),
        power=given.power or (),
        part_load=given.part_load or (),
        reference_capacity=float(bare(given.reference_capacity, "watt")),
        reference_cop=given.reference_cop or 0.0,
        reference_leaving=celsius(given.reference_leaving),
        reference_entering=celsius(given.reference_entering),
        leaving_range=(celsius(given.leaving_from), celsius(given.leaving_to)),
        entering_range=(celsius(given.entering_from), celsius(given.entering_to)),
        least_load=0.2 if least is None else float(bare(least, "dimensionless")),
        source=given.source,
    )


def _share(row: LoadPoint) -> float:
    return float(bare(row.load, "dimensionless"))


def _inside(load: float, loads: list[float]) -> float:
    """The load, or the table's end if it is only just beyond it: readings scatter about a table's
    end.
    """
    near = min(max(load, min(loads)), max(loads))
    return near if abs(near - load) <= WINDOW + 1e-9 else load


def _correction(
    machine: Machine,
    load: float,
    loads: list[float],
    chilled: pint.Quantity | None,
    condenser: pint.Quantity | None,
) -> float:
    rows = machine.selection.points
    leaving = [row.leaving_condenser for row in rows if row.leaving_condenser is not None]
    if chilled is None or condenser is None or len(leaving) < len(rows):
        return 1.0
    selected_c = selection.interpolate(load, loads, [each.to("kelvin") for each in leaving])
    selected_e = selection.interpolate(
        load, loads, [row.leaving_chilled.to("kelvin") for row in rows]
    )
    warm, cold = (
        approaches(machine, load, side) or Q(0.0, "delta_degC")
        for side in ("condenser", "evaporator")
    )
    return float(
        selection.lift_correction(
            chilled.to("kelvin") - cold,
            condenser.to("kelvin") + warm,
            selected_e - cold,
            selected_c + warm,
        ).magnitude
    )


def approaches(machine: Machine, load: float, side: str) -> pint.Quantity | None:
    """The selection's approach at a load, or None if its table has none there."""
    rows = [(_share(p), getattr(p, f"{side}_approach")) for p in machine.selection.points]
    rows = [(x, a) for x, a in rows if a is not None]
    if not rows:
        return None
    loads = [x for x, _ in rows]
    try:
        found = selection.interpolate(
            _inside(load, loads), loads, [float(bare(a, "delta_degC")) for _, a in rows]
        )
    except StartkitError:
        return None
    return Q(float(found), "delta_degC")


def design_range(machine: Machine) -> pint.Quantity:
    """Chilled water's range at full load [temperature difference], from the sheet or from its
    capacity and flow.
    """
    design = machine.design
    if design.entering_chilled is not None:
        return design.entering_chilled.to("kelvin") - design.leaving_chilled.to("kelvin")
    # 4.19 kJ/(kg K) and 1000 kg/m3 are good to one percent, and the tolerances that use the range
    # need no better.
    return Q(
        float(
            (design.capacity / machine.evaporator.design_flow / Q(4.19e6, "joule/meter**3"))
            .to_base_units()
            .magnitude
        ),
        "delta_degC",
    )


def part_load_value(machine: Machine) -> float | None:
    """The selection's own part-load value, power over capacity [kW/kW]; None if its table does not
    reach the four loads.
    """
    from startkit.science.rating import part_load_value as value_of

    rows = sorted(machine.selection.points, key=_share)
    try:
        return float(
            value_of.si(
                [_share(p) for p in rows],
                [float((p.power / p.capacity).to("dimensionless").magnitude) for p in rows],
                "harmonic",
            ).value
        )
    except StartkitError:
        return None


def liquid_of(exchanger: Exchanger) -> Liquid:
    """What flows through an exchanger."""
    fraction = exchanger.glycol_mass_fraction
    return water.liquid(
        exchanger.fluid, None if fraction is None else float(fraction.to("dimensionless").magnitude)
    )

"""Settings of the safeties against the machine's sheet and against physics: what was set may be
wrong however well it trips.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import CurrentTrip, Machine, PressureTrip, TemperatureTrip
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading, Row
from startkit.science.insulation import CLASS_TEMPERATURES
from startkit.stages.controls.fields import SAFETIES
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

MAKER = "maker's figure in the machine sheet"
# Limit against the sheet, by table.
AGAINST_SHEET = {
    "pressure_safeties": "controls.sheet_pressure",
    "temperature_safeties": "controls.sheet_temperature",
    "current_safeties": "controls.sheet_current",
}


def setting_verdicts(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """Of every setting what the sheet and physics say of it."""
    return tuple(
        found
        for table in SAFETIES
        for row in entries.rows(table)
        if row.quantity("setting") is not None
        for found in _of_row(machine, limits, entries, table, row)
    )


def _of_row(
    machine: Machine, limits: Limits, entries: Entries, table: str, row: Row
) -> Iterator[Verdict]:
    physical = _PHYSICAL.get(row.code("safety"))
    if physical is not None:
        yield from physical(machine, limits, entries, row)
    due = maker_setting(machine, row)
    if due is not None:
        yield _as_the_sheet_says(limits, entries, table, row, due)
    elif physical is None and row.code("safety") in type(machine.safeties).model_fields:
        yield _by_nothing(table, row)


def _by_nothing(table: str, row: Row) -> Verdict:
    """A setting that neither the sheet nor physics bounds would be judged by itself alone."""
    return Verdict(
        key=f"controls.{table}.{row.index}_setting",
        title=f"Setting against the sheet: {row.text('safety')}",
        outcome=Outcome.UNPROVEN,
        sentence="The sheet does not say what it should be set to.",
        next_step=f"Write the maker's setting and its source as {row.code('safety')} under"
        " [safeties] in the sheet.",
        source=MAKER,
        rests_on=row.reading("setting").items,
    )


def maker_setting(
    machine: Machine, row: Row
) -> PressureTrip | TemperatureTrip | CurrentTrip | None:
    """What the sheet says of a row's safety; None where it says nothing."""
    return getattr(machine.safeties, row.code("safety"), None)


def _judged(
    entries: Entries, limit: Limit, row: Row, reading: Reading, note: str, next_step: str
) -> Verdict:
    return check(
        entries,
        limit,
        reading,
        key=f"{limit.key}_{row.index}",
        note=note,
        next_step=next_step,
        rests_on=row.reading("safety").items,
    )


def _as_the_sheet_says(
    limits: Limits,
    entries: Entries,
    table: str,
    row: Row,
    due: PressureTrip | TemperatureTrip | CurrentTrip,
) -> Verdict:
    limit = limits[AGAINST_SHEET[table]]
    setting = row.reading("setting").exact()
    kind = SAFETIES[table][0]
    wanted = _absolute(entries, due.setting) if isinstance(due, PressureTrip) else due.setting
    pressure = isinstance(due, PressureTrip)
    found = check(
        entries,
        limit,
        setting.deviation_from(wanted) if pressure else setting.less(wanted),
        key=f"controls.{table}.{row.index}_setting",
        title=f"{limit.title}: {row.text('safety')}",
        note=f"Set {entries.show(setting.quantity, kind)}, sheet {entries.show(wanted, kind)}"
        f" ({due.source}).",
        next_step="Set it to the sheet, or have the sheet changed.",
        rests_on=row.reading("safety").items,
    )
    return replace(found, source=f"{MAKER}: {due.source}")


def _absolute(entries: Entries, pressure: pint.Quantity) -> pint.Quantity:
    """A pressure of the sheet, given over the atmosphere, as an absolute one."""
    return (pressure + _atmosphere(entries)).to("pascal")


def _atmosphere(entries: Entries) -> pint.Quantity:
    air = entries.job.barometer.quantity
    assert air is not None  # where it was not measured, that of the elevation is used
    return air


def _high_pressure(
    machine: Machine, limits: Limits, entries: Entries, row: Row
) -> tuple[Verdict, ...]:
    """A trip that leaves room below the relief device and the vessel's design pressure."""
    side = machine.condenser
    known = [each for each in (side.design_pressure, side.relief_setting) if each is not None]
    limit, setting = limits["controls.high_pressure_setting"], row.reading("setting").exact()
    if not known:
        return (_no_figure(limit, row, "design_pressure or relief_setting of the condenser"),)
    due = min(known)
    over = setting.less(_atmosphere(entries))
    return (
        _judged(
            entries,
            limit,
            row,
            over.share_of(due),
            f"Set {entries.show(setting.quantity, 'gauge_pressure')}, the lower of relief setting"
            f" and design pressure is {entries.show(due, 'relative_pressure')}.",
            "Set it lower: the relief device must never open before the machine has tripped.",
        ),
    )


def _no_figure(limit: Limit, row: Row, lacking: str) -> Verdict:
    return Verdict(
        key=f"{limit.key}_{row.index}",
        title=limit.title,
        outcome=Outcome.UNPROVEN,
        sentence=f"The sheet lacks {lacking}.",
        next_step="Add it to the sheet.",
        source=limit.origin,
        rests_on=row.reading("setting").items,
    )


def _freezing(machine: Machine, entries: Entries) -> tuple[pint.Quantity, tuple[str, ...]]:
    """Freezing point of what flows in the evaporator, and the items it rests on: as measured in
    the water circuit, else as in the sheet.
    """
    from startkit.science.water import freezing_point, liquid

    water = entries.job.stage("water")
    fluid, share = (water.reading(f"evaporator_{part}") for part in ("fluid", "share"))
    if fluid.code:
        basis = water.code("evaporator_basis") or "mass"
        try:
            seen = liquid(fluid.code.replace("_", " "), _fraction(share.quantity), basis)
            return freezing_point(seen), (*fluid.items, *(share.items if share.taken else ()))
        except StartkitError:
            pass  # the water circuit says what is wrong with it; until then the sheet's liquid
    side = machine.evaporator
    return freezing_point(liquid(side.fluid, _fraction(side.glycol_mass_fraction))), ()


def _fraction(share: pint.Quantity | None) -> float | None:
    return None if share is None else float(share.to("dimensionless").magnitude)


def _over_freezing(
    machine: Machine, limits: Limits, entries: Entries, row: Row
) -> tuple[Verdict, ...]:
    """A trip that stops the machine before the tubes freeze."""
    code = row.code("safety")
    limit, setting = limits[_FREEZING_LIMITS[code]], row.reading("setting").exact()
    note = ""
    if code == "low_evaporator_pressure":
        from startkit.science.refrigerant import dew_temperature

        try:
            saturation = dew_temperature(machine.machine.refrigerant, setting.quantity)
        except StartkitError as error:
            return (_judged(entries, limit, row, setting.unreadable(str(error)), "", ""),)
        setting = setting.with_quantity(saturation, Q(0.0, "delta_degC"))
        note = f"Saturation at the setting {entries.show(saturation, 'temperature')}. "
    frozen, items = _freezing(machine, entries)
    found = _judged(
        entries,
        limit,
        row,
        setting.less(frozen),
        f"{note}It freezes at {entries.show(frozen, 'temperature')}.",
        "Set it higher: tubes burst when they freeze.",
    )
    return (replace(found, rests_on=tuple(dict.fromkeys((*found.rests_on, *items)))),)


def _winding(machine: Machine, limits: Limits, entries: Entries, row: Row) -> tuple[Verdict, ...]:
    """A trip no higher than what the motor's insulation bears; the class is read in Electrical."""
    motor_class = entries.job.stage("electrical").reading("thermal_class")
    limit, setting = limits["controls.winding_setting"], row.reading("setting").exact()
    bears = CLASS_TEMPERATURES.get(motor_class.code)
    if bears is None:
        bears, told = max(CLASS_TEMPERATURES.values()), "Thermal class not entered: as of class H"
    else:
        told = f"Class {motor_class.code}"
    most = Q(float(bears), "degC")
    found = _judged(
        entries,
        limit,
        row,
        setting.less(most),
        f"{told}, {entries.show(most, 'temperature')}.",
        "Set it as the motor's maker specifies.",
    )
    if motor_class.code or found.outcome is not Outcome.PASS:
        return (replace(found, rests_on=(*found.rests_on, *motor_class.items)),)
    return (
        replace(
            found,
            outcome=Outcome.UNPROVEN,
            next_step="Read the thermal class from the motor's nameplate, in Electrical.",
            rests_on=(*found.rests_on, "electrical.thermal_class"),
        ),
    )


def _overcurrent(
    machine: Machine, limits: Limits, entries: Entries, row: Row
) -> tuple[Verdict, ...]:
    """A trip above the limit that the drive holds; a starter's limit counts at the start only."""
    held = machine.motor.drive_current_limit
    if not machine.variable_speed or held is None:
        return ()
    setting = row.reading("setting").exact()
    return (
        _judged(
            entries,
            limits["controls.overcurrent_above_limit"],
            row,
            setting.less(held),
            f"The drive limits at {entries.show(held, 'percent')}.",
            "Set the drive's limit lower, or the trip to the sheet.",
        ),
    )


_FREEZING_LIMITS = {
    "low_evaporator_pressure": "controls.low_pressure_setting",
    "low_leaving_chilled_water": "controls.low_water_setting",
    "low_evaporator_refrigerant_temperature": "controls.low_refrigerant_setting",
}
_PHYSICAL = {
    "high_condenser_pressure": _high_pressure,
    **dict.fromkeys(_FREEZING_LIMITS, _over_freezing),
    "high_motor_winding_temperature": _winding,
    "motor_overcurrent": _overcurrent,
}

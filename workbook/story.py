"""What happened: three days at CH-1, and the beginnings of the other two jobs.

Told as chapters of entries in the order in which they were made. Words are written here; numbers
come from the model (`workbook.measured`), so that what the analysis should find is known.

The story: the closed-position switch of the guide vanes makes while the vanes still stand a tenth
open, and the oil supply transducer reads some 20 kPa too high, so that the bearings get less oil
pressure than the panel shows. Both are found by the first readings, corrected, and proven again.
Then the first start trips on overcurrent, because the loop is warm and the current limit was left
at 100 %.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

from startkit.facts.journal import Entry
from workbook.measured import Measured
from workbook.people import ELECTRICIAN, PEOPLE, SENSORS, TECHNICIAN

ZONE = timezone(timedelta(hours=-4))
MOUNTAIN = timezone(timedelta(hours=-6))
MADE_AT = "14 07:40"


@dataclass(frozen=True)
class Line:
    """One thing written down: item, value, unit, instrument, note; `who` if it is not the chapter's
    writer.
    """

    what: str
    value: str
    unit: str = ""
    tag: str = ""
    note: str = ""
    who: str = ""


@dataclass(frozen=True)
class Chapter:
    """A stretch of the job.

    Parameters
    ----------
    title : str
    begins : str
        Day of April 2026 and clock, ``"14 08:10"``.
    who : str
        Who writes.
    lines : tuple of Line
    pace : int
        [s] between lines.
    zone : timezone
    """

    title: str
    begins: str
    who: str
    lines: tuple[Line, ...]
    pace: int = 12
    zone: timezone = ZONE

    def entries(self) -> list[Entry]:
        began = moment(self.begins, self.zone)
        return [
            Entry(
                line.what,
                line.value,
                line.unit,
                line.who or self.who,
                line.tag,
                line.note,
                stamp(began + timedelta(seconds=self.pace * n)),
            )
            for n, line in enumerate(self.lines)
        ]


def moment(text: str, zone: timezone = ZONE) -> datetime:
    """``"14 08:10"`` as a moment of April 2026."""
    day, clock = text.split()
    hour, minute, *second = clock.split(":")
    return datetime(
        2026, 4, int(day), int(hour), int(minute), int(second[0]) if second else 0, tzinfo=zone
    )


def stamp(at: datetime) -> str:
    """As the journal writes it."""
    return at.isoformat(timespec="milliseconds")


def row(
    item: str, index: int, cells: Iterable[tuple[str, ...]] | dict[str, str], note: str = ""
) -> tuple[Line, ...]:
    """One row of a table: cells as name -> value, or as (name, value, unit, instrument)."""
    listed = cells.items() if isinstance(cells, dict) else cells
    return tuple(Line(f"{item}.{index}.{name}", *rest, note=note) for name, *rest in listed)


def flat(*groups: Iterable[Line]) -> tuple[Line, ...]:
    return tuple(line for group in groups for line in group)


# --- CH-1 -----------------------------------------------------------------------------------------


def chapters(m: Measured) -> tuple[Chapter, ...]:
    """All chapters of CH-1, in order."""
    from workbook.story_before import before_the_pump
    from workbook.story_handover import handover
    from workbook.story_running import first_start, load_up, pull_down, stop

    told = (
        *setting_up(m),
        *safety(),
        *before_the_pump(m),
        *vanes(m),
        *oil(m),
        *first_start(m),
        *pull_down(m),
        *stop(m),
        *load_up(m),
        *handover(m),
    )
    return tuple(sorted(told, key=lambda chapter: moment(chapter.begins)))


def setting_up(m: Measured) -> tuple[Chapter, ...]:
    """People, instruments, nameplate, order."""
    people = flat(
        *(
            row("setup.people", n, {"name": name, "role": role, "firm": firm})
            for n, (name, role, firm) in enumerate(PEOPLE, 1)
        )
    )
    instruments = flat(
        *(
            row(
                "setup.instruments",
                n,
                {
                    name: value
                    for name, value in {
                        "tag": s.tag,
                        "name": s.name,
                        "kind": s.kind,
                        "serial": s.serial,
                        "range": s.range,
                        "accuracy": s.accuracy,
                        "due": s.due,
                        "pair": s.pair,
                        "pair_accuracy": s.pair_accuracy,
                    }.items()
                    if value
                },
            )
            for n, s in enumerate(SENSORS.values(), 1)
        )
    )
    plate = (
        Line("setup.barometer", m.shows("BA-1", m.truth.barometer, "setup"), "kPa", "BA-1"),
        Line("setup.nameplate_serial", "OV26-0417"),
        Line("setup.nameplate_refrigerant", "R134a"),
        Line("setup.nameplate_voltage", "460", "V"),
        Line("setup.nameplate_current", "386", "A"),
        Line("setup.order_number", "SA-2026-118"),
        Line("setup.order_capacity", "1760", "kW"),
        Line("setup.order_refrigerant_charge", "610", "kg"),
    )
    return (
        Chapter(
            "People and instruments", "14 07:50", TECHNICIAN, flat(people, instruments), pace=4
        ),
        Chapter("Nameplate and order", "14 08:25", TECHNICIAN, plate, pace=40),
    )


def safety() -> tuple[Chapter, ...]:
    """The machinery room, and what is confirmed by name, before anything is run."""
    confirmed = flat(
        *(
            (Line(f"safety.{item}", "yes", note=note), Line(f"safety.{item}_by", who))
            for item, who, note in (
                (
                    "lock_out",
                    ELECTRICIAN,
                    (
                        "Start attempted at the panel, terminals dead; meter proven before and"
                        " after."
                    ),
                ),
                ("detector", TECHNICIAN, "With test gas; heard inside and at both doors."),
                ("ventilation", TECHNICIAN, ""),
                ("relief", TECHNICIAN, "Followed to the roof."),
                ("relief_devices", TECHNICIAN, ""),
                ("ppe", TECHNICIAN, ""),
            )
        )
    )
    return (
        Chapter(
            "Machinery room",
            "14 08:36",
            TECHNICIAN,
            flat(
                confirmed,
                (
                    Line(
                        "safety.lock_out_list_text",
                        "Main breaker, lock 31; control power, lock 32; oil pump, lock 33; chilled"
                        " and condenser water pumps, locks 34 and 35",
                    ),
                    Line("safety.relief_devices_photo", "photographs/relief-valves.svg"),
                    Line(
                        "safety.who_may_energise_text",
                        f"{ELECTRICIAN} energises; {TECHNICIAN} starts",
                    ),
                    Line(
                        "safety.room_charge",
                        "610",
                        "kg",
                        note="CH-1 is the largest system in the room.",
                    ),
                    Line(
                        "safety.emergency_installed",
                        "1.98",
                        "m³/s",
                        note="From the balancer's report.",
                    ),
                    Line(
                        "safety.normal_installed",
                        "0.45",
                        "m³/s",
                        note="From the balancer's report.",
                    ),
                    Line("safety.people_in_room", "4"),
                    Line("safety.room_volume", "710", "m³"),
                    Line("safety.detector_alarm", "500", "ppm"),
                ),
            ),
            pace=60,
        ),
    )


def vanes(m: Measured) -> tuple[Chapter, ...]:
    """The switch makes early; it is moved; thirteen pairs of strokes later it is believed."""
    from workbook.measured import trace

    found, left = m.strokes_found, m.strokes_left
    last = found[-1].number
    early, now = m.switch_position(found), m.switch_position(left)
    return (
        Chapter(
            "Vanes, as found",
            "14 10:10",
            TECHNICIAN,
            flat(
                *(stroke_row(record) for record in found),
                (
                    Line(
                        "vanes.trace",
                        trace(found),
                        tag="VP-1",
                        note="Recorder on feedback and switch, two readings a second.",
                    ),
                    Line(
                        "vanes.closed_seen",
                        "no",
                        note=(
                            "Inched closed by hand: the switch made with the lever still about"
                            f" {early:.0f} % of travel off its stop. It would report open vanes as"
                            " closed."
                        ),
                    ),
                ),
            ),
            pace=8,
        ),
        Chapter(
            "Vanes, switch moved",
            "14 11:05",
            TECHNICIAN,
            row(
                "vanes.adjustments",
                1,
                {
                    "after_stroke": str(last),
                    "item": (
                        "Cam of the closed-position switch turned towards the stop and re-pinned"
                    ),
                    "as_found": f"makes at {early:.1f} % of travel",
                    "as_left": f"makes at {now:.1f} % of travel",
                    "who": TECHNICIAN,
                },
            ),
            pace=30,
        ),
        Chapter(
            "Vanes, as left",
            "14 11:20",
            TECHNICIAN,
            flat(
                *(stroke_row(record) for record in left),
                (
                    Line(
                        "vanes.trace",
                        trace(found + left),
                        tag="VP-1",
                        note=(
                            f"Strokes {left[0].number} to {left[-1].number}, made after the switch"
                            " was moved, added to the record."
                        ),
                    ),
                    Line(
                        "vanes.closed_seen",
                        "yes",
                        note=(
                            "Seen again after the switch was moved: lever on its stop when the"
                            " switch makes."
                        ),
                    ),
                    Line("vanes.open_seen", "yes"),
                ),
            ),
            pace=14,
        ),
    )


def stroke_row(record) -> tuple[Line, ...]:
    """A stroke's row of the table: what was noted besides the recorder."""
    cells = {"number": str(record.number), "direction": record.direction}
    listed = list(cells.items())
    if record.drive_finished is not None:
        listed.append(("finished", f"{record.drive_finished - 3.0:.0f}", "s", "SW-1"))
    listed.append(("switch_at_end", "made" if record.switch[-1] else "open"))
    if record.seen_position is not None:
        listed.append(("seen_position", f"{100 * min(record.seen_position, 1.0):.0f}", "%"))
    return row("vanes.strokes", record.number, listed)


def oil(m: Measured) -> tuple[Chapter, ...]:
    """The transducers disagree with the pump off; the first record shows too little true pressure;
    calibrated, and proven again.
    """
    truth = m.truth
    rest = m.gauge("PO-P", m.resting_pressure, "sump")
    found, left = (
        m.zero_rows(zero, when)
        for zero, when in ((truth.zero_found, "found"), (truth.zero_left, "left"))
    )
    gap = sum(float(s) - float(p) for s, p in found) / len(found)
    reason = "Supply transducer calibrated against the gauge; both read again with the pump off."
    return (
        Chapter(
            "Oil, as found",
            "14 14:10",
            TECHNICIAN,
            flat(
                (
                    Line("lube.oil_kind", "polyol ester ISO VG 68"),
                    Line("lube.oil_charge", "42", "L"),
                    Line("lube.sight_glass", "clear, level in the glass"),
                    Line("lube.heater_on_since", "2026-04-13 13:30"),
                    Line(
                        "lube.sump_temperature",
                        m.shows("TO-1", m.sump_celsius, "sump"),
                        "°C",
                        "TO-1",
                    ),
                    Line("lube.sump_pressure", rest, "kPa gauge", "PO-P"),
                ),
                zero_rows(found, ""),
                (
                    Line(
                        "lube.pre_lube",
                        m.oil_rows(m.pre_lube_found, "found"),
                        tag="PO-S",
                        note=(
                            f"Panel shows 170 kPa, but it showed {gap:.0f} kPa with the pump off:"
                            " the bearings get less than displayed."
                        ),
                    ),
                    Line("lube.set_point_found", "170", "kPa"),
                    Line(
                        "lube.supply_temperature",
                        m.shows("TO-1", m.oil_supply_celsius, "supply found"),
                        "°C",
                        "TO-1",
                    ),
                    Line("lube.pump_speed", m.pump_speed(m.pre_lube_found), "Hz"),
                ),
            ),
            pace=50,
        ),
        Chapter(
            "Oil, as left",
            "15 08:15",
            TECHNICIAN,
            flat(
                zero_rows(left, reason),
                (
                    Line(
                        "lube.sump_temperature",
                        m.shows("TO-1", m.sump_celsius + 0.4, "sump, second day"),
                        "°C",
                        "TO-1",
                        "Read again on the second day, before the pump ran.",
                    ),
                    Line(
                        "lube.pre_lube",
                        m.oil_rows(m.pre_lube_left, "left"),
                        tag="PO-S",
                        note=(
                            "Pump run again with the transducer calibrated; the as-found record"
                            " stays in the journal."
                        ),
                    ),
                    Line(
                        "lube.supply_temperature",
                        m.shows("TO-1", m.oil_supply_celsius, "supply left"),
                        "°C",
                        "TO-1",
                        "Read again with the second record.",
                    ),
                    Line(
                        "lube.pump_speed",
                        m.pump_speed(m.pre_lube_left),
                        "Hz",
                        note=(
                            "The pump has to run faster now that the regulator sees the true"
                            " pressure."
                        ),
                    ),
                    Line(
                        "lube.filter_drop",
                        m.shows("PD-1", m.filter_drop / 1e3, "filter"),
                        "kPa",
                        "PD-1",
                    ),
                    Line("lube.cooler_water", "yes"),
                    Line("lube.set_point_left", "170", "kPa"),
                    Line("lube.trip_setting", f"{truth.trip_setting / 1e3:.0f}", "kPa"),
                    Line("lube.trip_seen", m.trip_seen, "kPa", "PO-S"),
                    Line(
                        "lube.trip_method",
                        "pressure lowered with the pump running",
                        note=f"Pump speed lowered by hand, {ELECTRICIAN} at the panel.",
                    ),
                ),
            ),
            pace=55,
        ),
    )


def zero_rows(rows: list[tuple[str, str]], note: str) -> tuple[Line, ...]:
    return flat(
        *(
            row(
                "lube.zero",
                n,
                [("supply", supply, "kPa gauge", "PO-S"), ("sump", sump, "kPa gauge", "PO-P")],
                note,
            )
            for n, (supply, sump) in enumerate(rows, 1)
        )
    )

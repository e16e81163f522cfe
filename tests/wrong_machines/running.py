"""Wrong machines whose readings contradict each other, from the guide vanes to the pull-down."""

from __future__ import annotations

import math
from dataclasses import replace

from startkit.facts.journal import Entry
from tests.wrong_machines.rows import Row, SameAs, column, moved, plus, times


def one_stroke_copied(entry: Entry) -> Entry:
    """The trace with strokes 1 and 2 in place of every pair of full strokes."""
    head, *rows = entry.value.splitlines()
    cells = [row.split("\t") for row in rows]
    numbers = [n for n in dict.fromkeys(row[0] for row in cells) if int(n) <= 20]
    copied = [
        "\t".join([n, *row[1:]]) for n in numbers for row in cells if row[0] == "21"[int(n) % 2]
    ]
    kept = ["\t".join(row) for row in cells if int(row[0]) > 20]
    return replace(entry, value="\n".join([head, *copied, *kept]))


def begun_half_way(entry: Entry) -> Entry:
    """The trace without the first half of each full closing."""
    head, *rows = entry.value.splitlines()
    cells = [row.split("\t") for row in rows]
    closings = {row[0] for row in cells if int(row[0]) % 2 == 0 and int(row[0]) <= 20}
    kept = [row for row in cells if row[0] not in closings]
    for number in sorted(closings, key=int):
        closing = [row for row in cells if row[0] == number]
        kept += closing[len(closing) * 2 // 5 :]
    return replace(entry, value="\n".join([head, *("\t".join(row) for row in kept)]))


RUN_UP = "Time [s]\tSpeed [r/min]\tL1 [A]\tL2 [A]\tL3 [A]\tOil [kPa]\tVanes [%]\n" + "\n".join(
    f"{t / 2:.1f}\t{min(356.0 * t / 2, 3560):.0f}\t{100 + t:.1f}\t{101 + t:.1f}\t{99 + t:.1f}"
    "\t160\t{vanes}"
    for t in range(80)
)


def trip(
    at: str = "2026-04-15 12:00:00",
    message: str = "Motor overcurrent",
    kind: str = "overcurrent",
    since: str = "480 s",
    values: dict[str, str] | None = None,
    cause: str = "Limit left at 100 % in a warm loop",
    shown_by: str = "the record of the panel at 12:00",
    group: str = "",
) -> dict[str, str]:
    """A trip that is complete, with its readings and cause."""
    event = {"at": at, "message": message, "kind": kind, "latched": "starter"}
    event |= {"reset": "by hand at the starter or drive", "reset_by": "Tomasz Aweke"}
    event |= {"result": "kept running"}
    read = {} if values == {} else {"since_start": since, **(values or {})}
    causes = {"cause": cause, "shown_by": shown_by, "by": "Ngozi Halvorsen"}
    tables = {
        "events": event,
        "values": read,
        "causes": causes | ({"group": group} if group else {}),
    }
    return {
        f"trips.{table}.1.{column}": text
        for table, cells in tables.items()
        if cells
        for column, text in ({"trip": "1"} | cells).items()
    }


def _waves(size: float, seconds: int) -> list[tuple[int, float]]:
    return [(t, size * math.sin(2 * math.pi * t / 28)) for t in range(seconds)]


HUNTED = "Trip\tTime [s]\tCurrent [A]\tVanes [%]\tEntering\tLeaving\tOil\n" + "\n".join(
    f"1\t{t}\t200\t{69 + wave:.1f}\t\t\t" for t, wave in _waves(12, 300)
)
SWINGING = "Time [s]\tCurrent [A]\n" + "\n".join(
    f"{t}\t{160 + wave:.1f}" for t, wave in _waves(40, 300)
)
ROWS = (
    # --- guide vanes
    Row(
        "one pair of strokes pasted ten times",
        "vanes.copied_strokes",
        {"vanes.trace*": one_stroke_copied},
    ),
    Row(
        "closings begun half way",
        "vanes.part_strokes",
        {"vanes.trace*": begun_half_way},
    ),
    Row(
        "vanes seen 8 % open at one closed end",
        "vanes.closed_seen",
        {"vanes.strokes.4.seen_position": "8"},
    ),
    Row(
        "vanes seen half open at every open end",
        "vanes.open_seen",
        {
            "vanes.strokes.*.seen_position": lambda e: (
                replace(e, value="50") if float(e.value) > 50 else e
            )
        },
    ),
    Row(
        "feedback at the closed end typed as 15 %, recorded as none",
        "vanes.table_against_trace",
        {},
        add={"vanes.strokes.2.end_feedback": "15 %"},
    ),
    Row(
        "stopwatch of a stroke far from its record",
        "vanes.table_against_trace",
        {},
        add={"vanes.strokes.2.travel_time": "95 s"},
    ),
    # --- lubrication
    Row(
        "sump gauge read as absolute",
        "lube.sump_pressures",
        {"lube.sump_pressure": plus(101)},
        on=("CH-1", "CH-3"),
    ),
    Row(
        "sump gauge read as absolute, on the mountain",
        "lube.sump_pressures",
        {"lube.sump_pressure": plus(83)},
        on=("CH-2",),
    ),
    Row(
        "all sump pressures of another refrigerant",
        "lube.standstill_saturation lube.oil_superheat",
        {
            "lube.sump_pressure": plus(700),
            "lube.zero.*.*": plus(700),
            "lube.pre_lube": lambda e: column(2, moved(700))(column(1, moved(700))(e)),
        },
    ),
    Row("sump hotter than its trip", "lube.sump_under_trip", {"lube.sump_temperature": "96"}),
    Row(
        "oil supply in Fahrenheit, entered as Celsius",
        "lube.supply_over_sump lube.supply_under_trip",
        {"lube.supply_temperature": "117.5"},
    ),
    Row(
        "low-oil trip set to half, and proven there",
        "lube.trip_setting",
        {"lube.trip_setting": times(0.5), "lube.trip_seen": times(0.5)},
    ),
    Row(
        "pump speed in revolutions a minute",
        "lube.pump_speed_recorded",
        {"lube.pump_speed": times(60)},
        on=("CH-1",),
    ),
    Row(
        "record from pump start pasted for the first stop",
        "lube.copied_record",
        {"lube.coast_down": SameAs("lube.pre_lube")},
    ),
    # --- first start
    Row(
        "winding at 125 °C, above its trip",
        "first_start.temperature_1",
        {},
        add={
            "first_start.temperatures.1.place": "Motor winding",
            "first_start.temperatures.1.temperature": "125 °C",
        },
    ),
    Row(
        "bearing at 150 °C",
        "first_start.temperature_1",
        {},
        add={
            "first_start.temperatures.1.place": "Thrust bearing",
            "first_start.temperatures.1.temperature": "150 °C",
        },
    ),
    Row("run-up in two seconds", "first_start.run_up_short", {"first_start.run_up_time": "2"}),
    Row(
        "speed of another shaft, or in hertz",
        "first_start.full_speed*",
        {"first_start.full_speed": "59.3"},
    ),
    Row(
        "speed above what the supply turns",
        "first_start.full_speed*",
        {"first_start.full_speed": times(1.2)},
    ),
    Row(
        "running voltages a decimal off",
        "first_start.running_voltage*",
        {"first_start.voltage_??": times(0.1)},
    ),
    Row(
        "oil differential in psi, entered as bar",
        "first_start.oil_over_set_point",
        {"first_start.oil_lowest": times(10)},
    ),
    Row(
        "settled current over the inrush",
        "first_start.settled_over_peak first_start.inrush",
        {"first_start.peak_l?": times(0.05)},
        on=("CH-2", "CH-3"),
    ),
    Row(
        "one vibration written down for every bearing",
        "first_start.copied_vibration",
        {"first_start.vibration.*.velocity": "0.9"},
    ),
    Row(
        "vanes closed as typed, 30 % open as recorded",
        "first_start.vanes_against_record",
        {},
        add={"first_start.run_up": RUN_UP.format(vanes=30)},
    ),
    Row(
        "run-up of ten seconds as recorded, twenty and more as typed",
        "first_start.time_against_record",
        {},
        add={"first_start.run_up": RUN_UP.format(vanes=0.3)},
        on=("CH-1",),
    ),
    # --- trips
    Row(
        "a trip shown by nothing that was read",
        "trips.1",
        {"trips.any": "yes"},
        add=trip(values={}, cause="Limiter set too high", shown_by="seen on the panel"),
    ),
    Row(
        "a cause that the readings speak against",
        "trips.1",
        {"trips.any": "yes"},
        add=trip(
            values={"voltage_12": "460 V", "voltage_23": "461 V", "voltage_31": "460 V"},
            group="voltage unbalanced",
        ),
        on=("CH-1",),
    ),
    Row(
        "a machine that hunted before its trip, and no word of it",
        "trips.1",
        {"trips.any": "yes"},
        add=trip() | {"trips.minutes": HUNTED},
    ),
    Row(
        "a trip four seconds after the start with vanes at 30 %",
        "trips.1.vanes_at_start",
        {"trips.any": "yes"},
        add=trip(at="2026-04-15 11:52:04", since="4 s", values={"vanes": "30 %"}),
    ),
    Row(
        "an overcurrent trip at a current that is not over",
        "trips.1.current_least",
        {"trips.any": "yes"},
        add=trip(values={"current": "21 A"}),
    ),
    Row(
        "a current at the trip that no motor draws",
        "trips.1.current_most",
        {"trips.any": "yes"},
        add=trip(values={"current": "4200 A"}),
    ),
    Row(
        "low oil pressure as first fault, entered as overcurrent",
        "trips.1.first_fault",
        {"trips.any": "yes"},
        add=trip(message="Low oil pressure"),
    ),
    Row(
        "a low-oil trip with the oil pressure there",
        "trips.1.oil_most",
        {"trips.any": "yes"},
        add=trip(
            message="Low oil differential",
            kind="low oil differential",
            values={"oil": "165 kPa"},
        ),
    ),
    Row(
        "a trip whose clock and stopwatch disagree by half an hour",
        "trips.1.since_start",
        {"trips.any": "yes"},
        add=trip(since="2280 s"),
    ),
    # --- pull-down
    Row(
        "thermometers of the pull-down swapped",
        "pull_down.waters",
        {
            f"pull_down.readings.{n}.{column}": SameAs(f"pull_down.readings.{n}.{other}")
            for n in range(1, 6)
            for column, other in (("entering", "leaving"), ("leaving", "entering"))
        },
    ),
    Row(
        "one reading of the pull-down written down again and again",
        "pull_down.copied_rows",
        {
            f"pull_down.readings.{n}.{column}": SameAs(f"pull_down.readings.2.{column}")
            for n in (3, 4)
            for column in ("entering", "leaving")
        },
    ),
    Row(
        "entering water 10 K too high in the pull-down",
        "pull_down.heat",
        {"pull_down.readings.*.entering": plus(10)},
    ),
    Row(
        "set point typed as reached long after it was",
        "pull_down.reached_against_readings pull_down.time_against_plan",
        {},
        add={"pull_down.reached": "300 min"},
    ),
    Row(
        "a loop ten times as large as the sheet's",
        "pull_down.volume_against_sheet",
        {"pull_down.volume": times(10)},
    ),
    Row(
        "a current that hunts in the pull-down",
        "pull_down.hunting",
        {},
        add={"pull_down.current_trend": SWINGING},
    ),
    Row(
        "refrigerant warmer than the water it cools, in the pull-down",
        "pull_down.refrigerant_under_water",
        {},
        add={f"pull_down.readings.{n}.evaporator_pressure": "900 kPa gauge" for n in range(1, 6)},
    ),
    Row(
        "refrigerant colder than the water it heats, in the pull-down",
        "pull_down.refrigerant_over_water",
        {},
        add={
            f"pull_down.readings.{n}.{column}": text
            for n in range(1, 6)
            for column, text in (
                ("condenser_pressure", "20 kPa gauge"),
                ("leaving_condenser", "31 °C"),
            )
        },
    ),
    Row(
        "current far over the limit that it is held to",
        "pull_down.current_over_limit",
        {},
        add={
            f"pull_down.readings.{n}.{column}": text
            for n in range(1, 6)
            for column, text in (("current", "900 A"), ("limit", "60 %"))
        },
    ),
)

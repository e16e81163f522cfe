"""Wrong machines whose readings contradict each other, from the guide vanes to the pull-down."""

from __future__ import annotations

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
        "first_start.full_speed",
        {"first_start.full_speed": "59.3"},
    ),
    Row(
        "speed above what the supply turns",
        "first_start.full_speed",
        {"first_start.full_speed": times(1.2)},
    ),
    Row(
        "running voltages a decimal off",
        "first_start.running_voltage",
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
)

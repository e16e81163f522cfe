"""What happened once the shaft turned: the first start and its trip, the pull-down, the stop, the
loads.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from workbook.measured import SECOND_START, Measured
from workbook.people import ELECTRICIAN, ENGINEER, TECHNICIAN
from workbook.start_cards import card, check, oil_at_start, stopped
from workbook.start_model import RunUpRecord, run_up_rows
from workbook.story import Chapter, Line, flat, moment, row


def first_start(m: Measured) -> tuple[Chapter, ...]:
    """A bump, a start that trips on overcurrent in the warm loop, the limit lowered, a start that
    holds.
    """
    tripped, held = (
        m.run_up(course, when)
        for course, when in ((m.pull_down_tripped, "tripped"), (m.pull_down_held, "held"))
    )
    began = clock("15 11:12:00")
    trip, peak = began + timedelta(seconds=round(tripped.tripped_at)), tripped.currents.max()
    return (
        check(1, "15 10:28"),
        _bump(m),
        check(2, "15 11:08"),
        _start_that_trips(m, tripped, began, trip),
        _trip_written_down(m, trip, peak),
        check(3, "15 11:48"),
        _start_that_holds(m, held),
    )


def _bump(m: Measured) -> Chapter:
    """The motor switched on for a moment to see which way it turns."""
    return Chapter(
        "Bump",
        "15 10:36",
        TECHNICIAN,
        flat(
            (
                Line(
                    "first_start.rotation",
                    "right, by phase meter and pressure rise",
                    note="Hermetic: no shaft visible.",
                ),
            ),
            card(1, clock("15 10:34:00"), oil_at_start(m, 1), m.truth.limit_found, "For rotation."),
            stopped(1, clock("15 10:34:02"), "bump"),
        ),
        pace=40,
    )


def _start_that_trips(
    m: Measured, tripped: RunUpRecord, began: datetime, trip: datetime
) -> Chapter:
    """What was seen of the start that tripped."""
    return Chapter(
        "First start, trip",
        "15 11:20",
        TECHNICIAN,
        flat(
            (
                Line(
                    "first_start.run_up",
                    run_up_rows(tripped),
                    tag="AM-1",
                    note=(
                        f"Tripped on overcurrent {tripped.tripped_at:.0f} s after the start, loop"
                        f" at {m.truth.loop_start:.0f} °C: {tripped.currents.max():.0f} A on one"
                        " phase, vanes still opening. Current limit found at 100 %."
                    ),
                ),
                Line("first_start.peak_by", "recorder or analyser, RMS of each cycle"),
                Line("first_start.current_where", "between starter or drive and motor"),
            ),
            card(
                2,
                began,
                oil_at_start(m, 2),
                m.truth.limit_found,
                "Warm loop and current limit at 100 % of full-load current; limit lowered to"
                f" {100 * m.truth.limits_left[0][1]:.0f} %, trip reset.",
            ),
            stopped(2, trip, "trip", "Motor overcurrent"),
        ),
        pace=35,
    )


def _trip_written_down(m: Measured, trip: datetime, peak: float) -> Chapter:
    """Message, readings, cause and change, before anything is reset."""
    return Chapter(
        "The trip, recorded before the reset",
        "15 11:30",
        TECHNICIAN,
        flat(
            (Line("trips.any", "yes"),),
            row(
                "trips.events",
                1,
                {
                    "trip": "1",
                    "at": f"{trip:%Y-%m-%d %H:%M:%S}",
                    "message": "Motor overcurrent",
                    "kind": "overcurrent",
                    "latched": "drive logic",
                    "reset": "by hand at the starter or drive",
                    "reset_by": ELECTRICIAN,
                    "result": "not started yet",
                },
            ),
            row("trips.values", 1, [("trip", "1"), *m.trip_values()]),
            (Line("trips.minutes", m.trip_minutes(), tag="AM-1"),),
            row(
                "trips.causes",
                1,
                {
                    "trip": "1",
                    "group": "limit too near the trip in a warm loop",
                    "cause": (
                        "Current limit left at 100 % of full-load current with a warm loop: the"
                        " vanes keep opening before the limiter sees the current"
                    ),
                    "shown_by": (
                        f"Vanes proven closed at start; {peak:.0f} A with the vanes still opening"
                        f" and {m.pull_down_tripped.leaving[-1]:.0f} °C leaving; voltages and oil"
                        " normal"
                    ),
                    "changed": "Current limit for the pull-down",
                    "as_found": f"{100 * m.truth.limit_found:.0f} %",
                    "as_left": " then ".join(
                        f"{100 * share:.0f} %" for _, share in m.truth.limits_left
                    ),
                    "by": TECHNICIAN,
                },
            ),
            row(
                "trips.causes",
                2,
                {
                    "trip": "1",
                    "group": "limiter or vanes hunting",
                    "cause": (
                        "The current limiter hunts: it runs the vanes at full speed up to the limit"
                        " and back, so that each crest of the current comes on top of the limit"
                    ),
                    "shown_by": f"Minutes before the trip: {hunted(m)}",
                    "changed": "Distance from the limit over which the vanes slow down",
                    "as_found": "none: full speed up to the limit",
                    "as_left": f"{100 * m.truth.slowing_left:.0f} % of full-load current",
                    "by": TECHNICIAN,
                },
            ),
        ),
        pace=18,
    )


def hunted(m: Measured) -> str:
    """``"vanes 57 to 81 %, current 89 to 108 % of full-load current, again and again"``."""
    course = m.pull_down_tripped
    late = slice(-120, -10)
    vanes, current = course.position[late], course.current[late]
    return (
        f"vanes {100 * vanes.min():.0f} to {100 * vanes.max():.0f} %, current"
        f" {100 * current.min():.0f} to {100 * current.max():.0f} % of full-load current, again and"
        " again"
    )


def _start_that_holds(m: Measured, held: RunUpRecord) -> Chapter:
    """What was seen of the start that held."""
    return Chapter(
        "Successful start",
        "15 12:20",
        TECHNICIAN,
        flat(
            (
                Line(
                    "first_start.run_up",
                    run_up_rows(held),
                    tag="AM-1",
                    note=(
                        "Record of the successful start; the one that tripped stays in the journal."
                    ),
                ),
            ),
            (
                Line(
                    "first_start.oil_lowest",
                    f"{held.oil.min() / 1e3:.1f}",
                    "kPa",
                    "PD-1",
                    "Lowest seen on the gauge during run-up.",
                ),
            ),
            tuple(
                Line(f"first_start.settled_l{n}", amperes, "A", "AM-1")
                for n, amperes in enumerate(m.settled(), 1)
            ),
            (Line("first_start.full_speed", "3558", "r/min"),),
            tuple(
                Line(f"first_start.voltage_{pair}", volts, "V", "VM-1", who=ELECTRICIAN)
                for pair, volts in zip(("12", "23", "31"), m.voltages(), strict=True)
            ),
            flat(
                *(
                    row(
                        "first_start.vibration",
                        n,
                        [
                            ("bearing", bearing),
                            ("direction", direction),
                            ("velocity", velocity, "mm/s", "VB-1"),
                            ("band", "10 to 1000 Hz"),
                        ],
                    )
                    for n, (bearing, direction, velocity) in enumerate(m.vibration(), 1)
                )
            ),
            row(
                "first_start.temperatures",
                1,
                [("place", "Motor winding"), ("temperature", "61", "°C")],
            ),
            row(
                "first_start.temperatures",
                2,
                [("place", "Thrust bearing"), ("temperature", "54", "°C")],
            ),
            (
                Line(
                    "first_start.noise_heard",
                    "Nothing unusual; a slight whistle at the inlet while the vanes open.",
                ),
            ),
            (
                Line("trips.events.1.restarted", f"{SECOND_START:%Y-%m-%d %H:%M:%S}"),
                Line(
                    "trips.events.1.result",
                    "kept running",
                    note="Entered after the end of the pull-down.",
                ),
            ),
            card(
                3,
                SECOND_START,
                oil_at_start(m, 3),
                m.truth.limits_left[0][1],
                f"Limit {limits_in_words(m)}.",
            ),
        ),
        pace=25,
    )


def limits_in_words(m: Measured) -> str:
    """``"60 % for 15 min, then 75 %; leaving water 7.2 °C after 44 min"``."""
    (_, low), (until, high) = m.truth.limits_left
    cold = m.pull_down_held.reached(7.2)
    return (
        f"{100 * low:.0f} % for {until / 60:.0f} min, then {100 * high:.0f} %; leaving water 7.2 °C"
        f" after {cold / 60:.0f} min, highest current {100 * m.pull_down_held.peak:.0f} %"
    )


def clock(text: str) -> datetime:
    return moment(text)


def pull_down(m: Measured) -> tuple[Chapter, ...]:
    """The plan that was made after the trip, and how the loop came down with the limit lowered."""
    truth, (_, low) = m.truth, m.truth.limits_left[0]
    return (
        Chapter(
            "Pull-down, planned after the trip",
            "15 11:43",
            TECHNICIAN,
            (
                Line("pull_down.start", f"{truth.loop_start:.1f}", "°C", "TW-1"),
                Line("pull_down.volume", "58", "m³"),
                Line("pull_down.volume_known", "10", "%"),
                Line("pull_down.load", "240", "kW"),
                Line("pull_down.load_known", "15", "%"),
                Line("pull_down.chosen", f"{100 * low:.0f}", "%"),
                Line("pull_down.chosen_by", TECHNICIAN),
                Line(
                    "pull_down.hold",
                    f"{m.truth.limits_left[1][0] / 60:.0f}",
                    "min",
                    note="Then raised as the water gets colder, if the current stays steady.",
                ),
            ),
            pace=40,
        ),
        Chapter(
            "Pull-down",
            "15 12:50",
            TECHNICIAN,
            flat(
                (
                    Line("pull_down.began", f"{m.pull_down_began:%Y-%m-%d %H:%M:%S}"),
                    Line("pull_down.current_trend", m.current_trend(), tag="AM-1"),
                    Line("pull_down.trend_limit", f"{100 * low:.0f}", "%"),
                    Line("pull_down.trend", m.pull_down_rows(), tag="TW-2"),
                    Line("pull_down.ended", "set point reached"),
                    Line(
                        "pull_down.limit_left",
                        "100",
                        "%",
                        note="Restored in steps of 10 % once the water was cold.",
                    ),
                ),
            ),
            pace=45,
        ),
    )


def stop(m: Measured) -> tuple[Chapter, ...]:
    """The first ordinary stop: oil pressure through the coast-down."""
    return (
        Chapter(
            "First ordinary stop",
            "15 16:25",
            TECHNICIAN,
            (
                *stopped(3, clock("15 16:18:00"), "stopped by hand"),
                Line("lube.coast_down", m.oil_rows(m.coast_down, "coast-down"), tag="PO-S"),
                Line("lube.stopped", "0", "s"),
                Line(
                    "lube.at_rest",
                    f"{m.truth.coast_down:.0f}",
                    "s",
                    "SW-1",
                    "By ear, and by the speed shown on the drive.",
                ),
            ),
            pace=40,
        ),
    )


TREND, TREND_CHAPTER = "load-up-day", "Trend of the day"


def load_up(m: Measured) -> tuple[Chapter, ...]:
    """Air checked at standstill, then four loads from the top down; the heat balance at the lowest
    cannot be told with these thermometers.
    """
    clocks = ("09:40", "11:05", "13:20", "14:45")
    loads = tuple(
        Chapter(
            f"Load {100 * load:.0f} %",
            f"16 {clock}",
            TECHNICIAN,
            row(
                "load_up.points",
                n,
                [
                    ("label", f"{100 * round(load * 4) / 4:.0f} %"),
                    ("moment", f"2026-04-16 {clock}"),
                    ("steady", "yes"),
                    ("steady_by", TECHNICIAN),
                    *m.load_cells(load),
                ],
            ),
            pace=15,
        )
        for n, (load, clock) in enumerate(zip(m.truth.loads, clocks, strict=True), 1)
    )
    return (
        Chapter(
            "Air at standstill",
            "16 08:05",
            TECHNICIAN,
            (
                Line(
                    "load_up.standstill_pressure",
                    m.standstill[0],
                    "kPa gauge",
                    "PC-1",
                    "Condenser pump running for twenty minutes, machine stopped.",
                ),
                Line("load_up.standstill_temperature", m.standstill[1], "°C", "TW-3"),
            ),
            pace=45,
        ),
        check(4, "16 08:38"),
        Chapter(
            "Third day",
            "16 08:50",
            TECHNICIAN,
            card(
                4,
                clock("16 08:42:00"),
                oil_at_start(m, 4),
                1.0,
                "For load-up; load supplied by the boilers' heat exchanger.",
            ),
        ),
        *loads,
        Chapter(
            TREND_CHAPTER,
            "16 15:12",
            TECHNICIAN,
            flat(
                (
                    Line(
                        "load_up.trend",
                        TREND,
                        note=(
                            "The day's panel log, from a memory stick; columns checked and"
                            " instruments filled in."
                        ),
                    ),
                ),
                row(
                    "load_up.windows",
                    1,
                    {
                        "label": "98 %, trend",
                        "begin": "2026-04-16 09:14:00",
                        "end": "2026-04-16 09:50:00",
                        "chosen_by": TECHNICIAN,
                    },
                ),
                row(
                    "load_up.windows",
                    2,
                    {
                        "label": "50 %, trend",
                        "begin": "2026-04-16 12:57:00",
                        "end": "2026-04-16 13:33:00",
                        "chosen_by": TECHNICIAN,
                    },
                ),
            ),
            pace=20,
        ),
        Chapter(
            "Last stop",
            "16 15:40",
            TECHNICIAN,
            (
                *stopped(4, clock("16 15:31:00"), "stopped by hand"),
                Line("shut_down.stop", "ordinary stop, unloaded first"),
                Line("shut_down.stopped_at", "2026-04-16 15:31:00"),
                Line("shut_down.vanes_before", f"{m.truth.vanes_at_stop:.0f}", "%", "VP-1"),
                Line(
                    "shut_down.closing_time",
                    m.shows("SW-1", m.closing_time, "last stop"),
                    "s",
                    "SW-1",
                ),
                Line("shut_down.closed_proof", "made"),
                Line("shut_down.vane_position", "0.3", "%", "VP-1"),
                Line(
                    "shut_down.backward",
                    "no",
                    note="By ear only: one long fall in pitch, no rise again.",
                ),
                Line("shut_down.heater_on", "yes"),
                Line("shut_down.timer_left", "5", "min"),
                Line("shut_down.left_as", "ready to start"),
            ),
            pace=30,
        ),
        Chapter(
            "Waiver",
            "16 15:55",
            ENGINEER,
            (
                Line(
                    "waiver.load_up.heat_balance",
                    "At the lowest load the water ranges are too small for these thermometers;"
                    " the three higher loads are within 5 %. To be read again on the autumn visit",
                ),
            ),
        ),
    )

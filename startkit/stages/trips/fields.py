"""What the stage Trips asks for."""

from __future__ import annotations

from startkit.procedure.stage import CLOCK, Choice, Column, Field


def _plain(*labels: str) -> tuple[Choice, ...]:
    """Choices whose code is their label with underscores."""
    return tuple(Choice(label.replace(" ", "_"), label) for label in labels)


OVERCURRENT = Choice("overcurrent", "overcurrent")
KINDS_OF_TRIP = (
    OVERCURRENT,
    *_plain(
        "low oil differential",
        "high oil temperature",
        "low evaporator pressure",
        "low water temperature",
        "high condenser pressure",
        "high discharge temperature",
        "high motor temperature",
        "high bearing temperature",
        "vibration",
        "surge",
        "vanes not closed",
        "flow lost",
        "supply or phase",
        "starter or drive fault",
        "stopped by another system",
    ),
    Choice("other", "other", ("another",)),
)
NOT_KNOWN = Choice("not_known", "not known yet")
LATCHED = (
    *_plain("operator panel", "starter", "drive logic"),
    Choice("switch", "pressure or temperature switch"),
    Choice("several", "several of these"),
    Choice("nowhere", "nowhere: it reset itself"),
    NOT_KNOWN,
)
NOT_RESET = Choice("not_reset", "not yet")
RESETS = (
    Choice("at_panel", "by hand at the operator panel"),
    Choice("at_starter", "by hand at the starter or drive"),
    Choice("at_switch", "by hand at the switch"),
    Choice("at_several", "by hand at several of these", ("by hand at several",)),
    Choice("by_itself", "by itself"),
    Choice("power_cycled", "by switching power off and on", ("by power off and on",)),
    NOT_RESET,
)
AGAIN = Choice("tripped_again", "tripped again")
NOT_STARTED = Choice("not_started", "not started yet")
RESULTS = (Choice("kept_running", "kept running", ("ran on",)), AGAIN, NOT_STARTED)
VANES_OPEN = Choice("vanes_open", "vanes not closed at start")
HUNTS = Choice("hunting", "limiter or vanes hunting")
OTHER_CAUSE = Choice("other", "something else")
# What a cause is, as far as readings can tell it.
CAUSES = (
    VANES_OPEN,
    Choice("warm_loop", "limit too near the trip in a warm loop"),
    HUNTS,
    Choice("voltage", "voltage low"),
    Choice("unbalance", "voltage unbalanced"),
    Choice("lift", "lift high"),
    OTHER_CAUSE,
)
# Words that say nothing of a cause or of what proves it.
NOTHING_SAID = frozenset(
    {"", "unknown", "not known", "nothing", "none", "no", "unclear", "n/a", "na", "-", "?", "–"}
    | {"no idea", "not found", "not known yet", "to be found", "tbd", "open", "see above"}
)
_NUMBER = Column("trip", "Trip", "count", "1 for the first, 2 for the next", required=True)
FIELDS = (
    Field(
        "any",
        "Did anything trip on this visit?",
        "yes_no",
        "Include trips before the motor was at speed and trips that reset themselves.",
        group="Trips",
    ),
    Field(
        "events",
        "Trips",
        "table",
        "One row per trip, in the order they occurred. Write the message down before anything is"
        " reset.",
        required=False,
        rows=2,
        group="Trips",
        columns=(
            _NUMBER,
            Column(
                "at",
                "When",
                "moment",
                "Date and time, as 2026-11-25 14:30",
                required=True,
                running=True,
            ),
            Column(
                "message",
                "First-out message as displayed",
                "text",
                "Word for word; if several, the first",
                required=True,
            ),
            Column("kind", "Kind", "choice", choices=KINDS_OF_TRIP, required=True),
            Column(
                "latched",
                "Latched in",
                "choice",
                "Which controller has to be reset",
                choices=LATCHED,
                required=True,
            ),
            Column("reset", "Reset", "choice", choices=RESETS),
            Column("reset_by", "By", "person"),
            Column("restarted", "Started again", "moment"),
            Column("result", "After the restart", "choice", choices=RESULTS),
        ),
    ),
    Field(
        "values",
        "Readings at the trip",
        "table",
        "As frozen by the panel, or from the trend. Leave empty what was not read.",
        required=False,
        rows=2,
        group="Trips",
        columns=(
            _NUMBER,
            Column("since_start", "Time since start", "time"),
            Column("limit", "Current limit at the time", "percent", "Of full-load current"),
            Column("current", "Highest phase", "current"),
            Column(
                "vanes",
                "Vane position",
                "percent",
                "If it tripped in the run-up: position at the start",
            ),
            Column("entering", "Entering chilled water", "temperature"),
            Column("leaving", "Leaving chilled water", "temperature"),
            Column("leaving_condenser", "Leaving condenser water", "temperature"),
            Column("oil", "Oil differential", "pressure_difference"),
            Column("voltage_12", "L1 to L2", "voltage"),
            Column("voltage_23", "L2 to L3", "voltage"),
            Column("voltage_31", "L3 to L1", "voltage"),
        ),
    ),
    Field(
        "minutes",
        "Last minutes before the trip",
        "series",
        "Paste trip number, seconds, current, vane position, entering and leaving chilled water,"
        " oil differential, one row per reading. The last row of each trip is the trip itself.",
        required=False,
        group="Trips",
        columns=(
            Column("trip", "Trip", "count"),
            Column("time", "Time", "time", point=CLOCK),
            Column("current", "Current", "current", point="current"),
            Column("vanes", "Vane position", "percent", point="vane_position"),
            Column("entering", "Entering chilled water", "temperature", point="chilled_entering"),
            Column("leaving", "Leaving chilled water", "temperature", point="chilled_leaving"),
            Column("oil", "Oil differential", "pressure_difference", point="oil_differential"),
        ),
    ),
    Field(
        "causes",
        "Cause and change",
        "table",
        "What was found, which reading proves it, and what was changed as a result.",
        required=False,
        rows=2,
        group="Cause",
        columns=(
            _NUMBER,
            Column("cause", "Cause found", required=True),
            Column(
                "group",
                "What kind of cause",
                "choice",
                "Held against the readings at the trip",
                choices=CAUSES,
            ),
            Column("shown_by", "Shown by", "text", "The reading or observation that proves it"),
            Column("changed", "What was changed"),
            Column("as_found", "As found"),
            Column("as_left", "As left"),
            Column("by", "By", "person"),
        ),
    ),
)

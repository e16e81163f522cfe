"""What the stage Shut-down asks for."""

from __future__ import annotations

from startkit.procedure.stage import Choice, Field

MADE, OPEN = Choice("made", "made"), Choice("open", "open")
STOPS = (
    Choice("unloaded_first", "ordinary stop, unloaded first"),
    Choice("under_load", "stopped under load"),
    Choice("by_control", "stopped by control"),
    Choice("emergency_stop", "emergency stop tested", ("emergency stop tried",)),
    Choice("power_cut", "power failure tested", ("power cut tried",)),
    Choice("trip", "trip"),
)
NO, YES = Choice("no", "no"), Choice("yes", "yes")
BACKWARD = (NO, YES, Choice("not_seen", "not seen"))
LEFT_AS = (
    Choice("ready", "ready to start"),
    Choice("locked_out", "off and locked out"),
    Choice("running", "running under its own control"),
    Choice("handed_over", "handed to the owner"),
)
FIELDS = (
    Field("stop", "How it was stopped", "choice", choices=STOPS, group="Stop"),
    Field(
        "stopped_at",
        "Stopped at",
        "moment",
        "Date and time, as 2026-11-25 14:30; enter the stop in the table of starts too.",
        group="Stop",
    ),
    Field(
        "vanes_before",
        "Vane position when the motor was stopped",
        "percent",
        "Unload before an ordinary stop.",
        required=False,
        plausible=("-10 %", "110 %"),
        group="Vanes",
    ),
    Field(
        "closing_time",
        "Time from the stop until the vanes were closed",
        "time",
        "By stopwatch, to the closed-position switch or standstill.",
        plausible=("0 s", "600 s"),
        group="Vanes",
    ),
    Field(
        "closed_proof",
        "Closed-position switch after the stop",
        "choice",
        choices=(MADE, OPEN),
        group="Vanes",
        applies=lambda machine: machine.vanes.switch != "none",
    ),
    Field(
        "vane_position",
        "Vane position at rest",
        "percent",
        plausible=("-10 %", "110 %"),
        group="Vanes",
    ),
    Field(
        "coast_down_time",
        "Coast-down time",
        "time",
        "From the stop until the shaft stands, by stopwatch; leave empty if the oil record of the"
        " stop tells it.",
        required=False,
        plausible=("1 s", "1800 s"),
        group="Coast-down",
    ),
    Field(
        "backward",
        "Did the shaft turn backward?",
        "choice",
        "Watch the last turns; where no shaft can be seen, listen for a second rise of speed.",
        choices=BACKWARD,
        group="Coast-down",
    ),
    Field(
        "oil_lowest",
        "Lowest oil differential while the shaft turned",
        "pressure_difference",
        "Only where no record of the stop is pasted in the stage Lubrication.",
        required=False,
        plausible=("0 kPa", "800 kPa"),
        group="Coast-down",
    ),
    Field(
        "post_lube_time",
        "Oil pump ran on after the shaft stood",
        "time",
        "By stopwatch; leave empty if the oil record of the stop tells it.",
        required=False,
        plausible=("0 s", "3600 s"),
        group="Coast-down",
    ),
    Field("heater_on", "Oil heater came on after the stop", "yes_no", group="At rest"),
    Field(
        "timer_left",
        "Time to the next start, as shown right after the stop",
        "minutes",
        plausible=("0 min", "240 min"),
        group="At rest",
    ),
    Field(
        "early_start",
        "Was a start refused before the timer ran out?",
        "yes_no",
        "Only if trying costs nothing: a start that is let through heats the motor.",
        required=False,
        group="At rest",
    ),
    Field("left_as", "How the machine is left", "choice", choices=LEFT_AS, group="At rest"),
)

"""What the stage Shut-down asks for."""

from __future__ import annotations

import pint

from startkit.facts.machine import Machine
from startkit.procedure.stage import Choice, Field
from startkit.units import Q

MADE, OPEN = Choice("made", "made"), Choice("open", "open")
UNLOADED = Choice("unloaded_first", "ordinary stop, unloaded first")
UNDER_LOAD = Choice("under_load", "stopped under load")
STOPS = (
    UNLOADED,
    UNDER_LOAD,
    Choice("by_control", "stopped by control"),
    Choice("emergency_stop", "emergency stop tested", ("emergency stop tried",)),
    Choice("power_cut", "power failure tested", ("power cut tried",)),
    Choice("trip", "trip"),
)
NO, YES, NOT_SEEN = Choice("no", "no"), Choice("yes", "yes"), Choice("not_seen", "not seen")
BACKWARD = (NO, YES, NOT_SEEN)
RUNNING = Choice("running", "running under its own control")
LEFT_AS = (
    Choice("ready", "ready to start"),
    Choice("locked_out", "off and locked out"),
    RUNNING,
    Choice("handed_over", "handed to the owner"),
)


def _longest_timer(machine: Machine) -> tuple[pint.Quantity, pint.Quantity]:
    """The display cannot show more than the longest timer of the sheet."""
    timers = [
        timer for timer in (machine.motor.start_to_start, machine.motor.stop_to_start) if timer
    ]
    return Q(0.0, "minute"), 1.1 * max(timers, default=Q(240.0, "minute"))


FIELDS = (
    Field("stop", "How it was stopped", "choice", choices=STOPS, group="Stop"),
    Field(
        "stopped_at",
        "Stopped at",
        "moment",
        "Date and time, as 2026-11-25 14:30; enter the stop in the table of starts as well.",
        group="Stop",
        running=True,
    ),
    Field(
        "vanes_before",
        "Vane position when the motor was stopped",
        "percent",
        "Unload before an ordinary stop.",
        required=False,
        plausible=("-10 %", "110 %"),
        group="Vanes",
        measured=True,
    ),
    Field(
        "closing_time",
        "Time from the stop until the vanes were closed",
        "time",
        "By stopwatch, until the closed-position switch makes or the vanes stop.",
        plausible=("0 s", "600 s"),
        group="Vanes",
        measured=True,
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
        measured=True,
    ),
    Field(
        "coast_down_time",
        "Coast-down time",
        "time",
        "By stopwatch, from the stop until the shaft is at rest. Leave empty if the oil record of"
        " the stop shows it.",
        required=False,
        plausible=("1 s", "1800 s"),
        group="Coast-down",
    ),
    Field(
        "backward",
        "Did the shaft turn backward?",
        "choice",
        "Watch the last turns. Where no shaft is visible, listen for the speed rising again.",
        choices=BACKWARD,
        group="Coast-down",
    ),
    Field(
        "oil_lowest",
        "Lowest oil differential while the shaft turned",
        "pressure_difference",
        "Only if no record of the stop is pasted in the stage Lubrication.",
        required=False,
        plausible=("0 kPa", "800 kPa"),
        group="Coast-down",
    ),
    Field(
        "post_lube_time",
        "Oil pump ran on after the shaft was at rest",
        "time",
        "By stopwatch. Leave empty if the oil record of the stop shows it.",
        required=False,
        plausible=("0 s", "3600 s"),
        group="Coast-down",
    ),
    Field("heater_on", "Oil heater came on after the stop", "yes_no", group="At rest"),
    Field(
        "timer_left",
        "Time to the next start, as displayed right after the stop",
        "minutes",
        plausible=_longest_timer,
        group="At rest",
    ),
    Field(
        "early_start",
        "Was a start refused before the timer ran out?",
        "yes_no",
        "Try only if it does no harm: a start that is allowed heats the motor.",
        required=False,
        group="At rest",
    ),
    Field("left_as", "How the machine is left", "choice", choices=LEFT_AS, group="At rest"),
)

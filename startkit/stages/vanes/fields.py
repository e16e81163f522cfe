"""What the stage Inlet guide vanes asks for."""

from __future__ import annotations

from startkit.procedure.stage import Choice, Column, Field
from startkit.science.strokes import CLOSING, OPENING

DIRECTIONS = (Choice(OPENING, "opening"), Choice(CLOSING, "closing"))
MADE, OPEN = Choice("made", "made"), Choice("open", "open")


def _trace(name: str, kind: str, unit: str) -> Field:
    return Field(
        name,
        "Traces of the strokes",
        "series",
        "Paste stroke number, seconds, command, feedback and switch, one row per reading, from a"
        " recorder or a panel export. Two readings a second are enough.",
        required=False,
        group="Strokes",
        applies=lambda machine: machine.vanes.feedback == unit,
        columns=(
            Column("stroke", "Stroke", "count"),
            Column("time", "Time", "time"),
            Column("command", "Command", "percent"),
            Column("feedback", "Feedback", kind),
            Column("switch", "Switch", "text", help="made or open"),
        ),
    )


FIELDS = (
    Field(
        "strokes",
        "Strokes",
        "table",
        "Full open and full close strokes, numbered from 1 in the order they were made. Watch the"
        " vanes or their lever at both ends. Make ten closings or more, those by hand below"
        " included; three prove little.",
        group="Strokes",
        rows=6,
        columns=(
            Column("number", "Stroke", "count", required=True),
            Column("direction", "Direction", "choice", choices=DIRECTIONS, required=True),
            Column(
                "travel_time",
                "Travel time",
                "time",
                help="By stopwatch, from the command until the vanes stop; leave empty if you"
                " paste a trace",
                plausible=("2 s", "600 s"),
            ),
            Column(
                "finished",
                "Drive finished after",
                "time",
                help="When the drive reported the stroke complete",
                plausible=("2 s", "600 s"),
            ),
            Column("end_feedback", "Feedback at the end", "percent", plausible=("-10 %", "110 %")),
            Column("switch_at_end", "Switch at the end", "choice", choices=(MADE, OPEN)),
            Column(
                "seen_position",
                "Observed position",
                "percent",
                help="Read at the vanes or the lever: 0 % is closed on the stop",
                plausible=("0 %", "100 %"),
            ),
        ),
    ),
    _trace("trace", "percent", "percent"),
    _trace("trace_volts", "voltage", "volts"),
    _trace("trace_ohms", "resistance", "ohms"),
    Field(
        "jogs",
        "Switch by hand",
        "table",
        "Without a recorder: inch the vanes closed until the switch makes, then open until it"
        " breaks, five times or more, and read the feedback at each. If it does not make at the"
        " stop, leave the reading empty and answer no.",
        required=False,
        rows=5,
        group="Strokes",
        applies=lambda machine: machine.vanes.switch != "none",
        columns=(
            Column("made", "Made at", "percent", plausible=("-10 %", "110 %")),
            Column("broke", "Broke at", "percent", plausible=("-10 %", "110 %")),
            Column("clean", "Changed once, without flicker", "yes_no"),
        ),
    ),
    Field(
        "closed_seen",
        "Vanes seen closed on their stop, with the switch made",
        "yes_no",
        "See it yourself: through the inlet, a sight port, or at the lever against its stop. Do not"
        " rely on the panel.",
        group="Visual check",
    ),
    Field(
        "open_seen",
        "Vanes seen fully open, with the feedback at its open end",
        "yes_no",
        group="Visual check",
    ),
    Field(
        "adjustments",
        "What was adjusted",
        "table",
        "Strokes up to and including this one stay on the record but no longer count. Stroke the"
        " vanes again after every adjustment.",
        required=False,
        rows=2,
        group="Adjustments",
        columns=(
            Column("after_stroke", "After stroke", "count", required=True),
            Column("item", "What", required=True),
            Column("as_found", "As found"),
            Column("as_left", "As left"),
            Column("who", "By", "person"),
        ),
    ),
)

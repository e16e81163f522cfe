"""What the stage Handover asks for."""

from __future__ import annotations

from startkit.procedure.people import ROLE_CHOICES
from startkit.procedure.stage import Choice, Column, Field

BLOCKING = Choice("before_handover", "before handing over")
SEVERITIES = (
    BLOCKING,
    Choice("before_start", "before the next start"),
    Choice("guarantee", "within the guarantee"),
    Choice("information", "for information"),
)
CLOSED = Choice("closed", "closed")
STATES = (Choice("open", "open"), CLOSED)
FIELDS = (
    Field(
        "settings",
        "Settings as left",
        "table",
        "Every adjustable setting of panel, starter and safeties, as found and as left. Write the"
        " unit with the value. Settings entered as found and as left in other stages need not be"
        " repeated.",
        rows=8,
        group="Settings",
        columns=(
            Column("item", "Setting", required=True),
            Column("as_found", "As found"),
            Column("as_left", "As left", required=True),
            Column("by", "By", "person", required=True),
            Column("why", "Why it was changed"),
        ),
    ),
    Field(
        "nothing_open",
        "Is nothing left open?",
        "yes_no",
        "Yes only if the list below would be empty.",
        group="Open items",
    ),
    Field(
        "open_items",
        "Open items",
        "table",
        "Everything not done, not proven or waived, each with an owner and a due date.",
        required=False,
        rows=5,
        group="Open items",
        columns=(
            Column("item", "What", required=True),
            Column("owner", "Owner", "person", required=True),
            Column("due", "Due", "date", "Year-month-day", required=True),
            Column("severity", "Severity", "choice", choices=SEVERITIES, required=True),
            Column("state", "State", "choice", choices=STATES),
            Column("closed_by", "Closed by", "person"),
        ),
    ),
    Field(
        "instructed",
        "Operators instructed",
        "yes_no",
        "Start, stop, what to log each day, and what to do after a trip.",
        group="People",
    ),
    Field("instructed_who", "Who was instructed", "text", required=False, group="People"),
    Field(
        "documents",
        "Documents left on site",
        "text",
        "This record, sheets, wiring diagrams, maker's manual.",
        required=False,
        group="People",
    ),
    Field("next_visit", "Next visit due", "date", "Year-month-day", required=False, group="People"),
    Field(
        "statements",
        "Statements",
        "table",
        "In each person's own words; at least the technician and the owner's witness.",
        rows=2,
        group="People",
        columns=(
            Column("name", "Name", "person", required=True),
            Column("role", "Role", "choice", choices=ROLE_CHOICES, required=True),
            Column(
                "statement",
                "Statement",
                "long_text",
                "For example: I have seen the readings taken and the trips proven",
                required=True,
            ),
            Column("date", "Date", "date", "Year-month-day", required=True),
        ),
    ),
    Field(
        "technician_signature",
        "Technician's signature, drawn",
        "signature",
        "A drawing shown with the statement; the digital signature of the record is made afterwards"
        " with `startkit sign`.",
        required=False,
        group="People",
    ),
    Field(
        "witness_signature",
        "Witness's signature, drawn",
        "signature",
        "The owner's witness, after reading the statement.",
        required=False,
        group="People",
    ),
)

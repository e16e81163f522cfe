"""What happened last: settings as left, the one item that stays open, and what people say."""

from __future__ import annotations

from workbook.measured import Measured
from workbook.people import ELECTRICIAN, ENGINEER, TECHNICIAN, WITNESS
from workbook.story import Chapter, Line, flat, row

DAY = "2026-04-16"


def handover(m: Measured) -> tuple[Chapter, ...]:
    """Settings, open item, statements."""
    return (
        Chapter(
            "Settings and open items",
            "16 16:05",
            TECHNICIAN,
            flat(
                settings(m),
                (Line("handover.nothing_open", "no"),),
                row(
                    "handover.open_items",
                    1,
                    {
                        "item": (
                            "Heat balance at the lowest load, to be read again with a"
                            " better-matched pair of thermometers"
                        ),
                        "owner": ENGINEER,
                        "due": "2026-10-30",
                        "severity": "within the guarantee",
                        "state": "open",
                    },
                ),
                (
                    Line("handover.instructed", "yes"),
                    Line(
                        "handover.instructed_who",
                        f"{WITNESS} and the two operators of the day shift",
                    ),
                    Line(
                        "handover.documents",
                        "This record, machine sheet, wiring diagrams, maker's manual",
                    ),
                    Line("handover.next_visit", "2026-10-20"),
                    *restored(),
                ),
            ),
            pace=20,
        ),
        Chapter(
            "Statements",
            "16 16:30",
            TECHNICIAN,
            flat(
                statement(
                    1,
                    TECHNICIAN,
                    "technician",
                    "I took these readings and made these adjustments; faults are recorded as"
                    " found.",
                ),
                statement(
                    2,
                    WITNESS,
                    "owner's witness",
                    "I saw the vanes closed on their stop, the low-oil trip act and the loads"
                    " read. The open item was explained to me.",
                ),
                statement(
                    3,
                    ENGINEER,
                    "commissioning engineer",
                    "I have waived the heat balance at the lowest load for the reason given and"
                    " will witness the new reading.",
                ),
            ),
            pace=30,
        ),
    )


def restored() -> tuple[Line, ...]:
    """The last look: nothing bridged, nothing by hand, no lock left."""
    names = ("taken_out", "automatic", "unlocked")
    answers = tuple(Line(f"handover.{name}", "yes") for name in names)
    return (*answers, Line("handover.unlocked_by", TECHNICIAN))


def settings(m: Measured) -> tuple[Line, ...]:
    """What other stages do not hold already."""
    rows = (
        ("Chilled water set point", "7.0 °C", "7.0 °C", TECHNICIAN, ""),
        (
            "Overcurrent trip",
            "108 % of full-load current",
            "108 % of full-load current",
            ELECTRICIAN,
            "",
        ),
        (
            "Current limit for a warm loop",
            f"{100 * m.truth.limit_found:.0f} %",
            f"{100 * m.truth.limits_left[0][1]:.0f} %, by hand before a start above 15 °C",
            TECHNICIAN,
            "Overcurrent trip at the first start",
        ),
        ("Start to start", "30 min", "30 min", ELECTRICIAN, ""),
        ("Stop to start", "5 min", "5 min", ELECTRICIAN, ""),
    )
    return flat(
        *(
            row(
                "handover.settings",
                n,
                {
                    name: value
                    for name, value in zip(
                        ("item", "as_found", "as_left", "by", "why"), cells, strict=True
                    )
                    if value
                },
            )
            for n, cells in enumerate(rows, 1)
        )
    )


def statement(n: int, name: str, role: str, words: str) -> tuple[Line, ...]:
    """Each person writes their own."""
    return tuple(
        Line(f"handover.statements.{n}.{column}", value, who=name)
        for column, value in (("name", name), ("role", role), ("statement", words), ("date", DAY))
    )

"""The stories of CH-2 and CH-3: jobs that have only begun."""

from __future__ import annotations

from workbook.people import PEOPLE, TECHNICIAN
from workbook.story import MOUNTAIN, Chapter, Line, flat, row


def begun(tag: str) -> tuple[Chapter, ...]:
    """What is written so far in the jobs that have only begun."""
    people = flat(
        *(
            row("setup.people", n, {"name": name, "role": role, "firm": firm})
            for n, (name, role, firm) in enumerate(PEOPLE[:1] + PEOPLE[2:3], 1)
        )
    )
    return {
        "CH-2": (
            Chapter(
                "A first look",
                "21 15:05",
                TECHNICIAN,
                flat(
                    people,
                    (
                        *row(
                            "setup.instruments",
                            1,
                            {
                                "tag": "BA-1",
                                "name": "Barometer",
                                "kind": "barometer",
                                "serial": "BM-19",
                                "accuracy": "0.05 kPa",
                                "due": "2026-12-31",
                            },
                        ),
                        Line("setup.barometer", "24.86", "in Hg", "BA-1"),
                        Line("setup.nameplate_serial", "HW-88213-L"),
                        Line("setup.nameplate_refrigerant", "1233zd(E)"),
                        Line("setup.nameplate_voltage", "480", "V"),
                        Line("setup.nameplate_current", "262", "A"),
                    ),
                ),
                zone=MOUNTAIN,
            ),
        ),
        "CH-3": (
            Chapter(
                "Instruments laid out",
                "22 09:30",
                TECHNICIAN,
                flat(
                    people[:3],
                    row(
                        "setup.instruments",
                        1,
                        {
                            "tag": "TW-1",
                            "name": "Water thermometer, evaporator entering",
                            "kind": "temperature",
                            "serial": "PT-60311",
                            "accuracy": "0.03 K",
                            "due": "2026-11-30",
                        },
                    ),
                    row(
                        "setup.instruments",
                        2,
                        {
                            "tag": "IM-1",
                            "name": "Insulation tester",
                            "kind": "insulation",
                            "serial": "IT-3304",
                            "accuracy": "5 % of reading",
                            "due": "2026-03-31",
                        },
                    ),
                    (
                        Line("setup.nameplate_serial", "OV09-1182"),
                        Line("setup.nameplate_voltage", "4160", "V"),
                    ),
                ),
            ),
        ),
    }[tag]

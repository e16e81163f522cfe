"""A whole job on any machine of the plant, honestly measured: nothing is wrong with the machine,
and every reading is off by no more than its instrument may be.

What the readings are comes from the physical model; settings come from the machine's sheet. Used to
count false alarms, and to make wrong machines from.
"""

from __future__ import annotations

from collections.abc import Iterator

from startkit.facts.journal import Entry
from workbook.honest_before import HonestBefore, safety_of
from workbook.honest_running import HonestRunning
from workbook.people import ENGINEER, TECHNICIAN, WITNESS
from workbook.story import Chapter, Line, flat, moment, row
from workbook.story_handover import restored


class HonestJob(HonestBefore, HonestRunning):
    """Entries of a whole job."""

    def entries(self) -> list[Entry]:
        """Every entry, in the order of the work."""
        told = sorted(self.chapters(), key=lambda chapter: moment(chapter.begins))
        return [entry for chapter in told for entry in chapter.entries()]

    def chapters(self) -> Iterator[Chapter]:
        yield from self._set_up()
        yield from safety_of(self)
        if self.sheet.machine.work == "overhauled":
            yield self._overhaul()
        yield self._tightness()
        yield self._electrical()
        yield self._water()
        yield self._controls()
        yield self._refused()
        yield self._vanes()
        yield from self._oil()
        yield from self._first_start()
        yield self._pull_down()
        yield from self._loads()
        yield self._stop()
        yield self._handover()

    def _handover(self) -> Chapter:
        lines = (
            *row(
                "handover.settings",
                1,
                {
                    "item": "Chilled water set point",
                    "as_found": "7.0 °C",
                    "as_left": "7.0 °C",
                    "by": TECHNICIAN,
                },
            ),
            Line("handover.nothing_open", "yes"),
            Line("handover.instructed", "yes"),
            Line("handover.instructed_who", f"{WITNESS}, two operators"),
            Line("handover.documents", "This record, machine sheet, wiring diagrams"),
            Line("handover.next_visit", "2026-10-20"),
            *restored(),
            *flat(
                *(
                    tuple(
                        Line(f"handover.statements.{n}.{column}", value, who=name)
                        for column, value in (
                            ("name", name),
                            ("role", role),
                            ("statement", "I took part; this record states what I saw."),
                            ("date", "2026-04-16"),
                        )
                    )
                    for n, (name, role) in enumerate(
                        (
                            (TECHNICIAN, "technician"),
                            (WITNESS, "owner's witness"),
                            (ENGINEER, "commissioning engineer"),
                        ),
                        1,
                    )
                )
            ),
        )
        return Chapter("Hand-over", "16 16:05", TECHNICIAN, lines, pace=10)

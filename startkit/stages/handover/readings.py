"""What other stages hold that the handover repeats: settings as found and as left, waivers."""

from __future__ import annotations

from collections.abc import Iterator

from startkit.procedure.entries import Entries
from startkit.procedure.reading import Row
from startkit.procedure.stage import TABLE

_NAMES = ("item", "changed", "setting", "safety", "sensor", "what", "name", "tag")
_PEOPLE = ("by", "who", "left_by")


def changed_elsewhere(entries: Entries) -> Iterator[tuple[str, str, str, str, str]]:
    """Every setting that another stage holds as found and as left: (stage, setting, as found, as
    left, by).
    """
    for name, stage in entries.job.stages.items():
        if name == entries.declared.name:
            continue
        other = entries.of(name)
        for field in other.fields.values():
            if field.kind == TABLE and any(column.name == "as_left" for column in field.columns):
                yield from (
                    (stage.title, *found)
                    for row in other.rows(field.name)
                    if (found := _of_row(row)) is not None
                )
        yield from ((stage.title, *found) for found in _pairs(other))


def _of_row(row: Row) -> tuple[str, str, str, str] | None:
    if not row.text("as_left"):
        return None
    item = next((row.text(name) for name in _NAMES if row.text(name)), f"row {row.index}")
    return (
        item,
        _shown(row, "as_found") or "–",
        _shown(row, "as_left"),
        next((row.text(name) for name in _PEOPLE if row.text(name)), "–"),
    )


def _shown(row: Row, column: str) -> str:
    reading = row.reading(column)
    unit = reading.entry.unit if reading.entry is not None else ""
    return f"{reading.text} {unit}".strip()


def _pairs(other: Entries) -> Iterator[tuple[str, str, str, str]]:
    """Fields named ``x_left`` with, where there is one, their ``x_found``."""
    for name, field in other.fields.items():
        left = (
            other.entry(name)
            if field.is_reading and name.endswith("_left") and field.question.endswith("as left")
            else None
        )
        if left is not None:
            found = other.entry(name.removesuffix("_left") + "_found")
            yield (
                field.question.removesuffix(" as left"),
                f"{found.value} {found.unit}".strip() if found is not None else "–",
                f"{left.value} {left.unit}".strip(),
                left.who or "–",
            )


def waivers(entries: Entries) -> list[str]:
    """Verdict keys that someone waived, with a reason and by name."""
    return [
        what.removeprefix("waiver.")
        for what, entry in entries.job.latest.items()
        if what.startswith("waiver.") and entry.value and entry.who
    ]

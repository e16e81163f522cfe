"""Simulated strokes written down as a technician would enter them."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np

from startkit.science.strokes import Stroke
from workbook.stroke_model import VaneDrive, inject, simulate_strokes


def made(
    fault: str | None = None, pairs: int = 12, seed: int = 3, drive: VaneDrive | None = None
) -> list[Stroke]:
    """Strokes of a drive, sound or with one fault; the same are simulated once."""
    return list(_made(fault, pairs, seed, drive or VaneDrive()))


@lru_cache(maxsize=64)
def _made(fault: str | None, pairs: int, seed: int, drive: VaneDrive) -> tuple[Stroke, ...]:
    rng = np.random.default_rng(seed)
    return tuple(simulate_strokes(inject(fault, rng) if fault else drive, rng, pairs=pairs))


def block(
    strokes: list[Stroke],
    first: int = 1,
    scale: Callable[[float], float] = lambda part: 100 * part,
    unit: str = "%",
) -> str:
    """The pasted text of traces."""
    rows = [f"stroke\ttime (s)\tcommand (%)\tfeedback ({unit})\tswitch"]
    for number, stroke in enumerate(strokes, first):
        for t, c, f, s in zip(
            stroke.time, stroke.command, stroke.feedback, stroke.switch, strict=True
        ):
            rows.append(
                f"{number}\t{t:.2f}\t{100 * c:.2f}\t{scale(f):.3f}\t{'made' if s else 'open'}"
            )
    return "\n".join(rows)


def enter(job: Any, put: Callable[..., None], strokes: list[Stroke], first: int = 1) -> None:
    """Table rows of strokes: number, direction, drive's finish, position seen."""
    for number, stroke in enumerate(strokes, first):
        row = f"vanes.strokes.{number}"
        put(job, f"{row}.number", number)
        put(job, f"{row}.direction", stroke.direction)
        if stroke.drive_finished is not None:
            began = stroke.time[np.flatnonzero(np.abs(np.diff(stroke.command)) > 1e-3)[0] + 1]
            put(job, f"{row}.finished", f"{stroke.drive_finished - began:.2f}", "s")
        if stroke.seen_position is not None:
            put(
                job,
                f"{row}.seen_position",
                f"{100 * min(max(stroke.seen_position, 0), 1):.1f}",
                "%",
            )


def put_recorder(put: Callable[..., None], job: Any, tag: str = "VP-1") -> str:
    """A recorder of the feedback on the list of instruments, so good that its own error counts for
    nothing.
    """
    cells = {"tag": tag, "name": tag, "kind": "percent", "accuracy": "0.001 %", "serial": tag}
    for column, value in (cells | {"due": "2030-01-01"}).items():
        put(job, f"setup.instruments.1.{column}", value)
    return tag

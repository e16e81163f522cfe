"""Simulated strokes written down as a technician would enter them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from startkit.science.strokes import Stroke
from workbook.stroke_model import VaneDrive, inject, simulate_strokes


def made(
    fault: str | None = None, pairs: int = 12, seed: int = 3, drive: VaneDrive | None = None
) -> list[Stroke]:
    """Strokes of a drive, sound or with one fault."""
    rng = np.random.default_rng(seed)
    return simulate_strokes(inject(fault, rng) if fault else drive or VaneDrive(), rng, pairs=pairs)


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

"""The evacuation of the stage Tightness: how deep, how long it held, and what the shape of the rise
says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.instruments import can_read
from startkit.facts.limits import Limits
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Figure, Line, Plot, Rule
from startkit.science.evacuation import BOTH, LEAK, MOISTURE, TIGHT, UNDECIDED, Rise, only_ice, rise
from startkit.science.water import boiling_temperature, vapour_pressure
from startkit.units import Q
from startkit.verdict import Verdict

# What to do, by what the rise says.
NEXT = {
    TIGHT: "Evacuate deeper, then take the rise again.",
    LEAK: (
        "The pressure rises along a straight line: a leak. Find it at pressure with soap or a"
        " detector, then evacuate again."
    ),
    MOISTURE: (
        "The pressure levels off: moisture. Warm the machine, sweep it with dry nitrogen, and"
        " evacuate again."
    ),
    BOTH: "Leak and moisture together. Find the leak at pressure first, then dry the machine.",
    UNDECIDED: (
        "The record is too short or too unsteady to tell leak from moisture: take a reading every"
        " five minutes for longer."
    ),
    "": "Paste the rise over time: its shape tells leak from moisture.",
}


@dataclass(frozen=True)
class Evacuated:
    """The rise: times and pressures as read, what it says, and the last reading that counts."""

    time: np.ndarray
    pressure: np.ndarray
    rise: Rise | None
    end: Reading
    duration: Reading
    problems: tuple[str, ...]


def collect(entries: Entries) -> Evacuated:
    """The pasted rise, else the one reading at its end."""
    block = entries.block("rise")
    time, pressure = (block.columns.get(name, np.array([])) for name in ("time", "pressure"))
    usable = np.isfinite(time) & np.isfinite(pressure) if len(block) else np.array([], bool)
    time, pressure = time[usable], pressure[usable]
    if time.size < 2:
        return Evacuated(
            time, pressure, None, entries.reading("rise_end"), entries.reading("rise_time"), ()
        )
    found, problems = _rise(entries, time, pressure)
    end, u, untrusted = Q(float(pressure[-1]), "pascal"), *_gauge(entries, float(pressure[-1]))
    return Evacuated(
        time,
        pressure,
        found,
        Reading("", "", end, u, untrusted=untrusted),
        Reading("", "", Q(float(time[-1] - time[0]), "second")),
        problems,
    )


def _rise(
    entries: Entries, time: np.ndarray, pressure: np.ndarray
) -> tuple[Rise | None, tuple[str, ...]]:
    coldest = entries.quantity("coldest")
    if coldest is None:
        return None, (
            "The shape of the rise is judged once the temperature of the coldest part is entered.",
        )
    try:
        return rise(Q(time, "second"), Q(pressure, "pascal"), vapour_pressure(coldest)), ()
    except StartkitError as error:
        return None, (str(error),)


def _gauge(entries: Entries, pressure: float) -> tuple[pint.Quantity | None, str]:
    """Uncertainty of the vacuum gauge that the record was taken with, and what is wrong with it."""
    entry = entries.entry("rise")
    instrument = entries.job.instruments.get(entry.instrument) if entry is not None else None
    if instrument is None or not can_read(instrument.kind, "vacuum"):
        return None, ""
    overdue = instrument.in_calibration(entry.day) is False
    return (
        instrument.standard_uncertainty(Q(pressure, "pascal")),
        (
            f"instrument {entry.instrument} was out of calibration since"
            f" {instrument.calibration_due}"
            if overdue
            else ""
        ),
    )


def verdicts(limits: Limits, entries: Entries, found: Evacuated) -> tuple[Verdict, ...]:
    """Depth, temperature, time and end of the rise."""
    kind = found.rise.kind if found.rise is not None else ""
    return (
        check(
            entries,
            limits["tightness.vacuum"],
            entries.reading("shut_off"),
            next_step="Evacuate longer; change the pump's oil, open every valve, warm the machine.",
        ),
        check(
            entries,
            limits["tightness.evacuation_temperature"],
            entries.reading("coldest"),
            next_step="Warm the machine: water in a cold corner leaves it too slowly to be seen.",
        ),
        check(
            entries,
            limits["tightness.rise_time"],
            found.duration,
            next_step="Watch it longer after the pump is shut off.",
        ),
        check(
            entries,
            limits["tightness.rise"],
            found.end,
            next_step=NEXT[kind],
            note=_said(entries, found.rise),
        ),
    )


def _said(entries: Entries, found: Rise | None) -> str:
    return "" if found is None else f"The rise says: {found.kind}."


def figures(entries: Entries, found: Evacuated) -> tuple[Figure, ...]:
    """What the rise says, and where water stands at that pressure."""
    shown: list[Figure] = []
    if found.rise is not None:
        shown.append(
            Figure(
                "Shape of the rise",
                found.rise.kind,
                note=(
                    "the simplest of tight, leak, moisture, both that fits (AICc, Burnham and"
                    " Anderson 2002)"
                ),
            )
        )
        shown += _rates(entries, found.rise)
    return (*shown, *_water(entries, found))


def _rates(entries: Entries, found: Rise) -> list[Figure]:
    hour = Q(1, "hour")
    told = {
        TIGHT: "at most this could hide in the scatter",
        MOISTURE: "beside the moisture",
        UNDECIDED: "if all of it is a leak",
    }.get(found.kind, "constant leak")
    rows = [
        Figure(
            "Rise by a leak in an hour",
            (found.rate * hour).to("pascal"),
            "vacuum",
            (found.u_rate * hour).to("pascal"),
            told,
            "tightness.rise_rate",
            2,
        )
    ]
    volume = entries.quantity("test_volume")
    if volume is not None and found.kind in (LEAK, BOTH):
        rows.append(
            Figure(
                "Leak into the vacuum",
                (found.rate * volume).to("pascal*meter**3/second"),
                "throughput",
                (found.u_rate * volume).to("pascal*meter**3/second"),
                "air from outside",
            )
        )
    if found.kind == MOISTURE:
        rows.append(
            Figure(
                "Levels off at",
                found.plateau,
                "vacuum",
                note=(
                    "vapour pressure of water at the coldest part:"
                    f" {entries.show(vapour_pressure(entries.quantity('coldest')), 'vacuum')}"
                ),
            )
        )
    return rows


def _water(entries: Entries, found: Evacuated) -> list[Figure]:
    """Below the triple point water can only be ice: it is said at which temperature."""
    shut_off = entries.quantity("shut_off")
    lowest = min(
        [Q(float(p), "pascal") for p in found.pressure[:1]]
        + ([shut_off] if shut_off is not None else []),
        default=None,
    )
    if lowest is None or lowest.magnitude <= 0:
        return []
    try:
        at = entries.show(boiling_temperature(lowest), "temperature")
    except StartkitError:
        return []
    state, note = (
        ("ice", "below 611.7 Pa there is no liquid water: ice hides and leaves slowly")
        if only_ice(lowest)
        else ("water", "it boils there")
    )
    return [Figure("Water left inside", f"{state} at {at}", note=note)]


def plots(limits: Limits, found: Evacuated) -> tuple[Plot, ...]:
    """The rise with its limit and, where it was told, its shape."""
    if found.time.size < 2:
        return ()
    minutes = found.time - found.time[0]
    rules = tuple(
        Rule("limit", float(limits[key].high.to("pascal").magnitude))
        for key in ("tightness.rise",)
        if limits[key].high is not None
    )
    lines = [
        Line("read", [float(t) for t in minutes], [float(p) for p in found.pressure], "points")
    ]
    if found.rise is not None:
        best = next(
            (s for s in found.rise.shapes if s.name == found.rise.kind), found.rise.shapes[0]
        )
        levels = best.gain * (1 - np.exp(-minutes / best.tau)) if best.tau == best.tau else 0.0
        lines.append(
            Line(
                found.rise.kind,
                [float(t) for t in minutes],
                [float(p) for p in best.start + best.rate * minutes + levels],
                "line",
                emphasis="second",
            )
        )
    said = f", which says {found.rise.kind}" if found.rise is not None else ""
    return (
        Plot(
            "Rise after the pump was shut off",
            "Time",
            "minutes",
            "Pressure",
            "vacuum",
            tuple(lines),
            rules,
            f"Pressure from {found.pressure[0]:.0f} to {found.pressure[-1]:.0f} Pa in"
            f" {minutes[-1] / 60:.0f} minutes{said}.",
        ),
    )

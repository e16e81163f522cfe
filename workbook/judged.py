"""Honest jobs judged in memory."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

from startkit.facts import limits as limits_
from startkit.facts import machine as machine_
from startkit.facts.job import BY_NAME, RELEASES, State
from startkit.facts.journal import Entry
from startkit.facts.machine import Machine
from startkit.procedure import registry
from startkit.procedure.assessment import Assessment
from startkit.units import SI
from workbook.honest_job import HonestJob
from workbook.releasing import with_releases

MACHINES = Path(__file__).parent / "plant" / "machines"
TAGS = (
    "CH-1",
    "CH-2",
    "CH-3",
)  # new with a drive, low pressure with wye-delta, overhauled at medium voltage


@cache
def sheet_of(tag: str) -> Machine:
    """The sheet of one machine of the plant."""
    return machine_.load(MACHINES / f"{tag}.toml")


@cache
def honest(tag: str, seed: int = 1, recorder: bool = True) -> Assessment:
    """A whole honest job on one machine of the plant; without a recorder, by eyes, panel and
    stopwatch.
    """
    sheet = sheet_of(tag)
    return judged(sheet, HonestJob(sheet, seed, recorder).entries(), f"{tag}.{seed}.{recorder}")


def judged(
    sheet: Machine, entries: Iterable[Entry], name: str = "", system: str = SI
) -> Assessment:
    """A job as these entries make it; `name` tells its entries from those of other jobs, so that
    what was judged is remembered.
    """
    numbered = tuple(
        replace(entry, seq=n, digest=f"{name}.{n}" if name else "")
        for n, entry in enumerate(entries, 1)
    )
    stages = {key: stage for key, stage in registry.stages().items() if stage.applies(sheet)}
    limits = sheet.limits_over(limits_.defaults(), "machine sheet")
    return Assessment(sheet, limits, stages, State(numbered), system, shown=False)


def released(job: Assessment, entries: Sequence[Entry], name: str) -> Assessment:
    """A job of these entries, each hold point released as soon as it is clear; `name` as of
    `judged`.
    """
    begun = replace(entries[0], what=RELEASES, value=BY_NAME, unit="", instrument="", note="")

    def seen(told: tuple[Entry, ...]) -> Assessment:
        return replace(job, state=State(told))

    return seen(with_releases((begun, *entries), seen, name))

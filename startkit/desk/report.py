"""The state of a job, as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from startkit.desk.cards import BROKEN, RESCUE
from startkit.facts.job import Job
from startkit.facts.kept_files import REMEDY
from startkit.procedure.assessment import Assessment, of_job
from startkit.procedure.payload import next_step
from startkit.verdict import Outcome


def is_clear(folder: Path) -> bool:
    """True if every hold point of the job is clear and its journal is whole."""
    return _clear(of_job(Job(folder, read_only=True)))


def _clear(assessment: Assessment) -> bool:
    return not assessment.state.faults and all(hold.is_clear for hold in assessment.holds())


def status_lines(folder: Path) -> tuple[list[str], bool]:
    """Stages, hold points and what is next; and whether all is clear."""
    assessment = of_job(Job(folder, read_only=True))
    lines = [
        *_broken(assessment.state.faults),
        *_changed(assessment.changes()),
        f"{assessment.machine.machine.tag}, {assessment.machine.site.plant}",
    ]
    for name, stage in assessment.stages.items():
        verdicts, outcome = assessment.findings(name).verdicts, assessment.outcome(name)
        lines.append(
            f"  {outcome.mark} {stage.title:36} {outcome.value:10}"
            f" {sum(v.settled for v in verdicts)} of {len(verdicts)} settled"
        )
    for hold in assessment.holds():
        lines.append(
            f"  {hold.headline}"
            + ("" if hold.is_clear else f": {len(hold.in_the_way)} items in the way")
        )
    following = next_step(assessment)
    lines.append(
        f"Next: {following['title'] + ': ' if following['title'] else ''}{following['what']}."
        f" {following['do']}"
    )
    # A name with an end of line in it must not make a line of its own: "CLEAR TO TURN THE SHAFT".
    return [line.replace("\n", " ") for line in lines], _clear(assessment)


def _changed(sentences: Sequence[str]) -> list[str]:
    return [f"△ {sentence}" for sentence in sentences] + ([f"  {REMEDY}"] if sentences else [])


def _broken(faults: Sequence[str]) -> list[str]:
    return (
        [f"{Outcome.FAIL.mark} {BROKEN}:", *(f"    {fault}" for fault in faults[:5]), f"  {RESCUE}"]
        if faults
        else []
    )

"""The state of a job, as lines for a terminal."""

# `Any` here: the job's state as JSON.
from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from startkit.desk.cards import BROKEN, RESCUE
from startkit.facts.job import Job
from startkit.facts.kept_files import REMEDY
from startkit.procedure import chronology, payload, times
from startkit.procedure.assessment import Assessment, of_job
from startkit.procedure.passing import early_lines, released
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
        said = (released(assessment, hold)["release"], *early_lines(assessment, hold.hold))
        lines.append(
            f"  {hold.headline}"
            + ("" if hold.is_clear else f": {len(hold.in_the_way)} items in the way")
        )
        lines += [f"    {words}" for words in said if words]
    following = next_step(assessment)
    lines.append(
        f"Next: {following['title'] + ': ' if following['title'] else ''}{following['what']}."
        f" {following['do']}"
    )
    # A name with an end of line in it must not make a line of its own: "CLEAR TO TURN THE SHAFT".
    return [line.replace("\n", " ") for line in lines], _clear(assessment)


def status_data(folder: Path) -> dict[str, Any]:
    """The state of a job for a script; `whole` and `clear` are what the exit status says."""
    job = Job(folder, read_only=True)
    return {"job": job.folder.resolve().name, **data(of_job(job))}


def data(assessment: Assessment) -> dict[str, Any]:
    """Stages, verdicts, hold points, early entries and problems of a job, as plain data."""
    front = payload.front_part(assessment)
    entries = assessment.any_entries
    judged = assessment.verdicts()
    marks, state = assessment.early, assessment.state
    return {
        "machine": front["machine"]["tag"],
        "clear": _clear(assessment),
        "faults": front["faults"],
        "changed": front["changed"],
        "stages": [
            {k: line[k] for k in ("stage", "title", "outcome", "started", "settled", "of", "early")}
            for line in front["stages"]
        ],
        "verdicts": [
            {
                "stage": stage.name,
                **{k: payload.verdict(v, entries)[k] for k in _OF_A_VERDICT},
                "before": v.gate or stage.before,
            }
            for stage, v in judged
        ],
        "holds": [
            {
                **{k: hold[k] for k in ("hold", "state", "headline", "released", "early")},
                "in_the_way": [v["key"] for v in hold["in_the_way"]],
                "waived": [v["key"] for v in hold["waived"]],
            }
            for hold in front["holds"]
        ],
        "early": [
            {"item": e.what, "entry": e.seq, "hold": marks[e.seq].hold.name, "entered": e.at}
            | {"happened": marks[e.seq].happened or state.taken(e)}
            for e in state.entries
            if e.seq in marks
        ],
        "back_dated": times.back_dated(assessment),
        "problems": [
            {"stage": name, "item": fault.item, "problem": fault.sentence}
            for name in assessment.stages
            for entries in (assessment.stage_entries(name),)
            for fault in (*entries.faults(), *chronology.faults(entries))
        ],
        "next": front["next"],
    }


_OF_A_VERDICT = ("key", "title", "outcome", "sentence", "reading", "limit", "source", "rests_on")


def _changed(sentences: Sequence[str]) -> list[str]:
    return [f"△ {sentence}" for sentence in sentences] + ([f"  {REMEDY}"] if sentences else [])


def _broken(faults: Sequence[str]) -> list[str]:
    return (
        [f"{Outcome.FAIL.mark} {BROKEN}:", *(f"    {fault}" for fault in faults[:5]), f"  {RESCUE}"]
        if faults
        else []
    )

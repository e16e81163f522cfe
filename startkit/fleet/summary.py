"""The summary of one job: all that the register shows of it, as plain data; made by judging the
job.
"""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pint

from startkit.errors import StartkitError
from startkit.facts.digests import sha256
from startkit.facts.job import Job
from startkit.facts.job_notebook import template_of
from startkit.facts.journal import Entry
from startkit.paper import evidence, revisions
from startkit.paper.revisions import RECORDS
from startkit.procedure import people
from startkit.procedure.assessment import Assessment, of_job
from startkit.procedure.passing import early_lines, released
from startkit.procedure.payload import next_step
from startkit.procedure.waivers import NOT_APPLICABLE, WAIVER
from startkit.verdict import Outcome, Verdict, worst

Summary = dict[str, Any]


def summarised(folder: Path) -> Summary:
    """A job's summary; a job that cannot be read has one with the reason.

    Parameters
    ----------
    folder : pathlib.Path
        The job's folder.
    """
    folder = Path(folder)
    try:
        return _summary(Job(folder, read_only=True))
    except StartkitError as error:
        return {"job": folder.name, "fault": str(error)}
    # a stage of another package may fail in any way; the register still shows the others
    except Exception as error:
        return {
            "job": folder.name,
            "fault": f"it cannot be evaluated ({type(error).__name__}: {error}).",
        }


def _summary(job: Job) -> Summary:
    judged = of_job(job)
    entries = judged.state.entries
    sheet = job.machine.machine
    return {
        "job": job.folder.name,
        "fault": "",
        "tag": sheet.tag,
        "plant": job.machine.site.plant,
        "serial": sheet.serial,
        "maker": sheet.maker,
        "model": sheet.model,
        "refrigerant": sheet.refrigerant,
        "work": sheet.work,
        "units": job.system,
        "outcome": worst([v.outcome for _, v in judged.verdicts()]).value,
        "next": next_step(judged),
        "begun": [stage.title for name, stage in judged.stages.items() if judged.started(name)],
        "holds": [
            {
                "hold": h.hold.name,
                "clear": h.is_clear,
                "headline": h.headline,
                "in_the_way": len(h.in_the_way),
                **released(judged, h),
                "early": early_lines(judged, h.hold),
            }
            for h in judged.holds()
        ],
        "open": [*_open(judged), *_declared(judged)],
        "waived": _waived(judged),
        "instruments": _instruments(judged),
        "figures": _figures(judged),
        "first": entries[0].at if entries else "",
        "last": entries[-1].at if entries else "",
        "last_who": entries[-1].who if entries else "",
        "entries": len(entries),
        "digest": entries[-1].digest if entries else "",
        "template": template_of(job),
        "record": _record(job.folder),
    }


# --- open items and their owners ----------------------------------------------------------------


def _open(judged: Assessment) -> list[Summary]:
    """Every unsettled verdict of a stage that was begun; one line for each stage that was not."""
    spans, found = _spans(judged.state.entries), []
    for name, stage in judged.stages.items():
        unsettled = [v for v in judged.findings(name).verdicts if not v.settled]
        if not unsettled:
            continue
        begun = judged.started(name)
        first, who = (
            spans.get(name, ("", ""))
            if begun
            else (judged.state.entries[0].at if judged.state.entries else "", "")
        )
        common = {
            "stage": stage.title,
            "since": first[:10],
            "owner": who or _technician(judged),
            "due": "",
        }
        if begun:
            found += [{**common, **_told(v)} for v in unsettled]
        else:
            found.append(
                {
                    **common,
                    "title": f"not begun, {len(unsettled)} items",
                    "items": len(unsettled),
                    "outcome": Outcome.OPEN.value,
                    "mark": Outcome.OPEN.mark,
                }
            )
    return found


def _told(verdict: Verdict) -> Summary:
    return {"title": verdict.title, "outcome": verdict.outcome.value, "mark": verdict.outcome.mark}


def _spans(entries: Iterable[Entry]) -> dict[str, tuple[str, str]]:
    """For each stage, when its first entry was made and who made its last."""
    spans: dict[str, tuple[str, str]] = {}
    for entry in entries:
        name = entry.what.partition(".")[0]
        spans[name] = spans.get(name, (entry.at, ""))[0], entry.who or spans.get(name, ("", ""))[1]
    return spans


def _technician(judged: Assessment) -> str:
    named = next(
        (p.name for p in judged.entries.people if p.code == people.FIRST.code and p.name), ""
    )
    return named or (judged.state.entries[0].who if judged.state.entries else "")


def _declared(judged: Assessment) -> list[Summary]:
    """Open items that were handed over by name, with their dates."""
    if "handover" not in judged.stages:
        return []
    rows = [
        row
        for row in judged.stage_entries("handover").rows("open_items")
        if row.text("item") and row.code("state") != "closed"
    ]
    return [
        {
            "stage": judged.stages["handover"].title,
            "title": row.text("item"),
            "outcome": Outcome.OPEN.value,
            "mark": Outcome.OPEN.mark,
            "owner": row.text("owner"),
            "due": row.text("due"),
            "since": _moment(row.cells.values())[:10],
        }
        for row in rows
    ]


def _moment(readings: Iterable[Any]) -> str:
    return min((reading.entry.at for reading in readings if reading.entry is not None), default="")


def _waived(judged: Assessment) -> list[Summary]:
    found = []
    for prefix, laid, word in (
        (WAIVER, judged.waivers, "waived"),
        (NOT_APPLICABLE, judged.not_applicable, "does not apply"),
    ):
        known = {v.key: (stage, v) for stage, v in judged.verdicts()}
        for key, (who, why) in laid.items():
            if key in known:
                stage, verdict = known[key]
                found.append(
                    {
                        "stage": stage.title,
                        "title": verdict.title,
                        "who": who,
                        "why": why,
                        "how": word,
                        "when": judged.entries.latest[prefix + key].at[:10],
                    }
                )
    return found


# --- instruments, figures, record -----------------------------------------------------------------


def _instruments(judged: Assessment) -> list[Summary]:
    rows = judged.entries.instrument_rows
    return [
        {name: row.text(name) for name in ("tag", "name", "serial", "due")}
        for row in rows
        if row.text("tag")
    ]


def _figures(judged: Assessment) -> dict[str, Summary]:
    """Figures that visits and machines are compared by, in SI base units."""
    found = {}
    for name in judged.stages:
        for figure in judged.findings(name).figures:
            if figure.key and isinstance(figure.value, pint.Quantity):
                found[figure.key] = {
                    "label": figure.label,
                    "kind": figure.kind,
                    "number": _base(figure.value),
                    "u": None if figure.u is None else _base(figure.u),
                }
    return found


def _base(quantity: pint.Quantity) -> float:
    return float(quantity.to_base_units().magnitude)


def _record(folder: Path) -> Summary:
    path = revisions.newest(folder / RECORDS)
    if path is None:
        return {}
    content = evidence.read(path)
    taken = revisions.taken_apart(path)
    return {
        "file": path.name,
        "revision": taken[1] if taken else "",
        "sha256": sha256(content),
        "size": len(content),
        "signed": revisions.is_signed(path),
    }

"""Releasing a hold point: one name, or two where it is witnessed."""

# `Any` here: what a card is drawn from, as JSON.
from __future__ import annotations

from typing import Any

from startkit import __version__
from startkit.errors import JobError
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.procedure.assessment import Assessment
from startkit.procedure.holds import NAMES, HoldPoint
from startkit.procedure.releases import GIVEN, RELEASE, WITNESSED


def release(job: Job, assessment: Assessment, name: str, who: str, witness: str = "") -> Entry:
    """Write down that a hold point is released.

    Parameters
    ----------
    job : Job
    assessment : Assessment
        The job as it is now.
    name : str
        Of the hold point, such as ``"turn_shaft"``.
    who, witness : str

    Raises
    ------
    JobError
        It is not clear, or these persons may not release it.
    """
    hold = _hold(assessment, name)
    if barred := assessment.release_barred(hold, who, witness):
        raise JobError(
            f"not released: {barred}",
            hold.clear,
            "settle what is in the way, then give the name of a person who may release it",
        )
    digest, note = assessment.basis(name).digest, f"startkit {__version__}"
    entries = [Entry(f"{RELEASE}{name}", digest, who=who, note=note)]
    if witness:
        entries.append(Entry(f"{WITNESSED}{name}", digest, who=witness, note=note))
    return job.record(entries)[0]


def withdraw(job: Job, assessment: Assessment, name: str, who: str) -> Entry:
    """Take a release back.

    Raises
    ------
    JobError
        There is none, or no one is named.
    """
    hold = _hold(assessment, name)
    if not who or assessment.release(name) is None:
        raise JobError(
            "no one is named" if not who else "there is no release to withdraw",
            hold.clear,
            "give a name" if not who else "check the hold point again",
        )
    return job.record(Entry(f"{RELEASE}{name}", "", who=who, note="withdrawn"))[0]


def _hold(assessment: Assessment, name: str) -> HoldPoint:
    found = next((state.hold for state in assessment.holds() if state.hold.name == name), None)
    if found is None:
        raise JobError(f"no hold point is called {name!r}", "release", f"use {', '.join(NAMES)}")
    return found


def asked(assessment: Assessment, name: str, who: str) -> dict[str, Any] | None:
    """What a card asks for: to release a hold point that is clear, or to withdraw its release;
    None if neither can be done. Of the people, those who may; None where the job lists nobody.
    """
    given, roles = assessment.release(name), assessment.roles
    hold = _hold(assessment, name)
    common = {"chosen": who, "step": hold.clear.removeprefix("Clear ")}
    if given is not None and given.state == GIVEN:
        everybody = None if roles is None else list(roles)
        return {**common, "verb": "withdraw", "who": everybody, "witnessed": False}
    if not assessment.hold(name).is_clear:
        return None
    rules = assessment.limits.releases
    who_may, witness_may = (
        None if roles is None else [n for n, role in roles.items() if role in listed]
        for listed in (rules.may_release, rules.may_witness)
    )
    return {
        **common,
        "verb": "release",
        "who": who_may,
        "witness": witness_may,
        "witnessed": name in rules.witnessed,
    }

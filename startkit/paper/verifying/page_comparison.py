"""Pages set again from what a record carries and compared with those that were signed; the attached
notebook is read, never run.
"""

# `Any` here: a record is JSON, a notebook is read by attribute.
from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from startkit import __version__
from startkit.errors import PaperError, StartkitError
from startkit.facts.job import Job
from startkit.paper import attachments, revisions
from startkit.paper.attachments import Attachment
from startkit.paper.evidence import PICTURES, Evidence
from startkit.paper.printing import photographs, typesetting, versions
from startkit.paper.printing.record import Layout, Record, record
from startkit.paper.verifying import notebook_data, page_words, verdict_comparison

# What two versions of the tool may print differently for the same job.
_BY_VERSION = frozenset({"versions", "equations", "attachments", "schema"})
_MOST = 8  # words that are listed


@dataclass(frozen=True)
class Pages:
    """What was found of the pages.

    Parameters
    ----------
    faults : tuple of str
        Why they are not the pages of the attached data.
    said : tuple of str
        What was compared, and how.
    unchecked : tuple of str
        What could not be compared.
    """

    faults: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()


def compared(evidence: Evidence, job: Job, printed: bytes) -> Pages:
    """Set the pages again and compare them with those of the file.

    Parameters
    ----------
    evidence : Evidence
    job : Job
        Restored from the evidence.
    printed : bytes
        The file as it was before anything was added to it.

    Raises
    ------
    PaperError
        There is no notebook, or it does not show what is printed.
    """
    claims = versions.contradictions(evidence.record, evidence.creator)
    if claims:
        return Pages(tuple(f"the versions do not agree: {claim}" for claim in claims))
    then = versions.named(evidence.record).get("startkit", "unknown")
    other = versions.other(evidence.record)
    if then != __version__:
        return _of_another_tool(evidence, job, printed, "; ".join(other))
    made = again(evidence, job)
    if evidence.set_at is None:
        return Pages(("the file does not state when its pages were typeset",))
    set_again = typesetting.pdf(made, evidence.set_at)
    if other:
        return _of_another_typesetter(set_again, printed, "; ".join(other))
    if set_again != printed:
        return Pages(("typeset again from the attached data they differ from those of this file",))
    return Pages(said=("Typeset again from the attached data: as signed, byte for byte.",))


def _of_another_typesetter(set_again: bytes, printed: bytes, other: str) -> Pages:
    """The same words in the same numbers; how they look is not compared."""
    more, fewer = _words_apart(set_again, printed)
    if more or fewer:
        return Pages(
            (
                f"their text is not that of the attached data (on the pages only: {_some(more)};"
                f" in the data only: {_some(fewer)})",
            )
        )
    return Pages(
        said=("Their text and numbers are those of the attached data.",),
        unchecked=(f"how the pages look (set with {other})",),
    )


def _of_another_tool(evidence: Evidence, job: Job, printed: bytes, other: str) -> Pages:
    """What another version printed: what it entered, found and drew is compared, not its words."""
    faults = _other_data(evidence, job)
    if faults:
        return Pages(faults)
    look = f"how the pages look (set with {other})"
    try:
        made = _recorded(evidence, job, _listed(evidence))
        set_again = typesetting.pdf(
            Record(evidence.record, made.pictures, made.attached),
            evidence.set_at or job.last_moment,
        )
    except (StartkitError, KeyError, ValueError, TypeError):
        return Pages(
            said=("Their data are those of the attached notebook.",),
            unchecked=(f"the text of the pages, which this version cannot typeset; {look}",),
        )
    more, fewer = _words_apart(set_again, printed)
    said = ["Their data are those of the attached notebook."]
    if not more and not fewer:
        said.append("Their text and numbers are those of the attached data.")
        return Pages(said=tuple(said), unchecked=(look,))
    said += [f"On the pages only: {_some(more)}."] if more else []
    said += [f"In the data only, as printed by this version: {_some(fewer)}."] if fewer else []
    words = sum(more.values()) + sum(fewer.values())
    return Pages(
        said=tuple(said),
        unchecked=(f"{words} words of the pages, which this version typesets differently; {look}",),
    )


def _other_data(evidence: Evidence, job: Job) -> tuple[str, ...]:
    """What weighs in the printed data and is not in the attached notebook."""
    made, printed = _recorded(evidence, job, _listed(evidence)).data, evidence.record
    found = [
        difference
        for key, value in made.items()
        if key not in _BY_VERSION and key in printed
        for difference in verdict_comparison.compared(
            {key: printed[key]}, {key: value}, "the record"
        )
        if difference.weighty and not difference.one_sided
    ]
    return tuple(f"the attached notebook shows it differently: {each}" for each in found[:_MOST])


# --- words of pages -------------------------------------------------------------------------------


def _words_apart(set_again: bytes, printed: bytes) -> tuple[Counter[str], Counter[str]]:
    """Words that are only in the file, and words that are only on the pages as set again."""
    ours, theirs = page_words.of_both(set_again, printed)
    return theirs - ours, ours - theirs


def _some(found: Counter[str]) -> str:
    told = ", ".join(list(found)[:_MOST]) or "nothing"
    return f"{told}, and {len(found) - _MOST} more" if len(found) > _MOST else told


# --- data of pages --------------------------------------------------------------------------------


def again(evidence: Evidence, job: Job) -> Record:
    """The record of the attached notebook, as this version makes it of the same job.

    Raises
    ------
    PaperError
        There is no notebook, or it does not show what is printed.
    """
    printed = evidence.record
    made = _recorded(evidence, job, _of_job(evidence, job))
    lines = {"versions"} if _all_installed(made.data, printed) else {"versions", "equations"}
    differing = [
        key
        for key in dict.fromkeys([*made.data, *printed])
        if key not in lines and printed.get(key) != made.data.get(key)
    ]
    if differing:
        raise PaperError(
            f"the printed pages differ from the attached notebook ({', '.join(differing)})",
            "record",
            "ask the signer for the record as printed",
        )
    return Record(printed, made.pictures, made.attached)


def _all_installed(made: Mapping[str, Any], printed: Mapping[str, Any]) -> bool:
    return versions.named(made) == versions.named(printed)


def _recorded(evidence: Evidence, job: Job, attached: Iterable[Attachment]) -> Record:
    printed, shown = evidence.record, notebook(evidence)
    try:
        made = record(
            job,
            shown,
            attached,
            Layout(printed["paper"], printed["form"], printed["company"]),
            revisions.of_line(printed.get("revision")),
        )
        body = photographs.as_printed(made.data["body"], printed["body"])
        return replace(made, data={**made.data, "body": body})
    except StartkitError:
        raise
    except Exception:  # what the notebook lacks is seen where it is looked for
        raise _damaged("notebook") from None


def _of_job(evidence: Evidence, job: Job) -> list[Attachment]:
    """What a print of the restored job attaches, its notebook as it is attached."""
    name = _notebook_name(evidence)
    return attachments.of_job(job, name, evidence.files[name])


def _notebook_name(evidence: Evidence) -> str:
    names = [name for name in evidence.files if name.endswith(".ipynb") and "/" not in name]
    if len(names) != 1:
        raise PaperError(
            f"{len(names)} notebooks are attached",
            "record",
            "give a record printed by startkit",
        )
    return names[0]


def notebook(evidence: Evidence) -> Any:
    """The attached notebook, as plain data.

    Raises
    ------
    PaperError
        None is attached, or more than one, or it is damaged.
    """
    name = _notebook_name(evidence)
    try:
        return notebook_data.of_bytes(evidence.files[name])
    except Exception:  # of many kinds for a damaged file
        raise _damaged(name) from None


def _damaged(name: str) -> PaperError:
    return PaperError(
        "the attached notebook is damaged", name, "use an undamaged copy of the record"
    )


def _listed(evidence: Evidence) -> list[Attachment]:
    """The attachments as they were listed; pictures are added again by the record itself."""
    lines = [
        line
        for line in evidence.record["attachments"]
        if not line["name"].startswith(f"{PICTURES}/")
    ]
    return [
        Attachment(
            line["name"], evidence.files[line["name"]], line["relationship"], line["description"]
        )
        for line in lines
    ]

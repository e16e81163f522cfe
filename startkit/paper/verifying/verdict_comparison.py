"""Verdicts derived again from what a record carries, compared with what it prints."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

from startkit.facts.job import Job
from startkit.paper.evidence import Evidence
from startkit.paper.printing import photographs
from startkit.paper.printing.record import dressed, fronted
from startkit.procedure import payload
from startkit.procedure.assessment import Assessment, of_job

# The substance of a verdict is in these; the rest is wording, which another version may change.
WEIGHTY = frozenset(
    {
        "outcome",
        "reading",
        "limit",
        "number",
        "low",
        "high",
        "clear",
        "value",
        "text",
        "uncertainty",
        "u_number",
    }
)
CORRECTED = "corrected.toml"
_OF_PAPER = frozenset({"part", "block", "cell", "output", "level", "plots", "pictures"})
# Not in older records: what verdicts rest on, which is not printed, and the files that were
# changed, which are compared with the journal by themselves.
_NOT_PRINTED = frozenset({"rests_on", "changed"})
_SAME = {
    "rel_tol": 1e-6,
    "abs_tol": 1e-9,
}  # other processors may round the last digits differently

Block = dict[str, Any]


@dataclass(frozen=True)
class Difference:
    """One thing that is printed differently from what is derived.

    Parameters
    ----------
    where : str
        Title of the verdict, or stage and part.
    what : str
        Which part of it, such as ``"outcome"``.
    printed, derived : str
    weighty : bool
        False: wording only.
    one_sided : bool
        True if one of the two has no such thing at all, as where a version judges more.
    key : str
        Of the verdict or figure, where it has one.
    """

    where: str
    what: str
    printed: str
    derived: str
    weighty: bool
    one_sided: bool = False
    key: str = ""

    def __str__(self) -> str:
        return (
            f"{self.where}: {self.what} is printed as {_short(self.printed)}, but the attached"
            f" data give {_short(self.derived)}"
        )


@dataclass(frozen=True)
class Derived:
    """How many verdicts were derived again, and what differs.

    Parameters
    ----------
    verdicts : int
    differences : tuple of Difference
    seen : Assessment
        Of the attached data.
    left_out : tuple of str
        Titles of the job's stages that the record does not print.
    """

    verdicts: int
    differences: tuple[Difference, ...]
    seen: Assessment
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Across:
    """Differences between two versions of the tool, by what they mean.

    Parameters
    ----------
    contradicting : tuple of Difference
        Outcome, figure, limit or entry is another.
    corrected : tuple of str
        Verdicts that were corrected on purpose since, with the reason.
    one_sided : tuple of Difference
        What only one of the versions judges or shows.
    wording : tuple of Difference
        Words only.
    """

    contradicting: tuple[Difference, ...] = ()
    corrected: tuple[str, ...] = ()
    one_sided: tuple[Difference, ...] = ()
    wording: tuple[Difference, ...] = ()


def across_versions(differences: Iterable[Difference], then: str) -> Across:
    """What another version printed differently, sorted by what it means.

    Parameters
    ----------
    differences : iterable of Difference
    then : str
        The version that printed the record.
    """
    corrections = corrections_since(then)
    contradicting, corrected, one_sided, wording = [], [], [], []
    asked_more = _asks_more(found := list(differences), corrections)
    grown = {each.key.split(".")[0] for each in found if each.weighty and each.one_sided}
    for each in found:
        reason = next((c.reason for c in corrections if c.covers(each)), "")
        follows = (asked_more and _is_sum(each)) or _is_completeness(each, grown)
        reason = reason or (ASKS_MORE if follows else "")
        if each.weighty and reason:
            corrected.append(f"{each.where}, {each.what}: {reason}")
        elif each.weighty and each.one_sided:
            one_sided.append(each)
        elif each.weighty:
            contradicting.append(each)
        else:
            wording.append(each)
    return Across(
        tuple(contradicting), tuple(dict.fromkeys(corrected)), tuple(one_sided), tuple(wording)
    )


ASKS_MORE = "this version asks for more than the one that printed the record"


def _is_sum(difference: Difference) -> bool:
    """What follows from several verdicts: a stage's outcome, a hold point, how much is asked."""
    return not difference.key and difference.what in ("clear", "outcome", "entered")


def _is_completeness(difference: Difference, grown: set[str]) -> bool:
    """That a stage was complete, where it asks for more now."""
    stage, _, item = difference.key.partition(".")
    return item == "complete" and difference.what == "outcome" and stage in grown


def _asks_more(differences: Iterable[Difference], corrections: Iterable[Correction]) -> bool:
    """Whether some verdict is of one version alone, or was corrected: then its sums differ too."""
    known = list(corrections)
    return any(
        each.weighty and each.key and (each.one_sided or any(c.covers(each) for c in known))
        for each in differences
    )


@dataclass(frozen=True)
class Correction:
    """Something corrected on purpose in a version.

    Parameters
    ----------
    reason : str
    key : str
        Of the verdict or figure; empty: of every one.
    what : tuple of str
        Which of its parts, such as ``"uncertainty"``; empty: all.
    where : str
        Label of a figure that has no key; empty: anywhere.
    """

    reason: str
    key: str = ""
    what: tuple[str, ...] = ()
    where: str = ""

    def covers(self, difference: Difference) -> bool:
        """Whether a difference is this correction's doing."""
        return (
            self.key in ("", difference.key)
            and self.where in ("", difference.where)
            and (not self.what or difference.what in self.what)
        )


def corrections_since(then: str) -> list[Correction]:
    """What was corrected on purpose after a version."""
    text = (resources.files("startkit.paper.verifying") / CORRECTED).read_text(encoding="utf-8")
    return [
        Correction(
            row["reason"], row.get("key", ""), tuple(row.get("what", ())), row.get("where", "")
        )
        for row in tomllib.loads(text).get("correction", ())
        if _number(then) < _number(row["since"])
    ]


def _number(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", version)[:3])


def held_against(evidence: Evidence, job: Job) -> Derived:
    """Everything that a record prints of its stages, derived again with the installed version.

    Parameters
    ----------
    evidence : Evidence
    job : Job
        Restored from the evidence, so that nothing but what is attached is judged.
    """
    seen = of_job(job)
    printed = evidence.record
    made = [_derived(block, seen) for block in printed["body"]]
    unknown = [block for block, again in zip(printed["body"], made, strict=True) if again is None]
    known = [
        block if again is None else again
        for block, again in zip(printed["body"], made, strict=True)
    ]
    body = photographs.as_printed(_plain(dressed(known, job.folder, {}, {})), printed["body"])
    front = _plain(fronted(payload.front_part(seen)))
    found = [*compared(printed["front"], front, "first page")]
    for block, again in zip(printed["body"], body, strict=True):
        if again is not block:
            found += compared(
                block, again, str(block.get("title") or block.get("headline") or "hand-over")
            )
    found += [
        Difference(
            str(block.get("title", block["block"])),
            "stage",
            "a stage",
            "no such stage is installed here",
            True,
        )
        for block in unknown
        if block["block"] == "stage"
    ]
    there = {block.get("stage") for block in printed["body"]}
    left_out = tuple(stage.title for name, stage in seen.stages.items() if name not in there)
    return Derived(len(seen.verdicts()), tuple(dict.fromkeys(found)), seen, left_out)


def _derived(block: Block, seen: Assessment) -> Block | None:
    """The block as it follows from the data; None if it does not follow from them: prose, text,
    pictures, stages not installed.
    """
    kind = block["block"]
    if kind == "stage" and block.get("stage") in seen.stages:
        return {"block": kind, **payload.stage_part(seen, block["stage"])}
    if kind == "hold":
        return {"block": kind, **payload.hold_part(seen, block["hold"])}
    return {"block": kind, **payload.handover_part(seen)} if kind == "handover" else None


def _plain(value: Any) -> Any:
    return json.loads(json.dumps(value))


# --- comparison -----------------------------------------------------------------------------------


def compared(
    printed: Mapping[str, Any], derived: Mapping[str, Any], where: str, key: str = ""
) -> Iterator[Difference]:
    """Differences between what is printed and what is derived; what only paper adds is left out."""
    for name in dict.fromkeys([*derived, *printed]):
        if name not in _OF_PAPER | _NOT_PRINTED:
            one_sided = (name in printed) != (name in derived)
            for each in _differences(printed.get(name), derived.get(name), where, name):
                yield replace(each, one_sided=each.one_sided or one_sided, key=each.key or key)


def _differences(printed: Any, derived: Any, where: str, what: str) -> Iterator[Difference]:
    if isinstance(derived, dict) and isinstance(printed, dict):
        inside = str(
            derived.get("title") or derived.get("question") or derived.get("label") or where
        )
        same = _columns_of(printed, derived)
        yield from compared(printed, same, inside, str(derived.get("key") or ""))
    elif (
        isinstance(derived, list)
        and isinstance(printed, list)
        and (derived or printed)
        and _keyed(derived)
        and _keyed(printed)
    ):
        yield from _by_key(printed, derived, where, what)
    elif isinstance(derived, list) and isinstance(printed, list) and len(derived) == len(printed):
        for before, after in zip(printed, derived, strict=True):
            yield from _differences(before, after, where, what)
    elif not _equal(printed, derived):
        listed = isinstance(derived, list) or isinstance(printed, list)
        yield Difference(
            where,
            what,
            _text(printed),
            _text(derived),
            what in WEIGHTY or (listed and not _are_sentences(printed, derived)),
        )


def _columns_of(printed: Block, derived: Block) -> Block:
    """A table without the columns that another version asks for besides, and that nobody filled."""
    if not {"columns", "rows"} <= printed.keys() & derived.keys():
        return derived
    if len(derived["columns"]) <= len(printed["columns"]):
        return derived
    known = {column["label"] for column in printed["columns"]}
    kept = [
        n
        for n, column in enumerate(derived["columns"])
        if column["label"] in known or any(row[n] for row in derived["rows"])
    ]
    return {
        **derived,
        "columns": [derived["columns"][n] for n in kept],
        "rows": [[row[n] for n in kept] for row in derived["rows"]],
    }


def _are_sentences(*values: Any) -> bool:
    """True for lists of texts only, such as remarks, or none."""
    return all(
        value is None or (isinstance(value, list) and all(isinstance(x, str) for x in value))
        for value in values
    )


def _keyed(rows: list[Any]) -> bool:
    """True for a list of verdicts, figures or tables, each with a name of its own, or an empty
    one.
    """
    keys = [_name(row) if isinstance(row, dict) else None for row in rows]
    return all(isinstance(key, str) and key for key in keys) and len(set(keys)) == len(keys)


def _name(row: Block) -> str | None:
    """Key of a verdict or figure; name of a table as it was filled."""
    return row.get("key") or (row.get("name") if "columns" in row else None)


def _by_key(
    printed: list[Block], derived: list[Block], where: str, what: str
) -> Iterator[Difference]:
    """Rows compared by their key, so that one that is missing does not shift the others."""
    before, after = ({str(_name(row)): row for row in rows} for rows in (printed, derived))
    for key in dict.fromkeys([*before, *after]):
        if key in before and key in after:
            yield from _differences(before[key], after[key], where, what)
        else:
            row = before.get(key) or after[key]
            yield Difference(
                str(row.get("title") or row.get("label") or key),
                "verdict" if "outcome" in row else what,
                *_presence(row, key in before),
                True,
                True,
                key,
            )


def _presence(row: Block, was_printed: bool) -> tuple[str, str]:
    value = str(row.get("outcome") or row.get("text") or "there")
    return (value, "nothing") if was_printed else ("nothing", value)


def _equal(printed: Any, derived: Any) -> bool:
    numbers = all(
        isinstance(value, int | float) and not isinstance(value, bool)
        for value in (printed, derived)
    )
    if numbers:
        return math.isclose(printed, derived, **_SAME)
    return (printed == derived and type(printed) is type(derived)) or (
        not printed and not derived and None in (printed, derived)
    )


def _text(value: Any) -> str:
    if isinstance(value, list):
        return f"{len(value)} lines" if len(value) > 1 else str(value[0]) if value else "nothing"
    return "nothing" if value is None or value == "" else str(value)


def _short(text: str) -> str:
    return f"“{text[:90]}…”" if len(text) > 90 else f"“{text}”"


def restored(evidence: Evidence, folder: Path) -> Job:
    """The job of a record, in a folder for the time of a check.

    Raises
    ------
    StartkitError
        The chain of hashes is broken, or the sheet cannot be read.
    """
    from startkit.paper.verifying.job_import import restore

    restore(evidence, folder)
    return Job(folder, read_only=True)

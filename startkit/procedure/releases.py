"""Hold points released: by whom, when, before which witness, and on what it rested.

A hold point that is clear has not been passed: somebody answers for going on. The release is an
entry, ``release.turn_shaft``, whose value is a digest of the verdicts that the hold point needs and
of the readings that they rest on, as they were at that moment. It is looked at again whenever the
job is:

- not clear any more: the release has lapsed, and has to be given again;
- clear, but a reading that it rested on is another now: it counts, and says so. A correction of one
  reading of hundreds does not stop the work; whether it matters, a person decides and releases
  again with one tap.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from startkit.facts.digests import sha256_of_text
from startkit.facts.journal import Entry
from startkit.facts.rules import ReleaseRules
from startkit.procedure.holds import HoldPoint, HoldState
from startkit.procedure.people import ROLES
from startkit.procedure.waivers import NOT_APPLICABLE, WAIVER
from startkit.verdict import Verdict

RELEASE, WITNESSED = "release.", "witnessed."
GIVEN, OTHER, LAPSED, VOID = "released", "released on other readings", "lapsed", "does not count"
_FILES = ("job.sheet", "job.specification")  # limits come from these


@dataclass(frozen=True)
class Basis:
    """What a release rests on.

    Parameters
    ----------
    verdicts : tuple of (str, str)
        Key and outcome of every verdict that the hold point needs.
    entries : tuple of Entry
        The newest entry of every item that they rest on.
    clear : bool
    """

    verdicts: tuple[tuple[str, str], ...]
    entries: tuple[Entry, ...]
    clear: bool

    @property
    def digest(self) -> str:
        """SHA-256; the place of an entry in the chain is no part of it, so that a rescued journal
        gives the same.
        """
        body = [self.verdicts, [_content(entry) for entry in self.entries]]
        return sha256_of_text(json.dumps(body, ensure_ascii=False, separators=(",", ":")))


def _content(entry: Entry) -> tuple[str, ...]:
    return (entry.what, entry.value, entry.unit, entry.who, entry.instrument, entry.note, entry.at)


def basis(state: HoldState, latest: Mapping[str, Entry]) -> Basis:
    """What a release would rest on now."""
    names = {name for verdict in state.needed for name in _names(verdict)} | {*_FILES}
    found = (entry for what, entry in latest.items() if not names.isdisjoint(_within(what)))
    return Basis(
        tuple(sorted((v.key, v.outcome.value) for v in state.needed)),
        tuple(sorted(found, key=lambda entry: entry.what)),
        state.is_clear,
    )


def _names(verdict: Verdict) -> tuple[str, ...]:
    return (*verdict.rests_on, WAIVER + verdict.key, NOT_APPLICABLE + verdict.key)


def _within(what: str) -> Iterator[str]:
    """An item and all that it is a part of: ``a.b.3.c``, ``a.b.3``, ``a.b``."""
    while "." in what:
        yield what
        what = what.rpartition(".")[0]


@dataclass(frozen=True)
class Release:
    """A hold point's release as it is now.

    Parameters
    ----------
    hold : HoldPoint
    entry : Entry
    witness : Entry or None
        Who saw it released, if anybody.
    state : str
        `GIVEN`, `OTHER`, `LAPSED` or `VOID`.
    why : str
        Why it is not simply given.
    """

    hold: HoldPoint
    entry: Entry
    witness: Entry | None
    state: str
    why: str = ""

    @property
    def counts(self) -> bool:
        """Whether work beyond the hold point may go on."""
        return self.state in (GIVEN, OTHER)


def objection(
    rules: ReleaseRules,
    people: Mapping[str, str] | None,
    hold: HoldPoint,
    who: str,
    witness: str,
) -> str:
    """Why these persons may not release a hold point; empty if nothing is against it.

    Parameters
    ----------
    rules : ReleaseRules
    people : mapping of str -> str, or None
        Name -> code of the role of everyone on the job; None: the job keeps no list of people.
    hold : HoldPoint
    who, witness : str
    """
    if not who:
        return "no one is named"
    against = _may_not(people, who, rules.may_release, "release")
    if against:
        return against
    if witness and witness == who:
        return f"{who} cannot witness their own release"
    if witness:
        return _may_not(people, witness, rules.may_witness, "witness it")
    return "the specification asks for a witness" if hold.name in rules.witnessed else ""


def _may_not(people: Mapping[str, str] | None, who: str, roles: Iterable[str], deed: str) -> str:
    if people is None:
        return ""
    if who not in people:
        return f"{who} is not among the people on this job"
    may = [role.label for role in ROLES if role.code in roles]
    if people[who] in roles:
        return ""
    return f"only {' or '.join(may)} may {deed}" if may else f"no one may {deed}"


def witness_of(entry: Entry, latest: Mapping[str, Entry]) -> Entry | None:
    """Who witnessed this very release; None if nobody did."""
    found = latest.get(f"{WITNESSED}{entry.what.removeprefix(RELEASE)}")
    return found if found is not None and found.value == entry.value else None


def as_it_is(given: Release, then: Basis, now: HoldState, latest: Mapping[str, Entry]) -> Release:
    """A release that was good when it was given, as it is now."""
    if not now.is_clear:
        lost = few(verdict.title for verdict in now.in_the_way)
        return replace(given, state=LAPSED, why=f"no longer settled: {lost}")
    if given.entry.value != then.digest:
        return replace(
            given, state=OTHER, why="its digest is not that of the readings of that moment"
        )
    anew = [
        entry.what
        for entry in then.entries
        if entry.what not in latest or _content(latest[entry.what]) != _content(entry)
    ]
    return replace(given, state=OTHER, why=f"entered since: {few(anew)}") if anew else given


def few(names: Iterable[str], most: int = 3) -> str:
    """``"a, b, c and 4 more"``."""
    listed = list(names)
    more = f" and {len(listed) - most} more" if len(listed) > most else ""
    return ", ".join(listed[:most]) + more

"""From readings to verdicts: one way for every stage."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import NamedTuple

import pint

from startkit.facts.limits import PRACTICE, Limit
from startkit.procedure.choice import Choice
from startkit.procedure.entries import Entries, Fault
from startkit.procedure.reading import Reading
from startkit.units import difference_kind
from startkit.verdict import COVERAGE, Outcome, Verdict, within


def check(
    entries: Entries,
    limit: Limit,
    reading: Reading | pint.Quantity | None,
    *,
    u: pint.Quantity | None = None,
    next_step: str,
    title: str = "",
    key: str = "",
    steady: bool = True,
    note: str = "",
    rests_on: Iterable[str] = (),
) -> Verdict:
    """One reading against one limit, as a verdict whose sentence states what was found.

    Parameters
    ----------
    limit : Limit
    reading : Reading, pint.Quantity or None
        [kind of the limit]; a `Reading` brings its own uncertainty, problem and instrument.
    u : pint.Quantity or None
        Standard uncertainty, if `reading` is a plain quantity.
    next_step : str
        What to do if this is not a pass.
    title, key : str
        Default: those of the limit.
    steady : bool
        False: *unproven*.
    note : str
        Added to the sentence.
    rests_on : iterable of str
        Names of items that it rests on besides those of the reading.
    """
    taken = reading if isinstance(reading, Reading) else Reading(quantity=reading, u=u)
    outcome = within(taken.quantity, limit.low, limit.high, taken.u, steady)
    if limit.measured and outcome is Outcome.PASS and taken.u is None and not taken.untrusted:
        # An error that is not known may be of any size.
        taken = replace(taken, untrusted="its uncertainty is not known")
    if taken.untrusted and outcome in (Outcome.PASS, Outcome.FAIL):
        outcome = Outcome.UNPROVEN
    sentence = " ".join(
        part for part in (_sentence(entries, limit, taken, outcome, steady), note) if part
    )
    return Verdict(
        key=key or limit.key,
        title=title or limit.title,
        outcome=outcome,
        sentence=sentence,
        next_step="" if outcome is Outcome.PASS else _next(taken, outcome, next_step),
        reading=taken.quantity,
        uncertainty=taken.u,
        kind=limit.kind,
        low=limit.low,
        high=limit.high,
        source=limit.origin,
        rests_on=_items((*taken.items, *rests_on)),
    )


def _next(taken: Reading, outcome: Outcome, next_step: str) -> str:
    if taken.problem:
        return "Correct the entry."
    if outcome is Outcome.OPEN:
        return "Take the reading."
    return (
        "Name the instrument; it must be on the list, suited to this reading, and in calibration."
        if taken.untrusted
        else next_step
    )


def _sentence(
    entries: Entries, limit: Limit, taken: Reading, outcome: Outcome, steady: bool
) -> str:
    if taken.problem:
        return taken.problem
    if outcome is Outcome.OPEN:
        return "Not taken."
    shown = entries.show(taken.quantity, limit.kind)
    if taken.untrusted:
        return f"{shown}, but {taken.untrusted}."
    if not steady:
        return f"{shown} while the machine was not steady: not judged."
    if outcome is Outcome.UNPROVEN and taken.u is not None:
        guard = entries.show(COVERAGE * taken.u, difference_kind(limit.kind))
        return f"{shown} is within its uncertainty (± {guard}) of the limit: inconclusive."
    if outcome is Outcome.PASS:
        return f"{shown}: {bounds(entries, limit)}."
    if _is_below(limit, taken.quantity):
        return f"{shown}: below {entries.show(limit.low, limit.kind)}."
    return f"{shown}: above {entries.show(limit.high, limit.kind)}."


def _is_below(limit: Limit, quantity: pint.Quantity | None) -> bool:
    return (
        limit.low is not None
        and quantity is not None
        and bool(quantity.to_base_units() < limit.low.to_base_units())
    )


def bounds(entries: Entries, limit: Limit) -> str:
    """The limits in words: ``"140 to 210 kPa"``, ``"at least 10 K"``, ``"at most 45 s"``."""
    if limit.low is not None and limit.high is not None and limit.low == -limit.high:
        return f"within ± {entries.show(limit.high, limit.kind)}"
    if limit.low is not None and limit.high is not None:
        return (
            f"within {entries.show(limit.low, limit.kind)} to"
            f" {entries.show(limit.high, limit.kind)}"
        )
    if limit.low is not None:
        return f"at least {entries.show(limit.low, limit.kind)}"
    return f"at most {entries.show(limit.high, limit.kind)}"


def resting_on(verdict: Verdict, *readings: Reading) -> Verdict:
    """A verdict that `check` cannot make, with the items that it rests on; a pass is unproven if an
    instrument of one of them cannot be trusted.
    """
    items = _items((*verdict.rests_on, *(item for each in readings for item in each.items)))
    found = replace(verdict, rests_on=items)
    untrusted = next((each.untrusted for each in readings if each.untrusted), "")
    if not untrusted or verdict.outcome is not Outcome.PASS:
        return found
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=f"{verdict.sentence.rstrip('.')}, but {untrusted}.",
        next_step="Take the reading again with an instrument that is in calibration.",
    )


def confirm(
    entries: Entries,
    name: str,
    key: str,
    title: str,
    *,
    good: str,
    bad: str,
    next_step: str,
    source: str = PRACTICE,
    wanted: bool = True,
) -> Verdict:
    """A yes-or-no field as a verdict: pass if the answer is the wanted one.

    Parameters
    ----------
    name : str
        Field.
    key, title : str
        Of the verdict.
    good, bad : str
        Sentence in either case.
    next_step : str
        What to do if it is not a pass.
    source : str
        Where the demand is from.
    wanted : bool
        The answer that passes.
    """
    reading, answer = entries.reading(name), entries.yes(name)
    blank = _unanswered(reading, key, title, "Not answered.", "Answer the question.", source)
    if reading.problem or answer is None:
        return blank
    return blank.passed(good) if answer is wanted else blank.failed(bad, next_step)


class Answer(NamedTuple):
    """What one choice of a field is worth."""

    outcome: Outcome
    sentence: str
    next_step: str = ""


def by_choice(
    entries: Entries,
    name: str,
    key: str,
    title: str,
    *,
    answers: Mapping[Choice, Answer],
    next_step: str,
    blank: str = "Not entered.",
    source: str = PRACTICE,
) -> Verdict:
    """A field that offers choices as a verdict: each choice has the outcome of its answer.

    Parameters
    ----------
    name : str
        Field.
    key, title : str
        Of the verdict.
    answers : mapping of Choice to Answer
        One for every choice of the field.
    next_step : str
        What to do while nothing is chosen.
    blank : str
        Sentence while nothing is chosen.
    source : str
        Where the demand is from.
    """
    reading = entries.reading(name)
    found = _unanswered(reading, key, title, blank, next_step, source)
    if reading.problem or reading.choice is None:
        return found
    return replace(found, **answers[reading.choice]._asdict())


def _unanswered(
    reading: Reading, key: str, title: str, blank: str, next_step: str, source: str
) -> Verdict:
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.OPEN,
        sentence=reading.problem or blank,
        next_step="Correct the entry." if reading.problem else next_step,
        source=source,
        rests_on=reading.items,
    )


def filled(entries: Entries, besides: Iterable[Fault] = ()) -> Verdict:
    """Completeness: open while a required field is empty or a text cannot be read.

    Parameters
    ----------
    entries : Entries
    besides : iterable of Fault
        What is wrong besides.
    """
    stage = entries.declared.name
    found = Verdict(
        key=f"{stage}.complete",
        title="Required entries",
        outcome=Outcome.PASS,
        sentence="All required fields are filled in and readable.",
    )
    problems, missing = (*entries.faults(), *besides), entries.missing()
    if problems:
        more = f" ({len(problems) - 1} more)" if len(problems) > 1 else ""
        return replace(
            found,
            outcome=Outcome.OPEN,
            sentence=problems[0].sentence + more,
            next_step="Correct the entry.",
            rests_on=_items(fault.item for fault in problems),
        )
    if missing:
        names = "; ".join(f.question for f in missing[:4])
        more = f"; and {len(missing) - 4} more" if len(missing) > 4 else ""
        return replace(
            found,
            outcome=Outcome.OPEN,
            sentence=f"Still empty: {names}{more}.",
            next_step="Fill them in, or state why they do not apply.",
            rests_on=tuple(f"{stage}.{field.name}" for field in missing),
        )
    return found


def _items(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))

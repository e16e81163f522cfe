"""What is judged of the trips: each one written down, explained, reset and run again."""

from __future__ import annotations

from dataclasses import replace

from startkit.facts.limits import PRACTICE
from startkit.procedure.entries import Entries
from startkit.stages.trips.fields import AGAIN, NOT_KNOWN, NOT_RESET, NOT_STARTED
from startkit.stages.trips.readings import Story, Trip
from startkit.verdict import Outcome, Verdict


def judged(entries: Entries, story: Story) -> tuple[Verdict, ...]:
    """Whether every trip is entered, then one verdict a trip."""
    later: dict[int, Verdict] = {}
    for trip in reversed(story.trips):
        later[trip.number] = _trip(trip, [later[n] for n in sorted(later)])
    found = (_entered(entries, story), *(later[trip.number] for trip in story.trips))
    return tuple(replace(verdict, rests_on=_ITEMS) for verdict in found)


_ITEMS = ("trips.any", "trips.events", "trips.causes")


def _entered(entries: Entries, story: Story) -> Verdict:
    key, title = "trips.entered", "Every trip is written down"
    answer, seen = entries.yes("any"), sum(run.tripped for run in story.runs)
    if answer is None:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=entries.reading("any").problem or "Not answered.",
            next_step="Enter whether anything tripped.",
            source=PRACTICE,
        )
    if answer is False and (story.trips or seen):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="The form says nothing tripped, yet a trip is entered.",
            next_step="Correct one or the other.",
            source=PRACTICE,
        )
    if answer and not story.trips:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="Something tripped, but no trip is entered.",
            next_step="Enter it with its message.",
            source=PRACTICE,
        )
    if seen > len(story.trips):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"{seen} starts ended by a trip, but {len(story.trips)} trips are entered.",
            next_step="Enter the others.",
            source=PRACTICE,
        )
    said = (
        f"{len(story.trips)} trip{'s' if len(story.trips) > 1 else ''} entered."
        if answer
        else "Nothing tripped."
    )
    return Verdict(key=key, title=title, outcome=Outcome.PASS, sentence=said, source=PRACTICE)


def _trip(trip: Trip, later: list[Verdict]) -> Verdict:
    """One trip; `later` are the verdicts of those after it."""
    key, title = (
        f"trips.{trip.number}",
        f"Trip {trip.number}: {trip.message or 'message not entered'}",
    )
    lacking = _lacking(trip)
    if lacking:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Still missing: {', '.join(lacking)}.",
            next_step=_next(trip, lacking),
            source=PRACTICE,
        )
    causes = "; ".join(row.text("cause") for row in trip.causes)
    if not all(row.text("shown_by") for row in trip.causes):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"Cause given: {causes}; but no reading proves it.",
            next_step="Enter the reading or observation that proves it.",
            source=PRACTICE,
        )
    if trip.event.code("result") == AGAIN.code:
        return _again(key, title, causes, later)
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"Cause: {causes}, shown by"
        f" {'; '.join(row.text('shown_by') for row in trip.causes)}."
        " It kept running after the restart.",
        source=PRACTICE,
    )


def _lacking(trip: Trip) -> list[str]:
    event = trip.event
    return [
        what
        for what, missing in (
            ("when it occurred", trip.at is None),
            ("the first-out message", not trip.message),
            ("its kind", not event.code("kind")),
            ("where it is latched", event.code("latched") in ("", NOT_KNOWN.code)),
            ("its cause", not any(row.text("cause") for row in trip.causes)),
            ("how it was reset", event.code("reset") in ("", NOT_RESET.code)),
            ("how the restart went", event.code("result") in ("", NOT_STARTED.code)),
        )
        if missing
    ]


def _next(trip: Trip, lacking: list[str]) -> str:
    if "its cause" in lacking and trip.candidates:
        return (
            "Find the cause before the next start. Going by the readings, look first at:"
            f" {trip.candidates[0].cause}."
        )
    if "its cause" in lacking:
        return "Find the cause before the next start."
    if lacking == ["how the restart went"]:
        return "Start again when a start is due, and enter how it went."
    return "Complete the trip's row."


def _again(key: str, title: str, causes: str, later: list[Verdict]) -> Verdict:
    said = (
        f"Cause given: {causes}; but it tripped again after the restart, so there was more to it."
    )
    if not later:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"{said} The next trip is not entered.",
            next_step="Enter the next trip.",
            source=PRACTICE,
        )
    if all(v.outcome is Outcome.PASS for v in later):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{said} It was resolved with the next trip.",
            source=PRACTICE,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.UNPROVEN,
        sentence=said,
        next_step="Resolve the next trip first.",
        source=PRACTICE,
    )

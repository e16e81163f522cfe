"""What is judged of the trips: each one written down, explained, reset and run again."""

from __future__ import annotations

from dataclasses import replace

from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.stages.trips.contradictions import contradictions, says_something, unsupported
from startkit.stages.trips.fields import AGAIN, NOT_KNOWN, NOT_RESET, NOT_STARTED
from startkit.stages.trips.readings import Story, Trip
from startkit.verdict import Outcome, Verdict


def judged(machine: Machine, limits: Limits, entries: Entries, story: Story) -> tuple[Verdict, ...]:
    """Whether every trip is entered, one verdict a trip, and what of it cannot be true."""
    later: dict[int, Verdict] = {}
    for trip in reversed(story.trips):
        objection = unsupported(machine, limits, entries, trip)
        later[trip.number] = _trip(trip, objection, [later[n] for n in sorted(later)])
    return (
        _entered(entries, story),
        *(later[trip.number] for trip in story.trips),
        *(v for trip in story.trips for v in contradictions(machine, limits, entries, story, trip)),
    )


def _entered(entries: Entries, story: Story) -> Verdict:
    answer, seen = entries.yes("any"), sum(run.tripped for run in story.runs)
    blank = Verdict(
        key="trips.entered",
        title="Every trip is written down",
        outcome=Outcome.OPEN,
        sentence=entries.reading("any").problem or "Not answered.",
        next_step="Enter whether anything tripped.",
        source=PRACTICE,
        rests_on=(
            *entries.of("first_start").items("starts", "end"),
            *entries.reading("any").items,
            *entries.items("events", "trip"),
        ),
    )
    if answer is None:
        return blank
    if answer is False and (story.trips or seen):
        return blank.left_open(
            "The form says nothing tripped, yet a trip is entered.", "Correct one or the other."
        )
    if answer and not story.trips:
        return blank.left_open(
            "Something tripped, but no trip is entered.", "Enter it with its message."
        )
    if seen > len(story.trips):
        return blank.left_open(
            f"{seen} starts ended by a trip, but {len(story.trips)} trips are entered.",
            "Enter the others.",
        )
    return blank.passed(
        f"{len(story.trips)} trip{'s' if len(story.trips) > 1 else ''} entered."
        if answer
        else "Nothing tripped."
    )


_OF_A_TRIP = ("at", "message", "kind", "latched", "reset", "result")


def _trip(trip: Trip, objection: str, later: list[Verdict]) -> Verdict:
    """One trip; `objection` is what its readings say against its cause, `later` are the verdicts of
    those after it.
    """
    lacking = _lacking(trip)
    blank = Verdict(
        key=f"trips.{trip.number}",
        title=f"Trip {trip.number}: {trip.message or 'message not entered'}",
        outcome=Outcome.OPEN,
        sentence=f"Still missing: {', '.join(lacking)}.",
        next_step=_next(trip, lacking),
        source=PRACTICE,
        rests_on=(*trip.event.items(*_OF_A_TRIP), *_items_of_causes(trip)),
    )
    if lacking:
        return blank
    causes = "; ".join(row.text("cause") for row in trip.causes)
    if not all(says_something(row.text("shown_by")) for row in trip.causes):
        return blank.unproven(
            f"Cause given: {causes}; but no reading proves it.",
            "Enter the reading or observation that proves it.",
        )
    if objection:
        return blank.unproven(
            f"Cause given: {causes}; but {objection}.",
            "Enter the readings that prove the cause, or find another cause.",
        )
    if trip.event.code("result") == AGAIN.code:
        return _again(blank, causes, later)
    shown_by = "; ".join(row.text("shown_by") for row in trip.causes)
    return blank.passed(f"Cause: {causes}, shown by {shown_by}. It kept running after the restart.")


def _items_of_causes(trip: Trip) -> tuple[str, ...]:
    found = tuple(item for row in trip.causes for item in row.items("cause", "shown_by"))
    return found or ("trips.causes",)


def _lacking(trip: Trip) -> list[str]:
    event = trip.event
    return [
        what
        for what, missing in (
            ("when it occurred", trip.at is None),
            ("the first-out message", not trip.message),
            ("its kind", not event.code("kind")),
            ("where it is latched", event.code("latched") in ("", NOT_KNOWN.code)),
            ("its cause", not any(says_something(row.text("cause")) for row in trip.causes)),
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


def _again(blank: Verdict, causes: str, later: list[Verdict]) -> Verdict:
    said = (
        f"Cause given: {causes}; but it tripped again after the restart, so there was more to it."
    )
    if not later:
        return blank.left_open(f"{said} The next trip is not entered.", "Enter the next trip.")
    more = (item for verdict in later for item in verdict.rests_on)
    blank = replace(blank, rests_on=tuple(dict.fromkeys((*blank.rests_on, *more))))
    if all(v.outcome is Outcome.PASS for v in later):
        return blank.passed(f"{said} It was resolved with the next trip.")
    return blank.unproven(said, "Resolve the next trip first.")

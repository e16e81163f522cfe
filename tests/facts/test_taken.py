"""When a reading was taken, and when it was entered: two times."""

from __future__ import annotations

import pytest

from startkit.facts import taken
from startkit.facts.job import State
from startkit.facts.journal import Entry

ENTERED = "2026-11-25T14:00:00+00:00"


def state(*entries: Entry) -> State:
    return State(tuple(Entry(**{**vars(e), "seq": n}) for n, e in enumerate(entries, 1)))


def test_a_reading_was_taken_when_it_says_else_when_it_was_entered():
    held = state(
        Entry("taken.a.b", "2026-11-25T09:10:00+00:00"),
        Entry("a.b", "1", at=ENTERED),
        Entry("a.c", "2", at=ENTERED),
    )
    assert held.taken(held.latest["a.b"]) == "2026-11-25T09:10:00+00:00"
    assert held.taken(held.latest["a.c"]) == ENTERED


def test_a_time_belongs_to_the_very_next_entry_alone():
    held = state(
        Entry("taken.a.b", "2026-11-25T09:10:00+00:00"),
        Entry("a.c", "2", at=ENTERED),
        Entry("a.b", "1", at=ENTERED),
        Entry("a.b", "2", at=ENTERED),
    )
    assert {held.taken(entry) for entry in held.history("a.b")} == {ENTERED}


@pytest.mark.parametrize(
    ("when", "says"),
    [("2026-11-25T13:01:00+00:00", ""), ("2026-11-25T12:59:00+00:00", "taken 2026-11-25 12:59")],
)
def test_an_hour_between_them_makes_it_back_dated(when, says):
    assert says in taken.sentence(when, ENTERED) and bool(says) is taken.is_back_dated(
        when, ENTERED
    )


@pytest.mark.parametrize(
    ("when", "ahead"), [("2026-11-25T14:09:00+00:00", False), ("2026-11-25T14:11:00+00:00", True)]
)
def test_a_time_after_the_entry_is_a_problem_beyond_what_clocks_differ(when, ahead):
    assert ("future" in taken.problem(when, ENTERED)) is ahead


def test_the_time_of_the_other_zone_is_the_same_moment():
    assert not taken.is_back_dated("2026-11-25T08:30:00-05:00", ENTERED)

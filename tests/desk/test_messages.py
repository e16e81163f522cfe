"""What a form asks and what the book answers."""

from __future__ import annotations

import sqlite3

import pytest

from startkit.desk.messages import answer
from startkit.desk.notebook import open_book
from startkit.facts.job import Job
from startkit.facts.journal import Entry, Journal
from tests.desk.sample import STAGES


def values(job: Job, what: str) -> list[tuple[str, str]]:
    """What the job's file holds of an item, read past our own code."""
    with sqlite3.connect(job.folder / "job.db") as db:
        return db.execute(
            "SELECT value, unit FROM entries WHERE what = ? ORDER BY seq", (what,)
        ).fetchall()


def test_a_value_is_in_the_journal_before_the_answer_says_saved(job, book, save, monkeypatch):
    append = Journal.append
    monkeypatch.setattr(
        Journal, "append", lambda self, entries: (_ for _ in ()).throw(OSError("stick pulled"))
    )
    refused = save("differential", "180", "kPa")
    assert refused["tell"] == "refused" and "stick pulled" in refused["why"]
    assert values(job, "oil.differential") == []
    monkeypatch.setattr(Journal, "append", append)
    assert save("differential", "180", "kPa")["tell"] == "saved"
    assert values(job, "oil.differential") == [("180", "kPa")]


def test_the_answer_carries_time_and_new_state(book, save):
    reply = save("differential", "180", "kPa")
    state = reply["states"]["differential"]
    assert reply["at"] == state["at"] == book.job.state().latest["oil.differential"].at[11:19]
    assert (state["value"], state["unit"], state["who"], state["problem"]) == (
        "180",
        "kPa",
        "A. Technician",
        "",
    )


def test_nothing_is_saved_while_nobody_is_named(job):
    nameless = open_book(job.folder, "form", STAGES)
    reply = answer(
        nameless,
        "oil",
        {
            "id": 1,
            "ask": "save",
            "changes": [{"field": "differential", "value": "180", "unit": "kPa"}],
        },
    )
    assert (reply["tell"], reply["needs"]) == ("refused", "who") and "name" in reply["why"]
    assert values(job, "oil.differential") == []


def test_who_is_entering_is_kept_for_the_next_opening(job, book):
    assert open_book(job.folder, "form", STAGES).who == "A. Technician"


@pytest.mark.parametrize(
    ("typed", "beside", "kept"),
    [
        ("12,5", "kPa", ("12,5", "kPa")),
        ("26 psi", "kPa", ("26", "psi")),
        ("26 furlong", "kPa", ("26 furlong", "")),
        ("about 180", "kPa", ("about 180", "kPa")),
    ],
)
def test_a_typed_unit_wins_and_what_cannot_be_read_is_kept_as_typed(job, save, typed, beside, kept):
    assert save("differential", typed, beside)["tell"] == "saved"
    assert values(job, "oil.differential") == [kept]


def test_a_text_that_cannot_be_read_comes_back_as_a_problem_and_leaves_the_verdict_open(book, save):
    state = save("differential", "about 180", "kPa")["states"]["differential"]
    assert "not a number" in state["problem"]
    judged = {v["key"]: v for v in book.part("stage", "oil")["verdicts"]}
    assert judged["oil.differential"]["outcome"] == "open"


def test_an_implausible_reading_is_kept_and_flagged(job, save):
    state = save("differential", "4", "kPa")["states"]["differential"]
    assert "outside the usual" in state["flag"] and state["problem"] == ""
    assert values(job, "oil.differential") == [("4", "kPa")]


def test_a_correction_without_its_reason_is_refused_and_with_it_saved(job, save):
    save("differential", "180", "kPa")
    refused = save("differential", "118", "kPa")
    assert (refused["tell"], refused["needs"]) == ("refused", "reason")
    assert values(job, "oil.differential") == [("180", "kPa")]
    assert save("differential", "118", "kPa", note="misread")["tell"] == "saved"
    assert book_notes(job) == ["misread"]


def book_notes(job: Job) -> list[str]:
    return [e.note for e in job.state().entries if e.what.startswith("oil.") and e.note]


def test_a_reason_given_for_a_block_belongs_only_to_what_is_corrected(job, book):
    def cells(n: str, travel: str) -> list[dict]:
        return [
            {"field": "strokes", "row": 1, "column": "n", "value": n, "unit": ""},
            {"field": "strokes", "row": 1, "column": "travel", "value": travel, "unit": "s"},
        ]

    answer(book, "oil", {"id": 1, "ask": "save", "changes": cells("1", "")})
    reply = answer(
        book, "oil", {"id": 2, "ask": "save", "note": "typing error", "changes": cells("2", "31")}
    )
    assert reply["tell"] == "saved"
    assert [(e.what, e.note) for e in job.state().entries if e.what.startswith("oil.strokes")][
        -2:
    ] == [("oil.strokes.1.n", "typing error"), ("oil.strokes.1.travel", "")]


def test_a_block_is_written_whole_or_not_at_all(job, book):
    changes = [
        {"field": "strokes", "row": 1, "column": "n", "value": "1"},
        {"field": "strokes", "row": 1, "column": "colour", "value": "red"},
    ]
    reply = answer(book, "oil", {"id": 1, "ask": "save", "changes": changes})
    assert reply["tell"] == "refused" and "column" in reply["why"]
    assert values(job, "oil.strokes.1.n") == []


def test_a_row_is_removed_only_with_a_reason_and_leaves_the_findings(job, book):
    answer(
        book,
        "oil",
        {
            "id": 1,
            "ask": "save",
            "changes": [
                {"field": "strokes", "row": 1, "column": "travel", "value": "31", "unit": "s"}
            ],
        },
    )
    removal = {
        "id": 2,
        "ask": "save",
        "changes": [{"field": "strokes", "row": 1, "column": "row", "value": "row removed"}],
    }
    assert answer(book, "oil", removal)["needs"] == "reason"
    reply = answer(book, "oil", {**removal, "note": "counted twice"})
    assert reply["states"]["strokes"] == {"rows": [], "highest": 1}
    assert book.part("stage", "oil")["tables"][0]["rows"] == []


def test_what_somebody_else_changed_meanwhile_is_shown_instead_of_overwritten(job, book, save):
    seen = save("differential", "180", "kPa")["states"]["differential"]["seq"]
    other = open_book(job.folder, "form", STAGES)
    answer(other, "oil", {"id": 1, "ask": "desk", "who": "B. Witness"})
    answer(
        other,
        "oil",
        {
            "id": 2,
            "ask": "save",
            "note": "measured again",
            "changes": [{"field": "differential", "value": "150", "unit": "kPa", "seq": seen}],
        },
    )
    reply = save("differential", "181", "kPa", note="misread", seq=seen)
    assert reply["tell"] == "refused" and "B. Witness entered 150 kPa" in reply["why"]
    newest = reply["states"]["differential"]["seq"]
    assert save("differential", "181", "kPa", note="misread", seq=newest)["tell"] == "saved"
    assert [v for v, _ in values(job, "oil.differential")] == ["180", "150", "181"]


def test_entries_of_two_people_interleave_and_both_see_them(job, book, save):
    other = open_book(job.folder, "form", STAGES)
    answer(other, "oil", {"id": 1, "ask": "desk", "who": "B. Witness"})
    save("sump", "48", "°C")
    answer(other, "oil", {"id": 2, "ask": "save", "changes": [{"field": "seen", "value": "yes"}]})
    for seen_by in (book, other):
        latest = seen_by.assessment().state.latest
        assert (latest["oil.sump"].who, latest["oil.seen"].who) == ("A. Technician", "B. Witness")


def test_history_lists_every_value_with_its_reason(book, save):
    save("differential", "180", "kPa")
    save("differential", "150", "kPa", note="measured again")
    rows = answer(book, "oil", {"id": 1, "ask": "history", "field": "differential"})["rows"]
    assert [(r["value"], r["who"], r["note"]) for r in rows] == [
        ("180 kPa", "A. Technician", ""),
        ("150 kPa", "A. Technician", "measured again"),
    ]


@pytest.fixture
def engineer(job):
    """Somebody who may waive."""
    job.record(
        Entry(f"setup.people.1.{column}", value, who="C. Engineer")
        for column, value in (("name", "C. Engineer"), ("role", "commissioning engineer"))
    )


@pytest.mark.usefixtures("engineer")
def test_a_waiver_needs_name_and_reason_and_is_named_in_the_verdict(book):
    waive = {"id": 1, "ask": "waive", "key": "oil.differential", "verb": "waiver"}
    for lacking in (
        {"who": "", "reason": "gauge broken since this morning"},
        {"who": "C. Engineer", "reason": " "},
    ):
        assert answer(book, "oil", {**waive, **lacking})["tell"] == "refused"
    assert (
        answer(
            book,
            "oil",
            {**waive, "who": "C. Engineer", "reason": "gauge broken since this morning"},
        )["tell"]
        == "saved"
    )
    judged = {v["key"]: v for v in book.part("stage", "oil")["verdicts"]}["oil.differential"]
    assert (
        judged["outcome"] == "waived"
        and "C. Engineer: gauge broken since this morning" in judged["sentence"]
    )


@pytest.mark.usefixtures("engineer")
def test_a_waiver_is_withdrawn_by_an_entry_of_its_own(job, book):
    waive = {"id": 1, "ask": "waive", "key": "oil.differential", "who": "C. Engineer"}
    answer(book, "oil", {**waive, "verb": "waiver", "reason": "gauge broken since this morning"})
    answer(book, "oil", {**waive, "verb": "withdraw", "reason": "gauge replaced"})
    judged = {v["key"]: v for v in book.part("stage", "oil")["verdicts"]}["oil.differential"]
    assert judged["outcome"] == "open"
    assert [v for v, _ in values(job, "waiver.oil.differential")] == [
        "gauge broken since this morning",
        "",
    ]


def test_what_every_machine_has_cannot_be_called_not_applicable(job, book):
    ask = {"id": 1, "ask": "waive", "key": "oil.seen", "verb": "not_applicable"}
    told = answer(book, "oil", {**ask, "who": "C. Engineer", "reason": "no sight glass here"})
    assert told["tell"] == "refused" and "every machine" in told["why"]
    assert values(job, "not_applicable.oil.seen") == []
    judged = {v["key"]: v for v in book.part("stage", "oil")["verdicts"]}["oil.seen"]
    assert judged["may_lack"] is False and judged["may_waive"] is True


def test_a_chosen_instrument_goes_with_every_reading_of_its_kind(job, book, save):
    for column, value in (("tag", "PG-1"), ("kind", "pressure"), ("accuracy", "2 kPa")):
        answer(
            book,
            "setup",
            {
                "id": 1,
                "ask": "save",
                "changes": [{"field": "instruments", "row": 1, "column": column, "value": value}],
            },
        )
    offered = {i["kind"]: [o["tag"] for o in i["options"]] for i in book.desk("oil")["instruments"]}
    assert offered == {"pressure_difference": ["PG-1"], "gauge_pressure": ["PG-1"]}
    answer(book, "oil", {"id": 2, "ask": "desk", "instruments": {"pressure_difference": "PG-1"}})
    save("differential", "180", "kPa")
    save("sump", "48", "°C")
    latest = job.state().latest
    assert (latest["oil.differential"].instrument, latest["oil.sump"].instrument) == ("PG-1", "")
    assert (
        book.part("stage", "oil")["figures"][0]["uncertainty"] == "± 2.3 kPa"
    )  # 2 x 2 kPa / sqrt 3


def test_an_instrument_that_is_not_on_the_job_is_refused_with_the_nearest(job, book):
    change = {"field": "instruments", "row": 1, "column": "tag", "value": "PG-1"}
    answer(book, "setup", {"id": 1, "ask": "save", "changes": [change]})
    reading = {"field": "differential", "value": "180", "unit": "kPa", "instrument": "PG1"}
    told = answer(book, "oil", {"id": 2, "ask": "save", "changes": [reading]})
    assert told["tell"] == "refused" and "nearest is 'PG-1'" in told["why"]
    assert "oil.differential" not in job.state().latest
    chosen = {"id": 3, "ask": "desk", "instruments": {"pressure_difference": "PG1"}}
    assert answer(book, "oil", chosen)["tell"] == "refused"


def test_units_are_switched_for_the_whole_job(book, save):
    save("differential", "180", "kPa")
    answer(book, "oil", {"id": 1, "ask": "desk", "units": "I-P"})
    assert book.part("stage", "oil")["figures"][0]["text"] == "26.1 psi"
    assert answer(book, "oil", {"id": 2, "ask": "desk", "units": "furlongs"})["tell"] == "refused"


def test_a_read_only_job_refuses_in_words(job):
    record = open_book(job.folder, "record", STAGES)
    record.who = "A. Technician"
    reply = answer(
        record,
        "oil",
        {"id": 1, "ask": "save", "changes": [{"field": "sump", "value": "48", "unit": "°C"}]},
    )
    assert reply["tell"] == "refused" and "read-only" in reply["why"]


@pytest.mark.parametrize(
    "message",
    [
        {"id": 1},
        {"id": 1, "ask": "delete"},
        {"id": 1, "ask": "save"},
        {"id": 1, "ask": "save", "changes": [{}]},
        {"id": 1, "ask": "save", "changes": "x"},
        {
            "id": 1,
            "ask": "save",
            "changes": [{"field": "strokes", "row": "0", "column": "n", "value": "1"}],
        },
        {"id": 1, "ask": ["save"]},
        {
            "id": 1,
            "ask": "waive",
            "key": "oil.differential",
            "verb": "delete",
            "who": "X",
            "reason": "y",
        },
        {"id": 1, "ask": "save", "changes": [{"field": "waiver", "value": "1"}]},
    ],
)
def test_a_message_that_makes_no_sense_is_refused_and_writes_nothing(job, book, message):
    before = len(job.state().entries)
    reply = answer(book, "oil", message)
    assert (reply["id"], reply["tell"]) == (1, "refused") and reply["why"]
    assert len(job.state().entries) == before


# --- releasing a hold point, and when a reading was taken -------------------------------------


def _ask(book, **more):
    return answer(book, "", {"id": 9, "ask": "release", **more})


def test_what_is_not_clear_is_not_released_by_a_message(book):
    hold = book.assessment().holds()[0].hold.name
    reply = _ask(book, hold=hold, who="A. Technician")
    assert reply["tell"] == "refused" and "not clear" in reply["why"]
    assert f"release.{hold}" not in book.job.state().latest


@pytest.mark.parametrize("hold", ["", "lunch", None, 7])
def test_a_hold_point_that_there_is_not_is_refused(book, hold):
    assert _ask(book, hold=hold, who="A. Technician")["tell"] == "refused"


def test_a_time_of_reading_is_kept_but_never_as_the_time_of_the_entry(book, save):
    reply = answer(
        book,
        "oil",
        {
            "id": 3,
            "ask": "save",
            "taken": "2025-03-02 09:15",
            "changes": [{"field": "differential", "value": "180", "unit": "kPa"}],
        },
    )
    state = book.job.state()
    entry = state.latest["oil.differential"]
    assert reply["tell"] == "saved" and entry.at[:4] != "2025"
    assert state.taken(entry).startswith("2025-03-02T09:15")


@pytest.mark.parametrize("typed", ["tomorrow", "2999-01-01 10:00"])
def test_a_time_of_reading_that_cannot_be_is_refused(book, typed):
    change = {"field": "differential", "value": "180", "unit": "kPa"}
    message = {"id": 3, "ask": "save", "taken": typed, "changes": [change]}
    reply = answer(book, "oil", message)
    assert reply["tell"] == "refused" and "Read at" in reply["why"]
    assert "oil.differential" not in book.job.state().latest

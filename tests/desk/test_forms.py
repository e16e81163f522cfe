"""Live views: saved is said first, then the card follows, then everything else on the screen."""

from __future__ import annotations

import threading

import pytest

from startkit.desk.notebook import open_book
from startkit.procedure.registry import ordered
from tests.desk.sample import FAULTY, STAGES


class Screen:
    """A view with what it sent."""

    def __init__(self, shown) -> None:
        self.view, self.sent = shown.view, []
        self.view.send = self.sent.append

    def hears(self, **message) -> None:
        self.view._handle_custom_msg({"id": 1, **message}, [])

    def tells(self) -> list[str]:
        return [m["tell"] for m in self.sent]


@pytest.fixture
def form(book) -> Screen:
    return Screen(book.stage("oil"))


def change(field: str, value: str, unit: str = "") -> dict:
    return {"ask": "save", "changes": [{"field": field, "value": value, "unit": unit}]}


def test_a_form_gets_its_fields_then_card_then_plots(book, form):
    form.hears(ask="open")
    assert form.tells()[:2] == ["form", "card"]
    assert set(form.sent[1]["pieces"]) == {"head", "found", "entered"}
    assert {"plots"} in [set(m["pieces"]) for m in form.sent if m["tell"] == "card"]
    assert [f["name"] for group in form.sent[0]["groups"] for f in group["fields"]] == [
        f.name for f in STAGES["oil"].fields
    ]


def test_saved_is_told_before_the_card_changes(book, form):
    form.hears(**change("differential", "180", "kPa"))
    assert form.tells()[:2] == ["saved", "card"]
    assert "180.0 kPa: at least 140.0 kPa" in form.sent[1]["pieces"]["found"]


def test_a_refused_change_leaves_the_card_alone(book, form):
    form.hears(**change("differential", "180", "kPa"))
    book.settle()
    form.sent.clear()
    form.hears(**change("differential", "150", "kPa"))
    assert form.tells() == ["refused"]


def test_front_and_hold_points_follow_without_being_asked(book, form):
    front, hold = Screen(book.front()), Screen(book.hold("turn_shaft"))
    for screen in (front, hold):
        screen.hears(ask="open")
        screen.sent.clear()
    form.hears(**change("differential", "180", "kPa"))
    assert book.settle()
    assert "1 of 3 settled" in front.sent[-1]["pieces"]["head"]
    assert "Oil differential" not in hold.sent[-1]["pieces"]["head"]


def test_a_second_form_of_the_stage_gets_what_the_first_one_saved(book, form):
    other = Screen(book.stage("oil"))
    other.hears(ask="open")
    other.sent.clear()
    form.hears(**change("differential", "180", "kPa"))
    book.settle()
    states = [m["states"] for m in other.sent if m["tell"] == "fields"]
    assert states[-1]["differential"]["value"] == "180"


def test_plots_follow_after_the_card(book, form):
    form.hears(
        ask="save",
        changes=[{"field": "strokes", "row": 1, "column": "travel", "value": "31", "unit": "s"}],
    )
    book.settle()
    pieces = [set(m["pieces"]) for m in form.sent if m["tell"] == "card"]
    assert pieces.index({"plots"}) > pieces.index({"head", "found", "entered"})


def test_a_plot_that_cannot_be_drawn_says_so_in_its_place(book, form, monkeypatch):
    monkeypatch.setattr("startkit.desk.plots.svg", lambda *_: 1 / 0)
    form.hears(ask="open")
    plots = [
        m["pieces"]["plots"] for m in form.sent if m["tell"] == "card" and "plots" in m["pieces"]
    ]
    assert "(ZeroDivisionError" in plots[-1]


def test_refresh_sends_what_others_wrote(job, book, form):
    from startkit.facts.journal import Entry

    form.hears(ask="open")
    form.sent.clear()
    open_book(job.folder, "form", STAGES).job.record(
        Entry("oil.sump", "48", "°C", who="B. Witness")
    )
    form.hears(ask="refresh")
    assert any(
        m["tell"] == "fields" and m["states"]["sump"]["who"] == "B. Witness" for m in form.sent
    )


def test_the_form_of_a_stage_that_fails_still_takes_entries(job):
    opened = open_book(job.folder, "form", ordered([*STAGES.values(), FAULTY]))
    opened.who = "A. Technician"
    screen = Screen(opened.stage("faulty"))
    screen.hears(ask="open")
    screen.hears(**change("note", "kept"))
    opened.settle()
    assert "saved" in screen.tells() and job.state().latest["faulty.note"].value == "kept"
    assert "cannot be calculated" in screen.sent[1]["pieces"]["found"]


def test_nothing_typed_is_kept_in_the_widgets_state(book, form):
    form.hears(**change("maker", "a name nobody else has"))
    assert "a name nobody else has" not in str(form.view.get_state())


def test_messages_from_several_threads_are_all_saved(job, book, form):
    """Callbacks may run beside the kernel's main thread."""
    threads = [
        threading.Thread(
            target=form.hears,
            kwargs={
                "ask": "save",
                "changes": [{"field": "strokes", "row": n, "column": "n", "value": str(n)}],
            },
        )
        for n in range(1, 21)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert form.tells().count("saved") == 20
    assert sorted(
        int(e.value) for e in job.state().entries if e.what.startswith("oil.strokes")
    ) == list(range(1, 21))
    assert job.journal.faults() == []

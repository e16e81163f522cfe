"""The book: what a cell shows in form and record mode, and what happens when something is wrong."""

from __future__ import annotations

import json
import re

import pytest

from startkit.desk.notebook import ClosedBook, open_book
from startkit.procedure.payload import MIME
from startkit.procedure.registry import ordered
from tests.desk.sample import FAULTY, STAGES

WIDGET = "application/vnd.jupyter.widget-view+json"
CELLS = (("front",), ("stage", "oil"), ("hold", "turn_shaft"), ("handover",))


@pytest.fixture
def record(job):
    return open_book(job.folder, "record", STAGES)


@pytest.mark.parametrize("call", CELLS)
def test_record_mode_shows_text_html_and_data_but_no_widget(record, call):
    bundle, _ = getattr(record, call[0])(*call[1:])._repr_mimebundle_()
    assert set(bundle) == {"text/plain", "text/html", MIME}
    assert json.loads(json.dumps(bundle[MIME])) == bundle[MIME]
    assert "as of" not in bundle["text/html"] and "<button" not in bundle["text/html"]


@pytest.mark.parametrize("call", CELLS)
def test_form_mode_shows_the_widget_and_html_marked_as_of(book, call):
    bundle, _ = getattr(book, call[0])(*call[1:])._repr_mimebundle_()
    assert set(bundle) == {"text/plain", "text/html", MIME, WIDGET}
    assert ">as of 20" in bundle["text/html"]


def test_record_mode_gives_the_same_bytes_twice(job, save):
    save("strokes", "31", "s", row=1, column="travel")
    first, second = (
        json.dumps(
            [
                getattr(open_book(job.folder, "record", STAGES), c[0])(*c[1:])._repr_mimebundle_()[
                    0
                ]
                for c in CELLS
            ]
        )
        for _ in range(2)
    )
    assert first == second


def test_a_stage_carries_its_plots_as_drawings_with_words(job, save):
    save("strokes", "31", "s", row=1, column="travel")
    plot = open_book(job.folder, "record", STAGES).stage("oil").part["plots"][0]
    assert (
        plot["title"] == "Travel times"
        and plot["alt"] == "Travel time of each stroke"
        and plot["svg"].startswith("<svg")
    )


def test_an_unknown_mode_is_refused_in_one_sentence(job, capsys):
    closed = open_book(job.folder, "view", STAGES)
    assert isinstance(closed, ClosedBook)
    part = closed.front().part
    assert part["part"] == "error"
    assert re.fullmatch("first cell: [^\n]*'view'[^\n]*'form' or 'record'.", part["sentence"])


@pytest.mark.parametrize("call", CELLS)
def test_a_job_that_cannot_be_opened_is_said_calmly_in_every_cell(tmp_path, call):
    bundle, _ = getattr(open_book(tmp_path / "nowhere", "form", STAGES), call[0])(
        *call[1:]
    )._repr_mimebundle_()
    assert (
        "there is no such job folder" in bundle["text/plain"]
        and "Traceback" not in bundle["text/html"]
    )
    assert bundle[MIME]["part"] == "error"


def test_the_cell_that_opens_the_book_says_why_it_is_closed(tmp_path, monkeypatch):
    shown = []
    monkeypatch.setattr("startkit.desk.notebook._display", shown.append)
    open_book(tmp_path / "nowhere", "form", STAGES)
    assert "no such job folder" in shown[0].part["sentence"]


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (("stage", "olive"), "no stage 'olive'"),
        (("hold", "lunch"), "no hold point 'lunch'"),
    ],
)
def test_a_name_that_does_not_exist_is_one_sentence_with_the_known_names(book, record, call, word):
    for opened in (book, record):
        part = getattr(opened, call[0])(call[1]).part
        assert (
            part["part"] == "error"
            and word in part["sentence"]
            and "use one of" in part["sentence"]
        )


def test_a_stage_that_fails_stays_open_says_so_and_takes_nothing_with_it(job):
    opened = open_book(job.folder, "form", ordered([*STAGES.values(), FAULTY]))
    judged = {v["key"]: v for v in opened.stage("faulty").part["verdicts"]}["faulty.judged"]
    assert (
        judged["outcome"] == "open"
        and "ZeroDivisionError" in judged["sentence"]
        and "safe" in judged["sentence"]
    )
    assert [
        opened.stage("oil").part["part"],
        opened.front().part["part"],
        opened.hold("turn_shaft").part["part"],
    ] == ["stage", "front", "hold"]


def test_a_fault_of_our_own_is_one_sentence_with_the_trace_folded(book, monkeypatch):
    monkeypatch.setattr("startkit.procedure.payload.stage_part", lambda *_: 1 / 0)
    bundle, _ = book.stage("oil")._repr_mimebundle_()
    assert bundle[MIME]["part"] == "error" and re.search(
        r"stage oil: .*\(ZeroDivisionError", bundle["text/plain"]
    )
    assert "maintain" in bundle["text/html"]


def test_the_book_judges_once_for_each_new_entry(book, save):
    before = book.assessment()
    assert book.assessment() is before
    save("sump", "48", "°C")
    assert book.assessment() is not before


def test_what_another_kernel_wrote_is_seen_at_the_next_look(job, book):
    from startkit.facts.journal import Entry

    open_book(job.folder, "form", STAGES).job.record(
        Entry("oil.sump", "48", "°C", who="B. Witness")
    )
    assert book.assessment().state.latest["oil.sump"].value == "48"


def test_views_that_were_left_behind_are_closed(book):
    views = [book.stage("oil").view for _ in range(5)]
    assert [view.comm is None for view in views] == [True, True, False, False, False]

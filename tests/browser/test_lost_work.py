"""Nothing typed is misread, lost, or changed out of sight."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

import pytest

from startkit.facts.job import Job
from tests.browser.serving import question
from tests.browser.test_form import SAVED, SERIAL, field, form, name, paste, run_all, says, values

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400), pytest.mark.xdist_group("browser")]

SOURCES = question("safety.lock_out_list_text")
LOCKED_BY = question("safety.lock_out_by")
DETECTOR = question("safety.detector")
RECORD = question("lube.pre_lube")
CELLS = "jupyterapp.shell.currentWidget.content.widgets.map((w) => w.model.type).join()"


@pytest.fixture(scope="module")
def job(new_job: Callable[[str], Job]) -> Job:
    return new_job("lost")


@pytest.fixture(scope="module")
def page(job: Job, open_page: Callable[..., Any]) -> Any:
    page = open_page(job.template)
    run_all(page)
    name(page, "A. Technician")
    page.set_default_timeout(20_000)
    return page


def stage(page: Any, title: str) -> Any:
    return page.get_by_role("form", name=title, exact=True)


def asked(place: Any, question: str) -> Any:
    return place.locator(".sk-field").filter(has=place.page.get_by_label(question, exact=True))


def test_enter_makes_a_new_line_in_a_text(page, job):
    box = page.get_by_label(SOURCES, exact=True)
    box.click()
    page.keyboard.type("breaker 4")
    page.keyboard.press("Enter")
    page.keyboard.type("spring")
    page.keyboard.press("Tab")
    page.wait_for_timeout(1500)
    assert values(job, "safety.lock_out_list_text")[-1:] == ["breaker 4\nspring"]


def test_a_series_is_typed_with_tabs_and_shown_as_read_before_it_is_saved(page, job):
    box = page.get_by_label(RECORD, exact=True)
    box.click()
    for line in ("Time [s]", "Differential [psi]"), ("0", "20"), ("10", "18.5"):
        page.keyboard.type(line[0])
        page.keyboard.press("Tab")
        page.keyboard.type(line[1])
        page.keyboard.press("Enter")
    read = page.get_by_role("table", name=f"As read: {RECORD}")
    read.get_by_text("18.5").wait_for()
    assert values(job, "lube.pre_lube") == []
    assert read.locator("thead").inner_text().split("\t")[3] == "Differential [psi]"
    assert read.locator("tbody tr").nth(1).locator("td").all_inner_texts()[3] == "18.5"
    page.keyboard.press("Tab")  # from the empty line it leaves
    says(asked(stage(page, "Lubrication"), RECORD), "2 rows read")
    assert values(job, "lube.pre_lube") == ["Time [s]\tDifferential [psi]\n0\t20\n10\t18.5"]


def test_a_key_after_a_click_on_a_verdict_leaves_the_cells_alone(page):
    before = page.evaluate(CELLS)
    page.locator(".sk-verdict .sk-sentence").first.click()
    for key in ("x", "m", "y", "d", "d", "a", "b"):
        page.keyboard.press(key)
    assert page.evaluate(CELLS) == before


def test_no_cell_of_the_notebook_can_be_deleted(page):
    before = page.evaluate(CELLS)
    page.evaluate("jupyterapp.commands.execute('notebook:delete-cell')")
    assert page.evaluate(CELLS) == before


def test_a_click_is_not_lost_because_a_question_opens_above_it(page):
    safety = stage(page, "Safety")
    confirmed = safety.get_by_label(LOCKED_BY, exact=True)
    confirmed.fill("A. Witness")
    confirmed.press("Tab")
    says(asked(safety, LOCKED_BY), SAVED)
    confirmed.fill("B. Witness")
    choice = safety.get_by_role("radiogroup", name=DETECTOR).locator("label").first
    choice.scroll_into_view_if_needed()
    box = choice.bounding_box()
    page.mouse.move(box["x"] + 20, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.wait_for_timeout(400)
    page.mouse.up()
    why = asked(safety, LOCKED_BY).get_by_role("group")
    why.get_by_role("button", name="keep the old value").click()
    assert choice.locator("input").is_checked()


def test_undo_takes_back_the_field_in_hand_and_no_other(page):
    serial = page.get_by_label(SERIAL, exact=True)
    model = form(page).get_by_label("Model on the nameplate (optional)", exact=True)
    serial.fill("A-1")
    serial.press("Tab")
    says(field(page, SERIAL), SAVED)
    model.click()
    page.keyboard.type("MX 5")
    serial.click()
    serial.press("End")
    page.keyboard.type("99")
    for _ in range(4):
        page.keyboard.press("Control+z")
    assert (serial.input_value(), model.input_value()) == ("", "MX 5")
    page.keyboard.press("Control+y")
    assert serial.input_value() == "A-1"
    page.keyboard.press("Tab")
    says(field(page, SERIAL), SAVED)


def test_a_paste_is_one_undo(page, job):
    table = form(page).get_by_role("group", name="Instruments", exact=True)
    first = table.get_by_label("Tag, row 1", exact=True)
    paste(first, "Tag\tWhat it is\nTI-1\tThermometer\n")
    says(table, SAVED)
    first.focus()
    page.keyboard.press("Control+z")
    page.wait_for_timeout(1500)
    assert [values(job, f"setup.instruments.{n}.tag") for n in (1, 2)] == [
        ["Tag", ""],
        ["TI-1", ""],
    ]
    assert first.input_value() == ""


def test_a_choice_pasted_with_a_capital_is_the_choice(page, job):
    table = form(page).get_by_role("group", name="Instruments", exact=True)
    paste(table.get_by_label("Tag, row 1", exact=True), "AM-9\tClamp\tCurrent\n")
    says(table, SAVED)
    assert table.get_by_label("Reads, row 1", exact=True).input_value() == "current"
    index = "SELECT value FROM entries WHERE what LIKE 'setup.instruments.%.kind' ORDER BY seq DESC"
    with sqlite3.connect(job.folder / "job.db") as db:
        assert db.execute(index).fetchone() == ("current",)


def test_an_instrument_cell_that_cannot_be_read_is_marked_where_it_is(page):
    table = form(page).get_by_role("group", name="Instruments", exact=True)
    paste(table.get_by_label("Tag, row 2", exact=True), "CG-1\tClamp\tcurrent\t\t0-600 A\t1 %\n")
    accuracy = table.get_by_label("Accuracy, row 2", exact=True)
    says(table, "of what")
    assert accuracy.get_attribute("aria-invalid") == "true"
    assert table.get_by_label("Range, row 2", exact=True).get_attribute("aria-invalid") == "false"

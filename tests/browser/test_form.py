"""The form in a real JupyterLab: what is typed is in the job's file before it says saved, and
outlives the kernel.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from startkit.facts.job import Job
from tests.browser.conftest import RESTART, RUN_ALL, SLOW_BROWSER, give_reason, shot
from tests.browser.serving import question

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400), pytest.mark.xdist_group("browser")]

SERIAL = question("setup.nameplate_serial")
REFRIGERANT = question("setup.nameplate_refrigerant")
VOLTAGE = question("setup.nameplate_voltage")
CURRENT = question("setup.nameplate_current")
BAROMETER = question("setup.barometer")
ORDERED = question("setup.order_voltage")
IN_KERNEL = (
    "async (code) => { await"
    " jupyterapp.shell.currentWidget.sessionContext.session.kernel.requestExecute({ code }).done; }"
)
STILL = "NOT SAVED yet – no answer"  # after six seconds
SAVED = r"^saved \d\d:\d\d:\d\d"


@pytest.fixture(scope="module")
def job(new_job: Callable[[str], Job]) -> Job:
    """The job that most tests share: each of them has fields of its own."""
    return new_job("shared")


@pytest.fixture(scope="module")
def page(job: Job, open_page: Callable[..., Any]) -> Any:
    """The shared job's notebook with all cells run and a person named."""
    page = open_page(job.template)
    run_all(page)
    name(page, "A. Technician")
    return page


def run_all(page: Any) -> None:
    page.evaluate(RUN_ALL)
    form(page).get_by_label("Who is entering", exact=True).wait_for()


def name(page: Any, who: str) -> None:
    control = form(page).get_by_label("Who is entering", exact=True)
    control.fill(who)
    control.press("Tab")


def form(page: Any, title: str = "Setup") -> Any:
    return page.get_by_role("form", name=title)


def control(page: Any, question: str) -> Any:
    return form(page).get_by_label(re.compile(rf"^{re.escape(question)}( \(optional\))?$"))


def field(page: Any, question: str) -> Any:
    """The field with its words below it."""
    return (
        form(page)
        .locator(".sk-field")
        .filter(has=page.get_by_label(re.compile(rf"^{re.escape(question)}( \(optional\))?$")))
    )


def enter(page: Any, question: str, text: str) -> None:
    control(page, question).fill(text)
    control(page, question).press("Enter")


def says(place: Any, words: str) -> None:
    place.get_by_text(re.compile(words)).first.wait_for()


def verdict(page: Any, key: str) -> Any:
    return page.locator(f'li.sk-verdict[data-verdict="{key}"]')


def values(job: Job, what: str) -> list[str]:
    """What the job's file holds, read past our own code."""
    with sqlite3.connect(job.folder / "job.db") as db:
        return [
            row[0]
            for row in db.execute("SELECT value FROM entries WHERE what = ? ORDER BY seq", (what,))
        ]


def paste(control: Any, text: str) -> None:
    """Paste as a browser does, without leave to read the clipboard."""
    control.evaluate(
        """(node, text) => {
        const data = new DataTransfer();
        data.setData("text/plain", text);
        node.focus();
        const given = { clipboardData: data, bubbles: true, cancelable: true };
        node.dispatchEvent(new ClipboardEvent("paste", given));
    }""",
        text,
    )


def test_a_value_is_typed_saved_judged_and_outlives_the_kernel(new_job, open_page):
    job = new_job("story")
    page = open_page(job.template, script=SLOW_BROWSER)  # its forms come alive even so
    run_all(page)
    enter(page, SERIAL, "OV26-0417")
    says(field(page, SERIAL), "NOT SAVED – enter your name first")
    assert values(job, "setup.nameplate_serial") == []
    name(page, "A. Technician")
    says(field(page, SERIAL), SAVED + " · A\\. Technician")
    assert values(job, "setup.nameplate_serial") == ["OV26-0417"]
    says(verdict(page, "setup.serial"), "✓ pass")
    page.evaluate("jupyterapp.shell.currentWidget.context.save()")
    page.evaluate(RESTART)
    enter(page, REFRIGERANT, "R-134a")
    says(
        field(page, REFRIGERANT),
        "NOT SAVED – the notebook's kernel was restarted: run all cells again",
    )
    assert control(page, REFRIGERANT).input_value() == "R-134a"
    shot(page, "not-saved")
    run_all(page)
    assert control(page, SERIAL).input_value() == "OV26-0417"
    assert form(page).get_by_label("Who is entering", exact=True).input_value() == "A. Technician"
    says(verdict(page, "setup.serial"), "✓ pass")
    says(field(page, REFRIGERANT), "NOT SAVED – typed earlier")
    assert values(job, "setup.nameplate_refrigerant") == []
    page.get_by_role("button", name="try again").first.click()
    says(field(page, REFRIGERANT), SAVED)
    assert values(job, "setup.nameplate_refrigerant") == ["R-134a"]
    assert "application/vnd.jupyter.widget-state+json" not in job.template.read_text(
        encoding="utf-8"
    )


def test_two_people_enter_at_once_and_see_each_other(new_job, open_page):
    job = new_job("two-people")
    one, two = (open_page(job.template) for _ in range(2))
    for page, who in ((one, "A. Technician"), (two, "B. Witness")):
        run_all(page)
        name(page, who)
        enter(page, "Order", f"by {who}") if page is one else None
    says(field(one, "Order"), SAVED)
    form(two).get_by_role("button", name="refresh").click()
    says(form(two), "read again")
    two.wait_for_timeout(1000)  # until the second book has looked for the last time
    enter(one, CURRENT, "386")
    says(field(one, CURRENT), SAVED + ".* A. Technician")
    enter(two, CURRENT, "390")
    says(field(two, CURRENT), "NOT SAVED – A. Technician entered 386 A here")
    enter(two, VOLTAGE, "400")
    says(field(two, VOLTAGE), SAVED + ".* B. Witness")
    form(one).get_by_role("button", name="refresh").click()
    says(field(one, VOLTAGE), SAVED + ".* B. Witness")
    assert values(job, "setup.nameplate_current") == ["386"]


def test_fields_are_filled_by_keyboard_alone(page, job):
    control(page, SERIAL).focus()
    for typed in ("OV26-0417", "R-134a"):
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
    says(field(page, REFRIGERANT), SAVED)
    assert (values(job, "setup.nameplate_serial"), values(job, "setup.nameplate_refrigerant")) == (
        ["OV26-0417"],
        ["R-134a"],
    )
    assert page.evaluate("document.activeElement.labels[0].textContent") == VOLTAGE


def test_a_hold_point_and_the_front_follow_what_is_typed_elsewhere(page):
    before = page.locator(".sk-stages").text_content()
    enter(page, BAROMETER, "100.9")
    says(field(page, BAROMETER), SAVED)
    # No instrument is named: its uncertainty is not known.
    says(verdict(page, "setup.barometer"), "≈ unproven")
    page.wait_for_function(
        "([before]) => document.querySelector('.sk-stages').textContent !== before", arg=[before]
    )
    says(page.locator(".sk-hold").first, "NOT CLEAR TO RUN THE OIL PUMP")


def test_a_decimal_comma_stays_and_a_typed_unit_wins(page, job):
    ordered = "Capacity on the order"
    enter(page, ordered, "500,5 ton")
    says(field(page, ordered), SAVED)
    assert values(job, "setup.order_capacity") == ["500,5"]
    assert control(page, ordered).input_value() == "500,5"
    assert form(page).get_by_label(f"unit: {ordered}").input_value() == "ton"
    enter(page, VOLTAGE, "0.4 kV")
    says(field(page, VOLTAGE), SAVED)
    assert field(page, VOLTAGE).locator(".sk-unit-fixed").inner_text() == "kV"


def test_a_reading_is_refused_flagged_corrected_and_its_history_shown(page, job):
    enter(page, CURRENT, "about 386")
    says(field(page, CURRENT), "is not a number; type digits")
    assert (
        control(page, CURRENT).input_value(),
        control(page, CURRENT).get_attribute("aria-invalid"),
    ) == ("about 386", "true")
    enter(page, CURRENT, "3.86")
    asked = field(page, CURRENT).get_by_role(
        "group", name=re.compile("Was about 386.* Why does it change")
    )
    asked.wait_for()
    assert values(job, "setup.nameplate_current") == ["about 386"]
    asked.get_by_role("button", name="typing error").click()
    asked.get_by_role("button", name="save the correction").click()
    says(field(page, CURRENT), "outside the usual")
    assert control(page, CURRENT).get_attribute("aria-invalid") == "false"
    enter(page, CURRENT, "38")
    field(page, CURRENT).get_by_role("button", name="keep the old value").click()
    assert control(page, CURRENT).input_value() == "3.86"
    enter(page, CURRENT, "386")
    give_reason(page, "misread")
    assert (
        page.evaluate(
            "document.activeElement.closest('.sk-field').previousElementSibling.querySelector('label').textContent"
        )
        == CURRENT
    )
    says(verdict(page, "setup.nameplate_current"), "✓ pass")
    assert values(job, "setup.nameplate_current") == ["about 386", "3.86", "386"]
    field(page, CURRENT).get_by_role("button", name="history").click()
    field(page, CURRENT).locator(".sk-history li").nth(2).wait_for()
    says(field(page, CURRENT).locator(".sk-history"), "386 A · A. Technician · .* · misread")
    control(page, CURRENT).scroll_into_view_if_needed()
    shot(page, "history")


def test_a_block_pasted_from_a_spreadsheet_fills_cells_and_adds_rows(page, job):
    table = form(page).get_by_role("group", name="Instruments", exact=True)
    lines = "".join(
        f"TI-{n:02}\tThermometer\ttemperature\tS-{n}\t\t0,1 K\t2027-05-01\n" for n in range(1, 7)
    )
    paste(table.get_by_label("Tag, row 1", exact=True), lines)
    says(table, SAVED)
    assert [values(job, f"setup.instruments.{n}.tag") for n in range(1, 7)] == [
        [f"TI-{n:02}"] for n in range(1, 7)
    ]
    assert values(job, "setup.instruments.6.accuracy") == ["0,1 K"]
    assert table.get_by_label("Tag, row 6", exact=True).input_value() == "TI-06"
    says(page.get_by_role("table", name="Instruments used"), "TI-06")


def test_keys_move_through_a_table_and_a_row_is_removed_with_its_reason(page, job):
    table = form(page).get_by_role("group", name="People on this job", exact=True)
    table.get_by_label("Name, row 1", exact=True).fill("A. Technician")
    for keys, expected in (
        ("Enter", "Name, row 2"),
        ("ArrowDown", "Name, row 3"),
        ("ArrowUp", "Name, row 2"),
        ("ArrowRight", "Role, row 2"),
        ("ArrowLeft", "Name, row 2"),
        ("Tab", "Role, row 2"),
        ("Shift+Tab", "Name, row 2"),
        ("Shift+Enter", "Name, row 1"),
    ):
        page.keyboard.press(keys)
        assert page.evaluate("document.activeElement.getAttribute('aria-label')") == expected, keys
    for _ in range(3):
        page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Name, row 4"
    table.get_by_label("Name, row 2", exact=True).fill("B. Witness")
    page.keyboard.press("Enter")
    page.wait_for_function(
        "() => document.querySelector('[list$=desk-names][aria-label=\"Name, row"
        " 2\"]')?.classList.contains('sk-cell-unsaved') === false"
    )
    assert (values(job, "setup.people.1.name"), values(job, "setup.people.2.name")) == (
        ["A. Technician"],
        ["B. Witness"],
    )
    table.get_by_role("button", name="remove row 1").click()
    asked = table.get_by_role("group", name="Why is the row removed?")
    give_reason(page, "entered twice")
    asked.wait_for(state="detached")
    page.wait_for_function(
        "() => document.querySelector('[aria-label=\"Name, row 1\"]').value === 'B. Witness'"
    )
    assert values(job, "setup.people.1.row") == ["row removed"]


def test_a_state_from_before_an_entry_takes_nothing_back(page):
    people = form(page).get_by_role("group", name="People on this job", exact=True)
    page.evaluate(
        IN_KERNEL,
        "from startkit.desk import fieldset; before = fieldset.states(book.assessment(), 'setup')",
    )
    enter(page, "Order", "PO-7")
    says(field(page, "Order"), SAVED)
    people.get_by_label("Name, row 2", exact=True).fill("C. Engineer")
    page.keyboard.press("Tab")
    page.wait_for_function(
        "() => document.querySelector('[aria-label=\"Name, row"
        " 2\"]').classList.contains('sk-cell-unsaved') === false"
    )
    # Cards are renewed beside the answers to forms: what was worked out before an entry may arrive
    # after it.
    page.evaluate(
        IN_KERNEL, "book._views['stage setup'][-1].send({'tell': 'fields', 'states': before})"
    )
    page.wait_for_timeout(300)
    assert (
        control(page, "Order").input_value(),
        people.get_by_label("Name, row 2", exact=True).input_value(),
    ) == ("PO-7", "C. Engineer")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Role, row 2"
    enter(page, "Order", "PO-8")
    asked = field(page, "Order").get_by_role(
        "group", name=re.compile("Was PO-7. Why does it change")
    )
    asked.get_by_role("button", name="keep the old value").click()
    asked.wait_for(state="detached")


GATES = """
import itertools, pathlib, time
from startkit.desk import messages
def held(book, stage, message, counted=itertools.count(1), answer=messages.answer):
    gate = pathlib.Path(FOLDER, str(next(counted))) if message.get("ask") == "save" else None
    while gate is not None and not gate.exists():
        time.sleep(0.02)
    return answer(book, stage, message)
messages.answer = held
"""


@pytest.fixture
def gates(page: Any, tmp_path: Path) -> Iterator[Path]:
    """The n-th save is answered only when there is a file called n."""
    page.evaluate(IN_KERNEL, GATES.replace("FOLDER", repr(str(tmp_path))))
    yield tmp_path
    page.evaluate(IN_KERNEL, "messages.answer = held.__defaults__[1]")


def test_saved_is_not_said_while_another_cell_is_on_its_way(page, gates):
    people = form(page).get_by_role("group", name="People on this job", exact=True)
    people.get_by_label("Name, row 3", exact=True).fill("D. Owner")
    for key in ("Tab", "ArrowDown", "Tab"):
        page.keyboard.press(key)
    (gates / "1").touch()
    unsaved = (
        "[...document.querySelectorAll('.sk-cell-unsaved')].map((cell) =>"
        " cell.getAttribute('aria-label')).join()"
    )
    page.wait_for_function(f"() => {unsaved} === 'Role, row 3'")
    assert people.locator(".sk-state").text_content().startswith(("saving…", STILL))
    (gates / "2").touch()
    says(people, SAVED)
    assert page.evaluate(unsaved) == ""


def test_a_field_changed_again_before_the_answer_asks_why_of_what_was_saved(page, job, gates):
    enter(page, ORDERED, "402")
    enter(page, ORDERED, "")
    assert field(page, ORDERED).locator(".sk-state").text_content().startswith(("saving…", STILL))
    (gates / "1").touch()
    asked = field(page, ORDERED).get_by_role(
        "group", name=re.compile("Was 402.* Why does it change")
    )
    asked.get_by_role("button", name="keep the old value").click()
    says(field(page, ORDERED), SAVED)
    assert control(page, ORDERED).input_value() == "402" and values(job, "setup.order_voltage") == [
        "402"
    ]


def test_loads_stand_side_by_side_and_take_a_block_as_it_stands_on_a_log_sheet(page, job):
    loads = form(page, "Load-up").locator(".sk-across").first
    cell = loads.get_by_label("Chilled water entering, row 1", exact=True)
    paste(cell, "12.4\t11.1\n6.7\t6.7\n")
    page.wait_for_function("() => !document.querySelector('.sk-across .sk-cell-unsaved')")
    stored = {e.what: e.value for e in job.state().entries if e.what.startswith("load_up.points.")}
    assert sorted(stored.values()) == ["11.1", "12.4", "6.7", "6.7"]
    assert {what.split(".")[2] for what in stored} == {"1", "2"} and len(
        {what.split(".")[3] for what in stored}
    ) == 2


def test_a_waiver_that_would_not_count_is_refused_with_its_reason(page, job):
    open_item = verdict(page, "setup.people")
    open_item.get_by_role("button", name="waive").click()
    open_item.get_by_label("Reason").fill("the witness comes later")
    open_item.get_by_label("Reason").press("Enter")
    says(open_item, "not among the people")
    assert values(job, "waiver.setup.people") == []
    open_item.get_by_label("Reason").press("Escape")


def test_the_notebooks_own_keys_do_nothing_inside_a_form(page):
    look = (
        "[jupyterapp.shell.currentWidget.content.widgets.length,"
        " jupyterapp.shell.currentWidget.content.widgets.map((w) => w.model.type).join()]"
    )
    before = page.evaluate(look)
    form(page).get_by_role("button", name="refresh").focus()
    for key in ("d", "d", "a", "b", "x", "m", "y", "Enter"):
        page.keyboard.press(key)
    assert page.evaluate(look) == before
    assert page.evaluate("document.activeElement.textContent") == "refresh"


def test_no_code_is_in_sight(page):
    assert page.locator(".jp-CodeCell .cm-content:visible").count() == 0
    assert page.locator(".jp-InputPlaceholder:visible").count() == 0


FAULTS = """() => [...document.querySelectorAll(
    '.sk button, .sk input, .sk select, .sk textarea, .sk summary'
)].filter((n) => n.checkVisibility()).flatMap((n) => {
    const target = n.type === 'radio' ? n.closest('label') : n.type === 'file' ? n.labels[0] : n;
    const { height, width } = target.getBoundingClientRect();
    const labels = [...(n.labels ?? [])].map((l) => l.textContent).join();
    const name = n.getAttribute('aria-label') || labels || n.textContent;
    const fault = `${name}: ${width} x ${height} ${n.outerHTML.slice(0, 100)}`;
    return (height < 43.5 || width < 43.5 || !name.trim()) ? [fault] : [];
})"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(1280, 800), (820, 1180)])
def test_every_control_has_a_name_and_is_large_enough_for_a_glove(page, width, height, scheme):
    page.set_viewport_size({"width": width, "height": height})
    page.evaluate("if (jupyterapp.shell.leftCollapsed === false) jupyterapp.shell.collapseLeft()")
    theme = f"JupyterLab {scheme.title()}"
    page.evaluate(
        "(theme) => jupyterapp.commands.execute('apputils:change-theme', { theme })", theme
    )
    page.locator(f"body[data-jp-theme-light={'true' if scheme == 'light' else 'false'}]").wait_for(
        state="attached"
    )
    page.wait_for_timeout(500)
    assert page.evaluate(FAULTS) == []
    wide = "[...document.querySelectorAll('.sk')].filter((n) => n.scrollWidth > n.clientWidth + 1)"
    # The page is laid out anew after its size changed, which takes a busy computer a while.
    page.wait_for_function(f"{wide}.length === 0", timeout=15_000)
    assert page.evaluate(f"{wide}.map((n) => n.className)") == []
    page.evaluate("document.querySelector('.sk-front').scrollIntoView()")
    page.wait_for_timeout(200)
    shot(page, f"0-front-{width}-{scheme}")
    for n, title in enumerate(("Setup", "Inlet guide vanes", "Load-up")):
        page.evaluate(
            "(t) => [...document.querySelectorAll('.sk h3')].find((h) => h.textContent ==="
            " t).scrollIntoView()",
            title,
        )
        page.wait_for_timeout(200)
        shot(page, f"{n + 1}-{title.split()[0].lower()}-{width}-{scheme}")

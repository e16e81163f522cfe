"""The job as a page, in a real Chromium: no code in sight, nobody else is asked, what is typed is
in the job's file.
"""

from __future__ import annotations

import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.plugins import find_template
from tests.browser.conftest import LOOKS_AWAY, SLOW_BROWSER, shot
from tests.browser.serving import (
    PLANT,
    SERIAL,
    SHEET,
    Served,
    field,
    kernel,
    name_me,
    question,
    says,
    setup,
    values,
)

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400), pytest.mark.xdist_group("page")]

BAROMETER = f"{question('setup.barometer')} (optional)"


@pytest.mark.parametrize(
    ("width", "height", "scheme", "ground"),
    [(1280, 800, "light", "rgb(255, 255, 255)"), (820, 1180, "dark", "rgb(20, 24, 29)")],
)
def test_the_page_shows_where_the_job_stands_and_its_forms_without_any_code(
    shared, width, height, scheme, ground
):
    page = shared
    page.set_viewport_size({"width": width, "height": height})
    page.emulate_media(color_scheme=scheme)
    says(page.get_by_label("State of the job"), "NOT CLEAR TO TURN THE SHAFT")
    assert page.locator(".cm-editor, .jp-CodeMirrorEditor, .jp-InputPlaceholder").count() == 0
    assert not re.search(r"book\.(stage|front|hold)\(|open_book", page.content())
    assert page.get_by_text("Run All Cells").count() == 0
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == ground
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    shot(page, f"page-{scheme}-{width}")


def test_a_name_in_the_sheet_never_becomes_markup(shared):
    page = shared
    assert page.title() == f"CH-1, {PLANT}" and page.locator("#hostile").count() == 0


def test_what_is_typed_on_the_page_is_in_the_jobs_file(shared, served):
    page = shared
    control = setup(page).get_by_label("Full-load current on the motor's nameplate", exact=True)
    control.fill("386,5")
    control.press("Enter")
    says(
        field(page, "Full-load current on the motor's nameplate"),
        r"saved \d\d:\d\d:\d\d · A\. Technician",
    )
    assert values(served.job, "setup.nameplate_current") == ["386,5"]


def test_a_second_page_shows_what_the_first_one_entered_after_refresh(shared, open_job):
    one, other = shared, open_job()
    control = setup(one).get_by_label("Rated voltage on the motor's nameplate", exact=True)
    control.fill("400")
    control.press("Enter")
    says(field(one, "Rated voltage on the motor's nameplate"), "saved")
    setup(other).get_by_role("button", name="refresh").click()
    other.wait_for_function(
        "() => [...document.querySelectorAll('input')].some((node) => node.value === '400')"
    )
    assert (
        setup(other)
        .get_by_label("Rated voltage on the motor's nameplate", exact=True)
        .input_value()
        == "400"
    )


def test_the_forms_come_alive_in_a_browser_that_needs_longer_than_the_widget_library_waits(
    open_job, served
):
    page = open_job(script=SLOW_BROWSER)
    assert page.evaluate("window.givenUp") > 1
    name_me(page)
    control = setup(page).get_by_label(BAROMETER, exact=True)
    control.fill("1008")
    control.press("Enter")
    says(field(page, BAROMETER), "saved")
    assert values(served.job, "setup.barometer") == ["1008"]


def test_the_forms_come_alive_although_the_kernels_answer_comes_while_nobody_looks(open_job):
    page = open_job(script=LOOKS_AWAY)
    # The first form is there; those further down may still be on their way, but none may have been
    # given up.
    page.wait_for_function(
        "() => ![...document.querySelectorAll('.jp-OutputArea-output')].some((node) =>"
        " node.textContent.startsWith('Loading widget'))"
    )
    assert page.get_by_text(re.compile("^(Loading|Error displaying) widget")).count() == 0


def test_a_page_whose_forms_do_not_come_says_what_to_do(open_job):
    page = open_job()
    page.evaluate("""() => {
        document.querySelector('.jp-OutputArea-output').replaceChildren('Loading widget...');
        performance.now = () => 61000;
        document.dispatchEvent(new Event('visibilitychange'));
    }""")
    says(
        page.get_by_role("alert"),
        "Some forms did not appear",
    )
    assert page.get_by_role("button", name="Reload the page").is_visible()


def test_after_its_kernel_ended_the_page_says_not_saved_and_the_text_comes_back(open_job, served):
    page = open_job()
    name_me(page)
    assert served.ask(f"api/kernels/{kernel(page)}", method="DELETE")[0] == 204
    page.evaluate(
        "document.dispatchEvent(new Event('visibilitychange'))"
    )  # a tablet is taken up again
    says(
        page.get_by_role("alert"),
        "This page was idle too long. .* NOT SAVED until you reload",
    )
    control = setup(page).get_by_label(SERIAL, exact=True)
    control.fill("OV26-0417")
    control.press("Enter")
    says(field(page, SERIAL), "NOT SAVED")
    assert (
        control.input_value() == "OV26-0417" and values(served.job, "setup.nameplate_serial") == []
    )
    shot(page, "page-not-saved")
    page.get_by_role("button", name="Reload the page").click()
    page.wait_for_event("load")
    setup(page).get_by_label(SERIAL, exact=True).wait_for()
    says(field(page, SERIAL), "NOT SAVED – typed earlier")
    page.get_by_role("button", name="try again").first.click()
    says(field(page, SERIAL), "saved")
    assert values(served.job, "setup.nameplate_serial") == ["OV26-0417"]


def test_a_server_that_went_away_is_told_before_anybody_types(browser, served, tmp_path):
    other = Served(tmp_path / "other")
    context = browser.new_context(service_workers="block")
    page = context.new_page()
    page.set_default_timeout(150_000)
    page.goto(other.url)
    setup(page).get_by_label("Who is entering", exact=True).wait_for()
    assert page.locator("#asleep").is_hidden()
    other.stop()
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    says(page.get_by_role("alert"), "startkit does not answer")
    context.close()


def test_one_goes_from_stage_to_stage_by_name(shared):
    page = shared
    page.set_viewport_size({"width": 820, "height": 1180})
    # The list is read when it takes the focus, so the last stage must stand on the page by then.
    page.locator(".sk-heading h3", has_text="Lubrication").first.wait_for()
    page.get_by_label("Go to").focus()
    page.get_by_label("Go to").select_option(label="\u2003Lubrication")
    assert page.evaluate(
        "document.activeElement.querySelector('.sk-heading').textContent"
    ).startswith("Lubrication")
    for _ in range(2):
        assert 0 <= page.evaluate("document.activeElement.getBoundingClientRect().top") < 120
        page.wait_for_timeout(
            300
        )  # and it stays there when the stages out of sight are let go again
    page.get_by_role("button", name="State of the job").click()
    page.wait_for_function("() => scrollY === 0")


def test_the_kernel_of_a_closed_page_is_ended_and_that_of_an_open_one_stays(
    shared, open_job, served
):
    staying, leaving = shared, open_job()
    open_kernel, left = kernel(staying), kernel(leaving)
    assert served.ask(f"api/kernels/{left}")[0] == 200
    leaving.close()
    for _ in range(300):
        if served.ask(f"api/kernels/{left}")[0] == 404:
            break
        time.sleep(0.5)
    assert served.ask(f"api/kernels/{left}")[0] == 404
    assert served.ask(f"api/kernels/{open_kernel}")[0] == 200


def test_without_its_token_nobody_gets_the_page_or_a_kernel(shared, served):
    running = kernel(shared)
    status, text = served.ask("", with_token=False)
    assert PLANT not in text and "sk-" not in text and "Skerrow" not in text
    assert (
        status == 200 and "password" in text.lower()
    )  # it is led to the page that asks for the token
    assert served.ask(f"api/kernels/{running}", with_token=False)[0] == 403
    assert served.ask(f"api/kernels/{running}", with_token=False, method="DELETE")[0] == 403


@pytest.mark.parametrize(
    "path",
    [
        "voila/files/job.db",
        "voila/files/machine.toml",
        "voila/files/photo.png",
        "voila/files/new-machine.ipynb",
        "voila/files/../sheet.toml",
        "voila/render/new-machine.ipynb",
        "voila/tree",
        "voila/api/contents/",
        "api/contents",
        "api/terminals",
        "api/sessions",
    ],
)
def test_no_file_of_the_job_is_served_beside_the_page(served, path):
    status, text = served.ask(path)
    assert status in (403, 404, 405) or (
        status == 200 and "sk-" not in text and "CH-1" not in text and "PNG" not in text
    ), (status, text[:300])
    assert b"SQLite" not in text.encode() and "[machine]" not in text


def test_the_policy_forbids_what_comes_from_elsewhere(served):
    request = urllib.request.Request(served.base + "login")
    with urllib.request.urlopen(request, timeout=30) as reply:
        policy = reply.headers["Content-Security-Policy"]
    assert (
        "default-src 'self'" in policy and "connect-src 'self'" in policy and "http" not in policy
    )


def test_settings_that_a_job_folder_brings_along_do_not_run(served):
    assert not (served.home / "ran").exists()


def test_it_says_where_it_is_and_warns_when_others_can_reach_it(served, tmp_path):
    assert "Warning" not in served.said and "Close it with Ctrl+C" in served.said
    other = Served(tmp_path / "other", address="127.0.0.2")
    try:
        assert "Warning: this page can be reached from other computers at 127.0.0.2" in other.said
        with pytest.raises(OSError):
            socket.create_connection(
                ("127.0.0.1", int(other.base.rsplit(":", 1)[1].strip("/"))), timeout=5
            )
    finally:
        other.stop()


def test_a_port_that_is_taken_is_one_sentence(served, tmp_path):
    port = served.base.rsplit(":", 1)[1].strip("/")
    made = Job.create(tmp_path / "J", SHEET, find_template("new-machine"))
    made.record(Entry("job.who", "A. Technician", who="A. Technician"))
    result = subprocess.run(
        [
            sys.executable,
            "-m",
            "startkit.cli",
            "open",
            str(made.folder),
            "--page",
            "--no-browser",
            "--port",
            port,
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (
        result.returncode == 2
        and result.stderr.count("\n") == 1
        and f"port {port}" in result.stderr
    )

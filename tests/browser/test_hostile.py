"""A job full of hostile texts in a real JupyterLab: shown as text, nothing of it runs, nobody is
asked for anything.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import urlsplit

import nbformat
import pytest

from startkit.facts.job import Job
from tests.browser.conftest import RUN_ALL, shot
from tests.trust.hostile import Listener, listening, make, texts

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400), pytest.mark.xdist_group("browser")]


# A formula outside our cards: once it is set, those inside them would be as well.
FORMULA = "from IPython.display import HTML\nHTML('<p id=\\'a-formula\\'>$x^2$</p>')"


@pytest.fixture(scope="module")
def door() -> Iterator[Listener]:
    with listening() as listener:
        yield listener


@pytest.fixture(scope="module")
def job(lab: Any, door: Listener) -> Job:
    folder = lab.root / "hostile"
    folder.mkdir()
    return make(folder, door.port)


@pytest.fixture(scope="module", params=["form", "record"])
def page(request: pytest.FixtureRequest, job: Job, open_page: Callable[..., Any]) -> Any:
    """The job's notebook run in one mode, with the addresses that the page asked for."""
    notebook = nbformat.read(job.template, as_version=4)
    cell = next(cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", []))
    cell.source = cell.source.replace('"form"', f'"{request.param}"')
    assert f'"{request.param}"' in cell.source
    notebook.cells.append(nbformat.v4.new_code_cell(FORMULA))
    path = job.folder / f"{request.param}.ipynb"
    nbformat.write(notebook, path)
    opened = open_page(path)
    opened.asked = []
    opened.on("request", lambda asked: opened.asked.append(asked.url))
    opened.evaluate(RUN_ALL)
    opened.locator(".sk-front").first.wait_for()
    opened.wait_for_function(
        "() => document.querySelectorAll('.jp-Notebook .sk').length >= 10", timeout=120_000
    )
    opened.locator("#a-formula mjx-container").wait_for(state="attached")
    opened.wait_for_timeout(500)  # whatever would be fetched or set late
    shot(opened, f"hostile-{request.param}")
    return opened


def test_no_script_ran(page):
    assert page.evaluate("window.harmed") is None


def test_nothing_was_asked_of_anybody_else(page, lab, door):
    hosts = {
        urlsplit(url).netloc
        for url in page.asked
        if urlsplit(url).scheme in ("http", "https", "ws", "wss")
    }
    assert hosts <= {f"127.0.0.1:{lab.port}"} and page.asked
    assert door.knocks == 0


def test_no_element_of_theirs_is_on_the_page(page):
    counted = page.evaluate("""() => {
        const inside = (what) => document.querySelectorAll(`.jp-Notebook .sk ${what}`).length;
        return Object.fromEntries([
            "script", "iframe", "img", "object", "embed", "a[href^='javascript']",
            "[onerror]", "[onload]", "[onmouseover]", "[onfocus]", "mjx-container", ".MathJax",
        ].map((w) => [w, inside(w)]));
    }""")
    assert set(counted.values()) == {0}, counted


def test_the_texts_stand_on_the_page_as_they_were_typed(page, door):
    shown = page.evaluate(
        """() => {
            const typed = (n) => [...n.querySelectorAll('input, textarea')].map((i) => i.value);
            return [...document.querySelectorAll('.jp-Notebook .sk')]
                .map((n) => n.textContent + typed(n).join(' ')).join(' ');
        }"""
    )
    said = texts(door.port)
    for name in ("script", "picture", "element", "formula", "typst", "markdown", "equals"):
        assert said[name] in shown, name


def test_hovering_and_focus_start_nothing(page):
    for place in page.locator(".jp-Notebook .sk details > summary").all()[:10]:
        place.evaluate(
            "node => { node.parentElement.open = true; node.dispatchEvent(new"
            " MouseEvent('mouseover', { bubbles: true })); node.focus(); }"
        )
    page.wait_for_timeout(300)
    assert page.evaluate("window.harmed") is None


def test_the_watch_sees_a_script(page):
    """The last test of the page: what is looked for can be seen."""
    page.evaluate(
        "() => { const img = document.createElement('img'); img.setAttribute('onerror',"
        " 'window.harmed=1'); img.src = 'data:,'; document.body.append(img); }"
    )
    page.wait_for_function("() => window.harmed === 1", timeout=5000)

"""Every stage filled by keyboard alone, photographs and signatures taken, and no serious fault for
whoever needs a reader.
"""

from __future__ import annotations

import io
import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from startkit.desk.intake import items
from startkit.facts import pictures
from tests.browser.conftest import give_reason, shot
from tests.browser.serving import says, setup

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400), pytest.mark.xdist_group("hands")]

FOCUSED = """() => {
    const node = document.activeElement, form = node.closest('[role=form]'), before = window.before;
    const [tag, type] = [node.tagName, node.type ?? ''];
    window.before = node;
    return {
        tag, type, decimal: node.inputMode === 'decimal', row: node.skCell?.row.index ?? 0,
        wants: node.placeholder ?? '',
        again: node === before || (type === 'radio' && node.name === before?.name),
        aside: !form || !['INPUT', 'SELECT', 'TEXTAREA'].includes(tag)
            || node.closest('.sk-desk, .sk-why, .sk-field:has(.sk-file)') !== null
            || node.matches('.sk-unit-select, thead select, tbody th select'),
    };
}"""


def fill(page: Any, focused: dict[str, Any]) -> None:
    """Fill the control that has the focus with keys alone, as its kind wants it."""
    if focused["type"] == "radio":
        page.keyboard.press("Space")
    elif focused["tag"] == "SELECT":
        page.keyboard.press("ArrowDown")
    elif focused["type"] == "date":
        page.keyboard.type("11252026")
    elif focused["type"] == "datetime-local":
        page.keyboard.type("11252026")
        page.keyboard.press("ArrowRight")
        page.keyboard.type("1012AM")
    else:
        page.keyboard.type(
            "1"
            if focused["decimal"]
            else "2026-11-25"
            if focused["wants"].startswith("yyyy")
            else "ok"
        )


def test_every_stage_is_filled_by_keyboard_alone(shared: Any, served: Any) -> None:
    page = shared
    page.set_viewport_size({"width": 820, "height": 400})  # less to paint for each of 1,500 keys
    setup(page).get_by_label("Who is entering", exact=True).focus()
    for _ in range(5000):
        page.keyboard.press("Tab")
        focused = page.evaluate(FOCUSED)
        if focused["tag"] == "BODY":
            break
        if not (focused["aside"] or focused["again"] or focused["row"] > 1):
            fill(page, focused)
    # The last cell may still be on its way when the focus has left it.
    page.wait_for_function(
        "() => ![...document.querySelectorAll('.sk-state')].some((state) => state.textContent ==="
        " 'saving…')"
    )
    page.wait_for_function(
        "() => [...document.querySelectorAll('.sk-banner')].every((banner) => banner.hidden)"
    )
    asked = {item for item, kind, _ in items(served.job.folder) if kind not in pictures.FOLDERS}
    assert len(asked) > 300 and asked - set(served.job.state().latest) == set()
    page.set_viewport_size({"width": 820, "height": 1180})
    # A date is one entry, not one for each key of its year.
    assert [entry.value for entry in served.job.state().history("handover.next_visit")] == [
        "2026-11-25"
    ]
    assert served.job.journal.faults() == []


# --- pictures -------------------------------------------------------------------------------------


def phone_picture(folder: Path) -> Path:
    """Twelve million pixels that do not pack well, held upright by the phone's mark alone, with the
    place where it was taken.
    """
    noise = np.random.default_rng(5).integers(0, 255, (750, 1000, 3), np.uint8)
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8825)[27] = b"GPS-HOLDER"
    out = io.BytesIO()
    Image.fromarray(noise).resize((4000, 3000)).save(out, "JPEG", quality=90, exif=exif)
    path = folder / "IMG_2041.jpg"
    path.write_bytes(out.getvalue())
    return path


def field(page: Any, stage: str, question: str) -> Any:
    return page.get_by_role("form", name=stage).get_by_role("group", name=question)


def test_a_photograph_of_a_phone_is_taken_shown_and_taken_away_with_a_reason(
    shared: Any, served: Any, tmp_path: Path
) -> None:
    page = shared
    photographs = field(page, "Trips", "Photographs of this stage")
    photographs.get_by_label("What it shows").fill("message on the panel")
    path = phone_picture(tmp_path)
    assert path.stat().st_size > 2 << 20, "more than one piece"
    photographs.get_by_label("Take or choose a photograph").set_input_files(path)
    photographs.get_by_text("saved").wait_for()
    image = photographs.get_by_role("img", name="message on the panel")
    stands = image.element_handle()
    page.wait_for_function(
        "(image) => image.complete && image.naturalHeight > image.naturalWidth", arg=stands
    )
    (picture,) = pictures.named(served.job.state().latest["trips.photographs"].value)
    kept = Image.open(served.job.folder / picture.file)
    assert (
        kept.size == (1536, 2048)
        and b"GPS-HOLDER" not in (served.job.folder / picture.file).read_bytes()
    )
    image.scroll_into_view_if_needed()
    shot(page, "photograph")
    assert stands.evaluate("(image) => image.isConnected"), (
        "the picture is not drawn anew when other cards are renewed"
    )
    photographs.get_by_role("button", name="remove picture 1").click()
    give_reason(page, "another machine")
    image.wait_for(state="detached")
    assert (
        served.job.state().latest["trips.photographs"].value == ""
        and (served.job.folder / picture.file).is_file()
    )


def test_what_is_no_picture_is_refused_in_words(shared: Any, tmp_path: Path) -> None:
    page = shared
    (tmp_path / "readings.jpg").write_text("12.4;6.7", encoding="utf-8")
    photographs = field(page, "Lubrication", "Photographs of this stage")
    photographs.get_by_label("Take or choose a photograph").set_input_files(
        tmp_path / "readings.jpg"
    )
    says(photographs, "NOT SAVED – .*readings.jpg: .*picture")


def test_a_signature_is_drawn_with_name_role_and_statement(shared: Any, served: Any) -> None:
    page = shared
    signature = field(page, "Handover", "Witness's signature, drawn")
    pad = signature.get_by_role("img", name="Box to sign in")
    signature.get_by_role("button", name="accept the signature").click()
    says(signature, "NOT SAVED – .*the name or the role is missing")
    for label, text in (
        ("Name", "B. Witness"),
        ("Role", "owner's witness"),
        ("Statement", "I saw the trips proven"),
    ):
        signature.get_by_label(label).fill(text)
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    for stroke in ([(0.1, 0.5), (0.3, 0.2), (0.4, 0.8)], [(0.5, 0.5), (0.9, 0.4)]):
        places = [(box["x"] + x * box["width"], box["y"] + y * box["height"]) for x, y in stroke]
        page.mouse.move(*places[0])
        page.mouse.down()
        for place in places[1:]:
            page.mouse.move(*place, steps=5)
        page.mouse.up()
    says(signature, "NOT SAVED – accept the signature")
    shot(page, "signature")
    signature.get_by_role("button", name="accept the signature").click()
    signature.get_by_role(
        "img", name="B. Witness, owner's witness: I saw the trips proven"
    ).wait_for()
    (picture,) = pictures.named(served.job.state().latest["handover.witness_signature"].value)
    drawn = (served.job.folder / picture.file).read_text(encoding="utf-8")
    assert drawn.count("M") == 2 and drawn.count(" L") >= 15
    shot(page, "signed")


# --- for everybody --------------------------------------------------------------------------------


def axe() -> str:
    """The checks of axe-core, as npm installs it: a file that STARTKIT_AXE names, or that lies
    beside.
    """
    found = Path(os.environ.get("STARTKIT_AXE", "node_modules/axe-core/axe.min.js"))
    if not found.is_file():
        pytest.skip(
            "axe-core is not here: npm install axe-core, and name its axe.min.js in STARTKIT_AXE"
        )
    return found.read_text(encoding="utf-8")


RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.mark.parametrize(
    ("scheme", "only", "least"),
    [
        ("light", {"type": "tag", "values": RULES}, 20),
        ("dark", {"type": "rule", "values": ["color-contrast"]}, 1),
    ],
)
def test_axe_finds_no_serious_fault(
    shared: Any, scheme: str, only: dict[str, Any], least: int
) -> None:
    page = shared
    source = axe()
    page.emulate_media(color_scheme=scheme)
    page.evaluate("(source) => { (0, eval)(source); }", source)
    # A plot counts as the picture that it is; its thousands of strokes have no names to look at.
    found = page.evaluate(
        "(only) => axe.run({ include: ['body'], exclude: ['svg *'] }, { runOnly: only, resultTypes:"
        " ['violations'] })",
        only,
    )
    assert len(found["passes"]) >= least
    faults = [
        {
            "rule": v["id"],
            "impact": v["impact"],
            "at": [node["target"] for node in v["nodes"]][:3],
            "what": v["nodes"][0]["failureSummary"],
        }
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]
    assert faults == [], json.dumps(faults, indent=1)[:4000]

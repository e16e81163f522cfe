"""Cards: words and marks, limits with their source, and nothing typed becomes markup."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from startkit.desk import cards
from startkit.desk.cards.pieces import el
from startkit.desk.notebook import open_book
from startkit.verdict import Outcome
from tests.desk.sample import STAGES

HOSTILE = "<script>alert('x')</script><img src=x onerror=alert(1)>&amp;\"'</style>$x^2$"


class Reader(HTMLParser):
    """Every element with its attributes, and all text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text += data


def judged(outcome: str, **more: str) -> dict:
    mark = Outcome(outcome).mark
    return {
        "key": "a.b",
        "title": "Item",
        "outcome": outcome,
        "mark": mark,
        "sentence": "Found.",
        "next": "",
        "reading": "",
        "uncertainty": "",
        "limit": "",
        "source": "",
        **more,
    }


@pytest.mark.parametrize("outcome", [o.value for o in Outcome])
def test_every_outcome_stands_as_mark_and_word(outcome):
    text = Reader(cards.verdict(judged(outcome))).text
    assert text.startswith(f"{Outcome(outcome).mark} {outcome}")


def test_a_verdict_shows_reading_limit_source_and_next_step():
    text = Reader(
        cards.verdict(
            judged(
                "fail",
                reading="118.0 kPa",
                uncertainty="± 2.0 kPa",
                limit="≥ 140.0 kPa",
                source="machine sheet: page 3",
                next="Look at the relief valve.",
            )
        )
    ).text
    for part in (
        "118.0 kPa",
        "± 2.0 kPa",
        "limit ≥ 140.0 kPa (machine sheet: page 3)",
        "Next: Look at the relief valve.",
    ):
        assert part in text


def test_nothing_typed_becomes_markup(job, book, save):
    for field in ("maker", "differential", "trace", "seen"):
        save(field, HOSTILE)
    save("maker", "plain", note=HOSTILE)
    book.who = HOSTILE
    save("strokes", HOSTILE, row=1, column="n")
    book.job.record([])
    for shown in (book.stage("oil"), book.front(), book.hold("turn_shaft"), book.handover()):
        html = shown._repr_mimebundle_()[0]["text/html"]
        tags = {tag for tag, _ in Reader(html).elements}
        assert not tags & {"script", "img", "iframe", "a", "link", "object"}
        assert not any(
            name.startswith("on") for _, attributes in Reader(html).elements for name in attributes
        )
        assert html.count("</style>") == 1
    assert (
        "<script>alert('x')</script>"
        in Reader(book.stage("oil")._repr_mimebundle_()[0]["text/html"]).text
    )


def test_attributes_are_escaped_too():
    assert el("p", "x", title='"><b>') == '<p title="&#34;&gt;&lt;b&gt;">x</p>'


def test_decimal_marks_of_a_column_stand_below_one_another():
    column = cards.aligned_column(["12.5", "7", "103.25", "–", "−0.5"])
    assert column == ["12.5\u2007", "7\u2008\u2007\u2007", "103.25", "–", "−0.5\u2007"]


def test_a_table_carries_its_units_in_the_head(book, save):
    save("strokes", "31,5", "s", row=1, column="travel")
    html = book.stage("oil")._repr_mimebundle_()[0]["text/html"]
    assert re.search(
        r'<th scope="col" class="sk-num">Travel time<span class="sk-unit">s</span></th>', html
    )


def test_what_was_entered_names_person_time_and_correction(book, save):
    save("differential", "180", "kPa")
    save("differential", "150", "kPa", note="measured again")
    text = Reader(book.stage("oil")._repr_mimebundle_()[0]["text/html"]).text
    assert "What was entered: 1 item, 1 correction" in text
    assert (
        "oil.differential: 180 kPa → 150 kPa · A. Technician" in text and "measured again" in text
    )


def test_a_hold_point_says_in_its_largest_type_that_it_is_not_clear(book):
    html = book.hold("turn_shaft")._repr_mimebundle_()[0]["text/html"]
    assert re.search(
        r'class="sk-headline"[^>]*><span class="sk-mark" aria-hidden="true">✗</span> NOT CLEAR TO'
        r" TURN THE SHAFT</p>",
        html,
    )
    sizes = {
        name: float(size)
        for name, size in re.findall(
            r"^\.sk (h3|h4) \{ font-size: ([\d.]+)em", cards.style(), re.MULTILINE
        )
    }
    sizes |= {
        name: float(size)
        for name, size in re.findall(
            r"^(\.sk-headline|\.sk-value) \{ font-size: ([\d.]+)em", cards.style(), re.MULTILINE
        )
    }
    assert len(sizes) == 4 and max(sizes, key=sizes.get) == ".sk-headline"


def test_the_front_shows_stages_hold_points_and_what_to_do_next(book, save):
    save("seen", "yes")
    text = Reader(book.front()._repr_mimebundle_()[0]["text/html"]).text
    for part in (
        "CH-9 · Test hall",
        "Do next",
        "NOT CLEAR TO TURN THE SHAFT",
        "1 of 3 settled",
        "Not passed:",
    ):
        assert part in text


def test_the_handover_lists_open_items_corrections_and_a_line_for_each_person(book, save):
    from startkit.desk.messages import answer

    for column, value in (("name", "A. Technician"), ("role", "technician")):
        answer(
            book,
            "setup",
            {
                "id": 1,
                "ask": "save",
                "changes": [{"field": "people", "row": 1, "column": column, "value": value}],
            },
        )
    save("sump", "48", "°C")
    save("sump", "84", "°C", note="typing error")
    part = book.handover().part
    assert [c["why"] for c in part["corrections"]] == ["typing error"]
    assert {v["key"] for v in part["open_items"]} >= {"oil.differential", "oil.seen"}
    assert [s["name"] for s in part["statements"]] == ["A. Technician"]


def test_text_and_ground_differ_enough_to_be_read():
    for colours in themes():
        for ink in ("ink", "soft", "pass", "fail", "unproven", "open", "waived", "na"):
            for ground in ("ground", "raised"):
                assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)
        assert contrast(colours["on-strong"], colours["fail"]) >= 4.5
        assert contrast(colours["caution-ink"], colours["caution"]) >= 4.5
        assert (
            contrast(colours["line"], colours["ground"]) >= 3
        )  # borders of fields: WCAG 2.2, 1.4.11


def themes() -> list[dict[str, str]]:
    blocks = re.findall(r"\{\s*(--ink:.*?)\}", cards.style(), re.DOTALL)
    blocks = [b for b in blocks if "--caution-ink" in b]
    assert len(blocks) == 3
    return [dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block)) for block in blocks]


def contrast(one: str, other: str) -> float:
    """Contrast of two colours by WCAG 2.2: (L1 + 0.05) / (L2 + 0.05)."""
    dark, light = sorted(luminance(colour) for colour in (one, other))
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_the_plain_text_says_what_the_card_says(job, save):
    save("differential", "118", "kPa")
    text = open_book(job.folder, "record", STAGES).stage("oil")._repr_mimebundle_()[0]["text/plain"]
    assert re.search("✗ fail +Oil differential: 118.0 kPa: .*140.0 kPa. Next: .*relief valve", text)

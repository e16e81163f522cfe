"""Collecting: each output becomes one block, or an error that names its cell."""

from __future__ import annotations

import base64

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output, new_raw_cell

from startkit.errors import PaperError
from startkit.paper.printing import outputs, prose, svg
from startkit.procedure.payload import MIME

PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSK+kcQAAAABJRU5ErkJggg=="
)
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10">{}</svg>'


def shown(data: dict, source: str = "show()"):
    return new_notebook(cells=[new_code_cell(source, outputs=[new_output("display_data", data)])])


def only(data: dict) -> dict:
    return outputs.collect(shown(data))[0]


@pytest.mark.parametrize(
    ("data", "block"),
    [
        ({"text/plain": "42"}, "text"),
        ({"text/plain": "<Figure>", "image/png": base64.b64encode(PNG).decode()}, "picture"),
        ({"text/plain": "<SVG>", "image/svg+xml": SVG.format("")}, "drawing"),
        ({"text/plain": "<Markdown>", "text/markdown": "*yes*"}, "prose"),
        ({"text/plain": "<JSON>", "application/json": {"a": 1}}, "text"),
        ({"text/html": "<p>x</p>", "text/plain": "x", MIME: {"part": "front"}}, "front"),
    ],
)
def test_what_can_be_printed_becomes_a_block(data: dict, block: str):
    found = only(data)
    assert (found["block"], found["cell"], found["output"]) == (block, 1, 1)


@pytest.mark.parametrize(
    "data",
    [
        {"text/html": "<table>...</table>", "text/plain": "0 1\n...\n99 100"},
        {"application/javascript": "alert(1)"},
        {"text/html": "<p>"},
        {},
        {"application/vnd.example+json": {}},
        {"image/gif": "R0lGODlh"},
    ],
)
def test_an_output_that_cannot_be_printed_names_its_cell(data: dict):
    with pytest.raises(
        PaperError,
        match=r"^cell 1 \(frame\.head\(\)\): the output \(",
    ):
        outputs.collect(shown(data, "frame.head()\n"))


def test_a_form_mode_notebook_is_refused_even_with_its_part_beside_the_widget():
    data = {outputs.WIDGET: {"model_id": "x"}, MIME: {"part": "front"}, "text/plain": "x"}
    with pytest.raises(
        PaperError, match=r'was run in form mode; run it with mode = "record" before printing\.$'
    ):
        outputs.collect(shown(data))


def test_a_cell_that_failed_is_refused_and_named():
    cell = new_code_cell(
        "1/0",
        outputs=[
            new_output(
                "error", ename="ZeroDivisionError", evalue="division by zero", traceback=["..."]
            )
        ],
    )
    with pytest.raises(PaperError, match=r"^cell 2 \(1/0\): the cell stopped with an error"):
        outputs.collect(new_notebook(cells=[new_markdown_cell("x"), cell]))


def test_a_part_that_says_why_it_could_not_be_shown_stops_the_record():
    with pytest.raises(PaperError, match=r"^cell 1 \(show\(\)\): the job is gone;"):
        outputs.collect(shown({MIME: {"part": "error", "sentence": "the job is gone."}}))


def test_a_part_of_unknown_kind_is_refused():
    with pytest.raises(PaperError, match="'chart'"):
        outputs.collect(shown({MIME: {"part": "chart"}}))


def test_streams_and_raw_cells_are_text_without_colour_codes():
    cell = new_code_cell(
        "x", outputs=[new_output("stream", name="stderr", text="\x1b[31mhot\x1b[0m\n")]
    )
    found = outputs.collect(new_notebook(cells=[new_raw_cell("raw = *text*"), cell]))
    assert [b["text"] for b in found] == ["raw = *text*", "hot"]


def test_every_output_is_counted():
    shown = [
        new_output("stream", name="stdout", text="a"),
        new_output("display_data", {"text/plain": "b"}),
        new_output("execute_result", {"text/plain": "c"}, execution_count=1),
    ]
    notebook = new_notebook(cells=[new_code_cell("x"), new_code_cell("y", outputs=shown)])
    assert outputs.outputs(notebook) == {(2, 1), (2, 2), (2, 3)}
    assert {(b["cell"], b["output"]) for b in outputs.collect(notebook)} == outputs.outputs(
        notebook
    )


def test_a_markdown_cell_about_the_screen_is_left_out():
    cells = [
        new_markdown_cell("Press **Run**", metadata={"tags": ["screen-only"]}),
        new_markdown_cell("Stay"),
    ]
    assert [b["runs"][0]["text"] for b in outputs.collect(new_notebook(cells=cells))] == ["Stay"]


def test_a_damaged_picture_is_refused():
    with pytest.raises(PaperError, match="damaged"):
        only({"image/png": base64.b64encode(b"GIF89a").decode()})


@pytest.mark.parametrize(
    "inside",
    [
        '<image href="/etc/passwd"/>',
        '<image xmlns:xlink="http://www.w3.org/1999/xlink" xlink:href="http://example.org/x.png"/>',
        "<script>1</script>",
        "<foreignObject/>",
        '<rect style="fill:url(http://example.org/x)"/>',
        '<rect fill="url(file:///x)"/>',
        "<style>@import 'x.css'</style>",
        '<use href="other.svg#a"/>',
    ],
)
def test_a_drawing_that_reaches_outside_itself_is_refused(inside: str):
    with pytest.raises(PaperError, match=r"^cell 7: .*outside itself"):
        svg.safe(SVG.format(inside), "cell 7")


def test_a_drawing_with_entities_or_broken_xml_is_refused():
    with pytest.raises(PaperError, match="entities"):
        svg.safe('<!DOCTYPE svg [<!ENTITY a "aaaa">]>' + SVG.format("&a;"), "cell 7")
    with pytest.raises(PaperError, match="not SVG"):
        svg.safe("<svg", "cell 7")


def test_a_drawing_whole_in_itself_is_taken_as_it_is():
    text = SVG.format(
        '<defs><clipPath id="a"/></defs><rect clip-path="url(#a)"/><text>Time [s]</text>'
    )
    assert svg.safe(text, "cell 7") == text


def test_missing_glyphs_in_a_drawing_become_code_points():
    assert "[U+6C34] 5" in svg.safe(SVG.format("<text>水 5</text>"), "cell 7")


def test_colours_become_greys_of_the_same_lightness():
    assert svg.grey("#ffffff #000000 #ff0000 #00ff00") == "#ffffff #000000 #363636 #b6b6b6"


def test_markdown_becomes_data_and_pictures_and_html_stay_words():
    found = prose.blocks(
        "# Head\n\nA *b* **c** `d` [e](http://x/) ![f](file:///g.png) <b>h</b>\n\n1. one\n2."
        " two\n\n> said\n\n```\nx = 1\n```\n\n---\n\n|a|b|\n|-|-|\n|1|2|\n"
    )
    assert [b["kind"] for b in found] == [
        "heading",
        "paragraph",
        "list",
        "quote",
        "code",
        "rule",
        "table",
    ]
    assert (
        "".join(run["text"] for run in found[1]["runs"])
        == "A b c d e (http://x/) [picture: f, file:///g.png] <b>h</b>"
    )
    assert [run["style"] for run in found[1]["runs"] if run["text"] in "bcd"] == [
        "emph",
        "strong",
        "code",
    ]
    assert found[6]["rows"] == [[[{"text": "1", "style": ""}], [{"text": "2", "style": ""}]]]


def test_a_picture_attached_to_a_markdown_cell_is_printed_and_a_missing_one_refused():
    cell = new_markdown_cell("See ![the gauge](attachment:gauge.png) here")
    with pytest.raises(PaperError, match=r"the picture 'gauge\.png' is not attached"):
        outputs.collect(new_notebook(cells=[cell]))
    cell["attachments"] = {"gauge.png": {"image/png": base64.b64encode(PNG).decode()}}
    found = outputs.collect(new_notebook(cells=[cell]))
    assert (
        [b["block"] for b in found] == ["prose", "picture", "prose"]
        and found[1]["bytes"] == PNG
        and found[1]["alt"] == "the gauge"
    )

"""Small files that ask for work without end are refused at once."""

from __future__ import annotations

import base64
import struct
import time
import zlib
from io import BytesIO
from pathlib import Path

import pytest

from startkit.errors import PaperError
from startkit.facts import pictures
from startkit.paper import evidence
from startkit.paper.printing import photographs, prose, svg
from startkit.paper.verifying import page_words

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">'


def png(width: int, height: int, depth: int, colour: int) -> bytes:
    """The beginning of a picture of that size."""
    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    start = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13)
    return start + head + struct.pack(">I", zlib.crc32(head))


def jpeg(width: int, height: int) -> bytes:
    frame = struct.pack(">BHHB", 8, height, width, 3)
    return b"\xff\xd8\xff\xe0\x00\x04ab\xff\xc0" + struct.pack(">H", 17) + frame + bytes(9)


DOUBLED = "".join(
    f'<g id="g{n}"><use href="#g{n + 1}"/><use href="#g{n + 1}"/></g>' for n in range(40)
)
LARGE = base64.b64encode(png(40_000, 40_000, 1, 0)).decode()
DRAWINGS = {
    "a filter": '<filter id="f"><feTurbulence numOctaves="1000000000"/></filter>',
    "a million letters": f"<text>{'a' * 1_000_000}</text>",
    "copies of copies": DOUBLED,
    "a copy of itself": '<g id="a"><use href="#a"/></g>',
    "patterns in patterns": DOUBLED.replace('<use href="#', '<rect fill="url(#').replace(
        '"/>', ')"/>'
    ),
    "elements inside one another": "<g>" * 5000 + "</g>" * 5000,
    "a chain of copies": "".join(f'<g id="c{n}"><use href="#c{n + 1}"/></g>' for n in range(9000)),
    "a picture of 1600 million pixels": f'<image href="data:image/png;base64,{LARGE}"/>',
}


@pytest.mark.parametrize("drawn", DRAWINGS)
def test_a_drawing_without_end_is_refused_at_once(drawn: str) -> None:
    began = time.monotonic()
    with pytest.raises(PaperError):
        svg.safe(f"{HEAD}{DRAWINGS[drawn]}</svg>", "drawing")
    assert time.monotonic() - began < 5


def test_a_drawing_as_plots_are_is_taken() -> None:
    points = "".join(f'<use href="#dot" x="{n}" clip-path="url(#c)"/>' for n in range(5000))
    drawn = f'{HEAD}<clipPath id="c"><rect/></clipPath><path id="dot" d="M0 0"/>{points}</svg>'
    assert svg.safe(drawn, "drawing") == drawn


@pytest.mark.parametrize(
    "content",
    [png(20_000, 20_000, 16, 2), png(40_000, 40_000, 1, 0), jpeg(60_000, 60_000)],
    ids=["16 bit", "1 bit", "JPEG"],
)
def test_a_picture_without_end_is_named_in_its_place(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.png").write_bytes(content)
    field = {"kind": "photo", "value": "a.png", "question": "Plate", "problem": ""}
    files: dict[str, bytes] = {}
    block = photographs.shown({"block": "stage", "entered": [field]}, tmp_path, files, {})
    assert files == {}
    assert "too large" in block["entered"][0]["problem"]


@pytest.mark.parametrize("content", [png(8000, 6000, 8, 2), jpeg(8160, 6120)])
def test_a_picture_as_telephones_make_them_is_drawn(content: bytes) -> None:
    assert pictures.flood(content) == ""


@pytest.mark.parametrize(
    "text",
    [
        "**a " * 20_000 + " b**" * 20_000,
        "[" * 100_000,
        "> " * 50_000 + "x",
        "`" * 3000 + "a`b" * 2000,
    ],
    ids=["strong", "brackets", "quotes", "ticks"],
)
def test_markdown_without_end_is_printed_as_it_was_typed(text: str) -> None:
    began = time.monotonic()
    assert prose.blocks(text)
    assert time.monotonic() - began < 5


def test_the_longest_markdown_that_is_read_takes_little_time() -> None:
    began = time.monotonic()
    prose.blocks("**a " * (prose.MOST_SIGNS // 4) + " b**" * (prose.MOST_SIGNS // 4))
    assert time.monotonic() - began < 5


def table(size: str, width: str = "[1 0 0]", content: bytes = b"", more: str = "") -> bytes:
    """A PDF whose table of objects is a stream."""
    start = b"%PDF-1.7\n1 0 obj\n<</Type/Catalog>>\nendobj\n"
    head = f"<</Type /XRef /W {width} {size} /Root 1 0 R {more} /Length {len(content)}>>"
    stream = f"2 0 obj\n{head}\nstream\n".encode() + content + b"\nendstream\nendobj\n"
    return start + stream + f"startxref\n{len(start)}\n%%EOF\n".encode()


def tree(deep: int) -> bytes:
    """A PDF whose list of attached files branches twice at every step."""
    objects = ["<</Type/Catalog/Names 2 0 R>>", "<</EmbeddedFiles 3 0 R>>"]
    for number in range(4, deep + 4):
        objects.append(f"<</Kids [{number} 0 R {number} 0 R]>>")
    written, places = b"%PDF-1.7\n", []
    for number, each in enumerate([*objects, "<</Names []>>"], start=1):
        places.append(len(written))
        written += f"{number} 0 obj\n{each}\nendobj\n".encode()
    end = len(written)
    rows = "".join(f"{place:010d} 00000 n \n" for place in places)
    written += f"xref\n0 {len(places) + 1}\n0000000000 65535 f \n{rows}".encode()
    trailer = f"trailer\n<</Size {len(places) + 1}/Root 1 0 R>>\nstartxref\n{end}\n%%EOF\n"
    return written + trailer.encode()


PACKED = zlib.compress(bytes(90_000_000))
ENDLESS = {
    "a thousand million objects": table("/Size 1000000000"),
    "the same, its name in codes": table("/S#69ze 1000000000"),
    "the same, after a remark": table("/Size %x\n1000000000"),
    "a long index": table("/Size 3 /Index [0 1000000000]"),
    "entries of no width": table("/Size 999999", "[0 0 0]"),
    "a long table": table("/Size 999999", "[1 4 4]", PACKED, "/Filter/FlateDecode"),
    "a tree of names": tree(30),
    "streams and streams": b"%PDF-1.7\n" + b"stream\n" * 6_000_000,
}


def pages(deep: int) -> bytes:
    """A PDF with one page that draws a form twice, which draws another twice, and so on."""
    import pikepdf

    made = pikepdf.new()
    form = made.make_stream(b"BT (x) Tj ET")
    for _ in range(deep + 1):
        within = pikepdf.Dictionary(X=form)
        form = made.make_stream(
            b"/X Do /X Do",
            Type=pikepdf.Name.XObject,
            Subtype=pikepdf.Name.Form,
            BBox=[0, 0, 9, 9],
            Resources=pikepdf.Dictionary(XObject=within),
        )
    page = made.add_blank_page(page_size=(99, 99))
    page.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(X=form))
    page.Contents = made.make_stream(b"/X Do")
    out = BytesIO()
    made.save(out)
    return out.getvalue()


def test_pages_that_draw_one_another_without_end_are_given_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(page_words, "LONGEST", 0.5)
    monkeypatch.setattr(page_words, "TIMES", 0)
    with pytest.raises(PaperError, match="more than can be read"):
        page_words.of_both(pages(0), pages(34))


@pytest.mark.parametrize("name", ENDLESS)
def test_a_pdf_without_end_is_refused_soon(name: str) -> None:
    began = time.monotonic()
    with pytest.raises(PaperError):
        evidence.of_pdf(ENDLESS[name])
    assert time.monotonic() - began < 5

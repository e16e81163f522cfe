"""Tags without what follows from where they stand: the file is smaller, and everything else is as
it was.
"""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from startkit.paper.printing import slimming, typesetting
from startkit.paper.printing.slimming import slim
from tests.paper.signing import printed, real_job


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, bytes]:
    """A record as Typst writes it, and made smaller."""
    job = real_job(tmp_path_factory.mktemp("slim") / "CH-3 start-up")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(typesetting, "slim", lambda content: content)
        whole = printed(job).read_bytes()
    return whole, slim(whole)


def elements(pdf: pikepdf.Pdf) -> list[pikepdf.Dictionary]:
    """Every tag, in order, whether or not it says that it is one."""
    return [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and "/S" in o and "/P" in o]


def structure(content: bytes) -> list[tuple[str, list[str]]]:
    """Every tag with the owners of its attributes, in order."""
    pdf = pikepdf.open(io.BytesIO(content))
    return [
        (
            str(e.S),
            sorted(
                str(a.O) for a in e.get("/A", []) if "/BorderColor" not in a and not is_spare(a)
            ),
        )
        for e in elements(pdf)
    ]


def children(content: bytes) -> list[list[Any]]:
    """What each tag holds: numbers of marked content, and objects."""
    pdf = pikepdf.open(io.BytesIO(content))
    return [
        [
            kid.objgen if isinstance(kid, pikepdf.Object) else int(kid)
            for kid in kids(each.get("/K", pikepdf.Array()))
        ]
        for each in elements(pdf)
    ]


def kids(held: Any) -> list[Any]:
    return list(held) if isinstance(held, pikepdf.Array) else [held]


def is_spare(attribute: pikepdf.Dictionary) -> bool:
    """One heading and nothing else: that of the column."""
    return set(attribute.keys()) == {"/O", "/Headers"} and len(attribute.Headers) == 1


def attributes(content: bytes, kind: str) -> list[list[dict[str, str]]]:
    """Each cell of the kind with its attributes as texts."""
    pdf = pikepdf.open(io.BytesIO(content))  # held while its objects are looked at
    found = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and o.get("/S") == kind]
    return [
        [
            {"spare": str(is_spare(a)), **{key: str(value) for key, value in a.items()}}
            for a in cell.get("/A", [])
        ]
        for cell in found
    ]


def test_the_file_is_smaller_and_sound(both):
    whole, small = both
    assert len(small) < 0.85 * len(whole)
    assert pikepdf.open(io.BytesIO(small)).check_pdf_syntax() == []


def test_every_tag_and_every_other_attribute_stays(both):
    whole, small = both
    assert structure(small) == structure(whole)
    assert any("/Table" in owners for kind, owners in structure(small) if kind == "/TD"), (
        "of cells that span columns"
    )


def test_every_tag_holds_what_it_held(both):
    whole, small = both
    assert children(small) == children(whole)
    assert {len(held) for held in children(whole)} >= {0, 1, 2, 3}


def test_no_tag_says_that_it_is_one_and_an_only_child_stands_alone(both):
    whole, small = both
    assert whole.count(b"/Type/StructElem") > 1000 and b"/StructElem" not in small
    alone = re.compile(rb"\n<<[^\n]*/S/\w+/P \d+ 0 R/K ?\[\d+(?: 0 R)?\]")
    assert len(alone.findall(whole)) > 300 and not alone.findall(small)


def test_no_cell_keeps_its_rules_or_the_one_heading_of_its_column(both):
    whole, small = both
    assert b"/O/Layout/BorderColor" in whole and b"/O/Layout/BorderColor" not in small
    spare = [
        [a for cell in attributes(content, "/TD") for a in cell if a["spare"] == "True"]
        for content in both
    ]
    assert len(spare[0]) > 100 and not spare[1]


def test_every_heading_says_that_it_is_its_columns(both):
    headings = attributes(both[1], "/TH")
    assert len(headings) > 20 and all(
        any(a.get("/Scope") == "/Column" for a in heading) for heading in headings
    )


def test_pages_attachments_and_metadata_are_the_same_bytes(both):
    before, after = (pikepdf.open(io.BytesIO(content)) for content in both)
    for one, other in zip(before.pages, after.pages, strict=True):
        assert one.Contents.read_bytes() == other.Contents.read_bytes()
    for name in before.attachments:
        assert (
            before.attachments[name].get_file().read_bytes()
            == after.attachments[name].get_file().read_bytes()
        )
    assert before.Root.Metadata.read_bytes() == after.Root.Metadata.read_bytes()


def test_once_is_enough(both):
    assert slim(both[1]) == both[1]


@pytest.mark.parametrize(
    "content",
    [b"", b"%PDF-1.7\n", b"\nxref\n0 1\n0000000000 65535 f \ntrailer\n<<>>\nstartxref\n0\n%%EOF"],
)
def test_what_is_not_written_as_expected_is_left_alone(content: bytes):
    assert slim(content) == content


def test_a_table_that_would_not_fit_is_not_written(both, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(slimming, "_in_place", lambda content: False)
    assert slim(both[0]) == both[0]


def test_what_a_person_types_is_never_cut(tmp_path: Path):
    from startkit.facts.journal import Entry
    from startkit.paper import evidence
    from tests.paper.signing import READINGS

    typed = (
        "<</O/Layout/BorderColor[0]>> /Suspects false 9 0 obj <</Type/StructElem/S/TD/P 1 0"
        " R/K[3]>>"
    )
    job = real_job(
        tmp_path / "CH-3 start-up", [*READINGS, Entry("setup.people.4.name", typed, who="x")]
    )
    path = printed(job)
    assert evidence.of_pdf(path.read_bytes()).entries[-1].value == typed
    assert pikepdf.open(path).check_pdf_syntax() == []

"""A picture that an entry names goes with the record to every computer, or is refused when it is
entered.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from startkit.errors import ReadingError
from startkit.facts import named_pictures, pictures
from startkit.paper.verifying import job_import

# One letter or more of many scripts, signs of telephones among them.
LETTERS = (
    "aZ9", "é", "e\u0301", "ß", "ł", "Ж", "Ω", "א", "صورة", "हिन्दी", "ไทย", "한", "漢字", "かな",
    "Ꮳ", "ⵣ", "ߒ", "ꯀ", "𞤀", "😀", "👩\u200d🔧", "🇳🇴", "a b",
    "a  b", "#1", "%20", "a,b", "a'b", "(1)", "½",
)  # fmt: skip
REFUSED = (
    "a.heic", "IMG_1.HEIF", "a.webp", "a.gif", "a.tif", "a.dng", "a.mov", "a.pdf", "photo", "a.txt",
    "12:30.jpg", ".a.jpg", ".pics/a.jpg", "../a.jpg", "/tmp/a.jpg", "a/../b.jpg", "a\\b.jpg",
    "a?.jpg", "con.jpg", "LPT1.png", "x" * 300 + ".jpg", "é" * 120 + ".jpg",
    "a\u202egpj.jpg", "a\x07.jpg", "a\ud83d.jpg", "a./b.jpg", "a /b.jpg",
    "", ".", "machine.toml", "job.db", "a|b.jpg", "<b>.jpg",
)  # fmt: skip


def picture(mode: str = "RGB", form: str = "JPEG") -> bytes:
    out = BytesIO()
    Image.new(mode, (8, 6)).save(out, form)
    return out.getvalue()


@pytest.mark.parametrize("letters", LETTERS)
@pytest.mark.parametrize("ending", [".jpg", ".JPG", ".jpeg", ".png", ".jfif"])
def test_a_name_in_any_script_comes_back_from_a_record(letters: str, ending: str) -> None:
    name = f"photos of {letters}/{letters}{ending}"
    assert named_pictures.name_fault(name) == ""
    assert str(job_import._place(f"pictures/{name}", picture())) == name


@pytest.mark.parametrize("name", REFUSED)
def test_a_name_that_some_computer_refuses_is_refused_at_both_ends(
    tmp_path: Path, name: str
) -> None:
    with pytest.raises(ReadingError, match="file"):
        named_pictures.refuse(tmp_path, "lube.photographs", name or "|")
    assert job_import._place(f"pictures/{name}", picture()) is None


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (picture(), ""),
        (picture(form="PNG"), ""),
        (picture("L"), ""),
        (picture("CMYK"), "CMYK"),
        (b"\0\0\0\x18ftypheic", "not a PNG, JPEG"),
        (picture(form="WEBP"), "not a PNG, JPEG"),
        (b"", "not a PNG, JPEG"),
        (None, "no such file"),
    ],
)
def test_what_cannot_be_printed_is_refused_when_it_is_entered(
    tmp_path: Path, content: bytes | None, said: str
) -> None:
    if content is not None:
        (tmp_path / "IMG_1.JPG").write_bytes(content)
    if not said:
        named_pictures.refuse(tmp_path, "lube.photographs", "IMG_1.JPG | plate")
        return
    with pytest.raises(ReadingError, match=said):
        named_pictures.refuse(tmp_path, "lube.photographs", "IMG_1.JPG | plate")


def test_a_file_larger_than_a_picture_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pictures, "LARGEST", 10)
    (tmp_path / "a.jpg").write_bytes(picture())
    content, fault = named_pictures.content(tmp_path, "a.jpg")
    assert content == b"" and "too large" in fault


def test_only_sentences_on_pictures_that_are_not_carried_are_left_out() -> None:
    there = named_pictures.content(Path("/nowhere"), "a.jpg")[1]
    large = "The picture has 20000 × 20000 pixels: too large to be drawn and is not printed;"
    said = f"{there} {named_pictures.NOT_PRINTED} {large} put a smaller one there."
    assert named_pictures.without_uncarried(said) == ""
    assert named_pictures.without_uncarried(f"{there} All is well.") == "All is well."

"""Pictures of a job: upright, small, without the place where they were taken; signatures as
drawings of their strokes.
"""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import ExifTags, Image

from startkit.errors import ReadingError
from startkit.facts import pictures
from startkit.facts.pictures import Picture

SECRET = b"GPS-HOLDER"


def camera(
    width: int = 4000, height: int = 3000, orientation: int = 1, kind: str = "JPEG"
) -> bytes:
    """What a phone makes: 12 million pixels, red above and blue below as the sensor saw them, with
    place and time.
    """
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[: height // 2, :, 0] = 255
    pixels[height // 2 :, :, 2] = 255
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSProcessingMethod] = SECRET
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = "2026:11:20 10:12:13"
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, kind, exif=exif)
    return out.getvalue()


def kept(
    folder: Path, content: bytes, name: str = "IMG_2041.jpg"
) -> tuple[Image.Image, Picture, str]:
    picture, note = pictures.keep_photograph(
        folder, content, name, "trips.photographs", "first-out message"
    )
    return Image.open(folder / picture.file), picture, note


def test_a_photograph_of_twelve_million_pixels_is_kept_at_the_size_that_paper_needs(tmp_path: Path):
    image, picture, _ = kept(tmp_path, camera())
    assert image.size == (2048, 1536) and image.format == "JPEG"
    assert picture.caption == "first-out message" and picture.file.startswith(
        "photographs/trips-photographs-"
    )


@pytest.mark.parametrize(
    ("orientation", "red"), [(1, "top"), (3, "bottom"), (6, "right"), (8, "left")]
)
def test_a_photograph_stands_upright_however_the_phone_was_held(
    tmp_path: Path, orientation: int, red: str
):
    image, _, _ = kept(tmp_path, camera(400, 300, orientation))
    width, height = image.size
    assert (width > height) is (orientation in (1, 3))
    places = {
        "top": (width // 2, 5),
        "bottom": (width // 2, height - 6),
        "left": (5, height // 2),
        "right": (width - 6, height // 2),
    }
    seen = {
        side
        for side, place in places.items()
        if image.getpixel(place)[0] > 200 and image.getpixel(place)[2] < 60
    }
    opposite = {"top": "bottom", "bottom": "top", "left": "right", "right": "left"}[red]
    assert red in seen and opposite not in seen


def test_the_place_where_it_was_taken_is_in_the_original_and_not_in_what_is_kept(tmp_path: Path):
    content = camera(400, 300)
    image, picture, _ = kept(tmp_path, content)
    assert SECRET in content and SECRET not in (tmp_path / picture.file).read_bytes()
    assert dict(image.getexif()) == {} and "exif" not in image.info


def test_the_note_tells_name_size_time_and_digest_of_the_original(tmp_path: Path):
    content = camera(400, 300)
    note = kept(tmp_path, content, "C:/camera/IMG_2041.jpg")[2]
    assert (
        note
        == "original IMG_2041.jpg, 400 × 300 pixels, taken 2026-11-20 10:12 by the camera's clock,"
        f" sha256 {hashlib.sha256(content).hexdigest()}"
    )


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_other_kinds_of_picture_are_taken_too(tmp_path: Path, kind: str):
    assert kept(tmp_path, camera(400, 300, kind=kind))[0].format == "JPEG"


def test_what_is_transparent_is_printed_on_white(tmp_path: Path):
    out = io.BytesIO()
    Image.new("RGBA", (40, 30), (0, 0, 0, 0)).save(out, "PNG")
    assert kept(tmp_path, out.getvalue())[0].getpixel((20, 15)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "picture"),
        (b"%PDF-1.7", "picture"),
        (b"<svg onload='x()'/>", "picture"),
        (camera(400, 300)[:3000], "damaged"),
        (b"\xff\xd8\xff" + bytes(100), "picture"),
    ],
)
def test_what_is_no_picture_is_refused_in_one_sentence_and_nothing_is_written(
    tmp_path: Path, content: bytes, why: str
):
    with pytest.raises(ReadingError, match=why) as refused:
        kept(tmp_path, content)
    assert "IMG_2041.jpg" in str(refused.value) and "\n" not in str(refused.value)
    assert not (tmp_path / "photographs").exists()


def test_a_file_that_claims_more_pixels_than_any_camera_makes_is_not_unpacked(tmp_path: Path):
    out = io.BytesIO()
    Image.new("1", (30_000, 30_000)).save(out, "PNG")
    with pytest.raises(ReadingError, match=r"million pixels|picture"):
        kept(tmp_path, out.getvalue())


def test_a_value_names_one_picture_on_a_line_with_what_it_shows():
    value = pictures.with_another("photographs/a.jpg | nameplate", Picture("photographs/b.jpg"))
    assert pictures.named(value) == [
        Picture("photographs/a.jpg", "nameplate"),
        Picture("photographs/b.jpg"),
    ]
    assert (
        pictures.with_another(value, Picture("photographs/b.jpg", "the other side")).count("b.jpg")
        == 1
    )


def test_one_picture_more_is_no_correction_and_one_less_is():
    one, two = "photographs/a.jpg", "photographs/a.jpg\nphotographs/b.jpg"
    assert pictures.is_addition(one, two)
    assert (
        not pictures.is_addition(two, one)
        and not pictures.is_addition("45", "45")
        and not pictures.is_addition("", one)
    )


# --- signatures --------------------------------------------------------------------------------

STROKES = [[[10, 100], [120.5, 40], [240, 160]], [[300, 100], [700, 100]]]


def test_a_drawn_signature_is_kept_as_its_strokes(tmp_path: Path):
    picture, note = pictures.keep_signature(
        tmp_path, STROKES, "handover.witness_signature", "A. Witness, owner's witness: seen"
    )
    content = (tmp_path / picture.file).read_bytes()
    assert (
        picture.caption == "A. Witness, owner's witness: seen"
        and hashlib.sha256(content).hexdigest() in note
    )
    path = ElementTree.fromstring(content).find("{http://www.w3.org/2000/svg}path").get("d")
    assert (
        path == "M10.0 100.0 L120.5 40.0 L240.0 160.0 M300.0 100.0 L600.0 100.0"
    )  # what left the box ends at its edge


@pytest.mark.parametrize("strokes", [[], [[[5, 5]]], [[[5, 5], [9, 9]]]])
def test_a_dot_is_no_signature(tmp_path: Path, strokes: list):
    with pytest.raises(ReadingError, match="no signature"):
        pictures.keep_signature(tmp_path, strokes, "x", "")


@pytest.mark.parametrize(
    "strokes",
    [
        "abc",
        [[["<script>", 1], [2, 3]]],
        [[[float("nan"), 1], [500, 3]]],
        [[[1, 2, 3]]],
        [[[i % 600, i % 200] for i in range(20_001)]],
        7,
    ],
)
def test_what_is_not_strokes_never_becomes_a_drawing(tmp_path: Path, strokes):
    with pytest.raises(ReadingError, match="cannot be read"):
        pictures.keep_signature(tmp_path, strokes, "x", "")


# --- looking -----------------------------------------------------------------------------------


def test_a_small_copy_is_made_for_the_screen(tmp_path: Path):
    _, picture, _ = kept(tmp_path, camera())
    media, content = pictures.thumbnail(tmp_path, picture.file)
    assert (
        media == "image/jpeg"
        and max(Image.open(io.BytesIO(content)).size) == 320
        and len(content) < 40_000
    )


@pytest.mark.parametrize("name", ["../outside.jpg", "/etc/hostname", "gone.jpg", "", "a\0b"])
def test_only_files_of_the_job_are_shown(tmp_path: Path, name: str):
    job = tmp_path / "job"
    job.mkdir()
    (tmp_path / "outside.jpg").write_bytes(camera(40, 30))
    with pytest.raises(ReadingError, match="no such file in the job's folder"):
        pictures.thumbnail(job, name)

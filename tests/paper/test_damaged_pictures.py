"""A damaged picture does not cost the record: its place says so, and the record verifies."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

from PIL import Image

from startkit.facts.journal import Entry
from startkit.paper import evidence
from startkit.paper.verifying import verification
from tests.paper import signing
from tests.paper.signing import TECHNICIAN, printed, real_job, signed
from tests.paper.test_outputs import PNG

LISTED = (
    'name = "own"\ntitle = "Own list"\nbefore = "hand_over"\n[[items]]\nname ='
    ' "photo"\nquestion = "Photograph of the plate"\nevidence = ["photograph"]\n'
)


def jpeg(mode: str) -> bytes:
    out = BytesIO()
    Image.new(mode, (8, 6)).save(out, "JPEG")
    return out.getvalue()


PICTURES = {
    "photos/a.png": PNG[:40],
    "photos/b.jpg": b"\xff\xd8\xff\xe0" + bytes(500),
    "photos/c.png": PNG,
    "photos/IMG_0001.JPG": jpeg("RGB"),
    "photos/plate 😀 照片 e\u0301.jfif": jpeg("L"),
    "a telephone's picture.jpg": b"\0\0\0\x18ftypheic" + bytes(300),
    "press.jpg": jpeg("CMYK"),
    "script.svg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>',
    ".hidden.jpg": jpeg("RGB"),
    "12:30.jpg": jpeg("RGB"),
    "noending": jpeg("RGB"),
    "IMG_0002.HEIC": b"\0\0\0\x18ftypheic" + bytes(300),
    "gone.jpg": None,
}


def test_no_picture_that_cannot_be_printed_costs_the_record_or_its_validity(
    tmp_path: Path,
) -> None:
    named = "\n".join(PICTURES)
    job = real_job(
        tmp_path / "CH-3 start-up",
        [*signing.READINGS, Entry("own.photo_photo", named, who=TECHNICIAN)],
    )
    for name, content in {"checklists/own.toml": LISTED.encode(), **PICTURES}.items():
        if content is not None:
            (job.folder / name).parent.mkdir(exist_ok=True)
            (job.folder / name).write_bytes(content)
    path = signed(printed(signing.Job(job.folder)))
    found = verification.verify(path, beside=False)
    assert found.valid, found.lines()
    carried = evidence.of_pdf(path.read_bytes())
    assert {name for name in carried.files if name.startswith("pictures/")} == {
        f"pictures/{name}" for name in list(PICTURES)[:5]
    }
    stage = next(block for block in carried.record["body"] if block.get("stage") == "own")
    problem = next(field["problem"] for field in stage["entered"] if field["kind"] == "photo")
    for said in ("CMYK", "not a PNG, JPEG", "rename it", "no such file"):
        assert said in problem

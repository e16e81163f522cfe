"""A damaged picture does not cost the record: its place says so, and the record verifies."""

from __future__ import annotations

from pathlib import Path

from startkit.facts.journal import Entry
from startkit.paper.verifying import verification
from tests.paper import signing
from tests.paper.signing import TECHNICIAN, printed, real_job, signed
from tests.paper.test_outputs import PNG

LISTED = (
    'name = "own"\ntitle = "Own list"\nbefore = "hand_over"\n[[items]]\nname ='
    ' "photo"\nquestion = "Photograph of the plate"\nevidence = ["photograph"]\n'
)


def test_a_damaged_picture_does_not_cost_the_record(tmp_path: Path) -> None:
    named = "photos/a.png\nphotos/b.jpg\nphotos/c.png"
    job = real_job(
        tmp_path / "CH-3 start-up",
        [*signing.READINGS, Entry("own.photo_photo", named, who=TECHNICIAN)],
    )
    for name, content in {
        "checklists/own.toml": LISTED.encode(),
        "photos/a.png": PNG[:40],
        "photos/b.jpg": b"\xff\xd8\xff\xe0" + bytes(500),
        "photos/c.png": PNG,
    }.items():
        (job.folder / name).parent.mkdir(exist_ok=True)
        (job.folder / name).write_bytes(content)
    found = verification.verify(signed(printed(signing.Job(job.folder))), beside=False)
    assert found.valid, found.lines()

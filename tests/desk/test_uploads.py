"""Photographs and signatures that a form sends: in the job's folder and journal before the answer
says saved.
"""

from __future__ import annotations

import base64
from dataclasses import replace

import pytest

from startkit.desk.messages import answer
from startkit.desk.notebook import open_book
from startkit.facts import pictures
from startkit.facts.job import Job
from startkit.procedure import payload
from startkit.procedure.stage import Field
from tests.desk.sample import STAGES
from tests.facts.test_pictures import STROKES, camera

PICTURED = {
    **STAGES,
    "oil": replace(
        STAGES["oil"],
        fields=(
            *STAGES["oil"].fields,
            Field("photo", "Photograph of the gauge", "photo", required=False),
            Field("signed", "Signed by the witness", "signature", required=False),
        ),
    ),
}
PIECE = 1 << 16


@pytest.fixture
def pictured(job: Job):
    opened = open_book(job.folder, "form", PICTURED)
    answer(opened, "oil", {"id": 1, "ask": "desk", "who": "A. Technician"})
    yield opened
    assert opened.settle()


def send(book, content: bytes, upload: str = "u1", field: str = "photo", **more: object) -> dict:
    for piece in range(0, len(content), PIECE):
        told = answer(
            book,
            "oil",
            {
                "id": 2,
                "ask": "piece",
                "upload": upload,
                "piece": piece // PIECE,
                "bytes": memoryview(content)[piece : piece + PIECE],
            },
        )
        if told["tell"] != "held":
            return told
    return answer(
        book,
        "oil",
        {
            "id": 3,
            "ask": "picture",
            "field": field,
            "upload": upload,
            "file": "IMG_1.jpg",
            "caption": "at 10:12",
            **more,
        },
    )


def test_a_photograph_sent_in_pieces_is_in_the_folder_and_in_the_journal(pictured):
    reply = send(pictured, camera(2000, 1500))
    entry = pictured.job.state().latest["oil.photo"]
    (picture,) = pictures.named(entry.value)
    assert reply["tell"] == "saved" and reply["states"]["photo"]["value"] == entry.value
    assert (pictured.job.folder / picture.file).is_file() and picture.caption == "at 10:12"
    assert entry.who == "A. Technician" and "original IMG_1.jpg" in entry.note


def test_a_second_photograph_stands_beside_the_first_and_corrects_nothing(pictured):
    send(pictured, camera(400, 300))
    send(pictured, camera(300, 400), "u2")
    part = payload.stage_part(pictured.assessment(), "oil")
    field = next(f for f in part["entered"] if f["name"] == "photo")
    assert len(pictures.named(field["value"])) == 2 and field["corrections"] == []
    assert (
        payload.handover_part(pictured.assessment())["corrections"] == []
        if "handover" in pictured.stages
        else True
    )


def test_taking_a_picture_away_is_a_correction_with_a_reason_and_the_file_stays(pictured):
    send(pictured, camera(400, 300))
    entry = pictured.job.state().latest["oil.photo"]
    change = {
        "id": 4,
        "ask": "save",
        "changes": [{"field": "photo", "value": "", "seq": entry.seq}],
    }
    assert answer(pictured, "oil", change)["needs"] == "reason"
    assert answer(pictured, "oil", {**change, "note": "the wrong gauge"})["tell"] == "saved"
    assert pictured.job.state().latest["oil.photo"].value == ""
    assert (pictured.job.folder / pictures.named(entry.value)[0].file).is_file()


def test_a_signature_carries_name_role_and_statement(pictured):
    reply = answer(
        pictured,
        "oil",
        {
            "id": 5,
            "ask": "picture",
            "field": "signed",
            "strokes": STROKES,
            "name": "A. Witness",
            "role": "owner's witness",
            "statement": "I saw it",
        },
    )
    (picture,) = pictures.named(pictured.job.state().latest["oil.signed"].value)
    assert reply["tell"] == "saved" and picture.caption == "A. Witness, owner's witness: I saw it"


@pytest.mark.parametrize(
    ("missing", "why"),
    [
        ({"name": ""}, "name or the role"),
        ({"role": " "}, "name or the role"),
        ({"strokes": []}, "no signature"),
    ],
)
def test_a_signature_without_hand_name_or_role_is_refused(pictured, missing: dict, why: str):
    message = {
        "id": 5,
        "ask": "picture",
        "field": "signed",
        "strokes": STROKES,
        "name": "A. Witness",
        "role": "witness",
        **missing,
    }
    refused = answer(pictured, "oil", message)
    assert (
        refused["tell"] == "refused"
        and why in refused["why"]
        and "oil.signed" not in pictured.job.state().latest
    )


def test_a_photographed_signature_is_taken_too(pictured):
    send(pictured, camera(400, 300), field="signed")
    assert pictured.job.state().latest["oil.signed"].value.startswith("signatures/oil-signed-")


@pytest.mark.parametrize("field", ["differential", "nothing"])
def test_a_field_for_something_else_takes_no_picture(pictured, field: str):
    assert send(pictured, camera(400, 300), field=field)["tell"] == "refused"


def test_a_picture_of_which_a_piece_is_missing_is_refused(pictured):
    answer(
        pictured, "oil", {"id": 2, "ask": "piece", "upload": "u1", "piece": 0, "bytes": b"\xff\xd8"}
    )
    refused = answer(
        pictured, "oil", {"id": 2, "ask": "piece", "upload": "u1", "piece": 2, "bytes": b"\xff"}
    )
    assert refused["tell"] == "refused" and "did not arrive" in refused["why"]
    assert (
        "did not arrive"
        in answer(
            pictured,
            "oil",
            {"id": 3, "ask": "picture", "field": "photo", "upload": "u1", "file": "x.jpg"},
        )["why"]
    )


def test_uploads_that_were_never_finished_do_not_fill_the_memory(pictured):
    for n in range(10):
        answer(
            pictured,
            "oil",
            {"id": n, "ask": "piece", "upload": f"u{n}", "piece": 0, "bytes": b"x" * 100},
        )
    assert (
        answer(
            pictured,
            "oil",
            {"id": 11, "ask": "picture", "field": "photo", "upload": "u0", "file": "x.jpg"},
        )["tell"]
        == "refused"
    )
    pictured.uploads.add("big", 0, bytes(pictures.LARGEST))
    told = answer(
        pictured, "oil", {"id": 12, "ask": "piece", "upload": "big", "piece": 1, "bytes": b"x"}
    )
    assert told["tell"] == "refused" and "too large" in told["why"]


def test_a_folder_that_cannot_be_written_is_said_and_nothing_is_in_the_journal(
    pictured, monkeypatch
):
    monkeypatch.setattr(
        pictures.safe_files,
        "write",
        lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")),
    )
    refused = send(pictured, camera(400, 300))
    assert (
        refused["tell"] == "refused"
        and "No space left" in refused["why"]
        and "oil.photo" not in pictured.job.state().latest
    )


def test_the_form_shows_a_small_copy_and_says_where_there_is_none(pictured):
    send(pictured, camera(2000, 1500))
    (picture,) = pictures.named(pictured.job.state().latest["oil.photo"].value)
    address = answer(pictured, "oil", {"id": 6, "ask": "look", "file": picture.file})["address"]
    assert (
        address.startswith("data:image/jpeg;base64,")
        and len(base64.b64decode(address.split(",")[1])) < 40_000
    )
    assert (
        "no such file"
        in answer(pictured, "oil", {"id": 7, "ask": "look", "file": "../job.db"})["why"]
    )

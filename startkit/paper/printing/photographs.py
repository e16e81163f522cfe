"""Photographs and drawn signatures: files of the job's folder, printed with their stage."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.facts import named_pictures, pictures
from startkit.facts.digests import sha256
from startkit.facts.file_types import PICTURE_STARTS
from startkit.paper.printing import svg

KINDS = tuple(pictures.FOLDERS)


def shown(
    block: dict[str, Any], folder: Path, files: dict[str, bytes], originals: dict[str, bytes]
) -> dict[str, Any]:
    """A stage with its pictures; their bytes are put into `files` as the page names them, into
    `originals` as the job's folder does.

    What cannot be printed is marked next to its name.
    """
    if block["block"] != "stage":
        return block
    shown_, entered = [], []
    for field in block["entered"]:
        if field["kind"] in KINDS and field["value"]:
            found = [
                _picture(field, each, folder, files, originals)
                for each in pictures.named(field["value"])
            ]
            shown_ += [picture for picture, _ in found if picture]
            faults = " ".join(dict.fromkeys(fault for _, fault in found if fault))
            field = {**field, "problem": field["problem"] or faults, "shown": _counted(found)}
        entered.append(field)
    return {**block, "entered": entered, "pictures": shown_}


def mark(
    folder: Path, files: dict[str, bytes], originals: dict[str, bytes]
) -> dict[str, object] | None:
    """The company's mark, if there is one in the job's folder; it is at the top of the first page.

    Raises
    ------
    PaperError
        It is no picture that can be printed.
    """
    name = next((name for name in pictures.MARKS if pictures.within(folder, name)), "")
    if not name:
        return None
    found, fault = _picture(
        {"question": "Mark of the company"}, pictures.Picture(name), folder, files, originals
    )
    if found is None:
        raise PaperError(
            f"the mark cannot be printed: {fault}",
            name,
            "put a PNG, JPEG or plain SVG picture there, or remove it",
        )
    return found


def _counted(found: list[tuple[dict[str, object] | None, str]]) -> str:
    """Text for the table of entries, where there is no room for the pictures."""
    printed = sum(picture is not None for picture, _ in found)
    return (
        f"{printed} {'picture' if printed == 1 else 'pictures'} below" if printed else "not printed"
    )


def _picture(
    field: dict[str, object],
    named: pictures.Picture,
    folder: Path,
    files: dict[str, bytes],
    originals: dict[str, bytes],
) -> tuple[dict[str, object] | None, str]:
    content, fault = named_pictures.content(folder, named.file)
    if fault:
        return None, fault
    caption = named.caption or named.file
    words = {
        "alt": f"{field['question']}: {caption}",
        "caption": f"{field['question']}: {caption}",
        "sha256": sha256(content),
    }
    suffix = next(
        (suffix for magic, suffix in PICTURE_STARTS.items() if content.startswith(magic)), ""
    )
    if suffix:
        name = f"photograph-{len(files) + 1}.{suffix}"
        files[name] = originals[named.file] = content
        return {**words, "file": name}, ""
    try:
        drawn = svg.safe(content.decode("utf-8"), named.file)
        originals[named.file] = content
        return {**words, "svg": drawn}, ""
    except (UnicodeDecodeError, PaperError):
        return None, named_pictures.NOT_PRINTED


def as_printed(blocks: list[dict[str, Any]], printed: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Stages made again from what a record carries, with the record's own sentences on pictures
    that it does not carry, where nothing else is another.
    """
    before = dict(enumerate(printed))
    return [
        {**again, "entered": _as_printed(again["entered"], before.get(n, {}).get("entered"))}
        if again.get("block") == "stage" and isinstance(again.get("entered"), list)
        else again
        for n, again in enumerate(blocks)
    ]


def _as_printed(again: list[dict[str, object]], printed: object) -> list[dict[str, object]]:
    before = printed if isinstance(printed, list) and len(printed) == len(again) else again
    return [
        {**field, "problem": was["problem"]}
        if field.get("kind") in KINDS and isinstance(was, dict) and _same_pictures(field, was)
        else field
        for field, was in zip(again, before, strict=True)
    ]


def _same_pictures(again: dict[str, object], was: dict[str, object]) -> bool:
    said = was.get("problem"), again.get("problem")
    return (
        all(isinstance(each, str) for each in said)
        and again.get("shown") == was.get("shown")
        and len({named_pictures.without_uncarried(str(each)) for each in said}) == 1
    )

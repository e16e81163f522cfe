"""Photographs and drawn signatures: files of the job's folder, printed with their stage."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.facts import pictures
from startkit.facts.digests import sha256
from startkit.facts.file_types import PICTURE_STARTS
from startkit.paper.printing import svg

KINDS = tuple(pictures.FOLDERS)


def shown(
    block: dict[str, Any], folder: Path, files: dict[str, bytes], originals: dict[str, bytes]
) -> dict[str, Any]:
    """A stage with its pictures; their bytes are put into `files` as the page names them, into
    `originals` as the job's folder does.

    What cannot be printed says so beside its name.
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
) -> dict[str, Any] | None:
    """The company's mark, if one lies in the job's folder; it stands over the first page.

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
            "put a PNG, JPEG or plain SVG picture there, or take it away",
        )
    return found


def _counted(found: list[tuple[dict[str, Any] | None, str]]) -> str:
    """What stands in the table of entries, where the pictures themselves have no room."""
    printed = sum(picture is not None for picture, _ in found)
    return (
        f"{printed} {'picture' if printed == 1 else 'pictures'} below" if printed else "not printed"
    )


def _picture(
    field: dict[str, Any],
    named: pictures.Picture,
    folder: Path,
    files: dict[str, bytes],
    originals: dict[str, bytes],
) -> tuple[dict[str, Any] | None, str]:
    path = pictures.within(folder, named.file)
    content, fault = _read(path)
    if path is None or fault:
        return None, fault
    caption = named.caption or named.file
    words = {
        "alt": f"{field['question']}: {caption}",
        "caption": f"{field['question']}: {caption}",
        "sha256": sha256(content),
    }
    within = path.relative_to(folder.resolve()).as_posix()
    suffix = next(
        (suffix for magic, suffix in PICTURE_STARTS.items() if content.startswith(magic)), ""
    )
    if suffix and (fault := pictures.flood(content)):
        return None, f"{fault.removesuffix('.')} and is not printed; put a smaller one there."
    if suffix:
        name = f"photograph-{len(files) + 1}.{suffix}"
        files[name] = originals[within] = content
        return {**words, "file": name}, ""
    try:
        drawn = svg.safe(content.decode("utf-8"), named.file)
        originals[within] = content
        return {**words, "svg": drawn}, ""
    except (UnicodeDecodeError, PaperError):
        return None, "The file is not a PNG, JPEG or plain SVG picture and is not printed."


def _read(path: Path | None) -> tuple[bytes, str]:
    """The bytes of a file inside the job's folder, or why there are none."""
    try:
        return (
            (path.read_bytes(), "")
            if path is not None
            else (b"", "There is no such file in the job's folder.")
        )
    except OSError:
        return b"", "The file cannot be read."

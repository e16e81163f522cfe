"""Uploads: photographs in pieces and drawn signatures from a form, on their way into the job."""

# `Any` here: a message is JSON from the browser, checked value by value.
from __future__ import annotations

import base64
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from startkit.errors import ReadingError
from startkit.facts import pictures
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.pictures import Picture

MOST_AT_ONCE = (
    4  # uploads that may be half sent: a page that was closed in the middle never sends the rest
)
Kept = tuple[Picture, str]


class Uploads:
    """Files that are being sent piece by piece: a server passes no message as large as a
    photograph.
    """

    def __init__(self) -> None:
        self._pieces: dict[str, list[bytes]] = {}
        self._lock = threading.Lock()

    def add(self, upload: str, piece: int, content: bytes) -> None:
        """Take one piece; they come in order, and the first one starts over.

        Raises
        ------
        ReadingError
            A piece before it is missing, or the whole is too large.
        """
        with self._lock:
            held = [] if piece == 0 else self._pieces.pop(upload, [])
            if len(held) != piece:
                raise ReadingError(
                    "part of the picture did not arrive", "picture", "choose it again"
                )
            if sum(map(len, held)) + len(content) > pictures.LARGEST:
                raise ReadingError(
                    "the picture is too large",
                    "picture",
                    f"take one of at most {pictures.LARGEST / 1e6:.0f} MB",
                )
            self._pieces[upload] = [*held, content]
            while len(self._pieces) > MOST_AT_ONCE:
                del self._pieces[next(iter(self._pieces))]

    def take(self, upload: str) -> bytes:
        """The whole file; it is held no longer.

        Raises
        ------
        ReadingError
            It is not there.
        """
        with self._lock:
            pieces = self._pieces.pop(upload, None)
        if not pieces:
            raise ReadingError("the picture did not arrive", "picture", "choose it again")
        return b"".join(pieces)


def entry(job: Job, uploads: Uploads, what: str, message: Mapping[str, Any], who: str) -> Entry:
    """The journal's entry for a photograph or a signature that a form sends; its file is in the
    job's folder when this returns.

    Raises
    ------
    ReadingError
        Not a picture, nothing drawn, or the folder cannot be written.
    """
    picture, note = _kept(
        lambda: (
            _signature(job.folder, what, message)
            if "strokes" in message
            else _photograph(job.folder, uploads, what, message)
        )
    )
    standing = job.state().latest.get(what)
    return Entry(
        what, pictures.with_another(standing.value if standing else "", picture), who=who, note=note
    )


def _kept(keep: Callable[[], Kept]) -> Kept:
    try:
        return keep()
    except OSError as error:
        raise ReadingError(
            f"the picture cannot be written ({error.strerror})",
            "job folder",
            "free some space or remove the write protection, and try again",
        ) from None


def _photograph(folder: Path, uploads: Uploads, what: str, message: Mapping[str, Any]) -> Kept:
    content = uploads.take(str(message.get("upload", "")))
    return pictures.keep_photograph(
        folder,
        content,
        str(message.get("file", "")),
        what,
        str(message.get("caption", "")),
        str(message.get("kind", "photo")),
    )


def _signature(folder: Path, what: str, message: Mapping[str, Any]) -> Kept:
    name, role, statement = (
        " ".join(str(message.get(key, "")).split()) for key in ("name", "role", "statement")
    )
    if not name or not role:
        raise ReadingError(
            "the name or the role is missing", "signature", "enter who signs and in what role"
        )
    return pictures.keep_signature(
        folder,
        message["strokes"],
        what,
        f"{name}, {role}: {statement}" if statement else f"{name}, {role}",
    )


def thumbnail(folder: Path, file: str) -> str:
    """A small copy of a picture of the job as an address that holds it, for an image on the page.

    Raises
    ------
    ReadingError
        As `startkit.facts.pictures.thumbnail`.
    """
    media, content = pictures.thumbnail(folder, file)
    return f"data:{media};base64,{base64.b64encode(content).decode('ascii')}"

"""Pictures of a job: photographs and drawn signatures, kept as files of its folder and named in its
journal.

A journal's value names them one on a line, each as ``file | what it shows``.
"""

# `Any` here: the drawn lines come as JSON from the browser, and are checked value by value.
from __future__ import annotations

import math
import re
import struct
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from startkit.errors import ReadingError
from startkit.facts import file_types, safe_files
from startkit.facts.digests import sha256, sha256_of_file

if TYPE_CHECKING:
    from PIL.Image import Image

FOLDERS = {"photo": "photographs", "signature": "signatures"}
MARKS = (
    "company-mark.svg",
    "company-mark.png",
    "company-mark.jpg",
)  # a company's mark, in a job's folder
LONGEST = 2048  # pixels of the longer side: the letters of a nameplate stay legible on paper
QUALITY = 85
LARGEST = 60_000_000  # bytes of a file that is taken
MOST_PIXELS = 178_000_000  # of a file that is unpacked: what the library itself allows
MOST_DRAWN = 200_000_000  # bytes that a picture may unpack to when it is printed as it is
_ENDINGS = (
    *file_types.PICTURES,
    *(".jfif", ".heic", ".heif", ".webp", ".gif", ".tif", ".tiff", ".bmp", ".pdf"),
)
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP")
PAD = (600, 200)  # size of the signature pad, the unit of its strokes
SHORTEST = 60.0  # length of line below which a drawing is no signature
MOST_POINTS = 20_000
_TAKEN, _CAMERA = (
    36867,
    0x8769,
)  # EXIF tags DateTimeOriginal and its directory, CIPA DC-008 (Exif 2.32)


@dataclass(frozen=True)
class Picture:
    """One picture as a journal names it: file within the job's folder, and what it shows."""

    file: str
    caption: str = ""

    def __str__(self) -> str:
        return f"{self.file} | {self.caption}" if self.caption else self.file


def named(value: str) -> list[Picture]:
    """The pictures that a journal's value names."""
    parts = (line.partition("|") for line in value.splitlines() if line.strip())
    return [Picture(file.strip(), caption.strip()) for file, _, caption in parts]


def digests(folder: Path, value: str) -> dict[str, str]:
    """SHA-256 of the pictures in a job's folder that a value names, by name; empty for a value
    that names none.
    """
    found = {}
    for picture in named(value) if "." in value else ():
        path = within(folder, picture.file) if _names_a_picture(picture.file) else None
        if path is not None:
            with suppress(OSError):
                found[picture.file] = sha256_of_file(path)
    return found


def _names_a_picture(name: str) -> bool:
    return name.partition("/")[0] in FOLDERS.values() or file_types.suffix(name) in _ENDINGS


def with_another(value: str, picture: Picture) -> str:
    """A journal's value with one picture more; the same one again is listed once."""
    standing = [p for p in named(value) if p.file != picture.file]
    return "\n".join(str(p) for p in (*standing, picture))


def is_addition(before: str, after: str) -> bool:
    """True if both values name pictures of the job, and every one of `before` is still in
    `after`.
    """
    standing, kept = named(before), named(after)
    ours = all(picture.file.partition("/")[0] in FOLDERS.values() for picture in standing)
    return bool(standing) and ours and all(picture in kept for picture in standing)


# --- photographs -------------------------------------------------------------------------------


def keep_photograph(
    folder: Path, content: bytes, name: str, prefix: str, caption: str = "", kind: str = "photo"
) -> tuple[Picture, str]:
    """Put a photograph into the job's folder: upright, no larger than needed, without place and
    other hidden data.

    Parameters
    ----------
    folder : pathlib.Path
        Of the job.
    content : bytes
        The file as the camera made it.
    name : str
        Its name there.
    prefix : str
        First part of the new name: what it belongs to.
    caption : str
        What it shows.
    kind : str
        ``"photo"`` or ``"signature"`` (a photographed one).

    Returns
    -------
    Picture, and a note on the original: name, size, when it was taken, SHA-256.

    Raises
    ------
    ReadingError
        Not a picture that can be read, or too large.
    OSError
        The folder cannot be written.
    """
    digest = sha256(content)
    image, told = _opened(content, name)
    file = f"{FOLDERS[kind]}/{_plain(prefix)}-{digest[:12]}.jpg"
    safe_files.write(folder / file, _jpeg(_upright(image, name)))
    return (
        Picture(file, _one_line(caption)),
        f"original {_one_line(Path(name).name)}, {told}, sha256 {digest}",
    )


def as_kept(content: bytes, name: str, kept: str) -> bytes:
    """A picture as it takes the place of another one in a job's folder.

    Parameters
    ----------
    content, name : bytes, str
        The new file, and its name for an error.
    kept : str
        Name in the job's folder: a JPEG is kept as a photograph is, anything else as it is.

    Raises
    ------
    ReadingError
        Not a picture that can be read, or too large.
    """
    if file_types.suffix(kept) not in (".jpg", ".jpeg"):
        return content
    return _jpeg(_upright(_opened(content, name)[0], name))


def flood(content: bytes) -> str:
    """Why a PNG or JPEG picture is too large to be drawn; empty if it is not.

    Only its header is read: a few bytes may expand to gigabytes.
    """
    width, height, pixel = _png_size(content) or _jpeg_size(content) or (0, 0, 0)
    if width * height * pixel <= MOST_DRAWN:
        return ""
    return f"The picture has {width} × {height} pixels: too large to be drawn."


def is_of_inks(content: bytes) -> bool:
    """True for a JPEG in four colours: a page in PDF/A would have to name the press."""
    return (_jpeg_size(content) or (0, 0, 0))[2] == 4


def _png_size(content: bytes) -> tuple[int, int, int] | None:
    """Width, height and bytes of an unpacked pixel (ISO/IEC 15948, 11.2.2)."""
    if not content.startswith(b"\x89PNG\r\n\x1a\n") or len(content) < 26:
        return None
    width, height, depth, colour = struct.unpack(">IIBB", content[16:26])
    channels = {0: 1, 2: 3, 3: 4, 4: 2, 6: 4}.get(colour, 4)
    return width, height, channels * (2 if depth > 8 else 1)


def _jpeg_size(content: bytes) -> tuple[int, int, int] | None:
    """Width, height and bytes of an unpacked pixel (ISO/IEC 10918-1, B.2.2)."""
    at = 2
    while content.startswith(b"\xff\xd8") and at + 10 <= len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width, channels = struct.unpack(">HHB", content[at + 5 : at + 10])
            return width, height, channels
        long = marker != 0xFF  # a fill byte may precede a marker
        at += 2 + struct.unpack(">H", content[at + 2 : at + 4])[0] if long else 1
    return None


def _opened(content: bytes, name: str) -> tuple[Image, str]:
    """The picture, not yet unpacked, and what its header states."""
    from PIL import Image

    if len(content) > LARGEST:
        raise ReadingError(
            f"the picture is {len(content) / 1e6:.0f} MB",
            name,
            f"take one of at most {LARGEST / 1e6:.0f} MB",
        )
    try:
        image = Image.open(BytesIO(content), formats=FORMATS)
    except Image.DecompressionBombError:
        raise ReadingError(
            f"the picture has more than {MOST_PIXELS / 1e6:.0f} million pixels",
            name,
            "take a smaller one",
        ) from None
    except Exception:  # what is no picture, or claims to be an enormous one, fails in many ways
        raise ReadingError(
            "the file is not a readable picture",
            name,
            "take a JPEG or PNG file; a phone can be set to make JPEG",
        ) from None
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise ReadingError(
            f"the picture has {width * height / 1e6:.0f} million pixels", name, "take a smaller one"
        )
    return image, ", ".join(part for part in (f"{width} × {height} pixels", _taken(image)) if part)


def _taken(image: Image) -> str:
    """When it was taken, according to the camera."""
    try:
        said = str(image.getexif().get_ifd(_CAMERA).get(_TAKEN, ""))
    except Exception:  # what a camera wrote there may be damaged in any way, and is only mentioned
        return ""
    found = re.match(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d)", said)
    return (
        f"taken {found[1]}-{found[2]}-{found[3]} {found[4]} by the camera's clock" if found else ""
    )


def _upright(image: Image, name: str) -> Image:
    """Turned as it was seen, scaled, on white where it was transparent."""
    from PIL import Image, ImageOps

    try:
        image.draft(
            "RGB", (LONGEST, LONGEST)
        )  # a JPEG is unpacked at the size next above, in a fraction of the time
        turned = ImageOps.exif_transpose(image)
        turned.thumbnail((LONGEST, LONGEST), Image.Resampling.LANCZOS)
    except Exception:  # a damaged file fails in many ways
        raise ReadingError(
            "the picture is damaged", name, "take it again, or send the file again"
        ) from None
    if turned.mode in ("RGBA", "LA", "PA") or "transparency" in turned.info:
        ground = Image.new("RGBA", turned.size, "white")
        ground.alpha_composite(turned.convert("RGBA"))
        turned = ground
    # Pixels alone: some versions of the library write what else they know of a picture into the new
    # file.
    return Image.frombytes("RGB", turned.size, turned.convert("RGB").tobytes())


def _jpeg(image: Image, quality: int = QUALITY) -> bytes:
    """The bytes of a JPEG file."""
    out = BytesIO()
    image.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-")[:60] or "picture"


def _one_line(text: str) -> str:
    """A caption is one line, without the mark that separates it from the file's name."""
    return " ".join(text.replace("|", "/").split())[:300]


# --- drawn signatures --------------------------------------------------------------------------


def keep_signature(
    folder: Path, strokes: Sequence[Sequence[Sequence[float]]], prefix: str, caption: str
) -> tuple[Picture, str]:
    """Put a drawn signature into the job's folder, as a drawing of its strokes.

    Parameters
    ----------
    folder : pathlib.Path
        Of the job.
    strokes : sequence
        Each a sequence of points (x, y) in units of the pad, `PAD`.
    prefix : str
        First part of the new name.
    caption : str
        Who signed, in what role, and what they state.

    Returns
    -------
    Picture, and a note with its SHA-256.

    Raises
    ------
    ReadingError
        Nothing was drawn, or what was sent is not strokes.
    OSError
        The folder cannot be written.
    """
    content = _drawing(_lines(strokes)).encode("ascii")
    digest = sha256(content)
    file = f"{FOLDERS['signature']}/{_plain(prefix)}-{digest[:12]}.svg"
    safe_files.write(folder / file, content)
    return Picture(file, _one_line(caption)), f"drawn on the screen, sha256 {digest}"


def _lines(strokes: Any) -> list[list[tuple[float, float]]]:
    try:
        lines = [[(float(x), float(y)) for x, y in stroke] for stroke in strokes]
    except (TypeError, ValueError):
        raise ReadingError(
            "the drawing cannot be read", "signature", "clear it and sign again"
        ) from None
    points = [point for line in lines for point in line]
    if len(points) > MOST_POINTS or not all(
        math.isfinite(x) and math.isfinite(y) for x, y in points
    ):
        raise ReadingError("the drawing cannot be read", "signature", "clear it and sign again")
    if sum(math.dist(a, b) for line in lines for a, b in pairwise(line)) < SHORTEST:
        raise ReadingError(
            "there is no signature yet",
            "signature",
            "draw the signature in the box, then accept it",
        )
    return lines


def _drawing(lines: list[list[tuple[float, float]]]) -> str:
    width, height = PAD
    paths = " ".join(
        "M"
        + " L".join(f"{min(max(x, 0), width):.1f} {min(max(y, 0), height):.1f}" for x, y in line)
        for line in lines
        if line
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}"'
        f' height="{height}"><path d="{paths}" fill="none" stroke="#000000" stroke-width="2.5"'
        ' stroke-linecap="round" stroke-linejoin="round"/></svg>\n'
    )


# --- looking at them ---------------------------------------------------------------------------


def within(folder: Path, name: str) -> Path | None:
    """The file of that name if it is in the job's folder."""
    try:
        path = (folder / name).resolve()
        return path if path.is_relative_to(folder.resolve()) and path.is_file() else None
    except (OSError, ValueError):
        return None


def thumbnail(folder: Path, name: str, longest: int = 320) -> tuple[str, bytes]:
    """Media type and bytes of a small copy for the screen; a drawing as it is.

    Raises
    ------
    ReadingError
        There is no such file in the job's folder, or it is no picture.
    """
    path = within(folder, name)
    if path is None:
        raise ReadingError(
            "there is no such file in the job's folder",
            name,
            "take the photograph again, or put the file there",
        )
    content = path.read_bytes()
    if file_types.suffix(path) == file_types.DRAWING:
        return file_types.media_type(path.name), content
    image, _ = _opened(content, name)
    image.draft("RGB", (longest, longest))
    small = _upright(image, name)
    small.thumbnail((longest, longest))
    return "image/jpeg", _jpeg(small, 75)

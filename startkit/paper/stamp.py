"""The stamp: the content of a digital signature's box on the page."""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from importlib import resources
from importlib.metadata import version
from pathlib import Path
from typing import Any

from startkit import __version__
from startkit.errors import PaperError
from startkit.paper import glyphs, signature_page
from startkit.paper.journal_export import to_json

TEMPLATE = "stamp.typ"


@dataclass(frozen=True)
class Stamp:
    """Texts of a stamp.

    Parameters
    ----------
    number : str
        Which signature of the record it is, ``"1"`` for the one that certifies.
    name, role : str
        Name in the certificate, and role as the record names it.
    at, clock : str
        When, and by whose clock.
    fingerprint : str
        Of the certificate.
    """

    number: str
    name: str
    role: str
    at: str
    clock: str
    fingerprint: str


def pdf(stamp: Stamp, width: float, height: float) -> bytes:
    """A one-page PDF of the box's size [points].

    Raises
    ------
    PaperError
        Typst refuses it.
    """
    import typst

    texts = {key: glyphs.printable(value) for key, value in asdict(stamp).items()}
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        shutil.copyfile(str(resources.files("startkit.paper") / TEMPLATE), root / TEMPLATE)
        (root / "stamp.json").write_bytes(to_json({**texts, "width": width, "height": height}))
        fonts = glyphs.fonts()
        try:
            # Without tags: they would point into a structure that the record does not have.
            return typst.Compiler(
                str(root / TEMPLATE), root=str(root), font_paths=fonts, ignore_system_fonts=True
            ).compile(format="pdf", pdf_tags=False)  # type: ignore[return-value]  # of one page the stub's list is never given
        except typst.TypstError as error:
            raise PaperError(
                f"the signature cannot be drawn ({error.message})", "signature", "report this"
            ) from None


def of_signature(
    number: int, row: Mapping[str, Any], name: str, fingerprint: str, at: datetime, stamped: bool
) -> Stamp:
    """The stamp of one signature.

    Parameters
    ----------
    number : int
        Which signature of the record it is.
    row : mapping
        Its row of the signature page.
    name, fingerprint : str
        Of the certificate.
    at : datetime.datetime
        When it was made, in the signer's time zone.
    stamped : bool
        True if a server's time-stamp goes with it.
    """
    return Stamp(
        str(number),
        name,
        ", ".join(part for part in (row["role"] or row["field"], row["firm"]) if part),
        at.strftime("%Y-%m-%d %H:%M %z"),
        (
            "Time-stamped; the time shown is from the signer's own clock"
            if stamped
            else "Time from the signer's own clock"
        ),
        fingerprint,
    )


def drawn(stamp: Stamp, field: str) -> bytes:
    """The stamp as a page of the size of the field's box."""
    left, bottom, right, top = signature_page.box(field, signature_page.A4)
    return pdf(stamp, right - left, top - bottom)


@contextmanager
def style(content: bytes) -> Iterator[Any]:
    """pyHanko's style that fills a box with the page in `content`, which it reads from a file."""
    from pyhanko.pdf_utils.content import ImportedPdfPage
    from pyhanko.pdf_utils.layout import AxisAlignment, Margins, SimpleBoxLayoutRule
    from pyhanko.stamp import StaticStampStyle

    flush = SimpleBoxLayoutRule(
        AxisAlignment.ALIGN_MIN, AxisAlignment.ALIGN_MIN, margins=Margins.uniform(0)
    )
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "stamp.pdf"
        path.write_bytes(content)
        yield StaticStampStyle(
            background=ImportedPdfPage(str(path)), background_layout=flush, border_width=0
        )


def drawn_with() -> str:
    """What draws a stamp here; each signature states what its own was drawn with."""
    return f"{__version__}, typst {version('typst')}"

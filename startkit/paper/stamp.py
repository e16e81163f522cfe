"""The stamp: what stands on the page in the box of a digital signature."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import asdict, dataclass
from importlib import resources
from pathlib import Path

from startkit.errors import PaperError
from startkit.paper import glyphs
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

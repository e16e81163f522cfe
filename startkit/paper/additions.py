"""Additions to a PDF: incremental updates that leave every byte before them, and the file's
metadata, as they were.
"""

from __future__ import annotations

from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter


class _Addition(IncrementalPdfFileWriter):
    """pyHanko's writer, without its own touch on the metadata: rewritten, they would no longer be
    those of a PDF/A-3 file.
    """

    def _update_meta(self) -> None:
        pass


def to(content: bytes) -> Any:
    """A writer that adds to the PDF in `content`."""
    return _Addition(BytesIO(content))

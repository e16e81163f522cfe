"""The words of a PDF's pages, read by a process of its own: pages of a foreign file may draw one
another again and again, without end.
"""

from __future__ import annotations

import re
import time
from collections import Counter
from concurrent.futures import TimeoutError as Late

from startkit.errors import PaperError
from startkit.side_process import Lost, SideProcess, process

_WORD = re.compile(r"[^\s\u200b]+")
LONGEST = 5.0  # s that foreign pages may take, or so many times as long as our own
TIMES = 10
STARTS = 60.0  # s for the process to start and read our own pages, on a computer that is busy
MOST_MEMORY = 1_000_000_000  # bytes of that process


def of_both(ours: bytes, theirs: bytes) -> tuple[Counter[str], Counter[str]]:
    """Words of pages set here, and of those in a file from somebody else, how often each is there.

    Raises
    ------
    PaperError
        The file cannot be read, or not in the time that its like takes.
    """
    with process() as side:
        begin = time.monotonic()
        known = _asked(side, ours, STARTS)
        return known, _asked(side, theirs, max(LONGEST, TIMES * (time.monotonic() - begin)))


def _asked(side: SideProcess, content: bytes, longest: float) -> Counter[str]:
    try:
        return side.submit(_there, content).result(longest)
    except (Late, Lost):
        raise PaperError(
            "the pages draw more than can be read", "record", "use the record as it was printed"
        ) from None


def of(content: bytes) -> Counter[str]:
    """The words of a PDF's pages, how often each is there.

    Raises
    ------
    PaperError
        The file cannot be read.
    """
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(content)
        texts = [page.get_textpage().get_text_bounded() for page in document]
    except (pypdfium2.PdfiumError, MemoryError):
        raise PaperError(
            "the pages cannot be read", "record", "use an undamaged copy of the record"
        ) from None
    return Counter(found for text in texts for found in _WORD.findall(text))


def _there(content: bytes) -> Counter[str]:
    """The same in the other process, with no more memory than pages need, where that can be set."""
    try:
        import resource
    except ImportError:  # Windows
        return of(content)
    resource.setrlimit(resource.RLIMIT_DATA, (MOST_MEMORY, MOST_MEMORY))
    return of(content)

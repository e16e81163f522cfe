"""A process that writes entries and says after each that it is saved; meant to be killed.

Run:  python -m tests.trust.writer JOURNAL NAME COUNT
"""

from __future__ import annotations

import sys
from pathlib import Path

from startkit.facts.journal import Entry, Journal


def main(path: str, name: str, count: str) -> None:
    """Write `count` entries; print each number once it is acknowledged."""
    journal = Journal.open(Path(path))
    for n in range(int(count)):
        (written,) = journal.append([Entry(f"{name}.{n}", str(n), "kPa", name)])
        sys.stdout.write(f"{written.seq} {written.digest}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])

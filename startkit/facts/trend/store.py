"""The trends that a job holds: their files, the names in its journal, and their digests."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from startkit.errors import JobError
from startkit.facts.digests import sha256_of_file
from startkit.facts.journal import Entry
from startkit.facts.trend import column_map
from startkit.facts.trend.trend import Trend, build

FOLDER, ITEM = "trends", "trend."


def digests(entry: Entry) -> tuple[str, str]:
    """Digests of a trend's file and of its map, as its entry names them; empty if it names none."""
    found = re.findall(r"sha256 ([0-9a-f]{64})", entry.note)
    return (found[0], found[1]) if len(found) == 2 else ("", "")


class Trends(Mapping[str, Trend]):
    """The trends of a job by name, each read when it is first asked for.

    Safe to use from several threads.

    Parameters
    ----------
    folder : pathlib.Path
        The job's.
    latest : callable
        Gives the newest entry of each item of its journal.
    """

    def __init__(self, folder: Path, latest: Callable[[], Mapping[str, Entry]]) -> None:
        self._folder, self._latest = folder / FOLDER, latest
        self._read: dict[tuple[str, str], Trend] = {}
        self._lock = threading.RLock()

    def _entries(self) -> dict[str, Entry]:
        return {
            what.removeprefix(ITEM): entry
            for what, entry in self._latest().items()
            if what.startswith(ITEM) and entry.value
        }

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries())

    def __len__(self) -> int:
        return len(self._entries())

    def __contains__(self, name: object) -> bool:
        return name in self._entries()

    def __getitem__(self, name: str) -> Trend:
        entry = self._entries()[name]
        with self._lock:
            key = (name, entry.digest)
            if key not in self._read:
                self._read[key] = self._load(name, entry)
            return self._read[key]

    def _load(self, name: str, entry: Entry) -> Trend:
        path, map_path = self._folder / Path(entry.value).name, self._folder / f"{name}.toml"
        noted = digests(entry)
        for file, digest in zip((path, map_path), noted, strict=True):
            if not file.is_file():
                raise JobError(
                    "a trend's file is missing", str(file), "restore it as it was imported"
                )
            if digest != sha256_of_file(file):
                raise JobError(
                    "a trend's file was changed after it was imported",
                    str(file),
                    "restore the original; its SHA-256 is in the journal",
                )
        return build(path, column_map.load(map_path), name, noted[0])

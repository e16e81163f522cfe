"""The index: each job's summary, stored so that the register is quick. A missing or stale summary
is made again from its job.
"""

# `Any` here: a worker hands back what its task made.
from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from startkit.errors import StartkitError
from startkit.fleet import record_stamp, workers
from startkit.fleet.folder import Fleet
from startkit.fleet.summary import Summary, summarised
from startkit.paper.revisions import RECORDS

FILE, LAYOUT = "index.db", 2
FEW = 2  # stale jobs that are judged in this process; more are given to workers
_UNREADABLE = "unreadable"


class Index:
    """The summaries of a fleet's jobs."""

    def __init__(self, fleet: Fleet) -> None:
        self._fleet = fleet
        self.path = fleet.records / FILE

    def summaries(
        self, told: Callable[[int, int], None] | None = None, processes: int = 0
    ) -> list[Summary]:
        """The current summary of every job, by the name of its folder.

        Parameters
        ----------
        told : callable, optional
            Called with the numbers of stale jobs done and to do.
        processes : int
            For stale jobs; 0: one for each core.
        """
        jobs = {folder.name: folder for folder in self._fleet.jobs()}
        now = {name: state_of(folder) for name, folder in jobs.items()}
        known = self._read()
        found = {
            name: summary for name, (state, summary) in known.items() if now.get(name) == state
        }
        stale = [folder for name, folder in jobs.items() if name not in found]
        for number, summary in enumerate(_made(stale, processes), start=1):
            found[summary["job"]] = summary
            self._keep({summary["job"]: (now[summary["job"]], summary)})
            if told is not None:
                told(number, len(stale))
        self._forget([name for name in known if name not in jobs])
        return [found[name] for name in jobs]

    # --- the file -------------------------------------------------------------------------------

    def _read(self) -> dict[str, tuple[str, Summary]]:
        """The stored summaries; an index that cannot be read is discarded."""
        try:
            with self._open() as db:
                return {
                    job: (state, json.loads(summary))
                    for job, state, summary in db.execute("SELECT job, state, summary FROM jobs")
                }
        except (sqlite3.Error, ValueError, OSError):
            self._remove()
            return {}

    def _keep(self, rows: dict[str, tuple[str, Summary]]) -> None:
        # A folder that cannot be written still gets its register, only more slowly.
        with contextlib.suppress(sqlite3.Error, OSError), self._open() as db:
            db.executemany(
                "INSERT OR REPLACE INTO jobs VALUES (?, ?, ?)",
                [
                    (job, state, json.dumps(summary))
                    for job, (state, summary) in rows.items()
                    if state != _UNREADABLE
                ],
            )

    def _forget(self, names: list[str]) -> None:
        with contextlib.suppress(sqlite3.Error, OSError):
            if names:
                with self._open() as db:
                    db.executemany("DELETE FROM jobs WHERE job = ?", [(name,) for name in names])

    def _remove(self) -> None:
        with contextlib.suppress(OSError):
            self.path.unlink(missing_ok=True)

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        db = sqlite3.connect(self.path, timeout=10)
        try:
            if db.execute("PRAGMA user_version").fetchone()[0] != LAYOUT:
                db.execute("DROP TABLE IF EXISTS jobs")
                db.execute(
                    "CREATE TABLE jobs (job TEXT PRIMARY KEY, state TEXT NOT NULL, summary TEXT NOT"
                    " NULL)"
                )
                db.execute(f"PRAGMA user_version = {LAYOUT}")
            yield db
            db.commit()
        finally:
            db.close()


def state_of(folder: Path) -> str:
    """All that a job's summary depends on, in one line: what its record would be made from, and
    which records are there.
    """
    try:
        inputs = record_stamp.digest_of(folder)
    except StartkitError:
        return _UNREADABLE
    records = sorted(
        (path.name, path.stat().st_size, path.stat().st_mtime_ns)
        for path in (folder / RECORDS).glob("*.pdf")
    )
    return json.dumps([inputs, records])


def _made(stale: list[Path], processes: int) -> Iterator[Summary]:
    if len(stale) <= FEW:
        yield from map(summarised, stale)
        return
    for outcome in workers.each(summarised, stale, processes):
        folder = stale[outcome.number]
        summary: Any = outcome.result
        yield summary if summary is not None else {"job": folder.name, "fault": outcome.fault}

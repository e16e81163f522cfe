"""The company's mark: a picture in the fleet's folder, copied into every job that is not signed."""

from __future__ import annotations

from pathlib import Path

from startkit.errors import JobError
from startkit.facts.pictures import MARKS, within
from startkit.facts.safe_files import write_whole
from startkit.fleet.folder import SETTINGS, Fleet
from startkit.fleet.template_change import signed

LARGEST = 500_000  # bytes: every record contains it


def bring(fleet: Fleet, folder: Path) -> bool:
    """Copy the fleet's current mark into a job; a signed job is not changed.

    Returns
    -------
    True if the job's folder changed.

    Raises
    ------
    JobError
        The fleet names a mark that is not there or is too large.
    """
    wanted = _wanted(fleet)
    if _same(folder, wanted) or signed(folder):
        return False
    for name in MARKS:
        if name not in wanted:
            (folder / name).unlink(missing_ok=True)
    for name, content in wanted.items():
        write_whole(folder / name, content)
    return True


def _same(folder: Path, wanted: dict[str, bytes]) -> bool:
    return {
        name: (folder / name).read_bytes() for name in MARKS if (folder / name).is_file()
    } == wanted


def _wanted(fleet: Fleet) -> dict[str, bytes]:
    """The mark's name in a job and its content; empty if the fleet has no mark."""
    if not fleet.mark:
        return {}
    path = within(fleet.folder, fleet.mark)
    name = f"company-mark{Path(fleet.mark).suffix.lower().replace('.jpeg', '.jpg')}"
    if path is None or name not in MARKS:
        raise JobError(
            f"the mark {fleet.mark!r} is not a picture in the fleet's folder",
            f"{SETTINGS}, fleet, mark",
            "put an SVG, PNG or JPEG file there and name it",
        )
    if path.stat().st_size > LARGEST:
        raise JobError(
            f"the mark is {path.stat().st_size / 1e6:.1f} MB",
            fleet.mark,
            f"use one of at most {LARGEST / 1e6:.1f} MB: every record contains it",
        )
    return {name: path.read_bytes()}

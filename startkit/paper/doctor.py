"""Is this computer ready for the work: fonts, typesetter, kernel, write access, clock, versions,
language, figures.
"""

# `Any` here: typst's stub gives more than one page's bytes.
from __future__ import annotations

import locale
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement

from startkit.errors import StartkitError
from startkit.facts.job import DATABASE
from startkit.paper import glyphs
from startkit.side_process import SAFE_PATH

SIGNS = "°²³µ±√Δ✓✗≈○△–−"  # what every page is set with
ROOM = 500e6  # bytes: some hundred records with their photographs
DRIFT = 60.0  # s between the clock of this computer and that of the folder


@dataclass(frozen=True)
class Examined:
    """One check: passed or not, what was found, and what to do."""

    name: str
    ok: bool
    found: str
    remedy: str = ""


def examine(folder: Path) -> tuple[Examined, ...]:
    """Everything the work needs, checked on this computer and in this folder.

    Parameters
    ----------
    folder : pathlib.Path
        Where jobs are kept, or a job.
    """
    looks: tuple[tuple[str, Callable[[], tuple[str, str]]], ...] = (
        ("versions", _versions),
        ("fonts", _fonts),
        ("typesetter", _typesetter),
        ("kernel", _kernel),
        ("write access", lambda: _write_access(Path(folder))),
        ("clock", lambda: _clock(Path(folder))),
        ("language", _language),
        ("browser", _browser),
        ("figures", _figures),
    )
    return tuple(_looked(name, look) for name, look in looks)


def _looked(name: str, look: Callable[[], tuple[str, str]]) -> Examined:
    """A check returns what it found and what to do; nothing to do means it passed."""
    try:
        found, remedy = look()
    except Exception as error:  # whatever is wrong with this computer, the other looks still count
        told = (
            str(error) if isinstance(error, StartkitError) else f"{type(error).__name__}: {error}"
        )
        return Examined(name, False, told.splitlines()[0][:200], "reinstall startkit with pip")
    return Examined(name, not remedy, found, remedy)


def told(found: tuple[Examined, ...]) -> list[str]:
    """Lines for a terminal."""
    lines = []
    for each in found:
        lines.append(f"{'✓' if each.ok else '✗'} {each.name:13} {each.found}")
        lines += [f"  {'':13} {each.remedy[:1].upper()}{each.remedy[1:]}."] if each.remedy else []
    wrong = sum(not each.ok for each in found)
    return [
        *lines,
        "This computer is ready." if not wrong else f"{wrong} of {len(found)} need attention.",
    ]


# --- what is installed ----------------------------------------------------------------------------


def _versions() -> tuple[str, str]:
    lacking = [text for need in requires("startkit") or () if (text := _lacking(need))]
    shown = ", ".join(
        f"{name} {version(name)}" for name in ("startkit", "CoolProp", "jupyterlab", "typst")
    )
    return (
        (f"Python {sys.version.split()[0]}, {shown}", "")
        if not lacking
        else ("; ".join(lacking), "reinstall startkit with pip")
    )


def _lacking(need: str) -> str:
    """What is wrong with one requirement, such as ``numpy>=1.26,<3``; empty if it is met."""
    requirement = Requirement(need)
    if requirement.marker is not None and not requirement.marker.evaluate({"extra": ""}):
        return ""
    try:
        installed = version(requirement.name)
    except PackageNotFoundError:
        return f"{requirement.name} is not installed"
    return (
        ""
        if requirement.specifier.contains(installed, prereleases=True)
        else f"{requirement.name} is {installed}, not {requirement.specifier}"
    )


def _fonts() -> tuple[str, str]:
    lacking = [sign for sign in SIGNS if ord(sign) not in glyphs.covered()]
    count = len(glyphs.covered())
    return (
        (f"{', '.join(glyphs.UPRIGHT)}: {count} signs", "")
        if not lacking
        else (
            f"the fonts lack {' '.join(lacking)}",
            "reinstall matplotlib with pip: its fonts are used for the record",
        )
    )


def _typesetter() -> tuple[str, str]:
    import typst

    with tempfile.TemporaryDirectory() as scratch:
        page = Path(scratch) / "page.typ"
        page.write_text(f'#set text(font: "DejaVu Sans")\n{SIGNS}', encoding="utf-8")
        fonts = glyphs.fonts()
        made: Any = typst.Compiler(  # bytes for one page; its stub gives more
            str(page), root=scratch, font_paths=fonts, ignore_system_fonts=True
        ).compile(format="pdf", pdf_standards=["a-3b"])
    return f"sets a page as PDF/A-3 ({len(made) // 1000} kB)", ""


def _kernel() -> tuple[str, str]:
    from jupyter_client.manager import start_new_kernel

    begin = time.monotonic()
    manager, client = start_new_kernel(
        startup_timeout=60,
        kernel_name="python3",
        env={**os.environ, **SAFE_PATH},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        reply = client.execute_interactive(
            "import startkit", timeout=60, output_hook=lambda message: None
        )
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)
    ok = reply["content"]["status"] == "ok"
    return (
        (
            f"Python 3 answers after {time.monotonic() - begin:.1f} s"
            if ok
            else "the Python 3 kernel cannot import startkit"
        ),
        "" if ok else "install startkit in the kernel's Python",
    )


# --- folder and clock -----------------------------------------------------------------------------


def _write_access(folder: Path) -> tuple[str, str]:
    """A journal is written as a job's is, and removed again."""
    try:
        with tempfile.TemporaryDirectory(dir=folder, prefix=".startkit-") as scratch:
            db = sqlite3.connect(Path(scratch) / DATABASE)
            db.executescript(
                "PRAGMA journal_mode=DELETE; PRAGMA synchronous=FULL; CREATE TABLE t (a); INSERT"
                " INTO t VALUES (1);"
            )
            db.close()
    except (OSError, sqlite3.Error) as error:
        return (
            f"nothing can be saved in {folder} ({getattr(error, 'strerror', None) or error})",
            "keep jobs in a folder you can write to, on a disk with free space",
        )
    free = shutil.disk_usage(folder).free
    shown = f"{folder} can be written, {free / 1e9:.1f} GB free"
    return (
        shown,
        "" if free > ROOM else "free some space: a record with photographs takes several megabytes",
    )


def _clock(folder: Path) -> tuple[str, str]:
    """Against the folder's own clock, and against the last entry of the job in it."""
    now = datetime.now(UTC)
    shown = f"{now.astimezone():%Y-%m-%d %H:%M %z}"
    last = _last_entry(folder)
    if last is not None and now < last:
        return (
            f"{shown}, but the last entry of this job is dated {last.astimezone():%Y-%m-%d %H:%M}",
            "set the clock: entries carry its time",
        )
    with tempfile.NamedTemporaryFile(dir=folder, prefix=".startkit-") as probe:
        away = abs(Path(probe.name).stat().st_mtime - time.time())
    return (
        (shown, "")
        if away < DRIFT
        else (
            f"{shown}, but the folder's own clock is {away:.0f} s away",
            "set this clock, or that of the server that holds the folder",
        )
    )


def _last_entry(folder: Path) -> datetime | None:
    if not (folder / DATABASE).is_file():
        return None
    from startkit.facts.job import Job

    entries = Job(folder, read_only=True).state().entries
    return datetime.fromisoformat(entries[-1].at) if entries else None


# --- language, browser, figures -------------------------------------------------------------------


def _language() -> tuple[str, str]:
    encodings = {
        "files": sys.getfilesystemencoding(),
        "screen": getattr(sys.stdout, "encoding", None) or "none",
    }
    plain = [
        f"{name}: {encoding}" for name, encoding in encodings.items() if not _can_say(encoding)
    ]
    mark = locale.localeconv()["decimal_point"]
    return (
        (
            (
                f"{locale.getlocale()[0] or 'C'}, UTF-8, decimal mark {mark!r} (forms accept both"
                " marks)"
            ),
            "",
        )
        if not plain
        else (
            f"signs such as ° and ✓ cannot be written ({', '.join(plain)})",
            "set PYTHONUTF8=1, or a UTF-8 language such as C.UTF-8",
        )
    )


def _can_say(encoding: str) -> bool:
    try:
        return bool(SIGNS.encode(encoding))
    except (LookupError, UnicodeEncodeError):
        return False


def _browser() -> tuple[str, str]:
    """None is needed for a record; without one `open` prints an address."""
    import webbrowser

    try:
        return (
            (
                f"{getattr(webbrowser.get(), 'name', None) or 'the system’s own'} opens the"
                " notebook; none is needed to print"
            ),
            "",
        )
    except webbrowser.Error:
        return (
            "none found: `startkit open --no-browser` prints an address; none is needed to print",
            "",
        )


def _figures() -> tuple[str, str]:
    from startkit.facts.worked_examples import examples, rework

    found = [rework(example) for example in examples()]
    wrong = [each.example.title for each in found if not each.agrees]
    shown = f"{len(found) - len(wrong)} of {len(found)} worked examples match their printed results"
    return (
        (shown, "")
        if not wrong
        else (
            f"{shown}; not: {'; '.join(wrong[:3])}",
            "reinstall startkit with pip, with the versions it requires",
        )
    )

"""Kill what writes files before each of its steps, and at random moments: every file is whole or
not there.

Run:  python benchmarks/killed_files.py [kills at random moments for each] [deed ...]   (default 40,
all)
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT
STEPS = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.truncate", "sqlite3.connect")
MOST_STEPS = 60


@dataclass(frozen=True)
class Deed:
    """Something that writes files.

    Parameters
    ----------
    name : str
    do : callable
        ``do(folder)``.
    begin : callable
        Makes what `do` needs in an empty folder.
    check : callable
        ``check(folder)``: one sentence for each thing that is not as it must be.
    """

    name: str
    do: Callable[[Path], Any]
    begin: Callable[[Path], Any]
    check: Callable[[Path], list[str]]


@dataclass
class Tally:
    """What the kills of one deed showed."""

    deed: str
    steps: int = 0
    kills: int = 0
    faults: list[str] = field(default_factory=list)


# --- killing -------------------------------------------------------------------------------------


def at_each_step(deed: Deed, most: int = MOST_STEPS) -> Tally:
    """Kill before the first, the second, the third step that changes a file, until the deed is
    done.
    """
    tally = Tally(deed.name)
    with tempfile.TemporaryDirectory() as scratch:
        pristine = Path(scratch) / "pristine"
        pristine.mkdir()
        deed.begin(pristine)
        for step in range(1, most + 1):
            killed = _once(deed, pristine, Path(scratch) / "work", tally, step=step)
            if not killed:
                tally.steps = step - 1
                return tally
    tally.steps = most
    return tally


def at_random(deed: Deed, kills: int, seed: int = 3) -> Tally:
    """Kill at random moments of the time that the deed takes."""
    tally, chance = Tally(deed.name), random.Random(seed)
    with tempfile.TemporaryDirectory() as scratch:
        pristine = Path(scratch) / "pristine"
        pristine.mkdir()
        deed.begin(pristine)
        begin = time.perf_counter()
        _once(deed, pristine, Path(scratch) / "work", tally)
        takes = time.perf_counter() - begin
        for _ in range(kills):
            _once(deed, pristine, Path(scratch) / "work", tally, after=chance.uniform(0, takes))
    return tally


def _once(
    deed: Deed, pristine: Path, work: Path, tally: Tally, step: int = 0, after: float | None = None
) -> bool:
    """Do it on a copy, killed once; then do it again, which must go well. True if it was killed."""
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(pristine, work)
    child = _started(deed, work, step)
    if after is not None:
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
    status = os.waitpid(child, 0)[1]
    killed = os.WIFSIGNALED(status)
    where = (
        f"{deed.name}, killed {f'before step {step}' if step else f'after {after} s'}"
        if killed
        else deed.name
    )
    tally.kills += killed
    if not killed and os.waitstatus_to_exitcode(status):
        tally.faults.append(f"{where}: it failed")
    tally.faults += [f"{where}: {said}" for said in deed.check(work)]
    if killed:
        if os.waitstatus_to_exitcode(os.waitpid(_started(deed, work), 0)[1]):
            tally.faults.append(f"{where}: it cannot be done afterwards")
        tally.faults += [f"{where}, done again: {said}" for said in deed.check(work)]
    return killed


def _started(deed: Deed, work: Path, step: int = 0) -> int:
    """The deed in a child; with `step`, the child ends itself before its step of that number."""
    child = os.fork()
    if child:
        return child
    status = 1
    try:
        if step:
            sys.addaudithook(_executioner(str(work), step))
        deed.do(work)
        status = 0
    except BaseException as error:  # only its status leaves this process
        print(f"{deed.name}: {type(error).__name__}: {error}", file=sys.stderr)
    finally:
        os._exit(status)


def _executioner(folder: str, step: int) -> Callable[[str, tuple[Any, ...]], None]:
    left = [step]

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if not arguments or folder not in str(arguments[0]):
            return
        if event in STEPS or (
            event == "open" and isinstance(arguments[2], int) and arguments[2] & WRITING
        ):
            left[0] -= 1
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)

    return hook


# --- what must hold -------------------------------------------------------------------------------


def half_files(folder: Path) -> list[str]:
    """Files below a folder that are neither whole nor hidden, as one sentence each."""
    found = []
    for path in sorted(folder.rglob("*")):
        hidden = any(
            part.startswith(".") and part.endswith(".part")
            for part in path.relative_to(folder).parts
        )
        if path.is_file() and not hidden and not path.name.endswith("-journal"):
            fault = _fault(path)
            found += [f"{path.relative_to(folder)}: {fault}"] if fault else []
    return found


def _fault(path: Path) -> str:
    """What is wrong with one file; empty if it is whole."""
    try:
        _READERS.get(path.suffix, lambda path: None)(path)
    except Exception as error:  # whatever a half file does to its reader
        return f"{type(error).__name__}: {str(error)[:120]}"
    return "" if path.stat().st_size else "empty"


def _read_journal(path: Path) -> None:
    from startkit.facts.journal import Journal

    faults = Journal.open(path).faults()
    assert not faults, faults[0]


def _read_record(path: Path) -> None:
    from startkit.paper import evidence

    found = evidence.of_pdf(path.read_bytes()).sound()
    assert found.entries


def _read_notebook(path: Path) -> None:
    from startkit.paper.printing import runs

    runs.read(path)


def _read_sheet(path: Path) -> None:
    from startkit.facts import toml_file

    assert toml_file.load(path)[0]


_READERS: dict[str, Callable[[Path], Any]] = {
    ".db": _read_journal,
    ".pdf": _read_record,
    ".ipynb": _read_notebook,
    ".toml": _read_sheet,
}


def _whole_job(name: str, least: int) -> Callable[[Path], list[str]]:
    """A job that is there with all its entries, or not there."""

    def check(folder: Path) -> list[str]:
        from startkit.facts.job import Job

        found = half_files(folder)
        if (folder / name).exists():
            count = len(Job(folder / name, read_only=True).state().entries)
            found += [f"{name} has {count} entries"] if count < least else []
        return found

    return check


# --- deeds ----------------------------------------------------------------------------------------


def deeds() -> dict[str, Deed]:
    """What writes files, by name."""
    found = (
        Deed("new", _new, _sheets, _whole_job("J", 4)),
        Deed("run and print", _print, _job, _whole_job("J", 10)),
        Deed("sign", _sign, _printed, _whole_job("J", 10)),
        Deed("import", _import, _printed, _whole_job("I", 11)),
        Deed("rescue", _rescue, _job, _whole_job("R", 11)),
        Deed("trend", _trend, _trend_job, _trend_kept),
        Deed("new key", _key, _key_aside, half_files),
        Deed("entry sheet", _spreadsheet, _job, half_files),
    )
    return {deed.name: deed for deed in found}


def _sheets(folder: Path) -> None:
    shutil.copyfile(ROOT / "workbook" / "plant" / "machines" / "CH-1.toml", folder / "sheet.toml")


def _new(folder: Path) -> None:
    from startkit.facts.job import Job

    if not (folder / "J").exists():
        Job.create(
            folder / "J", folder / "sheet.toml", ROOT / "templates" / "new-machine.ipynb", who="Ana"
        )


def _job(folder: Path) -> None:
    from startkit.facts.job import Job
    from startkit.facts.journal import Entry

    _sheets(folder)
    _new(folder)
    Job(folder / "J").record(
        [
            Entry("setup.people.1.name", "Ana", who="Ana"),
            Entry("setup.people.1.role", "technician", who="Ana"),
            Entry("setup.people.2.name", "Ben", who="Ana"),
            Entry("setup.people.2.role", "owner's witness", who="Ana"),
            Entry("lube.filter_drop", "12", "kPa", "Ana"),
            Entry("lube.sump_temperature", "52", "°C", "Ana"),
        ]
    )


def _print(folder: Path) -> None:
    from startkit.fleet.task import Task, carry_out

    carry_out(Task(folder / "J"))


def _printed(folder: Path) -> None:
    _job(folder)
    child = os.fork()  # a shell that has run in this process stays in it
    if child == 0:
        try:
            _print(folder)
        finally:
            os._exit(0)
    os.waitpid(child, 0)
    assert list((folder / "J" / "records").glob("*.pdf"))


def _sign(folder: Path) -> None:
    from startkit.paper.signing import seal

    record = next((folder / "J" / "records").glob("*.pdf"))
    if b"/ByteRange" not in record.read_bytes():
        seal.sign(seal.ready(record, "technician"), _SIGNER.signer())


def _import(folder: Path) -> None:
    from startkit.paper.verifying.job_import import import_job

    if not (folder / "I").exists():
        import_job(next((folder / "J" / "records").glob("*.pdf")), folder / "I", "Ben")


def _rescue(folder: Path) -> None:
    from startkit.facts.rescue import rescue

    if not (folder / "R").exists():
        rescue(folder / "J", folder / "R")


def _trend_job(folder: Path) -> None:
    _job(folder)
    rows = "".join(f"2026-04-16 08:{m:02d}:00,7.{m:02d},12.{m:02d}\n" for m in range(60))
    (folder / "panel.csv").write_text(
        "Time,CHWS Temp (°C),CHWR Temp (°C)\n" + rows, encoding="utf-8"
    )
    from startkit.facts.trend import column_map
    from startkit.facts.trend.guess import guess_file

    (folder / "map.toml").write_text(
        column_map.text(guess_file(folder / "panel.csv")).replace(
            "confirmed = false", "confirmed = true"
        ),
        encoding="utf-8",
    )


def _trend(folder: Path) -> None:
    from startkit.facts.job import Job
    from startkit.facts.trend.importer import import_file

    import_file(Job(folder / "J"), folder / "panel.csv", folder / "map.toml", "Ana")


def _trend_kept(folder: Path) -> list[str]:
    """A trend that the journal names can be read; an unnamed one is whole all the same."""
    from startkit.facts.job import Job

    job = Job(folder / "J", read_only=True)
    short = [len(job.trends[name]) for name in job.trends if len(job.trends[name]) != 60]
    kept, given = folder / "J" / "trends" / "panel.csv", folder / "panel.csv"
    half = (
        ["the kept file is not the one that was given"]
        if kept.exists() and kept.read_bytes() != given.read_bytes()
        else []
    )
    return half_files(folder) + half + [f"{count} rows" for count in short]


def _key_aside(folder: Path) -> None:
    with tempfile.TemporaryDirectory() as aside:
        _key(Path(aside))  # loads here what every child would else load anew


def _key(folder: Path) -> None:
    from startkit.paper.signing import identity

    identity.ROUNDS = 1_000  # the steps that write the file are the same, and are come to sooner
    if not (folder / "ana.p12").exists():
        identity.save(_SIGNER, folder / "ana.p12", "a long passphrase")
    identity.load(folder / "ana.p12", "a long passphrase")


def _spreadsheet(folder: Path) -> None:
    from startkit.desk.entry_sheet import export

    if not (folder / "sheet.xlsx").exists():
        export.write(folder / "J", folder / "sheet.xlsx")


class _Signer:
    """An identity that is made once, when it is first asked for."""

    _made: Any = None

    def __getattr__(self, name: str) -> Any:
        from startkit.paper.signing import identity

        if _Signer._made is None:
            _Signer._made = identity.new("Ana", "An invented firm")
        return getattr(_Signer._made, name)


_SIGNER = _Signer()


def main(kills: int, names: Sequence[str] = ()) -> int:
    """Print one line for each deed, and every fault below it."""
    _SIGNER.name  # noqa: B018 - made before the first fork
    bad = 0
    for deed in (found for name, found in deeds().items() if not names or name in names):
        stepped, by_chance = at_each_step(deed), at_random(deed, kills)
        faults = stepped.faults + by_chance.faults
        print(
            f"{deed.name:16}{stepped.steps:4} steps{stepped.kills + by_chance.kills:6}"
            f" kills{len(faults):4} faults",
            flush=True,
        )
        for fault in faults[:10]:
            print(f"    {fault}")
        bad += len(faults)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 40, sys.argv[2:]))

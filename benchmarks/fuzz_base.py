"""What the targets of the fuzzing share: what a target is, the plant, tokens, exchanged parts."""

from __future__ import annotations

import functools
import io
import re
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
MACHINES = ROOT / "workbook" / "plant" / "machines"
TOML = re.compile(rb"(?<== )[^\n]+|^[A-Za-z_.\"]+(?= =)|(?<=\[)[a-z_.]+(?=\])", re.MULTILINE)
CELLS = re.compile(rb"[^,;\t\n]+")
JSON = re.compile(rb'"(?:[^"\\]|\\.)*"|-?\d[\d.eE+\-]*|true|false|null')
XML = re.compile(rb'(?<=>)[^<]+|(?<=")[^"]*(?=")')
WORDS = re.compile(rb"[^ ]+")
BYTES = re.compile(rb"[\x20-\x7e]{3,40}")


@dataclass(frozen=True)
class Target:
    """One reader.

    Parameters
    ----------
    name : str
    seeds : callable
        Inputs that it reads well.
    read : callable
        ``read(data, folder)`` reads one input; anything but a `StartkitError` that leaves it is a
        fault.
    spans : re.Pattern
        What counts as a value in such an input.
    share : float
        Of the inputs in a run: less than one for what takes long.
    tokens : sequence of bytes
        Put in beside those that serve everywhere.
    """

    name: str
    seeds: Callable[[], Sequence[bytes]]
    read: Callable[[bytes, Path], Any]
    spans: re.Pattern[bytes]
    share: float = 1.0
    tokens: Sequence[bytes] = field(default=())


@functools.cache
def plant() -> Any:
    """A machine with every stage: sheet, limits, stages."""
    from startkit.facts import limits, machine
    from startkit.procedure import registry

    sheet = machine.load(MACHINES / "CH-1.toml")
    stages = {name: stage for name, stage in registry.stages().items() if stage.applies(sheet)}
    return sheet, sheet.limits_over(limits.defaults(), "machine.toml"), stages


def written(data: bytes, folder: Path, name: str) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def exchanged(archive: bytes, part: str, content: bytes, path: Path) -> Path:
    """An archive with one part exchanged: damage inside, with the archive's own sums in order."""
    with (
        zipfile.ZipFile(io.BytesIO(archive)) as given,
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made,
    ):
        for name in given.namelist():
            made.writestr(name, content if name == part else given.read(name))
    return path


def unless_refused(call: Callable[..., Any], *args: Any) -> Any:
    """The result, or None if the input was refused in a sentence as it should be."""
    from benchmarks.fuzz import badly_said
    from startkit.errors import StartkitError

    try:
        return call(*args)
    except StartkitError as error:
        assert not badly_said(error), badly_said(error)
        return None

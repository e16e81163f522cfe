"""A device, a pipe or a link to one in place of a file is refused at every door, in a sentence."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.facts.job import Job

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"
Door = Callable[[Path, Path], list[str]]

DOORS: dict[str, tuple[str, Door]] = {
    "verify": ("r.pdf", lambda job, odd: ["verify", str(odd)]),
    "import": ("r.pdf", lambda job, odd: ["import", str(odd), str(job / "new")]),
    "baseline": ("r.pdf", lambda job, odd: ["import", str(odd), str(job), "--baseline"]),
    "sign": ("r.pdf", lambda job, odd: ["sign", str(odd), "--as", "technician"]),
    "trust": ("c.crt", lambda job, odd: ["verify", str(odd), "--trust", str(odd)]),
    "enter CSV": ("r.csv", lambda job, odd: ["enter", str(job), str(odd)]),
    "enter XLSX": ("r.xlsx", lambda job, odd: ["enter", str(job), str(odd)]),
    "fleet CSV": ("m.csv", lambda job, odd: ["fleet", "new", str(job / "f"), str(odd)]),
    "fleet XLSX": ("m.xlsx", lambda job, odd: ["fleet", "new", str(job / "f"), str(odd)]),
    "sheet": ("s.toml", lambda job, odd: ["new", str(job / "n"), "--sheet", str(odd)]),
    "replace": (
        "s.toml",
        lambda job, odd: [
            *("replace", str(job), "sheet", str(odd)),
            *("--who", "Ana", "--reason", "a reason"),
        ],
    ),
}


def pipe(path: Path) -> None:
    os.mkfifo(path)


def link_to_a_device(path: Path) -> None:
    path.symlink_to("/dev/zero")


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("jobs") / "J"
    return Job.create(folder, SHEET, ROOT / "templates" / "new-machine.ipynb").folder


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices have no file name here")
@pytest.mark.parametrize("made", [pipe, link_to_a_device])
@pytest.mark.parametrize("door", DOORS)
def test_what_is_not_a_file_is_refused(
    job: Path, tmp_path: Path, door: str, made: Callable[[Path], None]
) -> None:
    name, command = DOORS[door]
    odd = tmp_path / name
    made(odd)
    result = CliRunner().invoke(main, command(job, odd))
    assert result.exit_code == 2
    assert "file" in result.output
    assert len(result.output.strip().splitlines()) == 1


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices have no file name here")
def test_a_notebook_that_is_a_device_is_refused(tmp_path: Path) -> None:
    folder = Job.create(tmp_path / "J", SHEET, ROOT / "templates" / "new-machine.ipynb").folder
    (folder / "new-machine.ipynb").unlink()
    (folder / "new-machine.ipynb").symlink_to("/dev/zero")
    result = CliRunner().invoke(main, ["run", str(folder)])
    assert result.exit_code == 2
    assert "not a file" in result.output

"""A task: one job to run and print, and what a worker does with it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from startkit.facts.digests import sha256_of_file
from startkit.fleet import record_stamp
from startkit.fleet.record_stamp import Stamp

if TYPE_CHECKING:
    from startkit.paper.printing.export import Exported


@dataclass(frozen=True)
class Task:
    """A job's folder and how its record is laid out."""

    folder: Path
    paper: str = ""
    form: str = "full"
    company: str = ""

    @property
    def layout(self) -> str:
        """The layout as written in the record's stamp."""
        return "|".join((self.paper, self.form, self.company))

    @property
    def name(self) -> str:
        return self.folder.name


def print_alone(job: Path, paper: str, form: str, company: str) -> Exported:
    """Run and print one job in this process while a helper process draws the plots.

    Parameters
    ----------
    job : pathlib.Path
    paper, form, company : str
        As in `startkit.paper.printing.export`.

    Raises
    ------
    StartkitError
        A cell failed, or something cannot be printed.
    """
    from startkit.desk.plots import second_process

    with second_process():
        from startkit.fleet import engine
        from startkit.paper.printing.export import exported

        engine.register()
        return exported(job, paper, form, company, engine.IN_PROCESS)


def carry_out(task: Task) -> Stamp:
    """Run the job's notebook in this process, print its record, and write the record's stamp.

    Raises
    ------
    StartkitError
        A cell failed, or something cannot be printed.
    """
    from startkit.fleet import engine
    from startkit.paper.printing.export import export

    engine.register()
    made_from = record_stamp.digest_of(task.folder, task.layout)
    record = export(task.folder, task.paper, task.form, task.company, engine.IN_PROCESS)
    notebook = next(
        path
        for path in record.parent.glob("*.ipynb")
        if record.name.startswith(f"{path.stem}-") and not path.stem.endswith("-failed")
    )
    files = {path.name: sha256_of_file(path) for path in (notebook, record)}
    done = Stamp(made_from, task.layout, files)
    record_stamp.write(task.folder, done)
    return done

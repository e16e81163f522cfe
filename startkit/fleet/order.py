"""An order: one job to be run and printed, and what a worker does with it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from startkit.fleet import made
from startkit.fleet.made import Made

if TYPE_CHECKING:
    from startkit.paper.printing import Exported


@dataclass(frozen=True)
class Order:
    """A job's folder and how its record is laid out."""

    folder: Path
    paper: str = ""
    form: str = "full"
    company: str = ""

    @property
    def layout(self) -> str:
        """The layout as it stands in the record's stamp."""
        return "|".join((self.paper, self.form, self.company))

    @property
    def name(self) -> str:
        return self.folder.name


def alone(job: Path, paper: str, form: str, company: str) -> Exported:
    """Run and print one job in this process, which does nothing else, while one beside it draws the
    plots.

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
    from startkit.desk.plots_beside import beside

    with beside():
        from startkit.fleet import engine
        from startkit.paper.printing import exported

        engine.register()
        return exported(job, paper, form, company, engine.HERE)


def fill(order: Order) -> Made:
    """Run the job's notebook in this process, print its record, and leave the stamp beside it.

    Raises
    ------
    StartkitError
        A cell failed, or something cannot be printed.
    """
    from startkit.fleet import engine
    from startkit.paper.printing import export

    engine.register()
    began_from = made.digest_of(order.folder, order.layout)
    record = export(order.folder, order.paper, order.form, order.company, engine.HERE)
    notebook = next(
        path
        for path in record.parent.glob("*.ipynb")
        if record.name.startswith(f"{path.stem}-") and not path.stem.endswith("-failed")
    )
    files = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in (notebook, record)
    }
    done = Made(began_from, order.layout, files)
    made.write(order.folder, done)
    return done

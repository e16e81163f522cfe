"""Running and printing the register: notebook and PDF in the fleet's records."""

from __future__ import annotations

from pathlib import Path

from startkit.errors import PaperError
from startkit.facts import plugins
from startkit.facts.safe_files import write_whole
from startkit.fleet import engine
from startkit.fleet.folder import Fleet
from startkit.fleet.register_notebook import day
from startkit.paper.printing import runs

TEMPLATE, NAME = "fleet-register", "register"


def print_register(fleet: Fleet, as_of: str = "", template: str = TEMPLATE) -> tuple[Path, Path]:
    """Run the register's notebook and print it.

    Parameters
    ----------
    fleet : Fleet
    as_of : str
        Day for ages and due dates; empty: today.
    template : str
        Name of a template, or a notebook file.

    Returns
    -------
    tuple of pathlib.Path
        ``records/register.ipynb`` and ``records/register.pdf`` of the fleet.

    Raises
    ------
    StartkitError
        A cell fails, or something cannot be printed.
    """
    from startkit.paper.printing import register_page

    engine.register()
    notebook = runs.read(plugins.find_template(template))
    values = {"fleet": ".", "mode": "record", "as_of": day(as_of).isoformat()}
    executed, failure = runs.execute(notebook, values, fleet.folder, engine.NAME)
    content = runs.to_bytes(runs.settled(executed))
    if failure is not None:
        kept = write_whole(fleet.records / f"{NAME}-failed.ipynb", content)
        raise PaperError(failure[1], failure[0], f"see {kept.name} in the fleet's records")
    (fleet.records / f"{NAME}-failed.ipynb").unlink(missing_ok=True)
    written = write_whole(fleet.records / f"{NAME}.ipynb", content)
    return written, write_whole(
        fleet.records / f"{NAME}.pdf",
        register_page.pdf(executed, written.name, content, fleet.paper, fleet.company),
    )

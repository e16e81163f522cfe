"""Notebook templates: those that come with the tool, those of other packages, or a file."""

from __future__ import annotations

from pathlib import Path

from startkit.errors import JobError
from startkit.facts.added import entry_points

GROUP = "startkit.templates"
# In a wheel the templates lie inside the package; in a checkout beside it.
_HOMES = (Path(__file__).parents[1] / "templates", Path(__file__).parents[2] / "templates")


def homes() -> list[Path]:
    """Folders in which templates are looked for, ours first."""
    added = [Path(str(point.load()())) for point in entry_points(group=GROUP)]
    return [home for home in (*_HOMES, *added) if home.is_dir()]


def names() -> list[str]:
    """Names of the templates that can be found."""
    return sorted({path.stem for home in homes() for path in home.glob("*.ipynb")})


def find(name: str) -> Path:
    """The notebook of a template by name or path.

    Raises
    ------
    JobError
        No such template; the known ones are named.
    """
    given = Path(name)
    if given.suffix == ".ipynb" and given.is_file():
        return given
    for home in homes():
        found = home / f"{given.name}.ipynb"
        if given.name == name and found.is_file():
            return found
    raise JobError(
        f"there is no template {name!r}",
        "template",
        f"use {', '.join(names())} or the path of a notebook",
    )

"""What other packages bring along by their entry points, and the notebook templates among it."""

from __future__ import annotations

import functools
from importlib import metadata
from pathlib import Path

from startkit.errors import JobError

TEMPLATES = "startkit.templates"
LONGEST_NAME = 255  # of a file on any system
# In a wheel the templates are inside the package; in a checkout next to it.
_HOMES = (Path(__file__).parents[1] / "templates", Path(__file__).parents[2] / "templates")


@functools.cache
def entry_points(group: str) -> tuple[metadata.EntryPoint, ...]:
    """The entry points of a group, as they were when it was first asked for: the installed packages
    are searched once in a process.

    Parameters
    ----------
    group : str
        ``"startkit.stages"``, ``"startkit.checklists"`` or ``"startkit.templates"``.
    """
    return tuple(metadata.entry_points(group=group))


def template_homes() -> list[Path]:
    """Folders in which templates are looked for, ours first."""
    added = [Path(str(point.load()())) for point in entry_points(group=TEMPLATES)]
    return [home for home in (*_HOMES, *added) if home.is_dir()]


def template_names() -> list[str]:
    """Names of the templates that can be found."""
    return sorted({path.stem for home in template_homes() for path in home.glob("*.ipynb")})


def find_template(name: str) -> Path:
    """The notebook of a template by name or path.

    Raises
    ------
    JobError
        No such template; the known ones are named.
    """
    if len(name) > 4000 or len(Path(name).name.encode("utf-8", "replace")) > LONGEST_NAME:
        raise JobError(
            f"there is no template {name[:40]!r}…", "template", "use the path of a notebook"
        )
    given = Path(name)
    if given.suffix == ".ipynb" and given.is_file():
        return given
    for home in template_homes():
        found = home / f"{given.name}.ipynb"
        if given.name == name and found.is_file():
            return found
    raise JobError(
        f"there is no template {name!r}",
        "template",
        f"use {', '.join(template_names())} or the path of a notebook",
    )

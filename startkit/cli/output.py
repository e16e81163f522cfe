"""What every command shares: how it prints, its exit status, its common arguments."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path
from typing import ParamSpec

import click

from startkit.errors import StartkitError, shown

# PARTLY: a record is valid as far as it could be checked; what could not be is named.
CLEAR, NOT_PASSED, MISUSE, PARTLY = 0, 1, 2, 3
PAPERS, SYSTEMS = ("a4", "us-letter"), ("SI", "I-P")
JOB = click.argument("job", type=click.Path(path_type=Path))
WHO = click.option("--who", default="", metavar="NAME", help="Who does this.")
TEMPLATE = click.option(
    "--template",
    default="new-machine",
    show_default=True,
    help="Name of a template, or a notebook file.",
)
UNITS = click.option(
    "--units",
    "system",
    type=click.Choice(SYSTEMS),
    default="SI",
    show_default=True,
    help="Units of the job.",
)
PAPER = click.option(
    "--paper",
    type=click.Choice(PAPERS),
    default=None,
    help="Default: Letter for a job in I-P units, else A4.",
)
P = ParamSpec("P")


def say(text: str | Sequence[str], err: bool = False, nl: bool = True) -> None:
    """Print one line, or several; control characters in a typed name or note are made visible, and
    a line break in it begins no line.
    """
    for stream in (sys.stdout, sys.stderr):
        # The encoding of a file or an older console may lack a sign such as ✗: print a question
        # mark then.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    lines = [text] if isinstance(text, str) else text
    click.echo("\n".join(" ".join(shown(line).split("\n")) for line in lines), err=err, nl=nl)


def plain_errors(command: Callable[P, int | None]) -> Callable[P, None]:
    """Make a command exit with its status; an error is one line on standard error."""

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            status = command(*args, **kwargs)
        except StartkitError as error:
            first, *more = error.lines
            say([f"startkit: {first}", *more], err=True)
            sys.exit(MISUSE)
        sys.exit(status or CLEAR)

    return run


def warn_of_changed_notebook(job: Path) -> None:
    """Say on standard error that the notebook about to be run is not the job's template."""
    from startkit.facts.job import Job
    from startkit.facts.job_notebook import warning

    text = warning(Job(job, read_only=True))
    if text:
        say(text, err=True)


def entries_saved(count: int, job: Path) -> str:
    """``3 entries saved in jobs/CH-1.``"""
    return f"{count} {'entry' if count == 1 else 'entries'} saved in {job}."

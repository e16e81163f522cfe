"""Commands on a fleet: many jobs in one folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from startkit.cli.output import CLEAR, NOT_PASSED, WHO, plain_errors, say
from startkit.errors import shown

if TYPE_CHECKING:
    from startkit.fleet.run import Done, Run

FLEET = click.argument("folder", type=click.Path(path_type=Path))


@click.group()
def fleet() -> None:
    """Many machines in one folder: make their jobs, print all their records, print the register.

    The folder holds fleet.toml (name, company, sites, limits of the specification), machines, jobs
    and records.
    """


@fleet.command("new")
@FLEET
@click.argument("list_", metavar="LIST", type=click.Path(path_type=Path))
@click.option(
    "--template",
    default="",
    help="Name of a template, or a notebook file; default: the fleet's own.",
)
@WHO
@plain_errors
def new(folder: Path, list_: Path, template: str, who: str) -> None:
    """Make a job for each machine of a LIST (CSV or XLSX: tag, like, job, template, units, keys of
    the sheet).
    """
    from startkit.fleet.new_jobs import make_all

    made = make_all(folder, list_, template, who)
    say(f"Made in {made.folder}: {made.new}. Already there: {made.existing}.")


@fleet.command("run")
@FLEET
@click.argument("jobs", nargs=-1)
@click.option(
    "--changed",
    is_flag=True,
    help=(
        "Only jobs whose entries, files, template or version changed since they were last printed."
    ),
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=None,
    help="Number of processes; default: one per core.",
)
@click.option(
    "--scheduler", default="", metavar="ADDRESS", help="Run on the workers of this Dask scheduler."
)
@click.option("--short", is_flag=True, help="The short form for the owner.")
@plain_errors
def run(
    folder: Path,
    jobs: tuple[str, ...],
    changed: bool,
    workers: int | None,
    scheduler: str,
    short: bool,
) -> int:
    """Print the records of all jobs, or of those named. Exit status 1 if a job has no record."""
    from startkit.fleet.folder import load
    from startkit.fleet.run import Run, summary

    run_ = Run(load(folder), jobs, changed, workers or 0, scheduler, "short" if short else "full")
    if run_.resumed:
        say(f"Resuming the run of {run_.resumed}: {len(run_.unchanged)} jobs are done.", err=True)
    for sentence in run_.warnings():
        say(sentence, err=True)
    done = _with_progress(run_)
    say(summary(done, run_.unchanged))
    return NOT_PASSED if any(each.fault for each in done) else CLEAR


def _with_progress(run_: Run) -> list[Done]:
    """Each job's outcome, with a progress bar and the faults as they come."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    done = []
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
    ) as progress:
        bar = progress.add_task("Printing records", total=len(run_.tasks))
        for outcome in run_.outcomes():
            done.append(outcome)
            progress.update(bar, advance=1)
            if outcome.fault:
                progress.console.print(
                    shown(f"{outcome.job}: {outcome.fault}"), markup=False, highlight=False
                )
    return done


@fleet.command("template")
@FLEET
@click.argument("name", required=False, default="")
@WHO
@plain_errors
def template(folder: Path, name: str, who: str) -> int:
    """Put a template, by default the fleet's own, into every job that is not signed."""
    from startkit.fleet import template_change
    from startkit.fleet.folder import load

    found = template_change.bring(load(folder), name, who)
    say(template_change.lines(found))
    return NOT_PASSED if any(each.fault for each in found) else CLEAR


@fleet.command("register")
@FLEET
@click.option(
    "--as-of",
    default="",
    metavar="DAY",
    help="Date for ages and due dates, such as 2026-11-25; default: today.",
)
@plain_errors
def register(folder: Path, as_of: str) -> None:
    """Run the register's notebook and print it: states, open items, instruments due, figures,
    baseline, records.
    """
    from startkit.fleet.folder import load
    from startkit.fleet.register_printing import print_register

    notebook, printed = print_register(load(folder), as_of)
    say([f"Register: {printed}", f"Notebook: {notebook}"])

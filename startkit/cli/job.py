"""Commands on one job: make it, open it, enter readings, see its state, rescue it."""

from __future__ import annotations

from pathlib import Path

import click

from startkit.cli.output import (
    CLEAR,
    JOB,
    NOT_PASSED,
    TEMPLATE,
    UNITS,
    WHO,
    entries_saved,
    plain_errors,
    say,
    warn_of_changed_notebook,
)


@click.command()
@JOB
@click.option(
    "--sheet", required=True, type=click.Path(path_type=Path), help="Machine sheet (TOML)."
)
@TEMPLATE
@UNITS
@click.option(
    "--spec", type=click.Path(path_type=Path), help="Limits of the job's specification (TOML)."
)
@WHO
@plain_errors
def new(job: Path, sheet: Path, template: str, system: str, spec: Path | None, who: str) -> None:
    """Make a job from a machine sheet and a template."""
    from startkit.facts.job import Job
    from startkit.facts.plugins import find_template

    made = Job.create(job, sheet, find_template(template), system, who, spec)
    say(
        f"Job {made.machine.machine.tag} is in {made.folder}. Open it with:  startkit open"
        f" {made.folder}"
    )


@click.command("open")
@JOB
@click.option("--no-browser", is_flag=True, help="Do not start a browser; print the address.")
@click.option("--port", type=int, default=None, help="Port on this computer.")
@click.option(
    "--page",
    is_flag=True,
    help=("Serve as a page without code (needs the extra  page, see README)."),
)
@click.option(
    "--address",
    default=None,
    metavar="ADDRESS",
    help=("With --page: also serve other computers, on this address, such as 0.0.0.0."),
)
@plain_errors
def open_(job: Path, no_browser: bool, port: int | None, page: bool, address: str | None) -> int:
    """Open a job in JupyterLab on this computer, or as a page without code."""
    from startkit.desk.lab import serve
    from startkit.desk.page import LOOPBACK, serve_page

    if address and not page:
        raise click.UsageError(
            "--address goes with --page: JupyterLab can run any program, so it serves this computer"
            " only."
        )
    warn_of_changed_notebook(job)
    return (
        serve_page(job, not no_browser, port, address or LOOPBACK)
        if page
        else serve(job, not no_browser, port)
    )


@click.command()
@JOB
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--series",
    "item",
    metavar="ITEM",
    help="The file is one long series for this item, such as vanes.trace.",
)
@click.option("--instrument", default="", metavar="TAG", help="Instrument of a series.")
@click.option("--note", default="", help="Reason, if this corrects a series.")
@WHO
@plain_errors
def enter(job: Path, file: Path, item: str | None, instrument: str, note: str, who: str) -> None:
    """Enter readings from a CSV file (item, value, unit, who, instrument, note) or from an entry
    sheet (XLSX).
    """
    from startkit.desk.intake import enter_file, enter_series
    from startkit.facts.job import Job

    written, flagged = (
        (enter_series(job, item, file, who, instrument, note), [])
        if item
        else enter_file(job, file, who)
    )
    say(entries_saved(len(written), job))
    for reading in flagged:
        say(f"saved, but check it: {reading}")
    for fault in Job(job, read_only=True).state().faults:
        say(f"Warning: the journal was altered: {fault}.", err=True)


@click.command()
@JOB
@click.argument("file", type=click.Path(path_type=Path))
@plain_errors
def spreadsheet(job: Path, file: Path) -> None:
    """Write an entry sheet (XLSX) with a tab for each stage, to fill in where there is no notebook;
    `enter` reads it back.
    """
    from startkit.desk.entry_sheet.export import write

    say(
        f"Entry sheet: {write(job, file)}. When it is filled in:  startkit enter {job} {file} --who"
        " NAME"
    )


@click.command()
@JOB
@plain_errors
def items(job: Path) -> None:
    """List every item that can be entered in a job."""
    from startkit.desk.intake import items as listed

    for item, kind, question in listed(job):
        say(f"{item:44} {kind:20} {question}")


@click.command()
@JOB
@click.option(
    "--notebook",
    is_flag=True,
    help="Show instead how the job's notebook differs from its template.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the state as JSON, for a script.")
@plain_errors
def status(job: Path, notebook: bool, as_json: bool) -> int:
    """Show the state of a job and what to do next.

    The JSON holds stages (n settled of m), verdicts (key, outcome, reason), hold points (state,
    released by whom and when, digest), early and back-dated entries, and problems.
    """
    from startkit.desk.report import status_data, status_lines

    if notebook:
        return _notebook_difference(job)
    if as_json:
        import json

        found = status_data(job)
        say(json.dumps(found, indent=1, ensure_ascii=False).split("\n"))
        return CLEAR if found["clear"] else NOT_PASSED
    lines, clear = status_lines(job)
    say(lines)
    return CLEAR if clear else NOT_PASSED


@click.command()
@JOB
@click.argument("hold")
@click.option("--witness", default="", metavar="NAME", help="Who witnesses it.")
@click.option("--withdraw", is_flag=True, help="Take the release back.")
@WHO
@plain_errors
def release(job: Path, hold: str, witness: str, withdraw: bool, who: str) -> None:
    """Release a hold point that is clear: HOLD is oil_pump, turn_shaft, load or hand_over."""
    from startkit.desk import releasing
    from startkit.facts.job import Job
    from startkit.procedure.assessment import of_job

    opened = Job(job)
    seen = of_job(opened)
    if withdraw:
        releasing.withdraw(opened, seen, hold, who)
        say(f"The release of {hold} is withdrawn.")
        return
    made = releasing.release(opened, seen, hold, who, witness)
    say(f"Released by {made.who}, {made.at[:16].replace('T', ' ')}: {hold}")


def _notebook_difference(folder: Path) -> int:
    from startkit.facts.job import Job
    from startkit.facts.job_notebook import difference, is_changed

    job = Job(folder, read_only=True)
    say(difference(job))
    return NOT_PASSED if is_changed(job) else CLEAR


@click.command()
@JOB
@click.option(
    "-p",
    "--parameter",
    "parameters",
    nargs=2,
    multiple=True,
    metavar="NAME VALUE",
    help="Parameter of the template.",
)
@plain_errors
def run(job: Path, parameters: tuple[tuple[str, str], ...]) -> int:
    """Run a job's notebook without widgets and save the result in its folder `records`."""
    from startkit.desk.report import is_clear
    from startkit.paper.printing.runs import run as run_

    warn_of_changed_notebook(job)
    written = run_(job, parameters=dict(parameters))
    say(f"Executed notebook: {written}")
    return CLEAR if is_clear(job) else NOT_PASSED


@click.command()
@JOB
@click.argument("folder", type=click.Path(path_type=Path))
@plain_errors
def rescue(job: Path, folder: Path) -> int:
    """Save what can be read of a damaged job into a new FOLDER; the damaged job is not changed."""
    from startkit.facts.rescue import rescue as rescue_

    saved = rescue_(job, folder)
    say(f"{saved.saved} entries saved in {saved.folder}.")
    for number in saved.lost:
        say(f"lost: entry {number}")
    for name in saved.files_lost:
        say(f"lost: file {name}")
    return NOT_PASSED if saved.lost or saved.files_lost else CLEAR


@click.command()
@JOB
@click.argument("kept", metavar="WHAT")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--reason", required=True, help="Why the file is replaced.")
@WHO
@plain_errors
def replace(job: Path, kept: str, file: Path, reason: str, who: str) -> None:
    """Put FILE in place of a file of the job and record it: WHAT is sheet, specification, template,
    or the name of a picture in the job's folder.

    FILE may be the job's own file, if it was edited there.
    """
    from startkit.facts import kept_files
    from startkit.facts.job import Job

    name = kept_files.replace(Job(job), kept, file, who, reason)
    say(f"Replaced and recorded: {job / name}")


COMMANDS = (new, open_, enter, spreadsheet, items, status, release, run, replace, rescue)

"""The command `startkit`: parse, one call, print, exit status.

Exit status: 0 clear, 1 something has not passed, 2 misuse. Heavy modules are imported inside the
commands, so that help stays quick.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from startkit import __version__
from startkit.errors import StartkitError, shown
from startkit.paper import interpreter

CLEAR, NOT_PASSED, MISUSE = 0, 1, 2
JOB = click.argument("job", type=click.Path(path_type=Path))
WHO = click.option("--who", default="", metavar="NAME", help="Who enters or makes this.")


def _say(text: str, err: bool = False, nl: bool = True) -> None:
    """Print; a name or note that somebody typed can neither move the cursor nor change colours."""
    for stream in (sys.stdout, sys.stderr):
        # A file or an older console may lack a sign such as ✗: a question mark then, never a
        # traceback.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    click.echo(shown(text), err=err, nl=nl)


def _plain_errors(command: Callable[..., int | None]) -> Callable[..., None]:
    """One line on standard error instead of a traceback."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        try:
            status = command(*args, **kwargs)
        except StartkitError as error:
            _say(f"startkit: {error}", err=True)
            sys.exit(MISUSE)
        sys.exit(status or CLEAR)

    return run


@click.group(context_settings={"help_option_names": ["-h", "--help"]}, invoke_without_command=True)
@click.version_option(__version__, prog_name="startkit")
@click.pass_context
def main(context: click.Context) -> None:
    """Commissioning and start-up workbook for centrifugal water chillers.

    A job is a folder: make it with `new`, enter readings with `open` or `enter`, print the record
    with `print`.
    Many jobs are a fleet: see `fleet`. Without a command: where you are and what is next.
    The tool only records and calculates. It never operates a machine.
    """
    interpreter.skip_address_grammar()
    interpreter.skip_last_collection()
    if context.invoked_subcommand is None:
        _here()


@_plain_errors
def _here() -> int:
    from startkit.fleet.location import lines

    said, clear = lines(Path.cwd())
    _say("\n".join(said))
    return CLEAR if clear else NOT_PASSED


@main.command()
@JOB
@click.option(
    "--sheet", required=True, type=click.Path(path_type=Path), help="Machine sheet (TOML)."
)
@click.option(
    "--template",
    default="new-machine",
    show_default=True,
    help="Name of a template, or a notebook file.",
)
@click.option(
    "--units",
    "system",
    type=click.Choice(["SI", "I-P"]),
    default="SI",
    show_default=True,
    help="Units of the job.",
)
@click.option("--spec", type=click.Path(path_type=Path), help="The job's own limits (TOML).")
@WHO
@_plain_errors
def new(job: Path, sheet: Path, template: str, system: str, spec: Path | None, who: str) -> None:
    """Make a job from a machine sheet and a template."""
    from startkit.facts.job import Job
    from startkit.facts.plugins import find_template

    made = Job.create(job, sheet, find_template(template), system, who, spec)
    _say(
        f"Job {made.machine.machine.tag} is in {made.folder}. Open it with:  startkit open"
        f" {made.folder}"
    )


@main.command("open")
@JOB
@click.option("--no-browser", is_flag=True, help="Do not start a browser; print the address.")
@click.option("--port", type=int, default=None, help="Port on this computer.")
@click.option(
    "--page", is_flag=True, help="As a page without code (needs the extra startkit[page])."
)
@click.option(
    "--address",
    default=None,
    metavar="ADDRESS",
    help="With --page: let other computers reach it at this address of this one, such as 0.0.0.0.",
)
@_plain_errors
def open_(job: Path, no_browser: bool, port: int | None, page: bool, address: str | None) -> int:
    """Open a job in JupyterLab on this computer, or as a page without code."""
    from startkit.desk.lab import serve
    from startkit.desk.page import LOOPBACK, serve_page

    if address and not page:
        raise click.UsageError(
            "--address goes with --page: JupyterLab can run any program and is served to this"
            " computer only."
        )
    return (
        serve_page(job, not no_browser, port, address or LOOPBACK)
        if page
        else serve(job, not no_browser, port)
    )


@main.command()
@JOB
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--series",
    "item",
    metavar="ITEM",
    help="The file is one long series for this item, such as vanes.trace.",
)
@click.option("--instrument", default="", metavar="TAG", help="Instrument of a series.")
@click.option("--note", default="", help="Reason, if a series is corrected.")
@WHO
@_plain_errors
def enter(job: Path, file: Path, item: str | None, instrument: str, note: str, who: str) -> None:
    """Enter readings from a CSV file (item, value, unit, who, instrument, note) or from an entry
    sheet (XLSX).
    """
    from startkit.desk.intake import enter_file, enter_series

    written, flagged = (
        (enter_series(job, item, file, who, instrument, note), [])
        if item
        else enter_file(job, file, who)
    )
    _say(f"{len(written)} {'entry' if len(written) == 1 else 'entries'} saved in {job}.")
    for reading in flagged:
        _say(f"kept, but look at it: {reading}")


@main.command()
@JOB
@click.argument("item")
@click.argument("name", metavar="TREND")
@click.option(
    "--from",
    "begin",
    required=True,
    metavar="MOMENT",
    help="First moment, on the trend's own clock, as 2026-04-16 09:20:00.",
)
@click.option("--to", "end", required=True, metavar="MOMENT", help="Last moment.")
@click.option(
    "--with",
    "given",
    multiple=True,
    metavar="COLUMN=VALUE",
    help="A column that is the same in every row, such as trip=2.",
)
@click.option(
    "--add", is_flag=True, help="Below the rows that stand there, instead of in their place."
)
@WHO
@_plain_errors
def stretch(
    job: Path,
    item: str,
    name: str,
    begin: str,
    end: str,
    given: tuple[str, ...],
    add: bool,
    who: str,
) -> None:
    """Enter a stretch of an imported trend into a series, such as trips.minutes or pull_down.trend."""
    from startkit.desk.stretch import enter_stretch

    lacking = [pair for pair in given if "=" not in pair]
    if lacking:
        raise click.UsageError(f"--with {lacking[0]}: write it as COLUMN=VALUE.")
    written, told = enter_stretch(
        job, item, name, begin, end, who, dict(pair.split("=", 1) for pair in given), add
    )
    _say(
        "\n".join(
            [f"{len(written)} {'entry' if len(written) == 1 else 'entries'} saved in {job}.", *told]
        )
    )


@main.command()
@JOB
@click.argument("file", type=click.Path(path_type=Path))
@_plain_errors
def spreadsheet(job: Path, file: Path) -> None:
    """Write an entry sheet (XLSX) with a tab for each stage, to be filled where no notebook is;
    `enter` reads it back.
    """
    from startkit.desk.spreadsheet import write

    _say(
        f"Entry sheet: {write(job, file)}. When it is filled:  startkit enter {job} {file} --who"
        " NAME"
    )


@main.command()
@JOB
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--map",
    "map_",
    type=click.Path(path_type=Path),
    help="Map of its columns (TOML): written if it does not exist, else read and imported.",
)
@WHO
@_plain_errors
def trend(job: Path, file: Path, map_: Path | None, who: str) -> None:
    """Import a trend (CSV, TSV, XLSX, Parquet); without a confirmed map, guess one to look at."""
    from startkit.desk.intake import enter_trend

    _say("\n".join(enter_trend(job, file, map_, who)))


@main.command()
@JOB
@_plain_errors
def items(job: Path) -> None:
    """List every item that can be entered in a job."""
    from startkit.desk.intake import items as listed

    for item, kind, question in listed(job):
        _say(f"{item:44} {kind:20} {question}")


@main.command()
@JOB
@_plain_errors
def status(job: Path) -> int:
    """Say where a job stands and what is next."""
    from startkit.desk.report import status_lines

    lines, clear = status_lines(job)
    _say("\n".join(lines))
    return CLEAR if clear else NOT_PASSED


@main.command()
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
@_plain_errors
def run(job: Path, parameters: tuple[tuple[str, str], ...]) -> int:
    """Run a job's notebook without widgets and keep the result in its folder `records`."""
    from startkit.desk.report import is_clear
    from startkit.paper.printing.runs import run as run_

    written = run_(job, parameters=dict(parameters))
    _say(f"Executed notebook: {written}")
    return CLEAR if is_clear(job) else NOT_PASSED


@main.command("print")
@JOB
@click.option(
    "--paper",
    type=click.Choice(["a4", "us-letter"]),
    default=None,
    help="Default: Letter for a job in I-P units, else A4.",
)
@click.option("--short", is_flag=True, help="The short form for the owner.")
@click.option("--company", default="", metavar="NAME", help="Name that stands over the first page.")
@_plain_errors
def print_(job: Path, paper: str | None, short: bool, company: str) -> int:
    """Run a job's notebook and print the commissioning record as PDF."""
    with interpreter.collection_paused():
        from startkit.fleet.task import print_alone

        made = print_alone(job, paper or "", "short" if short else "full", company)
    _say(f"Record: {made.path}")
    return CLEAR if made.clear else NOT_PASSED


@main.command()
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--as",
    "role",
    required=True,
    metavar="ROLE",
    help="Role or name as on the signature page; the technician signs first.",
)
@click.option(
    "--p12",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The signer's key, or where to keep a new one.",
)
@click.option(
    "--new-identity",
    is_flag=True,
    help="Make a new key, with a certificate that nobody else vouches for.",
)
@click.option(
    "--name", default="", help="Name in a new certificate; default: that on the signature page."
)
@click.option(
    "--pkcs11", "module", metavar="MODULE", help="The key is in a token: its maker's library."
)
@click.option("--token", "label", default="", metavar="LABEL", help="Which token.")
@click.option("--slot", type=int, help="Or: in which slot.")
@click.option("--certificate", default="", metavar="LABEL", help="Which certificate in the token.")
@click.option("--key", default="", metavar="LABEL", help="Which key, if it is called otherwise.")
@click.option(
    "--timestamp",
    default="",
    metavar="ADDRESS",
    help="Time-stamp server (RFC 3161); without it the time is this computer's.",
)
@click.option(
    "--await",
    "awaited",
    multiple=True,
    metavar="ROLE",
    help="Who is to sign beside technician and witness (first signature only).",
)
@_plain_errors
def sign(
    record: Path,
    role: str,
    p12: Path | None,
    new_identity: bool,
    name: str,
    module: str | None,
    label: str,
    slot: int | None,
    certificate: str,
    key: str,
    timestamp: str,
    awaited: tuple[str, ...],
) -> None:
    """Sign a RECORD, or the newest record of a job, digitally. The passphrase is asked for (or
    taken from STARTKIT_PASSPHRASE).
    """
    from startkit.paper.signing import credentials, seal
    from startkit.paper.signing.token import Token

    ready = seal.ready(record, role, awaited)
    stamper = credentials.time_stamp_server(timestamp) if timestamp else None
    token = Token(module, certificate, key, label, slot) if module else None
    with credentials.opened(
        credentials.Choice(p12, new_identity, name or ready.row["name"], ready.row["firm"], token),
        _secret,
        _say,
    ) as signer:
        signed = seal.sign(ready, signer, stamper)
    _say(f"Signed as {signed.role} by {signed.signer}: {signed.path}")
    _say(
        "The job is as printed."
        if ready.compared
        else "Its job is not here: what is printed was signed as it stands."
    )


def _secret(what: str, twice: bool) -> str:
    """A passphrase from the environment, or asked for without showing it."""
    given = os.environ.get("STARTKIT_PASSPHRASE")
    if given is not None:
        return given
    # Some tokens ask for their PIN themselves: an empty answer leaves it to them.
    return click.prompt(
        what,
        default="" if what == "PIN" else None,
        show_default=False,
        hide_input=True,
        confirmation_prompt=twice,
        err=True,
    )


@main.command()
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--trust",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="CERT",
    help="Certificate that vouches for signers.",
)
@click.option(
    "--signed-by",
    "roles",
    multiple=True,
    metavar="ROLE",
    help="Who must have signed, beside those whom the record awaits.",
)
@click.option("--json", "as_json", is_flag=True, help="For a machine.")
@_plain_errors
def verify(record: Path, trust: tuple[Path, ...], roles: tuple[str, ...], as_json: bool) -> int:
    """Check a RECORD without its job: signatures, attachments, journal, and every verdict derived
    again.
    """
    import json

    with interpreter.collection_paused():
        from startkit.paper import certificates
        from startkit.paper.verifying import verification

        found = verification.verify(
            record, [der for path in trust for der in certificates.vouchers(path)], roles
        )
    _say(json.dumps(found.as_json(), indent=1) if as_json else "\n".join(found.lines()))
    return CLEAR if found.valid else NOT_PASSED


@main.command("import")
@click.argument("record", type=click.Path(path_type=Path))
@JOB
@click.option(
    "--baseline",
    is_flag=True,
    help="Put the record's figures into an existing JOB, to be held against.",
)
@click.option(
    "--template",
    default="",
    metavar="NAME",
    help="Template of the new job; default: the one that the record names.",
)
@WHO
@_plain_errors
def import_(record: Path, job: Path, baseline: bool, template: str, who: str) -> None:
    """Make a JOB from a RECORD, with all its entries; or take the record as an existing job's
    baseline.
    """
    from startkit.paper.verifying.job_import import import_baseline, import_job

    if baseline:
        _say(f"Baseline: {import_baseline(record, job, who)}")
        return
    made = import_job(record, job, who, template)
    _say(
        f"{len(made.state().entries)} entries in {made.folder}. Open it with:  startkit open"
        f" {made.folder}"
    )


@main.command()
@JOB
@click.argument("folder", type=click.Path(path_type=Path))
@_plain_errors
def rescue(job: Path, folder: Path) -> int:
    """Save what can be read of a damaged job into a new FOLDER; the damaged job is left as it is."""
    from startkit.facts.rescue import rescue as rescue_

    saved = rescue_(job, folder)
    _say(f"{saved.saved} entries saved in {saved.folder}.")
    for number in saved.lost:
        _say(f"lost: entry {number}")
    for name in saved.files_lost:
        _say(f"lost: file {name}")
    return NOT_PASSED if saved.lost or saved.files_lost else CLEAR


@main.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@_plain_errors
def sheet(file: Path | None) -> None:
    """Write a blank machine sheet with every key, to FILE or to the screen."""
    from startkit.facts.blank import blank_sheet, write_new

    _say(f"Blank sheet: {write_new(file, blank_sheet())}" if file else blank_sheet(), nl=bool(file))


@main.command("field-sheet")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--sheet",
    "sheet_",
    required=True,
    type=click.Path(path_type=Path),
    help="Machine sheet (TOML).",
)
@click.option(
    "--template",
    default="new-machine",
    show_default=True,
    help="Name of a template, or a notebook file.",
)
@click.option(
    "--units", "system", type=click.Choice(["SI", "I-P"]), default="SI", show_default=True
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "us-letter"]),
    default=None,
    help="Default: Letter in I-P units, else A4.",
)
@_plain_errors
def field_sheet_(file: Path, sheet_: Path, template: str, system: str, paper: str | None) -> None:
    """Print the blank sheet for a pencil in the plant room, as PDF."""
    from startkit.facts.plugins import find_template
    from startkit.paper.printing.export import field_sheet

    _say(f"Field sheet: {field_sheet(sheet_, find_template(template), file, system, paper or '')}")


@main.command()
@click.option(
    "--sheet",
    "sheet_",
    type=click.Path(path_type=Path),
    help="Show the limits as this machine sheet sets them.",
)
@_plain_errors
def limits(sheet_: Path | None) -> None:
    """List every limit with its value and source."""
    from startkit.facts.blank import limit_lines

    _say("\n".join(limit_lines(sheet_)))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path), default=".")
@_plain_errors
def doctor(folder: Path) -> int:
    """Look whether this computer is ready: fonts, kernel, write access in FOLDER, clock, versions,
    figures.
    """
    from startkit.paper.doctor import examine, told

    found = examine(folder)
    _say("\n".join(told(found)))
    return CLEAR if all(each.ok for each in found) else NOT_PASSED


# --- many machines --------------------------------------------------------------------------------

FLEET = click.argument("folder", type=click.Path(path_type=Path))


@main.group()
def fleet() -> None:
    """Many machines in one folder: make their jobs, run them all to records, print the register.

    The folder holds fleet.toml (name, company, sites, limits of the specification), machines, jobs
    and records.
    """


@fleet.command("new")
@FLEET
@click.argument("list_", metavar="LIST", type=click.Path(path_type=Path))
@click.option(
    "--template",
    default="",
    help="Name of a template, or a notebook file; default: that of fleet.toml.",
)
@WHO
@_plain_errors
def fleet_new(folder: Path, list_: Path, template: str, who: str) -> None:
    """Make a job for each machine of a LIST (CSV or XLSX: tag, like, job, template, units, keys of
    the sheet).
    """
    from startkit.fleet import new_jobs

    opened = new_jobs.start(folder)
    planned = new_jobs.plans(opened, list_, template)
    made = [new_jobs.make(plan, opened, who) for plan in planned if not plan.there]
    _say(f"Made in {opened.jobs_folder}: {len(made)}. There already: {len(planned) - len(made)}.")


@fleet.command("run")
@FLEET
@click.argument("jobs", nargs=-1)
@click.option(
    "--changed",
    is_flag=True,
    help="Only jobs whose entries, files, template or version changed since their record.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=None,
    help="Processes at a time; default: one for each core.",
)
@click.option(
    "--scheduler", default="", metavar="ADDRESS", help="Run on the workers of this Dask scheduler."
)
@click.option("--short", is_flag=True, help="The short form for the owner.")
@_plain_errors
def fleet_run(
    folder: Path,
    jobs: tuple[str, ...],
    changed: bool,
    workers: int | None,
    scheduler: str,
    short: bool,
) -> int:
    """Run all jobs, or those named, to records. Exit status 1 if one has no record."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    from startkit.fleet.folder import load
    from startkit.fleet.run import Run, summary

    run_ = Run(load(folder), jobs, changed, workers or 0, scheduler, "short" if short else "full")
    if run_.taken_up:
        _say(
            f"The run of {run_.taken_up} is taken up again: {len(run_.left)} jobs are done.",
            err=True,
        )
    done = []
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
    ) as progress:
        bar = progress.add_task("Jobs to records", total=len(run_.tasks))
        for outcome in run_.outcomes():
            done.append(outcome)
            progress.update(bar, advance=1)
            if outcome.fault:
                progress.console.print(
                    shown(f"{outcome.job}: {outcome.fault}"), markup=False, highlight=False
                )
    _say("\n".join(summary(done, run_.left)))
    return NOT_PASSED if any(each.fault for each in done) else CLEAR


@fleet.command("template")
@FLEET
@click.argument("name", required=False, default="")
@WHO
@_plain_errors
def fleet_template(folder: Path, name: str, who: str) -> int:
    """Bring a template, by default that of fleet.toml, to every job that is not signed."""
    from startkit.fleet import template_change
    from startkit.fleet.folder import load

    found = template_change.bring(load(folder), name, who)
    _say("\n".join(template_change.told(found)))
    return NOT_PASSED if any(each.fault for each in found) else CLEAR


@fleet.command("register")
@FLEET
@click.option(
    "--as-of",
    default="",
    metavar="DAY",
    help="Day for ages and due dates, such as 2026-11-25; default: today.",
)
@_plain_errors
def fleet_register(folder: Path, as_of: str) -> None:
    """Run the register's notebook and print it: states, open items, instruments due, figures,
    baseline, records.
    """
    from startkit.fleet.folder import load
    from startkit.fleet.register_printing import print_register

    notebook, printed = print_register(load(folder), as_of)
    _say(f"Register: {printed}\nNotebook: {notebook}")


if __name__ == "__main__":
    main()

"""The command `startkit`: parse, one call, print, exit status.

Exit status: 0 clear, 1 something has not passed, 2 misuse, 3 a record that is valid as far as it
could be checked. A command imports what it needs when it
runs, so that help stays quick.
"""

from __future__ import annotations

from pathlib import Path

import click

from startkit import __version__
from startkit.cli import fleet, job, record, sheet, trend
from startkit.cli.output import CLEAR, NOT_PASSED, plain_errors, say
from startkit.paper import interpreter


@click.group(context_settings={"help_option_names": ["-h", "--help"]}, invoke_without_command=True)
@click.version_option(__version__, prog_name="startkit")
@click.pass_context
def main(context: click.Context) -> None:
    """Commissioning and start-up workbook for centrifugal water chillers.

    A job is a folder. Make one with `new`, enter readings with `open` or `enter`, and print the
    record with `print`. A fleet is a folder of many jobs: see `fleet`. Without a command, startkit
    shows the job or fleet of the current folder and what to do next.

    The tool only records and calculates. It never operates a machine.
    """
    interpreter.skip_address_grammar()
    interpreter.skip_last_collection()
    if context.invoked_subcommand is None:
        _current_folder()


@plain_errors
def _current_folder() -> int:
    from startkit.fleet.location import lines

    found, clear = lines(Path.cwd())
    say(found)
    return CLEAR if clear else NOT_PASSED


@main.command()
@click.argument("folder", type=click.Path(path_type=Path), default=".")
@plain_errors
def doctor(folder: Path) -> int:
    """Check that this computer is ready: fonts, kernel, write access in FOLDER, clock, versions,
    worked examples.
    """
    from startkit.paper.doctor import examine, told

    found = examine(folder)
    say(told(found))
    return CLEAR if all(each.ok for each in found) else NOT_PASSED


for command in (
    *job.COMMANDS,
    *trend.COMMANDS,
    *record.COMMANDS,
    *sheet.COMMANDS,
    fleet.fleet,
):
    main.add_command(command)

"""Commands that need no job: a blank machine sheet, a blank field sheet, the limits."""

from __future__ import annotations

from pathlib import Path

import click

from startkit.cli.output import PAPER, TEMPLATE, UNITS, plain_errors, say


@click.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@plain_errors
def sheet(file: Path | None) -> None:
    """Write a blank machine sheet with every key, to FILE or to the screen."""
    from startkit.facts.blank import blank_sheet, write_new

    made = [f"Blank sheet: {write_new(file, blank_sheet())}"] if file else blank_sheet().split("\n")
    say(made, nl=bool(file))


@click.command("field-sheet")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--sheet",
    "sheet_",
    required=True,
    type=click.Path(path_type=Path),
    help="Machine sheet (TOML).",
)
@TEMPLATE
@UNITS
@PAPER
@plain_errors
def field_sheet_(file: Path, sheet_: Path, template: str, system: str, paper: str | None) -> None:
    """Print a blank form of the job as PDF, to fill in by hand in the plant room."""
    from startkit.facts.plugins import find_template
    from startkit.paper.printing.export import field_sheet

    say(f"Field sheet: {field_sheet(sheet_, find_template(template), file, system, paper or '')}")


@click.command()
@click.option(
    "--sheet",
    "sheet_",
    type=click.Path(path_type=Path),
    help="Show the limits as this machine sheet sets them.",
)
@plain_errors
def limits(sheet_: Path | None) -> None:
    """List every limit with its value and source."""
    from startkit.facts.blank import limit_lines

    say(limit_lines(sheet_))


COMMANDS = (sheet, field_sheet_, limits)

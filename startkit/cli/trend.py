"""Commands on trends: import one, enter a part of it."""

from __future__ import annotations

from pathlib import Path

import click

from startkit.cli.output import JOB, WHO, entries_saved, plain_errors, say


@click.command()
@JOB
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--map",
    "map_",
    type=click.Path(path_type=Path),
    help="Map of its columns (TOML): written if it does not exist, else read and imported.",
)
@WHO
@plain_errors
def trend(job: Path, file: Path, map_: Path | None, who: str) -> None:
    """Import a trend (CSV, TSV, XLSX, Parquet); without a confirmed map, propose one to check."""
    from startkit.desk.intake import enter_trend

    say(enter_trend(job, file, map_, who))


@click.command()
@JOB
@click.argument("item")
@click.argument("name", metavar="TREND")
@click.option(
    "--from",
    "begin",
    required=True,
    metavar="MOMENT",
    help="Start, by the trend's own clock, as 2026-04-16 09:20:00.",
)
@click.option("--to", "end", required=True, metavar="MOMENT", help="Last moment.")
@click.option(
    "--with",
    "given",
    multiple=True,
    metavar="COLUMN=VALUE",
    help="Set a column to one value in every row, such as trip=2.",
)
@click.option("--add", is_flag=True, help="Append to the existing rows instead of replacing them.")
@WHO
@plain_errors
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
    """Enter part of an imported trend into a series, such as trips.minutes or pull_down.trend."""
    from startkit.desk.stretch import enter_stretch

    wrong = [pair for pair in given if "=" not in pair]
    if wrong:
        raise click.UsageError(f"--with {wrong[0]}: write it as COLUMN=VALUE.")
    columns = dict(pair.split("=", 1) for pair in given)
    written, remarks = enter_stretch(job, item, name, begin, end, who, columns, add)
    say([entries_saved(len(written), job), *remarks])


COMMANDS = (trend, stretch)

"""New jobs for the machines of a list. Every sheet is checked before the first job is made."""

# `Any` here: what a TOML file holds is checked value by value.
from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from startkit.errors import JobError, SheetError, StartkitError
from startkit.facts import limits as limits_
from startkit.facts import machine as machine_
from startkit.facts import plugins, toml_file
from startkit.facts.job import DATABASE, SPECIFICATION, Job
from startkit.facts.safe_files import file_safe, write_whole
from startkit.fleet import company_mark
from startkit.fleet.folder import JOBS, MACHINES, RECORDS, SETTINGS, Fleet, load
from startkit.fleet.machine_list import Row, read
from startkit.units import SYSTEMS

_NUMBER = re.compile(r"^-?\d+(\.\d+)?$")
_UNFINISHED = ".making"  # in jobs/: a job moves to its own folder only when it is complete


@dataclass(frozen=True)
class Plan:
    """One job to make: its folder, its sheet as text, template and units; `exists` if it was made
    before.
    """

    tag: str
    folder: Path
    sheet: Path
    text: str
    template: Path
    system: str
    exists: bool


@dataclass(frozen=True)
class Made:
    """What `make_all` did: the folder of the jobs, how many are new, how many existed."""

    folder: Path
    new: int
    existing: int


def make_all(folder: Path, listed: Path, template: str = "", who: str = "") -> Made:
    """Make a job for each machine of a list that has none yet.

    Raises
    ------
    StartkitError
        The folder, the list or a sheet cannot be used; no job is made then. Or a job cannot be
        written.
    """
    fleet = start(folder)
    found = plans(fleet, listed, template)
    new = [make(plan, fleet, who) for plan in found if not plan.exists]
    return Made(fleet.jobs_folder, len(new), len(found) - len(new))


def start(folder: Path) -> Fleet:
    """The fleet in a folder; a new or empty folder becomes a fleet.

    Raises
    ------
    JobError
        The folder holds something else.
    """
    folder = Path(folder)
    if not (folder / SETTINGS).is_file():
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise JobError(
                f"there is no {SETTINGS}",
                str(folder),
                "give the folder of a fleet, or the name of a new folder",
            )
        for part in (MACHINES, JOBS, RECORDS):
            (folder / part).mkdir(parents=True, exist_ok=True)
        write_whole(
            folder / SETTINGS,
            toml_file.text_of(
                {
                    "fleet": {
                        "name": folder.resolve().name,
                        "company": "",
                        "template": "new-machine",
                        "units": "SI",
                    }
                }
            ).encode(),
        )
    return load(folder)


def plans(fleet: Fleet, listed: Path, template: str = "") -> list[Plan]:
    """The jobs to make, every row checked.

    Raises
    ------
    SheetError, JobError
        A row, a sheet or a template cannot be used: file, row, key, remedy.
    """
    rows = read(listed)
    if fleet.specification:
        _check_specification(fleet)
    found = [_plan(fleet, row, template) for row in rows]
    _check_apart(rows, found)
    return found


def make(plan: Plan, fleet: Fleet, who: str = "", at: str = "") -> Path:
    """Make one job; it appears in the fleet only when it is complete.

    Raises
    ------
    StartkitError
        A file cannot be written.
    """
    if not plan.sheet.is_file():
        write_whole(plan.sheet, plan.text.encode("utf-8"))
    fleet.jobs_folder.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(fleet.jobs_folder / _UNFINISHED, ignore_errors=True)
    half = fleet.jobs_folder / _UNFINISHED / plan.folder.name
    specification = None
    with tempfile.TemporaryDirectory() as scratch:
        if fleet.specification:
            specification = Path(scratch) / SPECIFICATION
            specification.write_text(fleet.specification, encoding="utf-8")
        Job.create(half, plan.sheet, plan.template, plan.system, who, specification, at)
    company_mark.bring(fleet, half)
    try:
        half.rename(plan.folder)
        half.parent.rmdir()
    except OSError as error:
        raise JobError(
            f"the job cannot be moved to its folder ({error.strerror})",
            str(plan.folder),
            "check what is in that folder",
        ) from None
    return plan.folder


def _check_apart(rows: list[Row], found: list[Plan]) -> None:
    """Refuse names that differ only in case: on some computers they are the same folder."""
    seen: dict[str, str] = {}
    for row, plan in zip(rows, found, strict=True):
        name = plan.folder.name.lower()
        if name in seen:
            raise JobError(
                f"{plan.tag!r} and {seen[name]!r} would have the same folder {plan.folder.name}",
                row.where,
                "give one of them another folder in the column job",
            )
        seen[name] = plan.tag


def _check_specification(fleet: Fleet) -> None:
    table = toml_file.parse(fleet.specification, SPECIFICATION)
    limits_.defaults().overridden(
        table.get("limits", {}),
        limits_.SPECIFICATION,
        SPECIFICATION,
        fleet.specification,
        ("limits",),
    )


# --- one row --------------------------------------------------------------------------------------


def _plan(fleet: Fleet, row: Row, template: str) -> Plan:
    tag = row["tag"]
    name = row["job"] or file_safe(tag)
    if file_safe(name) != name:
        raise JobError(
            f"{name!r} is not a valid folder name",
            f"{row.where}, job",
            "use letters, digits, dots and hyphens",
        )
    folder = fleet.jobs_folder / name
    sheet = fleet.machines / f"{file_safe(tag)}.toml"
    text = _sheet(fleet, row, sheet)
    found = plugins.find_template(row["template"] or template or fleet.template)
    return Plan(
        tag, folder, sheet, text, found, _units(fleet, row, text), (folder / DATABASE).is_file()
    )


def _units(fleet: Fleet, row: Row, text: str) -> str:
    plant = toml_file.parse(text, row.where).get("site", {}).get("plant", "")
    site = fleet.site(plant, row["tag"])
    system = row["units"] or (site.units if site else "") or fleet.system
    if system not in SYSTEMS:
        raise SheetError(
            f"{system!r} is not a system of units",
            f"{row.where}, units",
            f"use {' or '.join(SYSTEMS)}",
        )
    return system


def _sheet(fleet: Fleet, row: Row, path: Path) -> str:
    """The machine's sheet: the file in ``machines``, or made from the list."""
    existing = path.read_text(encoding="utf-8-sig") if path.is_file() else ""
    if not row.sheet and not row["like"]:
        if not existing:
            raise SheetError(
                f"there is no sheet for {row['tag']}",
                row.where,
                f"put it into {MACHINES}/{path.name}, or name a machine to copy in the column like",
            )
        machine = machine_.load(path)
        if machine.machine.tag != row["tag"]:
            raise SheetError(
                f"the sheet is for {machine.machine.tag}, not for {row['tag']}",
                f"{row.where}, tag",
                f"correct the list or {MACHINES}/{path.name}",
            )
        return existing
    table = _merged(fleet.defaults, _site_of(fleet, row), _alike(fleet, row), _own(row))
    text = toml_file.text_of(
        table,
        f"{row['tag']}: made from a list of machines; check it against the maker's documents.",
    )
    _checked(table, text, row)
    if existing and toml_file.parse(existing, f"{MACHINES}/{path.name}") != table:
        raise SheetError(
            f"{MACHINES}/{path.name} exists already and differs from the list",
            row.where,
            "change that file, or fill in only the column tag",
        )
    return text


def _alike(fleet: Fleet, row: Row) -> dict[str, Any]:
    if not row["like"]:
        return {}
    path = fleet.machines / f"{file_safe(row['like'])}.toml"
    if not path.is_file():
        raise SheetError(
            f"there is no sheet for {row['like']!r} to copy",
            f"{row.where}, like",
            f"put it into {MACHINES}/{path.name}",
        )
    table, _ = toml_file.load(path)
    if "site.plant" in row.sheet:
        table.get("site", {}).pop("elevation", None)  # it belongs to the other plant
    return table


def _site_of(fleet: Fleet, row: Row) -> dict[str, Any]:
    site = fleet.site(row.sheet.get("site.plant", ""), row["tag"])
    return (
        {"site": {"plant": site.plant, **({"elevation": site.elevation} if site.elevation else {})}}
        if site
        else {}
    )


def _own(row: Row) -> dict[str, Any]:
    """The row's own cells as a table."""
    own: dict[str, Any] = {"machine": {"tag": row["tag"]}}
    for column, cell in row.sheet.items():
        part, _, key = column.partition(".")
        own.setdefault(part, {})[key] = _typed(part, key, cell)
    return own


def _typed(part: str, key: str, cell: str) -> Any:
    """A cell as the sheet needs it: a number where the key takes a plain number, else text."""
    section = machine_.Machine.model_fields.get(part)
    known = (
        getattr(section.annotation, "model_fields", {}).get(key) if section is not None else None
    )
    if known is None or known.annotation is str or not _NUMBER.match(cell):
        return cell
    bare = any(word in str(known.annotation) for word in ("int", "float", "Literal"))
    return json.loads(cell) if bare else cell


def _merged(*layers: Mapping[str, Any]) -> dict[str, Any]:
    """Later layers override earlier ones key by key; a list replaces a list. The parts stay in the
    order of the sheet.
    """
    merged: dict[str, Any] = {}
    for layer in layers:
        for part, table in deepcopy(dict(layer)).items():
            if isinstance(table, dict) and isinstance(merged.get(part), dict):
                merged[part] |= table
            else:
                merged[part] = table
    order = list(machine_.Machine.model_fields)
    return dict(
        sorted(
            merged.items(),
            key=lambda item: order.index(item[0]) if item[0] in order else len(order),
        )
    )


def _checked(table: Mapping[str, Any], text: str, row: Row) -> None:
    try:
        machine_.from_table(dict(table), "sheet", text)
    except StartkitError as error:
        key = error.where.rpartition(", ")[2]
        raise SheetError(error.what, f"{row.where}, {key}", error.remedy) from None

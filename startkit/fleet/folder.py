"""The fleet's folder: ``fleet.toml``, ``machines/``, ``jobs/``, ``records/``."""

# `Any` here: what a TOML file holds is checked value by value.
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import pint

from startkit.errors import JobError, SheetError, StartkitError
from startkit.facts import limits as limits_
from startkit.facts import toml_file
from startkit.facts.job import DATABASE, SPECIFICATION
from startkit.units import SI, SYSTEMS, parse

SETTINGS, MACHINES, JOBS, RECORDS = "fleet.toml", "machines", "jobs", "records"
TEMPLATE = "new-machine"
_PAPERS = ("", "a4", "us-letter")
_KEYS = {"fleet": dict, "site": list, "defaults": dict, "limits": dict, "changes": dict}
_FLEET_KEYS = ("name", "company", "mark", "template", "units", "paper")
_SITE_KEYS = ("plant", "elevation", "units", "machines")


@dataclass(frozen=True)
class Site:
    """One plant: name, elevation as written, units of its jobs, tags of its machines."""

    plant: str
    elevation: str = ""
    units: str = ""
    machines: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fleet:
    """A fleet as read from its folder.

    Parameters
    ----------
    folder : pathlib.Path
    name, company : str
        What the register and the records are headed with.
    mark : str
        Picture in the fleet's folder for the head of each record; empty: none.
    template, system, paper : str
        For new jobs and for records, where they set nothing else.
    sites : tuple of Site
    defaults : mapping
        Parts of a machine sheet for every machine whose own sheet does not set them.
    changes : mapping
        By key of a figure, the change that matters; see `startkit.fleet.baseline_comparison`.
    """

    folder: Path
    name: str
    company: str = ""
    template: str = TEMPLATE
    system: str = SI
    paper: str = ""
    sites: tuple[Site, ...] = ()
    defaults: Mapping[str, Any] = field(default_factory=dict)
    changes: Mapping[str, str] = field(default_factory=dict)
    mark: str = ""

    @property
    def machines(self) -> Path:
        return self.folder / MACHINES

    @property
    def records(self) -> Path:
        return self.folder / RECORDS

    @property
    def jobs_folder(self) -> Path:
        return self.folder / JOBS

    def jobs(self) -> list[Path]:
        """Folders of the jobs, by name; an unfinished one has a name that begins with a dot."""
        home = self.jobs_folder
        return (
            sorted(
                path.parent
                for path in home.glob(f"*/{DATABASE}")
                if not path.parent.name.startswith(".")
            )
            if home.is_dir()
            else []
        )

    def site(self, plant: str, tag: str = "") -> Site | None:
        """The site of that name, else the one that lists the machine's tag."""
        named = next((s for s in self.sites if s.plant == plant), None)
        return named or (
            next((s for s in self.sites if tag in s.machines), None) if not plant else None
        )

    @cached_property
    def specification(self) -> str:
        """The specification's limits as the text of a file for each job; empty if there is none."""
        table, _ = toml_file.load(self.folder / SETTINGS)
        if table.get("limits"):
            return toml_file.text_of({"limits": table["limits"]})
        path = self.folder / SPECIFICATION
        return path.read_text(encoding="utf-8") if path.is_file() else ""

    def change_that_matters(self, key: str, kind: str) -> pint.Quantity | None:
        """The fleet's own figure for a key; None if it sets none."""
        return (
            parse(self.changes[key], kind, where=f"{SETTINGS}, changes, {key}")
            if key in self.changes
            else None
        )


def load(folder: Path) -> Fleet:
    """The fleet in a folder.

    Raises
    ------
    JobError
        There is no ``fleet.toml``.
    SheetError
        It cannot be read: line, key, remedy.
    """
    path = Path(folder) / SETTINGS
    if not path.is_file():
        raise JobError(
            f"there is no {SETTINGS}",
            str(folder),
            "give the folder of a fleet, or make one with `startkit fleet new`",
        )
    table, text = toml_file.load(path)
    _check(table, text)
    heads = table.get("fleet", {})
    fleet = Fleet(
        Path(folder),
        str(heads.get("name") or Path(folder).resolve().name),
        heads.get("company", ""),
        heads.get("template", TEMPLATE),
        heads.get("units", SI),
        heads.get("paper", ""),
        tuple(_site(t) for t in table.get("site", ())),
        table.get("defaults", {}),
        table.get("changes", {}),
        heads.get("mark", ""),
    )
    limits_.defaults().overridden(
        table.get("limits", {}), limits_.SPECIFICATION, SETTINGS, text, ("limits",)
    )
    if table.get("limits") and (fleet.folder / SPECIFICATION).is_file():
        raise SheetError(
            "there are limits here and in specification.toml",
            toml_file.where(SETTINGS, text, ("limits",)),
            "keep them in one file only",
        )
    return fleet


def _site(table: Mapping[str, Any]) -> Site:
    return Site(
        table["plant"],
        table.get("elevation", ""),
        table.get("units", ""),
        tuple(table.get("machines", ())),
    )


def _check(table: Mapping[str, Any], text: str) -> None:
    """Refuse what is misspelt or of the wrong kind, with its line."""
    _known(table, _KEYS, (), text)
    for key, kind in _KEYS.items():
        if not isinstance(table.get(key, kind()), kind):
            raise SheetError(
                f"{key!r} is not {'a table' if kind is dict else 'a list of tables'}",
                toml_file.where(SETTINGS, text, (key,)),
                f"head it with  [{'[site]' if kind is list else key}]",
            )
    _known(table.get("fleet", {}), _FLEET_KEYS, ("fleet",), text)
    for n, site in enumerate(table.get("site", ())):
        _known(site, _SITE_KEYS, ("site", n), text)
        if not isinstance(site.get("plant"), str) or not site["plant"]:
            raise SheetError(
                "a site needs its name",
                toml_file.where(SETTINGS, text, ("site", n)),
                'add  plant = "name"',
            )
        if site.get("elevation"):
            _readable(site["elevation"], "elevation", ("site", n, "elevation"), text)
        _choice(site.get("units", SI), SYSTEMS, ("site", n, "units"), text)
    _choice(table.get("fleet", {}).get("units", SI), SYSTEMS, ("fleet", "units"), text)
    _choice(table.get("fleet", {}).get("paper", ""), _PAPERS, ("fleet", "paper"), text)


def _known(table: Mapping[str, Any], keys: Any, at: tuple[Any, ...], text: str) -> None:
    for key in table:
        if key not in keys:
            raise SheetError(
                f"{key!r} is not a key of {'.'.join(str(a) for a in at) or SETTINGS}",
                toml_file.where(SETTINGS, text, (*at, key)),
                f"use {', '.join(keys)}",
            )


def _choice(value: Any, choices: tuple[str, ...], at: tuple[Any, ...], text: str) -> None:
    if value not in choices:
        raise SheetError(
            f"{value!r} is not a choice",
            toml_file.where(SETTINGS, text, at),
            f"use {' or '.join(c for c in choices if c)}",
        )


def _readable(value: Any, kind: str, at: tuple[Any, ...], text: str) -> None:
    try:
        parse(str(value), kind)
    except StartkitError as error:
        raise SheetError(error.what, toml_file.where(SETTINGS, text, at), error.remedy) from None

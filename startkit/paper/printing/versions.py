"""By what the record was made: versions of the tool and of the property equations."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

import functools
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from startkit import __version__
from startkit.facts.job import Job

# What decides how a page looks: layout, engine, fonts.
SETTING = ("startkit", "typst", "matplotlib")
PACKAGES = ("startkit", "CoolProp", "typst", "matplotlib", "papermill", "nbconvert")


def versions(front: dict[str, Any]) -> list[dict[str, str]]:
    """Name and version of what calculated and what printed; those that the notebook names go
    before.
    """
    named = {str(k): str(v) for k, v in front.get("versions", {}).items()}
    return [
        {"name": name, "version": v}
        for name, v in {**{p: _installed(p) for p in PACKAGES}, **named}.items()
        if v
    ]


@functools.cache
def _installed(package: str) -> str:
    if package == "startkit":
        return __version__
    try:
        return version(package)
    except PackageNotFoundError:
        return ""


def equations(job: Job, front: dict[str, Any]) -> str:
    """The citation of the refrigerant's equations: the notebook's own, or that of the installed
    library.
    """
    if front.get("equations"):
        return str(front["equations"])
    from startkit.errors import StartkitError
    from startkit.science.refrigerant import citation

    try:
        return citation(job.machine.machine.refrigerant)
    except StartkitError as error:
        return str(error)


def named(record: Mapping[str, Any]) -> dict[str, str]:
    """Name and version of everything a record names as having made it."""
    lines = record.get("versions")
    return {
        str(line.get("name")): str(line.get("version"))
        for line in (lines if isinstance(lines, list) else ())
        if isinstance(line, dict)
    }


def other(record: Mapping[str, Any]) -> list[str]:
    """What is installed here in another version than the pages were set with, ``"typst 0.14.0, here
    0.15.2"``.
    """
    then = named(record)
    return [
        f"{name} {then.get(name, 'unknown')}, here {_installed(name) or 'none'}"
        for name in SETTING
        if then.get(name) != _installed(name)
    ]


def contradictions(record: Mapping[str, Any], creator: str) -> list[str]:
    """Versions that the record claims against those that its notebook and its PDF name.

    Parameters
    ----------
    record : mapping
        The attached data.
    creator : str
        The typesetter, as the PDF names it.
    """
    then, front = named(record), record["front"].get("versions")
    notebook = front if isinstance(front, dict) else {}
    found = [
        f"{name} {then.get(str(name), 'of no version')} is stated, but its notebook was run with"
        f" {value}"
        for name, value in notebook.items()
        if then.get(str(name)) != str(value)
    ]
    engine, _, number = creator.partition(" ")
    claimed = then.get("typst", "")
    if creator and (engine.lower() != "typst" or number.split(".")[:2] != claimed.split(".")[:2]):
        found.append(f"typst {claimed or 'of no version'} is stated, but the PDF names {creator}")
    return found

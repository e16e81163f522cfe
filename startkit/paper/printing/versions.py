"""By what the record was made: versions of the tool and of the property equations."""

from __future__ import annotations

import functools
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from startkit.facts.job import Job

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

"""Limits: data with a source, in an order of authority.

Machine sheet > job's specification > published standard > common practice > default of this
workbook.
"""

# `Any` here: what a TOML file holds is checked value by value.
from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

import pint

from startkit.errors import SheetError, StartkitError
from startkit.facts import exemptions as exemptions_
from startkit.facts import rules as rules_
from startkit.facts import toml_file
from startkit.facts.exemptions import Exemptions
from startkit.facts.rules import ReleaseRules
from startkit.units import KINDS, parse

PRACTICE = "common practice, no source"  # how a fact of the trade without a source is printed
SHEET, SPECIFICATION = "machine sheet", "specification"
STANDINGS = ("published", "secondary", "from memory", "common practice", "own default")
CHECK = "check against the standard"


@dataclass(frozen=True)
class Limit:
    """One limit.

    Parameters
    ----------
    key : str
        ``stage.item``.
    title : str
    kind : str
        Kind of reading.
    low, high : pint.Quantity or None
    source : str
        Document and clause, as printed.
    standing : str
        How well it is known, one of `STANDINGS`; limits of sheet and specification are
        ``"published"``.
    authority : str
        Whose limit it is: ``"machine sheet"``, ``"specification"`` or ``"default"``.
    measured : bool
        What it limits is measured: without a known uncertainty it is never a pass. False for what
        is read off a plate, a document, a setting or a clock. In ``limits.toml`` the default is
        true.
    """

    key: str
    title: str
    kind: str
    low: pint.Quantity | None = None
    high: pint.Quantity | None = None
    source: str = ""
    standing: str = "published"
    authority: str = "default"
    measured: bool = False

    @property
    def origin(self) -> str:
        """The source as it is printed with a verdict."""
        if self.authority != "default":
            return f"{self.authority}: {self.source}" if self.source else self.authority
        if self.standing == "common practice":
            return f"{PRACTICE}{': ' + self.source if self.source else ''}"
        if self.standing == "own default":
            return f"default of this workbook, no source{': ' + self.source if self.source else ''}"
        if self.standing == "from memory":
            return f"{self.source}, from memory: {CHECK}"
        return (
            f"{self.source} (as restated in a secondary text)"
            if self.standing == "secondary"
            else self.source
        )


class Limits(Mapping[str, Limit]):
    """The limits that apply to one job; a later layer overrides an earlier one.

    Parameters
    ----------
    limits : mapping of str -> Limit
    exemptions : Exemptions, optional
        Who may waive what; left out: the rules that come with the tool.
    releases : ReleaseRules, optional
        Who may release a hold point; left out: the rules that come with the tool.
    """

    def __init__(
        self,
        limits: Mapping[str, Limit],
        exemptions: Exemptions | None = None,
        releases: ReleaseRules | None = None,
    ) -> None:
        self._limits = dict(limits)
        self.exemptions = exemptions_.defaults() if exemptions is None else exemptions
        self.releases = rules_.defaults() if releases is None else releases

    def __getitem__(self, key: str) -> Limit:
        try:
            return self._limits[key]
        except KeyError:
            raise SheetError(
                f"there is no limit {key!r}",
                "limits",
                f"define it in {file_of(key.split('.')[0])} or in the sheet",
            ) from None

    def __iter__(self):
        return iter(self._limits)

    def __len__(self) -> int:
        return len(self._limits)

    def overridden(
        self,
        table: toml_file.Table,
        authority: str,
        name: str,
        text: str,
        at: tuple[str, ...] = (),
    ) -> Limits:
        """These limits with those of a sheet's or specification's ``[limits]`` table laid over
        them.

        Parameters
        ----------
        table : mapping
            Body of the table.
        authority : str
            `SHEET` or `SPECIFICATION`.
        name, text : str
            Of the file, for the error.
        at : tuple of str
            Where in the file the table is.

        Raises
        ------
        SheetError
            Unknown key, wrong unit, missing source: file, line, remedy.
        """
        result = dict(self._limits)
        for key, body in table.items():
            path = (*at, key)
            where = toml_file.where(name, text, path)
            if key not in result:
                raise SheetError(
                    f"{key!r} is not the name of a limit",
                    where,
                    "list the names with `startkit limits`",
                )
            result[key] = _overridden(result[key], body, authority, name, text, path)
        return Limits(result, self.exemptions, self.releases)


def _overridden(
    base: Limit, body: Any, authority: str, name: str, text: str, path: tuple[str, ...]
) -> Limit:
    where = toml_file.where(name, text, path)
    if not isinstance(body, dict):
        raise SheetError(
            "a limit is a table",
            where,
            'write  { high = "40 s", source = "maker\'s data sheet, page 3" }',
        )
    unknown = set(body) - {"low", "high", "source", "confirmed"}
    if unknown:
        raise SheetError(
            f"{sorted(unknown)[0]!r} does not belong to a limit",
            where,
            "use low, high, source or confirmed",
        )
    if body.get("confirmed"):
        return replace(
            base, source=f"{base.source}; confirmed: {body['confirmed']}", standing="published"
        )
    if not body.get("source"):
        raise SheetError("a limit needs its source", where, 'add  source = "document, page"')
    low, high = (
        _bound(body.get(side), base.kind, toml_file.where(name, text, (*path, side)))
        for side in ("low", "high")
    )
    return replace(
        base,
        low=low,
        high=high,
        source=str(body["source"]),
        standing="published",
        authority=authority,
    )


def _bound(typed: Any, kind: str, where: str) -> pint.Quantity | None:
    if typed is None:
        return None
    if not isinstance(typed, str):
        raise SheetError(
            "a limit needs its unit", where, 'put number and unit in quotes, as "40 s"'
        )
    try:
        return parse(typed, kind, where=where)
    except StartkitError as error:
        raise SheetError(error.what, error.where, error.remedy) from None


def from_toml(table: toml_file.Table, name: str, text: str) -> Limits:
    """Default limits from a ``[limits."stage.item"]`` file.

    Raises
    ------
    SheetError
        A key is missing or wrong: file, line, remedy.
    """
    limits = {}
    for key, body in table.items():
        where = toml_file.where(name, text, (key,))
        missing = {"title", "kind", "standing"} - set(body)
        if missing:
            raise SheetError(f"the limit lacks {sorted(missing)[0]}", where, "add it")
        if body["kind"] not in KINDS or body["standing"] not in STANDINGS:
            raise SheetError(
                "unknown kind or standing", where, f"standing is one of {', '.join(STANDINGS)}"
            )
        low, high = (
            _bound(body.get(side), body["kind"], toml_file.where(name, text, (key, side)))
            for side in ("low", "high")
        )
        limits[key] = Limit(
            key,
            body["title"],
            body["kind"],
            low,
            high,
            body.get("source", ""),
            body["standing"],
            measured=bool(body.get("measured", True)),
        )
    return Limits(limits)


STAGES = "startkit.stages"  # each stage's folder holds its own limits


def file_of(stage: str) -> str:
    """The file that holds a stage's limits, as errors name it."""
    return f"{STAGES.replace('.', '/')}/{stage}/limits.toml"


@functools.cache
def defaults() -> Limits:
    """The limits that come with the tool, read once: ``limits.toml`` of every stage's folder.

    No stage's code is imported.

    Raises
    ------
    SheetError
        A file is faulty, or holds a limit of another stage: file, line, remedy.
    """
    found: dict[str, Limit] = {}
    for stage, text in _files():
        name = file_of(stage)
        table = toml_file.parse(text, name)
        for key in table:
            if not key.startswith(f"{stage}."):
                raise SheetError(
                    f"the limit {key!r} does not belong to the stage {stage!r}",
                    toml_file.where(name, text, (key,)),
                    f"name it {stage}.<item>, or move it to the folder of its stage",
                )
        found.update(from_toml(table, name, text))
    return Limits(found)


def _files() -> Iterator[tuple[str, str]]:
    """Stage and text of every file of limits that is shipped, in the order of the folders."""
    for folder in sorted(resources.files(STAGES).iterdir(), key=lambda each: each.name):
        file = folder / "limits.toml"
        if file.is_file():
            yield folder.name, file.read_text(encoding="utf-8")


def specification(base: Limits, path: Path) -> Limits:
    """`base` with ``[limits]``, ``[exemptions]`` and ``[releases]`` of a job's specification laid
    over it.
    """
    table, text = toml_file.load(path)
    exemptions = base.exemptions.changed_by(
        table.get("exemptions", {}), toml_file.where(path.name, text, ("exemptions",))
    )
    releases = base.releases.changed_by(
        table.get("releases", {}), toml_file.where(path.name, text, ("releases",))
    )
    layered = base.overridden(table.get("limits", {}), SPECIFICATION, path.name, text, ("limits",))
    return Limits(layered, exemptions, releases)

"""Check lists: TOML files of a company, with questions and the evidence that each asks for."""

# `Any` here: what a TOML file holds is checked value by value.
from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from startkit.errors import SheetError, StartkitError
from startkit.facts import toml_file
from startkit.facts.limits import Limit
from startkit.facts.plugins import entry_points
from startkit.units import KINDS, parse

FOLDER = "checklists"  # in a job's folder
GROUP = "startkit.checklists"
# What may be wanted of an item, and how the field is named that holds it.
EVIDENCE = {
    "yes": "",
    "number": "_number",
    "photograph": "_photo",
    "signature": "_signature",
    "text": "_text",
    "name": "_by",
}
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_LIST_KEYS = {
    "name": str,
    "title": str,
    "purpose": str,
    "stage": str,
    "before": str,
    "order": int,
    "cautions": list,
    "source": str,
    "work": str,
    "items": list,
}
_ITEM_KEYS = {
    "name": str,
    "question": str,
    "help": str,
    "group": str,
    "evidence": list,
    "kind": str,
    "low": str,
    "high": str,
    "source": str,
    "gate": str,
    "next": str,
    "required": bool,
    "wanted": str,
}
WORK = ("new", "overhauled")


@dataclass(frozen=True)
class Item:
    """One question of a check list.

    Parameters
    ----------
    name, question, help, group : str
    evidence : tuple of str
        What is wanted, out of `EVIDENCE`.
    limit : Limit or None
        Of the number, if one is wanted and bounded.
    kind : str
        Kind of reading of the number.
    source : str
        Where the demand comes from, as printed.
    gate : str
        Hold point before which it is due; empty: that of the list.
    next_step : str
        What to do if the answer is not the wanted one.
    required : bool
        False: it is judged only once something was entered.
    wanted : bool
        The answer that is in order: True for yes.
    where : str
        File and line, for errors that are found later.
    """

    name: str
    question: str
    help: str = ""
    group: str = ""
    evidence: tuple[str, ...] = ("yes",)
    limit: Limit | None = None
    kind: str = ""
    source: str = ""
    gate: str = ""
    next_step: str = ""
    required: bool = True
    wanted: bool = True
    where: str = ""

    def field_name(self, evidence: str) -> str:
        """Name of the field that holds one kind of evidence."""
        return self.name + EVIDENCE[evidence]


@dataclass(frozen=True)
class CheckList:
    """A check list: a stage of its own, or items added to the stage that `stage` names.

    Parameters
    ----------
    name, title, purpose : str
    items : tuple of Item
    stage : str
        Empty: the list is a stage of its own, called `name`.
    before : str
        Hold point before which it is due.
    order : int
        Place among the stages.
    cautions : tuple of str
    work : str
        ``"new"`` or ``"overhauled"``: for such machines only; empty: for all.
    where : str
        File and line.
    """

    name: str
    title: str
    items: tuple[Item, ...]
    purpose: str = ""
    stage: str = ""
    before: str = ""
    order: int = 1000
    cautions: tuple[str, ...] = ()
    work: str = ""
    where: str = ""


@dataclass(frozen=True)
class _Source:
    """A file that is being read: its name and its text serve the errors."""

    name: str
    text: str

    def at(self, *path: str | int) -> str:
        return toml_file.where(self.name, self.text, path)


# --- where check lists are found ------------------------------------------------------------------


def load(path: Path) -> CheckList:
    """The check list in a TOML file.

    Raises
    ------
    SheetError
        Not a check list: file, line, remedy.
    """
    table, text = toml_file.load(Path(path))
    return from_table(table, Path(path).name, text)


def in_folder(folder: Path) -> tuple[CheckList, ...]:
    """Every check list in a folder, by file name; a folder that is not there has none."""
    return tuple(load(path) for path in sorted(Path(folder).glob("*.toml")))


@functools.cache
def shipped() -> tuple[CheckList, ...]:
    """The check lists that come with the tool (``startkit/facts/lists``)."""
    files = sorted(
        (
            f
            for f in (resources.files("startkit.facts") / "lists").iterdir()
            if f.name.endswith(".toml")
        ),
        key=lambda f: f.name,
    )
    return tuple(_from_text(f.read_text(encoding="utf-8"), f.name) for f in files)


def installed() -> tuple[CheckList, ...]:
    """Check lists of other packages: each entry point of `GROUP` names a function that returns a
    file or a folder.

    Raises
    ------
    StartkitError
        An added list cannot be loaded.
    """
    found: list[CheckList] = []
    for point in entry_points(group=GROUP):
        try:
            path = Path(str(point.load()()))
        except Exception as error:  # a foreign package may fail in any way
            raise StartkitError(
                f"the added check list {point.name!r} cannot be loaded ({error})",
                point.value,
                "repair or uninstall its package",
            ) from None
        found += in_folder(path) if path.is_dir() else [load(path)]
    return tuple(found)


def every(job_folder: Path | None = None) -> tuple[CheckList, ...]:
    """All check lists that count; one in the job's folder replaces an installed one of its name,
    which replaces a shipped one.
    """
    layers: list[Iterable[CheckList]] = [shipped(), installed()]
    if job_folder is not None:
        layers.append(in_folder(Path(job_folder) / FOLDER))
    found: dict[str, CheckList] = {}
    for layer in layers:
        found |= _by_name(layer)
    return tuple(found.values())


def _by_name(layer: Iterable[CheckList]) -> dict[str, CheckList]:
    found: dict[str, CheckList] = {}
    for checklist in layer:
        if checklist.name in found:
            raise SheetError(
                f"there are two check lists {checklist.name!r}",
                checklist.where,
                f"rename this one; the other is {found[checklist.name].where}",
            )
        found[checklist.name] = checklist
    return found


# --- reading one ----------------------------------------------------------------------------------


def _from_text(text: str, name: str) -> CheckList:
    return from_table(toml_file.parse(text, name), name, text)


def from_table(table: toml_file.Table, name: str, text: str) -> CheckList:
    """The check list from its parsed table; `name` and `text` serve the error.

    Raises
    ------
    SheetError
        Unknown or missing key, wrong type, unknown evidence or kind, a limit without unit, a name
        twice: file, line, remedy.
    """
    source = _Source(name, text)
    _known(table, _LIST_KEYS, source, ())
    _needed(table, ("name", "title", "items"), source, ())
    _named(table["name"], source, ("name",))
    if table.get("work", "") not in ("", *WORK):
        raise SheetError(
            f"{table['work']!r} is not a kind of work",
            source.at("work"),
            f"use {' or '.join(WORK)}",
        )
    if not table["items"]:
        raise SheetError(
            "the check list has no item", source.at("items"), "add one under [[items]]"
        )
    cautions = _texts(table.get("cautions", []), source, ("cautions",))
    items = tuple(
        _item(body, source, index, table["name"], table.get("source", ""))
        for index, body in enumerate(table["items"])
    )
    _once(items, source)
    return CheckList(
        table["name"],
        table["title"],
        items,
        table.get("purpose", ""),
        table.get("stage", ""),
        table.get("before", ""),
        table.get("order", 1000),
        cautions,
        table.get("work", ""),
        source.at("name"),
    )


def _item(body: Any, source: _Source, index: int, list_name: str, list_source: str) -> Item:
    at = ("items", index)
    if not isinstance(body, dict):
        raise SheetError("an item is a table", source.at(*at), "start it with [[items]]")
    _known(body, _ITEM_KEYS, source, at)
    _needed(body, ("name", "question"), source, at)
    _named(body["name"], source, (*at, "name"))
    evidence = _evidence(body.get("evidence", ["yes"]), source, (*at, "evidence"))
    kind = _kind(body, evidence, source, at)
    origin = body.get("source", list_source)
    return Item(
        body["name"],
        body["question"],
        body.get("help", ""),
        body.get("group", ""),
        evidence,
        _limit(body, kind, origin, list_name, source, at),
        kind,
        origin,
        body.get("gate", ""),
        body.get("next", ""),
        body.get("required", True),
        _wanted(body.get("wanted", "yes"), source, (*at, "wanted")),
        source.at(*at, "name"),
    )


def _known(
    table: toml_file.Table, keys: Mapping[str, type], source: _Source, at: tuple[str | int, ...]
) -> None:
    """Refuse keys that are not known and values of another type."""
    import difflib

    for key, value in table.items():
        if key not in keys:
            close = difflib.get_close_matches(key, keys, n=1)
            raise SheetError(
                f"{key!r} is not a key of {'an item' if at else 'a check list'}",
                source.at(*at, key),
                f"did you mean {close[0]!r}?" if close else f"use {', '.join(keys)}",
            )
        if not isinstance(value, keys[key]) or (keys[key] is int and isinstance(value, bool)):
            raise SheetError(
                f"{key!r} holds {value!r}", source.at(*at, key), f"give {_TYPES[keys[key]]}"
            )


_TYPES = {
    str: 'a text in quotes, a number with its unit as in "230 V"',
    int: "a whole number",
    list: 'a list as in ["yes", "photograph"]',
    bool: "true or false",
}


def _needed(
    table: toml_file.Table, keys: tuple[str, ...], source: _Source, at: tuple[str | int, ...]
) -> None:
    for key in keys:
        if key not in table or table[key] == "":
            raise SheetError(f"{key!r} is missing", source.at(*at) if at else source.name, "add it")


def _named(name: str, source: _Source, at: tuple[str | int, ...]) -> None:
    if not _NAME.fullmatch(name):
        raise SheetError(
            f"{name!r} is not a valid name",
            source.at(*at),
            "use small letters, digits and underlines, a letter first",
        )


def _texts(values: list[Any], source: _Source, at: tuple[str | int, ...]) -> tuple[str, ...]:
    if not all(isinstance(value, str) for value in values):
        raise SheetError(
            "the list contains something that is not text",
            source.at(*at),
            "put each text in quotes",
        )
    return tuple(values)


def _evidence(values: list[Any], source: _Source, at: tuple[str | int, ...]) -> tuple[str, ...]:
    wanted = _texts(values, source, at)
    unknown = [value for value in wanted if value not in EVIDENCE]
    if unknown or not wanted or len(set(wanted)) < len(wanted):
        what = (
            f"{unknown[0]!r} is not a kind of evidence"
            if unknown
            else "no evidence is asked for"
            if not wanted
            else "one kind of evidence is listed twice"
        )
        raise SheetError(what, source.at(*at), f"choose from {', '.join(EVIDENCE)}")
    return wanted


def _kind(
    body: toml_file.Table, evidence: tuple[str, ...], source: _Source, at: tuple[str | int, ...]
) -> str:
    kind = body.get("kind", "")
    if "number" in evidence and kind not in KINDS:
        raise SheetError(
            f"{kind!r} is not a kind of reading" if kind else "the number has no kind",
            source.at(*at, "kind"),
            f"use one of {', '.join(KINDS)}",
        )
    if "number" not in evidence:
        superfluous = next((key for key in ("kind", "low", "high") if key in body), "")
        if superfluous:
            raise SheetError(
                f"{superfluous!r} is only for items that ask for a number",
                source.at(*at, superfluous),
                'add "number" to its evidence',
            )
    return kind


def _limit(
    body: toml_file.Table,
    kind: str,
    origin: str,
    list_name: str,
    source: _Source,
    at: tuple[str | int, ...],
) -> Limit | None:
    low, high = (_bound(body, side, kind, source, at) for side in ("low", "high"))
    if low is None and high is None:
        return None
    if low is not None and high is not None and low > high:
        raise SheetError(
            "the lower limit is above the upper one", source.at(*at, "low"), "exchange them"
        )
    return Limit(
        f"{list_name}.{body['name']}",
        body["question"],
        kind,
        low,
        high,
        origin,
        "published",
        f"check list {list_name}",
    )


def _bound(
    body: toml_file.Table, side: str, kind: str, source: _Source, at: tuple[str | int, ...]
) -> Any:
    if side not in body:
        return None
    if kind == "gauge_pressure":  # its limits would depend on the site's barometer
        raise SheetError(
            "a gauge pressure cannot have a limit here",
            source.at(*at, side),
            'use the kind "relative_pressure"',
        )
    try:
        return parse(body[side], kind, where=source.at(*at, side))
    except StartkitError as error:
        raise SheetError(error.what, error.where, error.remedy) from None


def _wanted(text: str, source: _Source, at: tuple[str | int, ...]) -> bool:
    if text not in ("yes", "no"):
        raise SheetError(f"{text!r} is not an answer", source.at(*at), 'write "yes" or "no"')
    return text == "yes"


def _once(items: tuple[Item, ...], source: _Source) -> None:
    """Refuse two items whose fields would have one name."""
    seen: dict[str, str] = {}
    for index, item in enumerate(items):
        for evidence in item.evidence:
            field = item.field_name(evidence)
            if field in seen:
                raise SheetError(
                    f"the name {field!r} is used twice",
                    source.at("items", index, "name"),
                    "rename this item",
                )
            seen[field] = item.name

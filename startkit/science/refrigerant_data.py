"""Refrigerants of centrifugal chillers as data: names, composition, safety group.

To add one, add a line to `TABLE`: its designation, the parts as CoolProp names them with their
mass fractions, the safety group, and any other names by which it is typed; then make its table
with `python -m workbook.refrigerants`.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass

from startkit.errors import ScienceError


@dataclass(frozen=True)
class Refrigerant:
    """One refrigerant.

    Parameters
    ----------
    name : str
        Designation as printed, e.g. ``"R-1233zd(E)"``.
    parts : tuple of (str, float)
        CoolProp's name of each component and its mass fraction.
    safety_group : str
        ASHRAE Standard 34 safety group.
    also : tuple of str
        Other names it is typed as, besides spellings of `name`.
    note : str
        What a reader of the record should know about the equations.
    """

    name: str
    parts: tuple[tuple[str, float], ...]
    safety_group: str
    also: tuple[str, ...] = ()
    note: str = ""

    @property
    def is_blend(self) -> bool:
        return len(self.parts) > 1


SAFETY_SOURCE = "ASHRAE Standard 34 (from memory; check against the standard)"


def _pure(name: str, key: str, group: str, *also: str) -> Refrigerant:
    return Refrigerant(name, ((key, 1.0),), group, also)


def _blend(name: str, parts: dict[str, float], group: str, note: str = "") -> Refrigerant:
    return Refrigerant(name, tuple(parts.items()), group, (), note)


# Compositions by mass and safety groups: ASHRAE Standard 34, from memory; the tests hold the
# compositions against CoolProp's own predefined blends and the groups against its fluid files.
TABLE: tuple[Refrigerant, ...] = (
    _pure("R-11", "R11", "A1"),
    _pure("R-12", "R12", "A1"),
    _pure("R-22", "R22", "A1"),
    _pure("R-123", "R123", "B1"),
    _pure("R-134a", "R134a", "A1"),
    _pure("R-245fa", "R245fa", "B1"),
    _pure("R-1224yd(Z)", "R1224YDZ", "A1", "1224yd"),
    _pure("R-1233zd(E)", "R1233zd(E)", "A1", "1233zd"),
    _pure("R-1234yf", "R1234yf", "A2L"),
    _pure("R-1234ze(E)", "R1234ze(E)", "A2L", "1234ze"),
    _pure("R-1336mzz(E)", "R1336mzz(E)", "A1"),
    _pure("R-1336mzz(Z)", "R1336mzz(Z)", "A1"),
    _blend("R-450A", {"R134a": 0.42, "R1234ze(E)": 0.58}, "A1"),
    _blend("R-500", {"R12": 0.738, "R152A": 0.262}, "A1"),
    _blend("R-513A", {"R1234yf": 0.56, "R134a": 0.44}, "A1"),
    _blend(
        "R-514A",
        {"R1336mzz(Z)": 0.747, "R1130(E)": 0.253},
        "B1",
        "mixed from its components; its boiling point is 0.3 K above the commonly printed one (from"
        " memory)",
    ),
    _blend("R-515B", {"R1234ze(E)": 0.911, "R227EA": 0.089}, "A1"),
)

# Names that are one letter short of a refrigerant, where guessing would be wrong by a class of
# pressure.
_INCOMPLETE = {"1336mzz": ("R-1336mzz(E)", "R-1336mzz(Z)")}


def folded(name: str) -> str:
    """Only what distinguishes refrigerants: ``"HFO-1233zd (E)"`` -> ``"1233zde"``."""
    plain = re.sub(r"[^0-9a-z]", "", name.casefold())
    return re.sub(r"^(?:refrigerant|hcfo|hcfc|hfo|hfc|cfc|r)(?=\d)", "", plain)


_BY_NAME = {
    folded(each): refrigerant
    for refrigerant in TABLE
    for each in (refrigerant.name, *refrigerant.also)
}


def find(name: str | Refrigerant) -> Refrigerant:
    """The refrigerant of a name as a technician types it.

    Parameters
    ----------
    name : str
        ``"R-134a"``, ``"r134a"``, ``"134a"``, ``"HFO-1233zd(E)"``, ``"R-1233zd"``.

    Returns
    -------
    Refrigerant

    Raises
    ------
    ScienceError
        Not a refrigerant known here, or a name that fits two.

    Examples
    --------
    >>> find("hfc 134A").name, find("R1233zd").name
    ('R-134a', 'R-1233zd(E)')
    """
    if isinstance(name, Refrigerant):
        return name
    plain = folded(name)
    if plain in _BY_NAME:
        return _BY_NAME[plain]
    if plain in _INCOMPLETE:
        choices = " or ".join(_INCOMPLETE[plain])
        raise ScienceError(
            f"{name!r} could be either of two refrigerants of very different pressure",
            "refrigerant",
            f"write {choices}",
        )
    near = difflib.get_close_matches(plain, _BY_NAME, n=3, cutoff=0.6)
    offered = ", ".join(dict.fromkeys(_BY_NAME[each].name for each in near)) or ", ".join(
        r.name for r in TABLE
    )
    raise ScienceError(
        f"{name!r} is not a known refrigerant", "refrigerant", f"write one of {offered}"
    )

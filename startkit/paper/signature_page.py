"""The signature page, always the last: who signs, in what words, and where each box is."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from startkit.errors import PaperError
from startkit.procedure import people

A4, LETTER = "a4", "us-letter"
HEIGHT = {A4: 297.0, LETTER: 279.4}  # of the sheet [mm]
PAGE = -1  # counted from the end
FIRST = people.FIRST.code  # the field whose signature certifies the record
LEFT, TOP, WIDTH, BOX_HEIGHT, STEP = (
    112.0,
    66.0,
    78.0,
    30.0,
    46.0,
)  # of the boxes [mm] from the sheet's upper left corner
_POINT = 72.0 / 25.4


@dataclass(frozen=True)
class Signatory:
    """One who signs: name of the signature field, role as entered in the stage Setup, and what the
    signature says.
    """

    field: str
    role: str
    says: str


SIGNATORIES = (
    Signatory(
        people.TECHNICIAN.code,
        people.TECHNICIAN.label,
        "The readings in this record were taken or checked by me, and the machine was left as"
        " written here.",
    ),
    Signatory(
        people.WITNESS.code,
        people.WITNESS.label,
        "I was present where this record says so, and I have read the items that it leaves open.",
    ),
    Signatory("third", "", "I have read this record."),
    Signatory("fourth", "", "I have read this record."),
)

FIELDS = tuple(signatory.field for signatory in SIGNATORIES)


def box(field: str, paper: str) -> tuple[float, float, float, float]:
    """The box of a signature field: left, bottom, right, top [points from the sheet's lower left
    corner].
    """
    top = HEIGHT[paper] - TOP - STEP * FIELDS.index(field)
    return LEFT * _POINT, (top - BOX_HEIGHT) * _POINT, (LEFT + WIDTH) * _POINT, top * _POINT


def rows(everybody: list[dict[str, str]]) -> list[dict[str, Any]]:
    """The table of signatories with the names that were entered, and their boxes [mm from the upper
    left corner].
    """
    named = {s.role for s in SIGNATORIES if s.role}
    others = [p for p in everybody if p["role"] not in named and p["name"]]
    found = []
    for place, signatory in enumerate(SIGNATORIES):
        first = [
            p for p in everybody if signatory.role and p["role"] == signatory.role and p["name"]
        ][:1]
        person = (
            first
            or ([others.pop(0)] if others and not signatory.role else [])
            or [{"name": "", "firm": "", "role": signatory.role}]
        )[0]
        found.append(
            {
                "field": signatory.field,
                "role": person["role"],
                "name": person["name"],
                "firm": person["firm"],
                "says": signatory.says,
                "x": LEFT,
                "y": TOP + STEP * place,
                "w": WIDTH,
                "h": BOX_HEIGHT,
            }
        )
    return found


def field_of(role: str, rows: Mapping[str, Mapping[str, Any]]) -> str:
    """The signature field that a role, a name or a field's own name means.

    Raises
    ------
    PaperError
        There is none, or more than one.
    """
    said = role.strip().casefold()
    if said in rows:
        return said
    found = [
        field
        for field, row in rows.items()
        if said and said in (str(row["role"]).casefold(), str(row["name"]).casefold())
    ]
    if len(found) != 1:
        known = ", ".join(dict.fromkeys(str(row["role"] or field) for field, row in rows.items()))
        raise PaperError(
            f"{role!r} is {'not one' if not found else 'more than one'} of the record's"
            " signatories",
            "--as",
            f"use {known}, or a person's name",
        )
    return found[0]

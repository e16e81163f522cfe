"""Facts of the job about people: who is on it, in which role, and who signs the record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from startkit.procedure.choice import Choice
from startkit.procedure.field import Column, Field
from startkit.procedure.reading import Row


@dataclass(frozen=True)
class Role:
    """A role of a person on the job.

    Parameters
    ----------
    code, label : str
        As of a `Choice`; the code of a role that signs is the name of its signature field.
    signs : bool
        It has a statement of its own in the stage Handover and a field of its own on the signature
        page; anyone else named may sign in a further field.
    signs_first : bool
        Its signature certifies the record, and those of the others are added to it.
    """

    code: str
    label: str
    signs: bool = False
    signs_first: bool = False


TECHNICIAN = Role("technician", "technician", signs=True, signs_first=True)
WITNESS = Role("witness", "owner's witness", signs=True)
ROLES = (
    TECHNICIAN,
    WITNESS,
    Role("commissioning_engineer", "commissioning engineer"),
    Role("electrician", "electrician"),
    Role("maker", "maker's representative"),
    Role("safety_officer", "safety officer"),
    Role("other", "other"),
)
SIGNING = tuple(role for role in ROLES if role.signs)
FIRST = next(role for role in ROLES if role.signs_first)
ROLE_CHOICES = tuple(Choice(role.code, role.label) for role in ROLES)

PEOPLE = Field(
    "people",
    "People on this job",
    "table",
    "Everyone who enters, confirms or witnesses something.",
    group="People",
    columns=(
        Column("name", "Name", "person", required=True),
        Column("role", "Role", "choice", choices=ROLE_CHOICES, required=True),
        Column("firm", "Firm"),
    ),
)

# Table of a stage in which people state in their own words what they saw and did.
STATEMENTS = "statements"


@dataclass(frozen=True)
class Person:
    """A person on the job; any of the texts may be empty.

    Parameters
    ----------
    name, firm : str
    role : str
        Label of the role.
    code : str
        Code of the role.
    """

    name: str
    role: str
    firm: str
    code: str


def people_of(rows: Iterable[Row]) -> tuple[Person, ...]:
    """People from the rows of their table."""
    return tuple(
        Person(row.text("name"), row.text("role"), row.text("firm"), row.code("role"))
        for row in rows
    )


def stranger(name: str, people: Iterable[Person], where: str) -> str:
    """That a person is not on the job, in words; empty for a job without a list of people."""
    known = {person.name for person in people if person.name}
    if not known or name.strip() in known:
        return ""
    return f"{where}: {name!r} is not among the people on this job; add them in Setup."

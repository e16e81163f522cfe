"""The fleet's register on paper: all that an executed register notebook shows; no job's folder is
needed.
"""

# `Any` here: a notebook's nodes are JSON that is read by attribute.
from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from startkit.errors import PaperError
from startkit.paper import signature_page
from startkit.paper.attachments import Attachment
from startkit.paper.printing import outputs, typesetting, versions
from startkit.paper.printing.record import LANGUAGE, Record
from startkit.paper.printing.runs import whole
from startkit.procedure.payload import MIME
from startkit.units import IP

PART, SCHEMA = "register", "startkit-register-1"
PAGE, DATA = "register.typ", "register.json"


def is_register(notebook: Any) -> bool:
    """True if the notebook shows a register's part."""
    outputs = (
        output
        for cell in notebook.cells
        if cell.cell_type == "code"
        for output in cell.get("outputs", [])
    )
    parts = (output.get("data", {}).get(MIME) for output in outputs)
    return any(isinstance(part, dict) and part.get("part") == PART for part in parts)


def pdf(notebook: Any, name: str, content: bytes, paper: str = "", company: str = "") -> bytes:
    """The register as PDF/A-3b; the notebook is attached as it is on disk.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Executed.
    name, content : str, bytes
        File name and bytes of the notebook.
    paper, company : str
        Empty: as the fleet's settings say.

    Raises
    ------
    PaperError
        An output cannot be printed, or Typst refuses the page.
    """
    made = record(
        whole(notebook),
        Attachment(name, content, "source", "The executed notebook printed in this register"),
        paper,
        company,
    )
    return typesetting.pdf(made, typesetting.moment(_noon(made.data["as_of"])), PAGE, DATA)


def record(notebook: Any, attached: Attachment, paper: str = "", company: str = "") -> Record:
    """The register as data: sections in the notebook's order, with what is between them."""
    blocks = outputs.collect(notebook)
    first = next(block for block in blocks if block["block"] == PART)
    other = sorted({block["block"] for block in blocks} - {PART, "prose", "text", "drawing"})
    if other:
        raise PaperError(
            f"a register cannot print a {other[0]}",
            "register",
            "keep stages and pictures in their own job's notebook",
        )
    return Record(
        {
            "schema": SCHEMA,
            "title": f"Fleet register {first['fleet']}",
            "language": LANGUAGE,
            "paper": paper or first["paper"] or _paper(first["units"]),
            "company": company or first["company"],
            "fleet": first["fleet"],
            "as_of": first["as_of"],
            "body": blocks,
            "outputs": len(outputs.outputs(notebook)),
            "versions": versions.versions({}),
            "attachments": [attached.line()],
        },
        {},
        (attached,),
    )


def _paper(system: str) -> str:
    return signature_page.LETTER if system == IP else signature_page.A4


def _noon(day: str) -> datetime:
    """The register is dated by day: noon UTC is used."""
    try:
        return datetime.fromisoformat(day).replace(hour=12, tzinfo=UTC)
    except ValueError:
        raise PaperError(f"{day!r} is not a date", "register", "run the notebook again") from None

"""Records forged before they were signed, and honest ones: cases of `benchmarks/tampering.py`."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

from benchmarks import forgeries
from benchmarks.tampering import Case, Scene, forged
from startkit.paper import evidence
from startkit.paper.signing import identity

Edit = Callable[[Any], None]

# --- the notebook, printed anew -------------------------------------------------------------------


def _cell(notebook: Any, begins: str) -> Any:
    return next(cell for cell in notebook.cells if cell.source.startswith(begins))


def a_text_is_added(notebook: Any) -> None:
    from nbformat.v4 import new_markdown_cell

    said = "The heat balance passed at all loads. Nothing is waived."
    notebook.cells.insert(8, new_markdown_cell(said, id="said"))


def a_text_is_another(notebook: Any) -> None:
    _cell(notebook, "## Before the shaft").source = "## Everything was in order"


def a_caution_is_kept_off_the_paper(notebook: Any) -> None:
    _cell(notebook, "## Before the shaft").metadata["tags"] = ["screen-only"]


def the_title_is_another(notebook: Any) -> None:
    notebook.metadata["startkit"] = {"title": "Certified by the maker"}


def the_code_is_another(notebook: Any) -> None:
    for cell in notebook.cells:
        if cell.cell_type == "code" and cell.outputs:
            cell.source = "# nothing"


def a_cell_shows_an_invented_text(notebook: Any) -> None:
    from nbformat.v4 import new_output

    said = new_output("stream", name="stdout", text="Certified by the maker.\n")
    _cell(notebook, 'book.stage("lube")').outputs.append(said)


def a_stage_is_left_out(notebook: Any) -> None:
    notebook.cells.remove(_cell(notebook, 'book.stage("load_up")'))


def a_stage_is_shown_in_place_of_another(notebook: Any) -> None:
    shown = _cell(notebook, 'book.stage("lube")').outputs
    _cell(notebook, 'book.stage("load_up")').outputs = shown


def a_call_shows_nothing(notebook: Any) -> None:
    _cell(notebook, 'book.hold("load")').outputs = []


def the_parameters_do_more(notebook: Any) -> None:
    _cell(notebook, "# Parameters").source += "book = None\n"


def a_plot_is_invented(notebook: Any) -> None:
    for output in _cell(notebook, 'book.stage("lube")').outputs:
        for part in output["data"].values():
            if isinstance(part, dict):
                part["plots"] = [{"title": "Pressure", "alt": "It rises.", "svg": PLOT}]


PLOT = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 40" width="90" height="40">'
    '<path d="M0 40L90 0" stroke="#000" fill="none"/></svg>'
)
NOTEBOOKS: dict[str, Edit] = {
    "A text is added to the notebook": a_text_is_added,
    "A text of the notebook is another": a_text_is_another,
    "A caution is kept off the paper by a tag": a_caution_is_kept_off_the_paper,
    "The title of the notebook is another": the_title_is_another,
    "The code of every cell is another": the_code_is_another,
    "A cell shows an invented text as well": a_cell_shows_an_invented_text,
    "A stage is left out": a_stage_is_left_out,
    "A stage is shown in place of another": a_stage_is_shown_in_place_of_another,
    "A call shows nothing": a_call_shows_nothing,
    "The parameters do more than name the job": the_parameters_do_more,
    "A plot is invented": a_plot_is_invented,
}


# --- signed after that ----------------------------------------------------------------------------


def signed(there: Scene, content: bytes, **others: identity.Identity) -> bytes:
    """Fields added as startkit does, signed by technician and witness, who look at nothing."""
    people = dict(zip(("technician", "witness"), there.people.values(), strict=False))
    return forgeries.signed(forgeries.with_fields(content), {**people, **others})


def _edited(edit: Edit, there: Scene) -> bytes:
    return signed(there, forged(there, {}, edit=edit))


def _painted(words: bytes, there: Scene) -> bytes:
    return signed(there, forgeries.painted(there.printed, words))


def _shadow(there: Scene) -> bytes:
    painted = forgeries.painted(there.printed, b"ALL PASSED")
    return signed(there, forgeries.after(there.printed, painted))


def _dead(there: Scene) -> bytes:
    return signed(there, there.printed + b"\n9999 0 obj\n<< /Type /Page >>\nendobj\n")


def _with_fields(change: forgeries.Change, there: Scene) -> bytes:
    content = forgeries.with_fields(there.printed, change)
    people = dict(zip(("technician", "witness"), there.people.values(), strict=False))
    return forgeries.signed(content, people)


def claiming(name: str, version: str) -> Callable[[dict[str, Any]], None]:
    """Another version of what printed the record."""

    def change(data: dict[str, Any]) -> None:
        for line in data["versions"]:
            if line["name"] == name:
                line["version"] = version

    return change


def _claimed(name: str, version: str, there: Scene) -> bytes:
    content = forged(there, {}, claiming(name, version))
    return signed(there, forgeries.painted(content, b"ALL PASSED"))


def _says(key: str, there: Scene) -> bytes:
    def change(data: dict[str, Any]) -> None:
        if key == "attachments":
            data[key][0]["description"] = "Certified by the maker"
        else:
            data[key] = "Certified by the maker"

    return signed(there, forged(there, {}, change))


def _table(there: Scene) -> bytes:
    return signed(there, forged(there, {evidence.CSV: b"seq,at,what\n1,2026,in order\n"}))


def _issued(there: Scene) -> bytes:
    technician, witness, _ = there.people.values()
    other = forgeries.issued_by(technician, witness.name)
    return signed(there, there.printed, witness=other)


def _twice(there: Scene) -> bytes:
    return signed(there, there.printed, witness=next(iter(there.people.values())))


def _dated(begins: datetime, there: Scene) -> bytes:
    witness = list(there.people.values())[1]
    return signed(there, there.printed, witness=forgeries.dated(witness.name, begins))


TRUSTING = {"trusting": True}
FORGED = (
    *(Case(f"{name}, then signed", partial(_edited, edit)) for name, edit in NOTEBOOKS.items()),
    *(
        Case(f"{name}, along with the empty fields", partial(_with_fields, change))
        for name, change in forgeries.ADDED_WITH_FIELDS.items()
    ),
    Case("The first page is painted over, then signed", partial(_painted, b"ALL PASSED")),
    Case("The first page is blanked, then signed", partial(_painted, b"")),
    Case("A second document behind the print, then signed", _shadow),
    Case("Objects between print and fields that nothing lists", _dead),
    *(
        Case(
            f"Pages painted over, set with {name} {version} as is claimed", partial(_claimed, *each)
        )
        for each in (("typst", "0.15.0"), ("typst", "9.1.0"), ("startkit", "0.0.9"))
        for name, version in (each,)
    ),
    Case("The citation of the equations is invented", partial(_says, "equations")),
    Case("The description of an attachment is invented", partial(_says, "attachments")),
    Case("The attached table of entries contradicts the journal", _table),
    Case("The technician issues the witness's certificate", _issued, TRUSTING),
    Case("One person signs in two fields", _twice, TRUSTING),
    Case(
        "The witness's certificate ran out years ago",
        partial(_dated, datetime(2019, 1, 1, tzinfo=UTC)),
        TRUSTING,
    ),
    Case(
        "The witness's certificate is not valid yet",
        partial(_dated, datetime.now(UTC) + timedelta(days=900)),
        TRUSTING,
    ),
)


# --- honest ---------------------------------------------------------------------------------------

NAMES = (
    "Ana Ruiz", "Łukasz Żółć", "Ελένη Νικολάου", "Олена Їжак", "דנה לוי", "ليلى حداد", "अनिता राव",
    "สมชาย ใจดี", "김 지우", "陈 小雨", "さとう はな", "Nguyễn Thị Ánh", "O'Brien-Smith, Jr.",
    "e\u0301ve Combining", "X" * 60,
)  # fmt: skip


def _signed_as(name: str, there: Scene) -> bytes:
    return signed(there, there.printed, technician=identity.new(name, "Example Cooling"))


HONEST = (
    Case("Signed by three people, their certificates given", lambda there: there.signed, TRUSTING),
    Case("The same, no certificate given", lambda there: there.signed),
    *(Case(f"Signed by {name}", partial(_signed_as, name)) for name in NAMES),
)

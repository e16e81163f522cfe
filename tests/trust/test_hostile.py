"""Whatever is typed, named or put into a file is shown as text and does nothing: on screen, on
paper, in tables, in a terminal.
"""

from __future__ import annotations

import csv
import io
import re
import sys
import time
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.desk import cards
from startkit.desk.notebook import open_book
from startkit.facts.job import Job
from startkit.paper import glyphs, journal_export
from tests.trust.hostile import SECRET, Listener, listening, make, texts

pytestmark = pytest.mark.xdist_group("hostile")
CELL_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝")
TOUCHED: list[str] = []
WATCHING: list[str] = []


def _audit(event: str, arguments: tuple[Any, ...]) -> None:
    if WATCHING and event == "open" and isinstance(arguments[0], str | bytes | Path):
        TOUCHED.append(str(arguments[0]))


sys.addaudithook(_audit)  # it cannot be taken away again: it only notes while WATCHING


@pytest.fixture(scope="module")
def door() -> Iterator[Listener]:
    with listening() as listener:
        yield listener


@pytest.fixture(scope="module")
def job(door: Listener, tmp_path_factory: pytest.TempPathFactory) -> Job:
    return make(tmp_path_factory.mktemp("hostile"), door.port)


@pytest.fixture(scope="module")
def parts(job: Job) -> list[dict[str, Any]]:
    """Every part that a notebook can show of the job."""
    book = open_book(job.folder, "record")
    names = [
        ("front", ""),
        ("handover", ""),
        *(("stage", name) for name in book.stages),
        *(("hold", name) for name in ("oil_pump", "turn_shaft", "load", "hand_over")),
    ]
    made = [book.part(*name) for name in names]
    assert {part["part"] for part in made} == {
        "front",
        "handover",
        "stage",
        "hold",
    }, "no part is an error"
    return made


@pytest.fixture(scope="module")
def record(job: Job) -> Path:
    """The printed record, made while every opened file is noted."""
    from startkit.paper.printing.export import export

    WATCHING.append("on")
    try:
        return export(job.folder)
    finally:
        WATCHING.clear()


class Tags(HTMLParser):
    """Elements, attributes and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: set[str] = set()
        self.attributes: list[tuple[str, str]] = []
        self.text = ""
        self._in_style = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.add(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        self._in_style = tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self._in_style = False

    def handle_data(self, data: str) -> None:
        self.text += "" if self._in_style else data


def squeezed(text: str) -> str:
    """Text without blanks and places to break, as a page and its source can be compared."""
    return re.sub(r"[\s\u200b\u2007\u2008]+", "", text)


# --- on screen ------------------------------------------------------------------------------------


def test_a_card_has_only_its_own_elements(parts):
    ours = {
        "div",
        "style",
        "section",
        "header",
        "h3",
        "h4",
        "p",
        "span",
        "ul",
        "li",
        "table",
        "caption",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "details",
        "summary",
        "dl",
        "dt",
        "dd",
        "strong",
        "progress",
        "s",
    }
    for part in parts:
        seen = Tags(str(cards.html({**part, "plots": []})))
        assert seen.elements <= ours, seen.elements - ours
        assert not [
            name
            for name, _ in seen.attributes
            if name.startswith("on")
            or name in ("src", "href", "style", "action", "autofocus", "srcdoc")
        ]


def test_a_card_shows_what_was_typed_letter_by_letter(parts, door):
    text = squeezed("".join(Tags(str(cards.html({**part, "plots": []}))).text for part in parts))
    for name, typed in texts(door.port).items():
        # The HTML parser of the test takes NUL and a carriage return as a browser does.
        assert squeezed(typed.replace("\ud800", "?")) in text, name


def test_nothing_between_dollar_signs_is_set_as_a_formula(parts):
    assert all("mathjax_ignore" in str(cards.html(part)).partition(">")[0] for part in parts)


# --- in a terminal --------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["status", "items"])
def test_a_terminal_is_told_nothing_but_text(job, command):
    result = CliRunner().invoke(main, [command, str(job.folder)], color=True)
    assert result.exit_code in (0, 1) and len(result.output) > 500
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", result.output)


def test_a_name_makes_no_line_of_its_own(tmp_path):
    from tests.trust.hostile import ROOT, SHEET

    sheet = tmp_path / "s.toml"
    sheet.write_text(
        SHEET.read_text(encoding="utf-8").replace('"CH-1"', '"CH-1\\nCLEAR TO TURN THE SHAFT"'),
        encoding="utf-8",
    )
    Job.create(tmp_path / "J", sheet, ROOT / "templates" / "new-machine.ipynb")
    lines = CliRunner().invoke(main, ["status", str(tmp_path / "J")]).output.splitlines()
    assert not [line for line in lines if line.strip().startswith("CLEAR TO TURN")]


def test_every_command_prints_through_one_function():
    from startkit import cli

    modules = sorted(Path(cli.__file__).parent.glob("*.py"))
    source = "".join(path.read_text(encoding="utf-8") for path in modules)
    assert source.count("click.echo(") == 1 and not re.search(r"(?<![\w.])print\(", source)


# --- on paper -------------------------------------------------------------------------------------


def test_the_record_prints_what_was_typed(record, door):
    from pypdf import PdfReader

    text = squeezed("".join(page.extract_text() for page in PdfReader(record).pages))
    for name, typed in texts(door.port).items():
        assert squeezed(glyphs.printable(typed.replace("\ud800", "?"))) in text, name


def test_the_record_holds_no_action_and_no_link_outside(record):
    import pikepdf

    with pikepdf.open(record) as pdf:
        dictionaries = [item for item in pdf.objects if isinstance(item, pikepdf.Dictionary)]
        assert len(dictionaries) > 50
        for name in (
            "/URI",
            "/JS",
            "/Launch",
            "/AA",
            "/OpenAction",
            "/RichMedia",
            "/GoToR",
            "/SubmitForm",
            "/ImportData",
        ):
            assert not [
                item
                for item in dictionaries
                if name in item
                or item.get("/S") == pikepdf.Name(name)
                or (
                    isinstance(item.get("/A"), pikepdf.Dictionary)
                    and item["/A"].get("/S") == pikepdf.Name(name)
                )
            ], name


def test_nothing_outside_the_job_is_read_or_attached(record, job):
    import pikepdf

    with pikepdf.open(record) as pdf:
        everything = [content.obj["/EF"]["/F"].read_bytes() for content in pdf.attachments.values()]
        drawn = [item.read_bytes() for item in pdf.objects if isinstance(item, pikepdf.Stream)]
    assert not [one for one in everything + drawn if SECRET.encode() in one]
    assert TOUCHED, "the watch was on"
    assert not [
        path
        for path in TOUCHED
        if "secret" in path or path.startswith(("/etc/hostname", "/etc/passwd"))
    ]


def test_nothing_was_written_beside_the_job(record, job):
    assert sorted(path.name for path in job.folder.parent.iterdir()) == [
        "J",
        "secret.svg",
        "secret.txt",
        "sheet.toml",
    ]
    assert {path.name for path in job.folder.iterdir()} == {
        "job.db",
        "machine.toml",
        "new-machine.ipynb",
        "checklists",
        "trends",
        "records",
    }
    assert not list(job.folder.rglob("harmed"))


def test_the_names_of_the_records_are_plain(record):
    assert all(
        re.fullmatch(r"[A-Za-z0-9._\-]+", path.name) and len(path.name) < 140
        for path in record.parent.iterdir()
    )


def test_a_linked_trend_file_is_refused(job, tmp_path):
    import shutil

    from startkit.errors import PaperError
    from startkit.paper import attachments

    shutil.copytree(job.folder, tmp_path / "J")
    (tmp_path / "J" / "trends" / "z.csv").symlink_to(job.folder.parent / "secret.txt")
    with pytest.raises(PaperError, match="only a link"):
        attachments.sources(tmp_path / "J")


# --- in tables ------------------------------------------------------------------------------------


def test_no_cell_of_the_csv_is_a_formula(job):
    rows = list(
        csv.reader(
            io.StringIO(journal_export.as_csv(job.state().entries).decode("utf-8-sig"), newline="")
        )
    )
    assert len(rows) == len(job.state().entries) + 1
    assert not [cell for row in rows for cell in row if cell.lstrip(" ").startswith(CELL_STARTS)]
    assert sum(cell.startswith("'") for row in rows for cell in row) > 10


def test_no_cell_of_the_workbook_is_a_formula(job, tmp_path):
    import openpyxl

    from startkit.desk.entry_sheet.export import write

    made = write(job.folder, tmp_path / "entry.xlsx")
    with zipfile.ZipFile(made) as archive:
        sheets = [
            archive.read(name) for name in archive.namelist() if name.startswith("xl/worksheets/")
        ]
        assert len(sheets) > 10 and not [sheet for sheet in sheets if re.search(rb"<f[ >]", sheet)]
        names = archive.namelist()
        relations = b"".join(archive.read(name) for name in names if name.endswith(".rels"))
    assert b"TargetMode" not in relations and not [
        name for name in names if "external" in name or "vba" in name
    ]
    cells = [
        cell
        for sheet in openpyxl.load_workbook(made)
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    ]
    assert not [cell.coordinate for cell in cells if cell.data_type == "f" or cell.hyperlink]
    assert [cell for cell in cells if isinstance(cell.value, str) and "HYPERLINK" in cell.value], (
        "the hostile text is there"
    )


# --- coming back ----------------------------------------------------------------------------------


def test_an_imported_record_runs_nothing_and_stays_in_its_folder(record, job, tmp_path):
    from startkit.paper.verifying.job_import import import_job

    WATCHING.append("on")
    try:
        made = import_job(record, tmp_path / "inside" / "J", who="Ben")
    finally:
        WATCHING.clear()
    assert [path.name for path in tmp_path.iterdir()] == ["inside"] and [
        path.name for path in (tmp_path / "inside").iterdir()
    ] == ["J"]
    assert not list(made.folder.rglob("*.py")) and not list(made.folder.rglob("harmed"))
    template = Path(__file__).parents[2] / "templates" / "new-machine.ipynb"
    assert [path.read_bytes() for path in made.folder.glob("*.ipynb")] == [template.read_bytes()], (
        "the notebook is the installed template, never the attached one"
    )
    assert made.journal.faults() == []


@pytest.mark.parametrize(
    "name",
    [
        "../x.csv",
        "trends/../../x.csv",
        "/etc/x.csv",
        "trends/../../../x.toml",
        "..\\x.csv",
        "trends\\..\\x.csv",
        "C:x.csv",
        "trends/C:/x.csv",
        "checklists/../../x.toml",
        "pictures/../../x.png",
        ".ssh/x",
        "trends/.hidden",
        "job.db",
        "new-machine.ipynb",
        "startkit.py",
        "pictures/run.py",
        "checklists/a/b.toml",
        "pictures/x.ipynb",
        "~/x.csv",
        "trends",
        "",
    ],
)
def test_an_attachment_has_its_place_in_the_job_or_none(name, tmp_path):
    from startkit.paper.verifying.job_import import _place

    place = _place(name, b"\x89PNG\r\n\x1a\n")
    assert place is None or (tmp_path / place).resolve().is_relative_to(tmp_path.resolve())
    if name in (
        "job.db",
        "new-machine.ipynb",
        "startkit.py",
        "pictures/run.py",
        "pictures/x.ipynb",
    ):
        assert place is None, "code and journal are never put back from an attachment"


def test_a_journal_cannot_name_a_notebook_elsewhere(tmp_path):
    from startkit.facts.journal import Entry
    from tests.trust.hostile import ROOT, SHEET

    made = Job.create(tmp_path / "J", SHEET, ROOT / "templates" / "new-machine.ipynb")
    made.record(Entry("job.template", "../../evil.ipynb"))
    assert made.template == made.folder / "evil.ipynb"


# --- and over it all ------------------------------------------------------------------------------


def test_nobody_knocked_at_the_door(record, parts, door):
    import socket

    assert door.knocks == 0
    socket.create_connection(("127.0.0.1", door.port)).close()
    for _ in range(100):
        if door.knocks:
            break
        time.sleep(0.01)
    assert door.knocks == 1, "the door does count"
    door.knocks = 0

"""The record read back: text, attachments, outline, PDF/A claim, the same bytes, hostile texts."""

from __future__ import annotations

import hashlib
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import nbformat
import pikepdf
import pypdf
import pytest
from nbformat.v4 import new_code_cell, new_output

from startkit.errors import PaperError
from startkit.facts.job import Job
from startkit.facts.journal import Entry, chain_faults
from startkit.paper import glyphs, journal_export, signature_page
from startkit.paper.printing.exporter import RecordExporter
from startkit.procedure.stage import Findings, Heading, Table
from startkit.units import Q
from tests.paper.conftest import READINGS, SHEET, STAGES, book, make_job, part_cell, put

HOSTILE = (
    '#eval("1+1") *bold* _x_ $a^2$ @ref <script>alert(1)</script> // gone? \\ `raw` = head',
    "name\x07\x1b[31m",
    "a\u202eb",
    "مرحبا שלום Жуков 冷 🧯",
    "- list\n+ enum\n/ term: x",
)


def printed(path: Path, **options: str) -> bytes:
    return RecordExporter(**options).from_filename(str(path))[0]


def text_of(content: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return re.sub(
        r"\s+", " ", " ".join(page.extract_text() for page in pages).replace(glyphs.BREAK, "")
    )


def opened(content: bytes) -> pikepdf.Pdf:
    """Keep the result in a name: pikepdf's objects do not keep their file alive."""
    return pikepdf.open(io.BytesIO(content))


def objects(pdf: pikepdf.Pdf, kind: type, key: str, value: str = "") -> list:
    return [
        o
        for o in pdf.objects
        if isinstance(o, kind) and key in o and (not value or o.get(key) == value)
    ]


def attached(content: bytes) -> dict[str, bytes]:
    return {
        name: files[0] for name, files in pypdf.PdfReader(io.BytesIO(content)).attachments.items()
    }


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory):
    """One job, its notebook and its record, for tests that only read."""
    job = make_job(tmp_path_factory.mktemp("paper") / "CH-3 start-up")
    (job.folder / "trends").mkdir()
    (job.folder / "trends" / "run.csv").write_bytes(b"t;dp\n1;12.5\n")
    path = put(job, book(job))
    return job, path, printed(path)


def test_the_same_job_printed_twice_gives_the_same_bytes(made):
    assert printed(made[1]) == made[2]


def test_the_time_of_the_file_is_that_of_the_last_entry_or_of_source_date_epoch(
    made, monkeypatch: pytest.MonkeyPatch
):
    pdf = opened(made[2])
    assert str(pdf.docinfo["/CreationDate"]).startswith("D:20261125071500Z")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    pdf = opened(printed(made[1]))
    assert str(pdf.docinfo["/CreationDate"]).startswith("D:20231114221320")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    with pytest.raises(PaperError, match="yesterday"):
        printed(made[1])


def test_the_first_page_says_what_is_not_clear_and_why_in_its_largest_type(made):
    sizes: dict[str, float] = {}

    def visit(text, _cm, matrix, _font, size):
        if text.strip():
            sizes[text.strip()] = abs(size * matrix[0])

    page = pypdf.PdfReader(io.BytesIO(made[2])).pages[0]
    text = re.sub(r"\s+", " ", page.extract_text(visitor_text=visit))
    assert re.search("✗ NOT CLEAR TO TURN THE SHAFT Lubrication: .*Filter drop", text)
    assert "✓ Clear to run the oil pump" in text and "EW-0042" in text and "Harbour Street" in text
    largest = max(sizes.values())
    assert [t for t, size in sizes.items() if size == largest and "TURN THE SHAFT" in t]


def test_readings_limits_sources_corrections_and_people_are_printed(made):
    text = text_of(made[2])
    for words in (
        "Oil differential at the pump 148.5 kPa corrected PG-2 R. Calder 2026-11-25 08:07",
        "≥ 140.0 kPa",
        "machine sheet: data sheet, page 3",
        "± 4.0 kPa",
        "118 kPa 148.5 kPa Filter changed, read again",
        "→ Take the reading.",
        "Oil foamed for twenty seconds",
        "M. Osei owner's witness",
        "The oil heater is hot",
        "5 of 5 outputs of the executed notebook are printed",
        "PDF/A-3b as written by Typst",
        "CoolProp 8",
        "R134a",
    ):
        assert words in text, words


def test_the_notebook_the_journal_and_the_data_are_attached_with_types_and_digests(made):
    job, path, content = made
    files = attached(content)
    assert set(files) == {
        "record.json",
        "CH-3.ipynb",
        "journal.json",
        "entries.csv",
        "machine.toml",
        "trends/run.csv",
    }
    assert (
        files["CH-3.ipynb"] == path.read_bytes()
        and files["machine.toml"] == (job.folder / "machine.toml").read_bytes()
    )
    listed = {line["name"]: line for line in json.loads(files["record.json"])["attachments"]}
    assert {
        name: hashlib.sha256(data).hexdigest()
        for name, data in files.items()
        if name != "record.json"
    } == {n: line["sha256"] for n, line in listed.items()}
    pdf = opened(content)
    types = {str(f.filename): str(f.get_file().mime_type) for f in pdf.attachments.values()}
    assert (
        types["CH-3.ipynb"] == "application/x-ipynb+json" and types["trends/run.csv"] == "text/csv"
    )
    relations = {str(spec["/UF"]): str(spec["/AFRelationship"]) for spec in pdf.Root["/AF"]}
    assert relations["CH-3.ipynb"] == "/Source" and relations["journal.json"] == "/Data"


def test_the_attached_journal_has_every_entry_and_an_unbroken_chain(made):
    job, _, content = made
    entries = journal_export.from_json(attached(content)["journal.json"])
    assert entries == list(job.state().entries) and chain_faults(entries) == []


def test_attached_data_follow_the_published_schemas(made):
    files = attached(made[2])
    for name in ("record", "journal"):
        validator = jsonschema.validators.validator_for(journal_export.schema(name))
        validator.check_schema(journal_export.schema(name))
        validator(journal_export.schema(name)).validate(json.loads(files[f"{name}.json"]))


def test_the_schemas_refuse_what_is_not_a_record(made):
    data = json.loads(attached(made[2])["record.json"])
    stage = next(block for block in data["body"] if block["block"] == "stage")
    stage["verdicts"][0]["outcome"] = "good enough"
    with pytest.raises(jsonschema.ValidationError, match="good enough"):
        jsonschema.Draft202012Validator(journal_export.schema("record")).validate(data)


def test_the_file_claims_pdf_a_3b_and_carries_title_language_tags_and_outline(made):
    pdf = opened(made[2])
    with pdf.open_metadata() as xmp:
        assert (xmp["pdfaid:part"], xmp["pdfaid:conformance"]) == ("3", "B")
        assert xmp["dc:title"] == "Commissioning record CH-3"
    assert (
        str(pdf.Root["/Lang"]) == "en"
        and "/StructTreeRoot" in pdf.Root
        and bool(pdf.Root["/MarkInfo"]["/Marked"])
    )
    with pdf.open_outline() as outline:
        titles = [item.title for item in outline.root]
    assert (
        titles[0] == "State of the job"
        and titles[-1] == "Signatures"
        and any(t.startswith("Lubrication") for t in titles)
    )


def test_every_font_is_embedded(made):
    pdf = opened(made[2])
    fonts = objects(pdf, pikepdf.Dictionary, "/Type", "/FontDescriptor")
    assert fonts and all("/FontFile2" in f or "/FontFile3" in f for f in fonts)
    assert {str(f["/FontName"]).split("+")[-1] for f in fonts} <= {
        "DejaVuSans",
        "DejaVuSans-Bold",
        "DejaVuSansMono",
        "DejaVuSans-Oblique",
    }


def test_plots_carry_their_alternative_text(made):
    pdf = opened(made[2])
    alts = [str(o["/Alt"]) for o in objects(pdf, pikepdf.Dictionary, "/Alt")]
    assert "The differential rises to its set point in nine seconds and stays." in alts


def test_a_plot_stays_a_drawing_of_lines(made):
    pdf = opened(made[2])
    assert objects(pdf, pikepdf.Stream, "/Subtype", "/Image") == [] and "Time [s]" in text_of(
        made[2]
    )


# --- what people type ----------------------------------------------------------------------------


@pytest.mark.parametrize("typed", HOSTILE)
def test_what_a_person_types_is_printed_as_text(tmp_path: Path, typed: str):
    readings = [
        *READINGS,
        Entry("setup.remark", typed, who="R. Calder"),
        Entry("setup.people.3.name", typed, who="R. Calder"),
    ]
    content = printed(put(job := make_job(tmp_path / "job", readings), book(job)))
    for line in typed.splitlines():
        words = re.sub(r"\s+", " ", glyphs.printable(line))
        if not any(
            "\u0590" <= ch <= "\u06ff" for ch in words
        ):  # a reader puts right-to-left runs into its own order
            assert words in text_of(content)
    assert json.loads(attached(content)["journal.json"])["entries"][-2]["value"] == typed


def test_a_missing_glyph_is_printed_as_its_code_point_and_attached_as_it_is(tmp_path: Path):
    job = make_job(tmp_path / "job", [*READINGS, Entry("setup.remark", "valve 🧯 冷", who="x")])
    content = printed(put(job, book(job)))
    assert "valve [U+1F9EF] [U+51B7]" in text_of(content)
    assert "valve 🧯 冷" in attached(content)["record.json"].decode()


def test_scripts_that_the_fonts_have_are_printed_as_they_are(tmp_path: Path):
    job = make_job(
        tmp_path / "job", [*READINGS, Entry("setup.remark", "Ωμέγα Жуков Ångström", who="x")]
    )
    assert "Ωμέγα Жуков Ångström" in text_of(printed(put(job, book(job))))


def test_a_direction_override_is_shown_not_obeyed():
    assert glyphs.printable("a\u202eb\u2066") == "a[U+202E]b[U+2066]"


def test_a_name_without_a_blank_breaks_instead_of_leaving_the_page(tmp_path: Path):
    job = make_job(tmp_path / "job", READINGS, SHEET.replace('"CH-3"', f'"{"CH-3-" * 40}"'))
    content = printed(put(job, book(job)))
    assert "CH-3-" * 40 in text_of(content).replace(" ", "")
    assert _furthest_right(content) < 595.3 - 40


def _furthest_right(content: bytes, page: int = 0) -> float:
    """Where the rightmost text of a page starts, from the left [points]."""
    found: list[float] = []
    pypdf.PdfReader(io.BytesIO(content)).pages[page].extract_text(
        visitor_text=lambda text, cm, tm, font, size: (
            found.append(tm[4] * cm[0] + cm[4]) if text.strip() else None
        )
    )
    return max(found)


# --- pages ---------------------------------------------------------------------------------------


def long_table(job, rows: int):
    table = Table(
        "Many rows",
        (Heading("Time", "time", 0), Heading("State")),
        tuple((Q(float(n), "s"), f"row-{n}") for n in range(1, rows + 1)),
    )
    stages = {
        **STAGES,
        "oil": replace(
            STAGES["oil"], judge=lambda machine, limits, entries: Findings(tables=(table,))
        ),
    }
    return book(job, stages)


def test_a_long_table_repeats_its_head_and_loses_no_row(job):
    content = printed(put(job, long_table(job, 150)))
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages]
    with_rows = [page for page in pages if re.search(r"\brow-\d+\b", page)]
    assert len(with_rows) >= 3 and all(
        re.search(r"Time\s+s?\s*State|State", page) for page in with_rows
    )
    assert sorted(int(n) for page in pages for n in re.findall(r"row-(\d+)", page)) == list(
        range(1, 151)
    )


def test_every_page_says_which_machine_and_which_page_of_how_many(made):
    pages = pypdf.PdfReader(io.BytesIO(made[2])).pages
    for number, page in enumerate(pages, start=1):
        text = page.extract_text()
        assert f"page {number} of {len(pages)}" in text and "CH-3 · EW-0042" in text


def test_a_job_in_inch_pound_units_is_printed_on_letter(tmp_path: Path):
    job = make_job(tmp_path / "job", READINGS, system="I-P")
    path = put(job, book(job))
    sizes = {
        tuple(round(float(v)) for v in page.mediabox[2:])
        for page in pypdf.PdfReader(io.BytesIO(printed(path))).pages
    }
    assert sizes == {(612, 792)}
    assert {
        tuple(round(float(v)) for v in page.mediabox[2:])
        for page in pypdf.PdfReader(io.BytesIO(printed(path, paper="a4"))).pages
    } == {(595, 842)}


def test_the_boxes_for_signatures_lie_where_they_are_reserved_on_the_last_page(made):
    pdf = opened(made[2])
    drawn = _rectangles(pdf.pages[signature_page.PAGE])
    for signatory in signature_page.SIGNATORIES:
        wanted = signature_page.box(signatory.field, signature_page.A4)
        assert any(
            all(abs(a - b) < 0.6 for a, b in zip(wanted, box, strict=True)) for box in drawn
        ), signatory.field


def _rectangles(page: pikepdf.Page) -> list[tuple[float, float, float, float]]:
    """Boxes of all stroked paths of a page, in its own coordinates."""
    matrix, stack, points, found = pikepdf.Matrix(), [], [], []
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        numbers = (
            [float(o) for o in operands if not isinstance(o, pikepdf.Object)]
            if name in ("cm", "m", "l", "re")
            else []
        )
        if name == "q":
            stack.append(matrix)
        elif name == "Q":
            matrix = stack.pop()
        elif name == "cm":
            matrix = pikepdf.Matrix(*numbers) @ matrix
        elif name in ("m", "l"):
            points.append(matrix.transform(tuple(numbers)))
        elif name == "re":
            x, y, w, h = numbers
            points += [matrix.transform((x, y)), matrix.transform((x + w, y + h))]
        elif name in ("S", "s", "f", "n", "B"):
            if points:
                xs, ys = [p[0] for p in points], [p[1] for p in points]
                found.append((min(xs), min(ys), max(xs), max(ys)))
            points = []
    return found


def test_a_job_without_entries_is_printed_as_a_sheet_to_fill_in(tmp_path: Path):
    job = make_job(tmp_path / "job", [])
    text = text_of(printed(put(job, book(job))))
    assert "Field sheet" in text and "☐ yes ☐ no" in text and "Clear to turn the shaft?" in text
    assert "NOT CLEAR" not in text and "not taken" not in text and "≥ 140.0 kPa" in text


def test_the_short_form_leaves_out_entries_and_keeps_verdicts_and_signatures(made):
    text = text_of(printed(made[1], form="short"))
    assert "NOT CLEAR TO TURN THE SHAFT" in text and "Filter drop" in text and "Signatures" in text
    assert "Readings over time" not in text


# --- refusals ------------------------------------------------------------------------------------


def test_a_notebook_older_than_the_job_is_refused(job):
    path = put(job, book(job))
    job.record(Entry("oil.filter_drop", "12", "kPa", who="R. Calder"))
    with pytest.raises(PaperError, match=r"entry \d+ of \d+"):
        printed(path)


def test_a_notebook_without_front_page_or_with_two_that_differ_is_refused(job):
    notebook = book(job)
    front = notebook.cells.pop(1)
    with pytest.raises(PaperError, match="front page"):
        printed(put(job, notebook))
    other = part_cell(
        {**front.outputs[0].data["application/vnd.startkit.part+json"], "entries": 3}, "again()"
    )
    notebook.cells += [front, other]
    with pytest.raises(PaperError, match=r"two .* front pages"):
        printed(put(job, notebook))


def test_an_output_of_ones_own_that_cannot_be_printed_stops_the_record(job):
    notebook = book(job)
    notebook.cells.append(
        new_code_cell("frame", outputs=[new_output("display_data", {"text/html": "<table>"})])
    )
    with pytest.raises(PaperError, match=r"^cell 7 \(frame\): the output"):
        printed(put(job, notebook))


def test_a_notebook_without_its_job_is_refused(job, tmp_path: Path):
    alone = tmp_path / "elsewhere" / "deeper"
    alone.mkdir(parents=True)
    nbformat.write(book(job), alone / "x.ipynb")
    with pytest.raises(PaperError, match="no job"):
        printed(alone / "x.ipynb")


def test_a_trend_file_that_is_only_a_link_is_refused(job, tmp_path: Path):
    (job.folder / "trends").mkdir()
    (tmp_path / "secret.csv").write_text("x")
    (job.folder / "trends" / "run.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(PaperError, match=r"'run.csv' is only a link"):
        printed(put(job, book(job)))


def test_the_exporter_module_is_light():
    import subprocess
    import sys

    code = (
        "import sys, nbconvert.exporters; before = set(sys.modules); import"
        " startkit.paper.printing.exporter; print(sorted({m.split('.')[0] for m in"
        " set(sys.modules) - before}))"
    )
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "['startkit']"
    )


# --- portable data -------------------------------------------------------------------------------


def test_cells_that_a_spreadsheet_would_run_get_an_apostrophe_in_the_csv_only():
    entries = [
        Entry("a.b", value, seq=n)
        for n, value in enumerate(["=1+1", "+1", "-5", "@x", " =x", "5", "−5"], start=1)
    ]
    rows = journal_export.as_csv(entries).decode("utf-8-sig").splitlines()
    assert [row.split(",")[3] for row in rows[1:]] == [
        "'=1+1",
        "'+1",
        "'-5",
        "'@x",
        "' =x",
        "5",
        "−5",
    ]
    assert [e.value for e in journal_export.from_json(journal_export.as_json(entries))] == [
        "=1+1",
        "+1",
        "-5",
        "@x",
        " =x",
        "5",
        "−5",
    ]


def test_a_photograph_is_printed_with_its_stage_and_a_missing_one_says_so(tmp_path: Path):
    from startkit.procedure.stage import Field
    from tests.paper.test_outputs import PNG

    photo = Field("photo", "Photograph of the gauge", "photo", required=False)
    stages = {
        **STAGES,
        "oil": replace(
            STAGES["oil"],
            fields=(
                *STAGES["oil"].fields,
                photo,
                replace(photo, name="second", question="Second photograph"),
            ),
        ),
    }
    outside = tmp_path / "outside.png"
    outside.write_bytes(PNG)
    job = make_job(
        tmp_path / "job",
        [
            *READINGS,
            Entry("oil.photo", "gauge.png", who="x"),
            Entry("oil.second", "../outside.png", who="x"),
        ],
    )
    (job.folder / "gauge.png").write_bytes(PNG)
    content = printed(put(job, book(job, stages)))
    text = text_of(content)
    assert "Photograph of the gauge: gauge.png" in text and "a plain name" in text
    pdf = opened(content)
    assert len(objects(pdf, pikepdf.Stream, "/Subtype", "/Image")) == 1


# --- the whole way -------------------------------------------------------------------------------


def test_nbconvert_knows_the_exporter_by_its_name():
    from nbconvert.exporters import get_exporter

    assert get_exporter("startkit-record") is RecordExporter


def test_a_job_is_run_and_printed_in_one_call_with_the_installed_stages(tmp_path: Path):
    from startkit.facts.plugins import find_template
    from startkit.paper.printing.export import export, field_sheet

    (tmp_path / "sheet.toml").write_text(SHEET, encoding="utf-8")
    target = field_sheet(
        tmp_path / "sheet.toml", find_template("new-machine"), tmp_path / "blank.pdf"
    )
    assert "Field sheet" in text_of(target.read_bytes())
    job = Job.create(tmp_path / "job", tmp_path / "sheet.toml", find_template("new-machine"))
    job.record(
        [
            Entry(
                "setup.nameplate_serial",
                "EW-0042",
                who="R. Calder",
                at="2026-11-25T08:00:00.000+01:00",
            )
        ]
    )
    path = export(job.folder)
    assert path.name == "CH-3-commissioning-record.pdf" and "EW-0042: as in the sheet." in text_of(
        path.read_bytes()
    )


def test_the_file_is_sound_in_its_syntax(made):
    assert opened(made[2]).check_pdf_syntax() == []


def test_no_text_whatever_stops_the_record(tmp_path: Path):
    import random

    draw = random.Random(20261125)
    planes = (
        range(0x01, 0x250),
        range(0x250, 0x3000),
        range(0x3000, 0xD800),
        range(0xE000, 0x10000),
        range(0x10000, 0x110000),
    )
    texts = [
        "".join(chr(draw.choice(draw.choice(planes))) for _ in range(draw.randint(1, 60)))
        for _ in range(150)
    ]
    table = Table(
        "Texts", (Heading("Text"), Heading("Again", "time")), tuple((text, text) for text in texts)
    )
    job = make_job(tmp_path / "job")
    stages = {
        **STAGES,
        "oil": replace(
            STAGES["oil"],
            judge=lambda machine, limits, entries: Findings(tables=(table,), remarks=tuple(texts)),
        ),
    }
    assert printed(put(job, book(job, stages))).startswith(b"%PDF")


def test_a_table_too_wide_for_the_page_is_turned_and_loses_no_cell(job):
    heads = (
        Heading("Load"),
        *(Heading(f"Reading {n}", "pressure_difference", 0) for n in range(1, 20)),
    )
    rows = tuple(
        (f"point {p}", *(Q(1000.0 * p + n, "kPa") for n in range(1, 20))) for p in range(1, 9)
    )
    stages = {
        **STAGES,
        "oil": replace(
            STAGES["oil"],
            judge=lambda machine, limits, entries: Findings(tables=(Table("Wide", heads, rows),)),
        ),
    }
    content = printed(put(job, book(job, stages)))
    text = text_of(content)
    assert all(str(1000 * p + n) in text for p in range(1, 9) for n in range(1, 20))
    assert all(
        _furthest_right(content, page) < 595.3 - 40
        for page in range(len(pypdf.PdfReader(io.BytesIO(content)).pages))
    )


def test_a_corrected_block_is_printed_by_its_length_and_attached_whole(tmp_path: Path):
    block = "\n".join(f"{n}\t{n}" for n in range(400))
    job = make_job(
        tmp_path / "job",
        [
            *READINGS,
            Entry("setup.remark", block, who="x"),
            Entry("setup.remark", block + "\n400\t400", who="x", note="one row more"),
        ],
    )
    content = printed(put(job, book(job)))
    assert "Remark a block of 400 rows a block of 401 rows one row more" in text_of(content)
    assert json.loads(attached(content)["journal.json"])["entries"][-2]["value"] == block


def test_a_stage_that_was_not_begun_takes_a_few_lines_only(tmp_path: Path):
    job = make_job(tmp_path / "job", READINGS[:6])
    text = text_of(printed(put(job, book(job))))
    assert "Oil differential before start; Sump temperature; Filter drop." in text
    assert re.search("Lubrication: not begun, 4 ", text)

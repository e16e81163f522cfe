"""A signed record opens without complaint in readers of other makes, and the demonstration's in
ours.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
from pathlib import Path

import pikepdf
import pytest

from startkit.paper import evidence
from startkit.paper.signature_page import FIELDS
from startkit.paper.verifying import verification
from tests.paper.signing import printed, real_job, signed

# Prints what pdf.js finds in a file, and what it warns of.
PDF_JS = """
import { readFileSync } from "node:fs";
const warnings = [];
for (const name of ["warn", "error", "log"])
  console[name] = (...said) => warnings.push(said.join(" "));
const pdfjs = await import(process.argv[2]);
const data = new Uint8Array(readFileSync(process.argv[3]));
const file = await pdfjs.getDocument({ data, verbosity: 1 }).promise;
let words = 0;
const fields = [];
for (let n = 1; n <= file.numPages; n++) {
  const page = await file.getPage(n);
  words += (await page.getTextContent()).items.length;
  for (const each of await page.getAnnotations())
    if (each.fieldType === "Sig") fields.push(each.fieldName);
  await page.getOperatorList();
}
const attached = Object.keys((await file.getAttachments()) ?? {});
const titles = ((await file.getOutline()) ?? []).map((each) => each.title);
const pages = file.numPages;
process.stdout.write(JSON.stringify({ pages, words, fields, attached, titles, warnings }));
"""


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return signed(printed(real_job(tmp_path_factory.mktemp("readers") / "CH-3 start-up")))


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler is not here")
@pytest.mark.parametrize(
    "command",
    [("pdfinfo",), ("pdftotext", "-q0"), ("pdfdetach", "-list"), ("pdftoppm", "-r", "20", "-png")],
)
def test_poppler_has_nothing_to_complain_of(record: Path, tmp_path: Path, command: tuple[str, ...]):
    tool, *options = [part for part in command if part != "-q0"]
    target = {"pdftotext": [str(tmp_path / "text")], "pdftoppm": [str(tmp_path / "page")]}.get(
        tool, []
    )
    done = subprocess.run(
        [tool, *options, str(record), *target], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_mupdf_has_nothing_to_complain_of(record: Path):
    pymupdf = pytest.importorskip("pymupdf", reason="MuPDF is not here")
    pymupdf.TOOLS.reset_mupdf_warnings()
    with pymupdf.open(record) as pdf:
        for page in pdf:
            page.get_pixmap(dpi=30)
        assert not pdf.is_repaired and set(pdf.embfile_names()) == set(
            evidence.of_pdf(record.read_bytes()).files
        )
        assert [widget.field_name for widget in pdf[-1].widgets()] == list(FIELDS)
        assert pdf.get_toc() and "Digital signature" in pdf[-1].get_text()
    assert pymupdf.TOOLS.mupdf_warnings() == ""


def _pdf_js() -> str:
    """The folder of pdf.js as npm installs it, from STARTKIT_PDFJS; empty if there is none."""
    found = (
        Path(os.environ.get("STARTKIT_PDFJS", "node_modules/pdfjs-dist"))
        / "legacy"
        / "build"
        / "pdf.mjs"
    )
    return found.resolve().as_uri() if found.is_file() and shutil.which("node") else ""


@pytest.mark.skipif(
    not _pdf_js(),
    reason="pdf.js is not here: npm install pdfjs-dist, and name its folder in STARTKIT_PDFJS",
)
def test_pdf_js_has_nothing_to_complain_of(record: Path, tmp_path: Path):
    script = tmp_path / "read.mjs"
    script.write_text(PDF_JS, encoding="utf-8")
    told = json.loads(
        subprocess.run(
            ["node", str(script), _pdf_js(), str(record)],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
    )
    assert (
        told["warnings"] == []
        and told["fields"] == list(FIELDS)
        and told["titles"][-1] == "Signatures"
    )
    assert (
        set(told["attached"]) == set(evidence.of_pdf(record.read_bytes()).files)
        and told["words"] > 500
    )


def test_qpdf_finds_the_syntax_sound(record: Path):
    assert pikepdf.open(io.BytesIO(record.read_bytes())).check_pdf_syntax() == []


@pytest.mark.xdist_group("demo")
def test_the_demonstration_s_record_is_signed_and_verified(demo: Path, tmp_path: Path):
    from startkit.paper.signing import identity, seal
    from workbook import people

    path = tmp_path / "CH-1.pdf"
    shutil.copyfile(demo / "jobs" / "CH-1" / "records" / "CH-1-commissioning-record.pdf", path)
    assert path.stat().st_size < 3_000_000
    trust = []
    for role, name in (("technician", people.TECHNICIAN), ("owner's witness", people.WITNESS)):
        person = identity.new(name)
        trust.append(person.der)
        seal.sign(seal.ready(path, role), person.signer())
    found = verification.verify(path, trust)
    assert found.valid, found.lines()

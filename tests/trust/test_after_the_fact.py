"""A file of a job that was changed behind the journal is reported on the screen, in the terminal,
on page 1, when the record is signed and when it is verified.
"""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from startkit.cli import main
from startkit.desk import cards
from startkit.desk.notebook import open_book
from startkit.facts.job import Job
from startkit.paper.verifying import verification
from tests.paper.signing import printed, real_job, signed

LIMIT = '[limits."load_up.heat_balance"]\nhigh = "20 %"\nsource = "by hand"\n'


@pytest.fixture(scope="module")
def loosened(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job to which somebody added a wider limit by hand."""
    job = real_job(tmp_path_factory.mktemp("jobs") / "CH-3 start-up")
    (job.folder / "specification.toml").write_text(LIMIT)
    return job.folder


def test_the_front_card_reports_it(loosened: Path) -> None:
    part = open_book(loosened, "record").front().part
    assert "specification.toml was added" in str(cards.html(part))
    assert "specification.toml was added" in cards.plain(part)


def test_the_status_reports_it_with_the_remedy(loosened: Path) -> None:
    said = CliRunner().invoke(main, ["status", str(loosened)]).output
    assert said.index("specification.toml was added") < said.index("startkit replace")


def test_page_1_signing_and_verifying_report_it(loosened: Path, tmp_path: Path) -> None:
    path = printed(Job(loosened))
    first = PdfReader(io.BytesIO(path.read_bytes())).pages[0].extract_text()
    assert "specification.toml was added" in " ".join(first.split())
    key = ["--new-identity", "--p12", str(tmp_path / "key.p12")]
    said = CliRunner(env={"STARTKIT_PASSPHRASE": "long enough to keep"}).invoke(
        main, ["sign", str(path), "--as", "technician", *key]
    )
    assert said.exit_code == 0, said.output
    assert "specification.toml was added" in said.output
    found = verification.verify(path, beside=False)
    (part,) = (part for part in found.parts if part.name == "job files")
    assert part.mark == verification.OPEN
    assert "specification.toml was added" in part.said[0]


def test_a_record_that_keeps_it_quiet_is_not_valid(tmp_path: Path) -> None:
    job = real_job(tmp_path / "CH-3 start-up")
    (job.folder / "specification.toml").write_text(LIMIT)

    def hushed(notebook) -> None:
        for cell in notebook.cells:
            for output in cell.get("outputs", ()):
                for data in output["data"].values():
                    if isinstance(data, dict) and data.get("changed"):
                        data["changed"] = []

    found = verification.verify(signed(printed(Job(job.folder), change=hushed)), beside=False)
    assert not found.valid
    assert any("page 1 does not say so" in said for part in found.parts for said in part.said)


def test_a_replaced_file_is_reported_nowhere(tmp_path: Path) -> None:
    folder = real_job(tmp_path / "CH-3 start-up").folder
    new = tmp_path / "limits.toml"
    new.write_text(LIMIT)
    how = ["--who", "Ana", "--reason", "Order 7, page 3"]
    said = CliRunner().invoke(main, ["replace", str(folder), "specification", str(new), *how])
    assert said.exit_code == 0, said.output
    found = verification.verify(signed(printed(Job(folder))), beside=False)
    assert found.valid, found.lines()
    assert all(part.name != "job files" for part in found.parts)

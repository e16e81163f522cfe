"""Malformed record data, a write-protected stick and a clock that was never set: one sentence."""

from __future__ import annotations

import errno
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.errors import JobError, PaperError
from startkit.facts import plugins, safe_files
from startkit.facts.job import Job
from startkit.facts.journal import Entry, digest
from startkit.paper import journal_export, revisions
from startkit.paper.evidence import Evidence
from startkit.paper.printing import runs
from startkit.paper.signing import seal
from startkit.paper.verifying import succession, verification

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"
ROW = {"field": "technician", "role": "technician", "name": "", "firm": "", "says": ""}
GOOD: dict[str, Any] = {"front": {}, "body": [], "attachments": [], "signatures": [ROW]}


def evidence_of(**changed: object) -> Evidence:
    return Evidence({"record.json": json.dumps({**GOOD, **changed}).encode()})


def test_data_of_the_right_shape_are_read() -> None:
    assert evidence_of().record["signatures"] == [ROW]


@pytest.mark.parametrize(
    "changed",
    [
        {"signatures": [1]},
        {"signatures": [{}]},
        {"signatures": [None]},
        {"signatures": {"a": 1}},
        {"versions": [1]},
        {"versions": {"startkit": "1"}},
        {"versions": [{"name": "startkit"}]},
        {"revision": {"letter": "B", "replaces": "A"}},
        {"revision": {"letter": "B", "replaces": {"letter": "A", "file": 3, "sha256": ""}}},
        {"revision": "B"},
        {"body": [1]},
        {"body": [{}]},
        {"paper": 4},
        {"front": []},
    ],
    ids=str,
)
def test_data_of_another_shape_are_refused(changed: dict[str, object]) -> None:
    with pytest.raises(PaperError, match=r"not .*record"):
        evidence_of(**changed).record  # noqa: B018 - reading it is what is tested


@pytest.mark.parametrize("name", ["", ".", "..", "/", "x" * 5000, "a\0b"])
def test_a_replaced_record_with_an_impossible_name_is_not_looked_for(
    name: str, tmp_path: Path
) -> None:
    before = {"letter": "A", "file": name, "sha256": "0" * 64}
    data = {**GOOD, "revision": {"letter": "B", "replaces": before}}
    (tmp_path / "r-B.pdf").write_bytes(b"")
    part = succession.part(
        tmp_path / "r-B.pdf", Evidence({"record.json": json.dumps(data).encode()})
    )
    assert part.mark == verification.OPEN and "whether the journal" in part.unchecked[0]


@pytest.mark.parametrize("entries", [0, -1, 10**30, 1.5, True, "2", None, []])
@pytest.mark.parametrize("digest_", ["0" * 64, 3, None, "é"])
def test_a_replaced_record_with_an_impossible_journal_is_no_traceback(
    entries: object, digest_: object
) -> None:
    before = {"letter": "A", "file": "a.pdf", "sha256": "0" * 64}
    line = {"letter": "B", "replaces": {**before, "entries": entries, "journal_digest": digest_}}
    revision = revisions.of_line(line)
    assert isinstance(revision.history([Entry("a", "b")]), str)
    assert revision.line([Entry("a", "b")])["replaces"]["file"] == "a.pdf"


def test_half_a_surrogate_pair_in_the_journal_is_refused() -> None:
    entry = Entry("setup.note", "\ud800", at="2026-01-01T00:00:00+00:00", seq=1, previous="0" * 64)
    entry = Entry(**{**entry.as_dict(), "digest": digest(entry)})
    text = json.dumps(json.loads(journal_export.as_json([Entry("a", "b")]))).replace("\\ud800", "")
    held = json.loads(text)
    rows = held["entries"] if isinstance(held, dict) else held
    rows[:] = [entry.as_dict()]
    with pytest.raises(PaperError, match="journal is damaged"):
        Evidence({"journal.json": json.dumps(held).encode()}).entries  # noqa: B018 - as above


@pytest.mark.parametrize("name", ["x" * 3000, "x" * 3000 + ".ipynb", "/" + "x/" * 3000])
def test_a_template_with_a_name_of_thousands_of_letters_is_unknown(name: str) -> None:
    with pytest.raises(JobError, match="no template"):
        plugins.find_template(name)


def test_a_write_protected_stick_is_named_when_a_notebook_has_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    folder = Job.create(tmp_path / "J", SHEET, ROOT / "templates" / "new-machine.ipynb").folder
    monkeypatch.setattr(runs, "execute", lambda notebook, *_: (notebook, None))
    monkeypatch.setattr(safe_files, "_put", refused)
    monkeypatch.setattr(Path, "unlink", refused)
    result = CliRunner().invoke(main, ["run", str(folder)])
    assert result.exit_code == 2
    assert "write-protected" in result.output


def test_nothing_is_signed_by_a_clock_that_was_never_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Stopped(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Stopped:
            return cls(1969, 12, 31, tzinfo=tz)

    monkeypatch.setattr(seal, "datetime", Stopped)
    result = CliRunner().invoke(main, ["sign", str(tmp_path / "r.pdf"), "--as", "technician"])
    assert result.exit_code == 2
    assert "clock" in result.output

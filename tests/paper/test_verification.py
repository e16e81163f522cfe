"""Verifying: a record is checked without its job, every way of tampering is caught, every verdict
is derived again.
"""

from __future__ import annotations

import copy
import json
import random
import re
import shutil
import socket
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import jsonschema
import pypdf
import pytest
from click.testing import CliRunner, Result
from nbformat.v4 import new_code_cell

from benchmarks import tampering
from startkit import __version__, side_process
from startkit.cli import main
from startkit.errors import PaperError
from startkit.facts.digests import sha256
from startkit.facts.journal import Entry, Journal
from startkit.paper import evidence, journal_export, revisions
from startkit.paper.printing import versions
from startkit.paper.signature_page import FIELDS
from startkit.paper.signing import identity, seal
from startkit.paper.verifying import (
    increments,
    signatures,
    stamps,
    succession,
    verdict_comparison,
    verification,
)
from tests.paper import signing
from tests.paper.signing import ENGINEER, TECHNICIAN, WITNESS, person, printed, real_job, signed


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> tampering.Scene:
    """The job, its record as printed and as signed by three; the short form, which is as good here
    and quicker.
    """
    return tampering.scene(tmp_path_factory.mktemp("scene"), "short")


@pytest.fixture(scope="module")
def found(
    there: tampering.Scene, tmp_path_factory: pytest.TempPathFactory
) -> verification.Verification:
    """What verify says to the signed record, far from its job."""
    path = tmp_path_factory.mktemp("elsewhere") / "record.pdf"
    path.write_bytes(there.signed)
    return verification.verify(path, there.trust)


@pytest.fixture
def alone(there: tampering.Scene, tmp_path: Path) -> Path:
    (tmp_path / "record.pdf").write_bytes(there.signed)
    return tmp_path / "record.pdf"


def part(found: verification.Verification, name: str) -> verification.Part:
    return next(each for each in found.parts if each.name == name)


# --- a record as it should be ---------------------------------------------------------------------


def test_a_signed_record_is_valid_on_a_machine_that_has_never_seen_the_job(found):
    assert found.valid, found.lines()
    others = [each.mark for each in found.parts if each.name != "hold points"]
    assert others == ["✓"] * (len(found.parts) - 1)
    assert [(s.signer, s.trusted) for s in found.signatures] == [
        (TECHNICIAN, True),
        (WITNESS, True),
        (ENGINEER, True),
    ]


def test_what_came_before_its_release_is_told_and_leaves_the_record_valid(found):
    told = part(found, "hold points")
    assert told.mark == "○" and "released by name" in told.said[0]
    assert any("too early" in said for said in told.said) and not told.unchecked


def test_a_person_reads_who_signed_what_was_checked_and_a_bottom_line(found):
    lines = found.lines()
    assert lines[0] == "record.pdf: Commissioning record CH-3, revision A" and lines[-1] == "VALID"
    assert any(
        "technician: R. Calder, " in line and "signer's own clock; certifies" in line
        for line in lines
    )
    assert any(f"derived again with startkit {__version__}: as printed" in line for line in lines)
    assert any("byte for byte" in line for line in lines)


def test_a_machine_reads_the_same(found):
    data = json.loads(json.dumps(found.as_json()))
    assert (
        data["valid"] is True
        and data["schema"] == "startkit-verification-1"
        and data["revision"] == "A"
    )
    assert {p["part"]: p["outcome"] for p in data["parts"]}["verdicts"] == "good"
    assert [s["fingerprint"] for s in data["signatures"]] == [
        person(name).fingerprint for name in (TECHNICIAN, WITNESS, ENGINEER)
    ]


def test_the_command_tells_by_its_exit_status(alone: Path, there: tampering.Scene, tmp_path: Path):
    assert run("verify", alone).exit_code == 0
    (tmp_path / "bad.pdf").write_bytes(tampering.flipped(there.signed, 3000, 0))
    result = run("verify", tmp_path / "bad.pdf", "--json")
    assert result.exit_code == 1 and json.loads(result.stdout)["valid"] is False
    assert run("verify", tmp_path / "none.pdf").exit_code == 2
    assert run("verify", alone, "--signed-by", "the owner's aunt").exit_code == 2


def test_nothing_is_asked_of_any_network(
    alone: Path, there: tampering.Scene, monkeypatch: pytest.MonkeyPatch
):
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a connection was tried")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    assert verification.verify(alone, there.trust, beside=False).valid


@pytest.mark.parametrize("asked", [0, 1], ids=["at once", "once it has read the file"])
def test_a_process_beside_that_dies_is_done_without(
    alone: Path, there: tampering.Scene, asked: int, monkeypatch: pytest.MonkeyPatch
):
    answer = side_process.SideProcess._asked

    def dies(
        self: side_process.SideProcess, work: Callable[..., Any], args: tuple[Any, ...]
    ) -> tuple[bool, Any]:
        if work is (evidence.of_pdf, signatures.read_apart)[asked]:
            self._process.kill()
        return answer(self, work, args)

    monkeypatch.setattr(side_process.SideProcess, "_asked", dies)
    found = verification.verify(alone, there.trust)
    assert found.valid and len(found.signatures) == 3


def test_without_a_process_beside_it_finds_the_same(alone: Path, there: tampering.Scene):
    assert verification.verify(alone, there.trust, beside=False) == verification.verify(
        alone, there.trust
    )


def test_the_attached_notebook_is_never_run(tmp_path: Path):
    trap = tmp_path / "it-ran.txt"
    job = real_job(tmp_path / "CH-3 start-up")
    path = signed(
        printed(
            job,
            change=lambda notebook: notebook.cells.append(
                new_code_cell(f"open({str(trap)!r}, 'w').close()", id="trap")
            ),
        )
    )
    assert verification.verify(path, beside=False).valid and not trap.exists()


# --- who signed -----------------------------------------------------------------------------------


def test_without_certificates_the_reader_is_told_to_compare_them(alone: Path):
    found = verification.verify(alone, beside=False)
    assert found.valid and [s.trusted for s in found.signatures] == [None] * 3
    assert "compare the SHA-256" in found.lines()[-2] and found.lines()[-1] == "VALID"


def test_a_certificate_that_does_not_vouch_for_everybody_is_not_enough(alone: Path):
    found = verification.verify(alone, [person(TECHNICIAN).der], beside=False)
    assert not found.valid and [s.trusted for s in found.signatures] == [True, False, False]


def test_an_authority_vouches_for_those_whose_certificates_it_signed(tmp_path: Path):
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    authority, leaf = _authority("Northline signing authority"), person(TECHNICIAN)
    now = datetime.now(UTC)
    issued = (
        x509.CertificateBuilder()
        .subject_name(leaf.certificate.subject)
        .issuer_name(authority.certificate.subject)
        .public_key(leaf.key.public_key())
        .serial_number(7)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=30))
        .add_extension(
            x509.KeyUsage(True, False, False, False, False, False, False, False, False),
            critical=True,
        )
        .sign(authority.key, hashes.SHA256())
    )
    path = printed(real_job(tmp_path / "CH-3 start-up", signing.READINGS[:3]))
    seal.sign(seal.ready(path, "technician"), identity.Identity(leaf.key, issued, ()).signer())
    assert verification.verify(path, [authority.der], beside=False).valid
    assert not verification.verify(path, [_authority("Another authority").der], beside=False).valid


def _authority(name: str) -> identity.Identity:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    key = person(ENGINEER).key
    subject, now = (
        x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)]),
        datetime.now(UTC),
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(3)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=90))
        .add_extension(x509.BasicConstraints(True, 0), critical=True)
        .add_extension(
            x509.KeyUsage(False, False, False, False, False, True, True, False, False),
            critical=True,
        )
        .sign(key, hashes.SHA256())
    )
    return identity.Identity(key, certificate)


def test_a_certificate_that_ran_out_is_told_and_does_not_undo_the_signature(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    path = printed(real_job(tmp_path / "CH-3 start-up", signing.READINGS[:3]))
    signer = identity.new(TECHNICIAN)
    seal.sign(seal.ready(path, "technician"), signer.signer())

    class Later(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:
            return datetime.now(tz) + timedelta(days=20 * 366)

    monkeypatch.setattr(signatures, "datetime", Later)
    found = verification.verify(path, [signer.der], beside=False)
    assert found.valid and "expired" in found.signatures[0].notes[0]


def test_a_signer_of_another_name_than_the_record_names_is_pointed_out(tmp_path: Path):
    path = signed(
        printed(real_job(tmp_path / "CH-3 start-up", signing.READINGS[:3])),
        ("technician", ENGINEER),
    )
    found = verification.verify(path, beside=False)
    said = " ".join(part(found, "signature").said)
    assert found.valid and f"names {TECHNICIAN}" in said and ENGINEER in said


def test_a_record_that_nobody_has_signed_is_not_valid(there, tmp_path: Path):
    found = tampering.said(there, there.printed)
    (sentence,) = part(found, "signatures").said
    assert not found.valid and "no signatures" in sentence
    assert part(found, "verdicts").mark == "✓"


def test_one_who_was_not_awaited_can_be_asked_for(tmp_path: Path):
    path = signed(printed(real_job(tmp_path / "CH-3 start-up")))
    assert verification.verify(path, beside=False).valid
    found = verification.verify(path, signed_by=["commissioning engineer"], beside=False)
    (sentence,) = part(found, "signatures").said
    assert sentence.startswith(f"Commissioning engineer ({ENGINEER}) ")


# --- tampering ------------------------------------------------------------------------------------


@pytest.mark.parametrize("case", tampering.CASES, ids=lambda case: case.name)
def test_tampering_is_caught(there: tampering.Scene, case: tampering.Case):
    content = case.made(there)
    assert content != there.signed
    assert not tampering.said(there, content, **case.options).valid


def test_a_bit_flipped_anywhere_is_caught(there: tampering.Scene):
    for place, bit in tampering.places(there.signed, 40):
        assert not _looks_good(tampering.flipped(there.signed, place, bit)), (place, bit)


def _looks_good(content: bytes) -> bool:
    try:
        return signatures.read(content, FIELDS, thorough=False).good
    except PaperError:
        return False


def test_a_bit_flipped_in_the_last_signature_itself_is_caught(there: tampering.Scene):
    """These bytes alone are covered by no signature: digits, their case, the encoding, and the
    filling behind it.
    """
    from asn1crypto import cms
    from pyhanko.pdf_utils.reader import PdfFileReader

    last = PdfFileReader(BytesIO(there.signed)).embedded_signatures[-1]
    _, start, end, _ = (int(n) for n in last.byte_range)
    filling = start + 1 + 2 * len(cms.ContentInfo.load(last.pkcs7_content).dump())
    draw = random.Random(tampering.SEED)
    # The first hundred digits hold versions and algorithms, which nothing else protects.
    for place in (
        *draw.sample(range(start, start + 100), 20),
        *draw.sample(range(start + 100, filling), 30),
        *draw.sample(range(filling, end), 10),
    ):
        bit = draw.randrange(8)
        assert not _looks_good(tampering.flipped(there.signed, place, bit)), (place - start, bit)


def test_letters_of_the_signature_s_digits_in_another_case_are_caught(there: tampering.Scene):
    place = there.signed.rindex(b"/Contents <") + len(b"/Contents <")
    while not there.signed[place : place + 1].isalpha():
        place += 1
    assert not _looks_good(tampering.flipped(there.signed, place, 5))


def test_a_damaged_stamp_is_a_fault_and_not_a_traceback(there: tampering.Scene):
    last = tampering.revision_ends(there.signed)[-2]
    packed = [
        found.end()
        for found in re.finditer(rb"FlateDecode.{0,90}?stream\r?\n", there.signed, re.DOTALL)
        if found.start() > last
    ]
    record = evidence.of_pdf(there.signed).record
    rows = {row["field"]: row for row in record["signatures"]}
    assert packed
    for place in packed:
        content = tampering.flipped(there.signed, place + 9, 3)
        layout = increments.taken_apart(content, record)
        made = signatures.Signature("third", ENGINEER, "00", "2026-11-25T09:00:00+01:00")
        looked = stamps.compared(3, layout.signed[-1], made, rows["third"])
        assert looked.fault or layout.faults


def test_what_nothing_foresaw_is_a_part_that_is_wrong(there: tampering.Scene, monkeypatch):
    def fails(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(stamps, "compared", fails)
    found = tampering.said(there, there.signed)
    assert not found.valid and "ZeroDivisionError" in part(found, "file").said[0]


def test_a_file_of_noise_or_of_nothing_is_not_valid_and_not_a_traceback(there, tmp_path: Path):
    for content in (b"", b"\0" * 4000, random.Random(1).randbytes(4000), b"%PDF-1.7\n%%EOF"):
        found = tampering.said(there, content)
        assert not found.valid and found.parts[0].name == "file"


# --- revisions ------------------------------------------------------------------------------------


def test_a_replaced_record_says_so_and_its_follower_knows_it(tmp_path: Path):
    job = real_job(tmp_path / "CH-3 start-up")
    first = signed(printed(job))
    job.record(Entry("lube.filter_drop", "13", "kPa", who=TECHNICIAN, note="misread"))
    second = signed(printed(job))
    old, new = (verification.verify(path, beside=False) for path in (first, second))
    assert (
        old.valid
        and part(old, "revision").mark == "○"
        and "replaced" in part(old, "revision").said[1]
    )
    assert new.valid and first.name in part(new, "revision").said[1]
    first.write_bytes(first.read_bytes() + b"\n")
    assert part(verification.verify(second, beside=False), "revision").mark == "✗"


def test_a_revision_far_from_the_one_before_is_valid_and_names_it(tmp_path: Path):
    job = real_job(tmp_path / "CH-3 start-up")
    first = signed(printed(job))
    named = sha256(first.read_bytes())
    job.record(Entry("lube.filter_drop", "13", "kPa", who=TECHNICIAN, note="misread"))
    second = signed(printed(job))
    shutil.move(second, tmp_path / "b.pdf")
    found = verification.verify(tmp_path / "b.pdf", beside=False)
    assert found.valid and found.revision == "B" and named in part(found, "revision").said[0]


def test_a_journal_rewritten_after_it_was_signed_is_reported_by_the_next_revision(tmp_path: Path):
    job = real_job(tmp_path / "CH-3 start-up")
    first = signed(printed(job, "short"))
    rewritten = tampering.edited(list(job.state().entries), chained=True)
    job.journal.path.unlink()
    Journal.create(job.journal.path).adopt(rewritten)
    second = printed(signing.Job(job.folder), "short")
    said = seal.ready(second, "technician").changed
    assert any(
        re.search(r"does not begin with the \d+ entries of revision A", each) for each in said
    )
    assert "does not begin with" in " ".join(
        pypdf.PdfReader(second).pages[0].extract_text().split()
    )
    first.rename(tmp_path / "a.pdf")  # the second one knows it alone
    found = verification.verify(signed(second), beside=False)
    assert found.outcome == "valid as far as checked" and "rewritten" in found.lines()[-1]


@pytest.mark.parametrize(
    ("kept", "told"), [(3, ""), (2, ""), (1, "cut short"), (0, "cut short"), (-1, "does not begin")]
)
def test_a_journal_carries_on_the_one_of_the_revision_before(kept: int, told: str):
    entries = [Entry("lube.note", str(n), digest=f"{n:064}") for n in range(3)]
    before = revisions.Revision("B", "A", "a.pdf", "0" * 64, 2, entries[1].digest)
    here = entries[:kept] if kept >= 0 else [entries[0], entries[2], entries[1]]
    assert told in before.history(here) and bool(told) == bool(before.history(here))
    line = before.line(here)
    assert revisions.of_line(line) == before and revisions.of_line(line).line(here) == line


def test_a_record_before_these_lines_keeps_its_own():
    line = {"letter": "B", "replaces": {"letter": "A", "file": "a.pdf", "sha256": "0" * 64}}
    assert revisions.of_line(line).line([Entry("lube.note", "1")]) == line


def test_a_file_named_as_another_revision_is_reported(there: tampering.Scene, tmp_path: Path):
    plain, other = (tmp_path / f"CH-3-commissioning-record{end}.pdf" for end in ("", "-C"))
    other.write_bytes(there.signed)
    carried = evidence.of_pdf(there.signed)
    assert "named as revision C, but it is revision A" in succession.part(other, carried).said[1]
    plain.write_bytes(there.signed)
    said = " ".join(succession.part(plain, carried).said)
    assert "is revision A" in said and "has been replaced" not in said


# --- what is printed follows from what is attached ------------------------------------------------


def derived(
    there: tampering.Scene,
    change: Callable[[dict[str, Any]], None] = lambda data: None,
    **files: bytes,
) -> tuple[verdict_comparison.Difference, ...]:
    """Differences between a changed record and what its attachments give."""
    carried = evidence.of_pdf(there.printed)
    data = copy.deepcopy(carried.record)
    change(data)
    changed = evidence.Evidence(
        {
            **carried.files,
            "record.json": journal_export.to_json(data),
            **{name.replace("_", "."): content for name, content in files.items()},
        }
    )
    with tempfile.TemporaryDirectory() as scratch:
        return verdict_comparison.held_against(
            changed, verdict_comparison.restored(changed, Path(scratch))
        ).differences


def stage(data: dict[str, Any], name: str) -> dict[str, Any]:
    return next(block for block in data["body"] if block.get("stage") == name)


def test_what_follows_from_the_data_shows_no_difference(there):
    assert derived(there) == ()


def test_a_verdict_printed_otherwise_is_named_with_both(there):
    def change(data: dict[str, Any]) -> None:
        stage(data, "lube")["verdicts"][0]["outcome"] = "pass"

    title = stage(evidence.of_pdf(there.printed).record, "lube")["verdicts"][0]["title"]
    (difference,) = derived(there, change)
    assert difference.weighty
    assert re.fullmatch(f"{title}: outcome .*“pass”.*“waived”", str(difference))


@pytest.mark.parametrize(
    ("change", "what", "weighty"),
    [
        (lambda data: stage(data, "lube")["verdicts"].pop(), "verdict", True),
        (
            lambda data: stage(data, "lube")["verdicts"].append(
                {**stage(data, "lube")["verdicts"][0], "key": "lube.invented", "title": "Invented"}
            ),
            "verdict",
            True,
        ),
        (
            lambda data: stage(data, "lube")["verdicts"][0].update(sentence="All is well."),
            "sentence",
            False,
        ),
        (lambda data: stage(data, "lube")["entered"][0].update(value="99"), "value", True),
        (lambda data: data["front"]["holds"][0].update(clear=True), "clear", True),
        (lambda data: data["front"].update(corrections=7), "corrections", False),
        (lambda data: data["front"].update(waivers=[]), "verdict", True),
        (
            lambda data: next(b for b in data["body"] if b["block"] == "handover").update(
                corrections=[]
            ),
            "corrections",
            True,
        ),
    ],
)
def test_whatever_is_printed_otherwise_is_found(there, change, what: str, weighty: bool):
    found = derived(there, change)
    assert (what, weighty) in {(d.what, d.weighty) for d in found}


def test_a_stage_that_is_not_installed_here_is_named(there):
    def change(data: dict[str, Any]) -> None:
        stage(data, "lube").update(stage="brewing", title="Brewing")

    assert any(each.where == "Brewing" and each.what == "stage" for each in derived(there, change))


def test_another_sheet_gives_other_verdicts(there):
    sheet = (
        evidence.of_pdf(there.printed)
        .files["machine.toml"]
        .replace(b'low_trip = "100 kPa"', b'low_trip = "90 kPa"')
    )
    assert any("90" in d.derived for d in derived(there, machine_toml=sheet))


def test_wording_of_another_version_is_told_and_is_not_wrong(there):
    carried = evidence.of_pdf(there.printed)
    data = copy.deepcopy(carried.record)
    stage(data, "lube")["verdicts"][0]["sentence"] = "As an older version put it."
    data["versions"] = [
        {**line, "version": "0.0.9"} if line["name"] == "startkit" else line
        for line in data["versions"]
    ]
    changed = evidence.Evidence({**carried.files, "record.json": journal_export.to_json(data)})
    with tempfile.TemporaryDirectory() as scratch:
        told, *_ = verification._verdicts(
            changed, verdict_comparison.restored(changed, Path(scratch)), None
        )
    assert (
        told.mark == "✓"
        and "printed by 0.0.9" in told.said[0]
        and "worded differently" in told.said[1]
        and "0.0.9" in told.unchecked[0]
    )
    assert versions.other(data) == [f"startkit 0.0.9, here {__version__}"]


@pytest.mark.parametrize(
    "change",
    [
        lambda notebook: b"not a notebook",
        lambda notebook: b"{}",
        lambda notebook: json.dumps(
            {
                **notebook,
                "cells": [
                    {key: value for key, value in cell.items() if key != "outputs"}
                    for cell in notebook["cells"]
                ],
            }
        ).encode(),
        lambda notebook: json.dumps(
            {**notebook, "cells": [{**cell, "metadata": 3} for cell in notebook["cells"]]}
        ).encode(),
        lambda notebook: json.dumps(
            {**notebook, "cells": [{**cell, "source": None} for cell in notebook["cells"]]}
        ).encode(),
        lambda notebook: json.dumps({**notebook, "metadata": []}).encode(),
    ],
    ids=[
        "text",
        "empty",
        "no outputs",
        "metadata of another kind",
        "no source",
        "metadata of the whole",
    ],
)
def test_a_damaged_notebook_is_told_in_a_sentence(there, change: Callable[[Any], bytes]):
    carried = evidence.of_pdf(there.printed)
    name = next(name for name in carried.files if name.endswith(".ipynb"))
    changed = evidence.Evidence(
        {**carried.files, name: change(json.loads(carried.files[name]))}, set_at=carried.set_at
    )
    with tempfile.TemporaryDirectory() as scratch:
        told = verification._pages(
            changed, verdict_comparison.restored(carried, Path(scratch)).folder, there.printed
        )
    assert told.mark == "✗" and "notebook is damaged" in told.said[0]


def test_pages_of_a_file_that_does_not_say_when_it_was_set_are_not_those_of_a_record(there):
    carried = evidence.of_pdf(there.printed)
    with tempfile.TemporaryDirectory() as scratch:
        folder = verdict_comparison.restored(carried, Path(scratch)).folder
        assert verification._pages(carried, folder, there.printed).mark == "✓"
        assert (
            verification._pages(evidence.Evidence(carried.files), folder, there.printed).mark == "✗"
        )


def test_of_pages_that_another_typesetter_set_only_the_words_are_compared(there):
    def older(data: dict[str, Any]) -> None:
        for line in data["versions"]:
            if line["name"] == "typst":
                line["version"] = "0.15.0"

    content = tampering.forged(there, {}, older)
    carried = evidence.of_pdf(content)
    with tempfile.TemporaryDirectory() as scratch:
        folder = verdict_comparison.restored(carried, Path(scratch)).folder
        told = verification._pages(carried, folder, content)
        other = verification._pages(carried, folder, there.printed)
    assert told.mark == "○" and "typst 0.15.0" in told.unchecked[0]
    assert other.mark == "✗" and "text" in other.said[0]


def test_a_record_with_pictures_trends_lists_and_limits_of_its_own_carries_them_all(tmp_path: Path):
    from tests.paper.test_outputs import PNG

    listed = (
        'name = "own"\ntitle = "Own list"\nbefore = "hand_over"\n[[items]]\nname ='
        ' "photo"\nquestion = "Photograph of the plate"\nevidence = ["photograph"]\n'
    )
    job = real_job(
        tmp_path / "CH-3 start-up",
        [*signing.READINGS, Entry("own.photo_photo", "photos/plate.png", who=TECHNICIAN)],
    )
    for name, content in (
        ("checklists/own.toml", listed.encode()),
        ("photos/plate.png", PNG),
        ("trends/run.csv", b"t,x\n0,1\n"),
        (
            "specification.toml",
            b'[limits."vanes.switch_distance"]\nhigh = "2 %"\nsource = "order 7"\n',
        ),
    ):
        (job.folder / name).parent.mkdir(exist_ok=True)
        (job.folder / name).write_bytes(content)
    path = signed(printed(signing.Job(job.folder)))
    found = verification.verify(path, beside=False)
    assert found.valid, found.lines()
    assert {
        "checklists/own.toml",
        "pictures/photos/plate.png",
        "trends/run.csv",
        "specification.toml",
    } <= set(evidence.of_pdf(path.read_bytes()).files)


# --- portable data --------------------------------------------------------------------------------


def test_the_attached_data_follow_their_published_schemas(there, tmp_path: Path):
    job = real_job(tmp_path / "CH-3 start-up")
    signed(printed(job))
    job.record(Entry("lube.filter_drop", "13", "kPa", who=TECHNICIAN, note="misread"))
    for content in (there.signed, printed(job).read_bytes()):
        files = evidence.of_pdf(content).files
        for name in ("record", "journal"):
            jsonschema.Draft202012Validator(journal_export.schema(name)).validate(
                json.loads(files[f"{name}.json"])
            )


def test_a_schema_refuses_what_does_not_follow_it(there):
    data = json.loads(evidence.of_pdf(there.printed).files["record.json"])
    for change in (
        lambda d: d.pop("revision"),
        lambda d: d["attachments"][0].update(sha256="x"),
        lambda d: d.update(more=1),
    ):
        other = copy.deepcopy(data)
        change(other)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(journal_export.schema("record")).validate(other)

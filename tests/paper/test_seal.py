"""Signing: the technician certifies, others add their signatures, and a record whose job has moved
on is refused.
"""

from __future__ import annotations

import io
import os
import shutil
import socket
import stat
import subprocess
import sys
import types
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import pikepdf
import pypdf
import pytest
from click.testing import CliRunner, Result
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from startkit.cli import main
from startkit.errors import PaperError
from startkit.facts.digests import sha256
from startkit.facts.journal import Entry
from startkit.paper import certificates, revisions, signature_page, stamp
from startkit.paper.printing.export import _standing
from startkit.paper.signature_fields import writer_for
from startkit.paper.signature_page import FIELDS
from startkit.paper.signing import credentials, identity, seal, token
from startkit.paper.verifying import signatures
from tests.paper import signing
from tests.paper.conftest import where_a_loop_runs
from tests.paper.signing import ENGINEER, TECHNICIAN, WITNESS, person, printed, real_job, signed

PASSPHRASE = "four words of oil"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(
        main, [str(a) for a in arguments], env={"STARTKIT_PASSPHRASE": PASSPHRASE}
    )


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with its record, not signed; tests work on copies."""
    job = real_job(tmp_path_factory.mktemp("signing") / "CH-3 start-up")
    printed(job)
    return job.folder


def test_signing_leaves_the_metadata_alone() -> None:
    """Ours does, and pyHanko's own writer does not: else ours has a reason no more."""
    content = (Path(__file__).parent / "records" / "signed-2026-11.pdf").read_bytes()

    def added(writer: IncrementalPdfFileWriter) -> bytes:
        writer.update_root()
        out = io.BytesIO()
        writer.write(out)
        return out.getvalue()[len(content) :]

    ours, theirs = added(writer_for(content)), added(IncrementalPdfFileWriter(io.BytesIO(content)))
    assert b"/Catalog" in ours and b"/Catalog" in theirs
    touched = [b"/Type /Metadata" in each or b"pyHanko" in each for each in (ours, theirs)]
    assert touched == [False, True]


@pytest.fixture
def record(original: Path, tmp_path: Path) -> Path:
    shutil.copytree(original, tmp_path / "CH-3 start-up")
    return tmp_path / "CH-3 start-up" / "records" / "CH-3-commissioning-record.pdf"


@pytest.fixture(scope="module")
def whole(original: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, bytes]:
    """The record as printed, and signed by technician and witness."""
    folder = tmp_path_factory.mktemp("signed") / "job"
    shutil.copytree(original, folder)
    path = folder / "records" / "CH-3-commissioning-record.pdf"
    before = path.read_bytes()
    return before, signed(path).read_bytes()


# --- the signature --------------------------------------------------------------------------------


def test_the_technician_certifies_and_the_witness_adds_to_it(whole):
    found = signatures.read(whole[1], FIELDS)
    assert [(s.field, s.signer, s.certifies, s.good) for s in found.made] == [
        ("technician", TECHNICIAN, True, True),
        ("witness", WITNESS, False, True),
    ]
    assert found.good and found.empty == ("third", "fourth") and found.awaited == ()


def test_a_record_is_signed_and_read_where_an_event_loop_runs_already(record: Path):
    found = where_a_loop_runs(lambda: signatures.read(signed(record).read_bytes(), FIELDS))
    assert found.good and [s.signer for s in found.made] == [TECHNICIAN, WITNESS]


def test_every_byte_that_was_printed_stays(whole):
    assert whole[1].startswith(whole[0])


@pytest.mark.skipif(shutil.which("pdfsig") is None, reason="poppler's pdfsig is not here")
def test_another_program_finds_both_signatures_valid(whole, tmp_path: Path):
    path = tmp_path / "record.pdf"
    path.write_bytes(whole[1])
    told = subprocess.run(
        ["pdfsig", "-nocert", str(path)], capture_output=True, text=True, check=False
    ).stdout
    assert told.count("Signature is Valid") == 2 and told.count("ETSI.CAdES.detached") == 2
    assert told.count("Total document signed") == 1 and TECHNICIAN in told


def test_the_signed_file_is_sound_and_still_says_that_it_is_pdf_a_3b(whole):
    before, after = (pikepdf.open(io.BytesIO(content)) for content in whole)
    assert after.check_pdf_syntax() == []
    assert after.Root.Metadata.read_bytes() == before.Root.Metadata.read_bytes()
    assert "/Version" not in after.Root or str(after.Root.Version) == "/1.7"


def test_the_signatures_stand_in_the_boxes_of_the_page(whole):
    pdf = pikepdf.open(io.BytesIO(whole[1]))
    fields = {str(f.T): f for f in pdf.Root.AcroForm.Fields}
    for name in FIELDS:
        assert [float(v) for v in fields[name].Rect] == pytest.approx(
            signature_page.box(name, signature_page.A4), abs=0.01
        )
        assert fields[name].P.objgen == pdf.pages[-1].objgen
    assert fields["witness"].TU == "Signature: owner's witness"
    assert (
        len(fields["technician"].AP.N.Resources.XObject) == 1
        and not fields["third"].AP.N.read_bytes().strip()
    )


def test_the_stamp_names_who_when_by_whose_clock_and_which_certificate():
    texts = stamp.Stamp(
        "1",
        "R. Calder",
        "technician, Northline Cooling Service",
        "2026-11-25 16:00 +0100",
        "Time by the signer's own clock",
        person(TECHNICIAN).fingerprint,
    )
    drawn = pypdf.PdfReader(io.BytesIO(stamp.pdf(texts, 221.1, 85.0)))
    text = " ".join(drawn.pages[0].extract_text().split())
    assert len(drawn.pages) == 1 and [
        float(v) for v in drawn.pages[0].mediabox[2:]
    ] == pytest.approx([221.1, 85.0], abs=0.1)
    assert "Digital signature" in text and "R. Calder" in text and "signer's own clock" in text
    assert person(TECHNICIAN).fingerprint.replace(" ", "") in text.replace(" ", "")


def test_a_very_long_or_foreign_name_still_fits_its_box():
    texts = stamp.Stamp(
        "1",
        "冷 " + "Longname-" * 30,
        "x" * 300,
        "2026-11-25 16:00 +0100",
        "clock",
        person(TECHNICIAN).fingerprint,
    )
    assert len(pypdf.PdfReader(io.BytesIO(stamp.pdf(texts, 221.1, 85.0))).pages) == 1


def test_without_a_server_address_nothing_is_asked_of_any_network(
    record: Path, monkeypatch: pytest.MonkeyPatch
):
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a connection was tried")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    assert signatures.read(
        signed(record).read_bytes(), FIELDS, [person(TECHNICIAN).der, person(WITNESS).der]
    ).good


# --- whose turn it is -----------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["technician", "Technician", TECHNICIAN, " r. calder "])
def test_a_signatory_is_meant_by_role_name_or_field(record: Path, role: str):
    assert seal.ready(record, role).row["field"] == "technician"


@pytest.mark.parametrize("role", ["engineer", "", "third party"])
def test_who_is_not_on_the_signature_page_is_told_who_is(record: Path, role: str):
    with pytest.raises(PaperError, match="technician, owner's witness, commissioning engineer"):
        seal.ready(record, role)


def test_the_technician_signs_first(record: Path):
    with pytest.raises(PaperError, match="the technician signs first"):
        seal.ready(record, "owner's witness")


def test_nobody_signs_twice(record: Path):
    signed(record, ("technician", TECHNICIAN))
    with pytest.raises(PaperError, match="technician has"):
        seal.ready(record, "technician")


def test_a_third_may_sign_although_nobody_waited_for_it(record: Path):
    signed(record, ("technician", TECHNICIAN), ("owner's witness", WITNESS), (ENGINEER, ENGINEER))
    found = signatures.read(record.read_bytes(), FIELDS)
    assert found.good and [s.field for s in found.made] == ["technician", "witness", "third"]


def test_the_witness_is_awaited_if_one_is_named_and_others_if_the_technician_says_so(record: Path):
    signed(record, ("technician", TECHNICIAN), awaited=("commissioning engineer",))
    assert signatures.read(record.read_bytes(), FIELDS).awaited == ("witness", "third")


def test_a_job_s_folder_stands_for_its_newest_record(record: Path):
    assert seal.ready(record.parent.parent, "technician").path == record
    with pytest.raises(PaperError, match="no record"):
        seal.ready(record.parent, "technician")


def test_a_damaged_signature_is_not_countersigned(record: Path):
    signed(record, ("technician", TECHNICIAN))
    content = bytearray(record.read_bytes())
    content[2000] ^= 1
    record.write_bytes(content)
    with pytest.raises(PaperError):
        seal.ready(record, "owner's witness")


def test_a_file_that_is_no_record_is_refused(tmp_path: Path):
    (tmp_path / "x.pdf").write_bytes(b"%PDF-1.7\nnothing")
    with pytest.raises(PaperError, match="cannot be read as a PDF"):
        seal.ready(tmp_path / "x.pdf", "technician")
    with pytest.raises(PaperError, match="cannot be read"):
        seal.ready(tmp_path / "y.pdf", "technician")


def test_a_record_that_changes_while_it_is_signed_is_left_as_it_is(record: Path):
    ready = seal.ready(record, "technician")
    record.write_bytes(record.read_bytes()[:-1])
    now = record.read_bytes()
    with pytest.raises(PaperError, match="changed while it was being signed"):
        seal.sign(ready, person(TECHNICIAN).signer())
    assert record.read_bytes() == now


# --- is the job as it was printed? ----------------------------------------------------------------


def test_a_job_that_has_not_changed_is_compared(record: Path, tmp_path: Path):
    assert seal.ready(record, "technician").compared
    alone = tmp_path / "alone.pdf"
    alone.write_bytes(record.read_bytes())
    assert not seal.ready(alone, "technician").compared


def test_a_record_whose_job_has_a_new_entry_is_refused_and_the_entry_named(record: Path):
    job = signing.Job(record.parent.parent)
    job.record(
        Entry(
            "lube.filter_drop",
            "13",
            "kPa",
            who=TECHNICIAN,
            note="misread",
            at="2026-11-25T12:00:00.000+01:00",
        )
    )
    with pytest.raises(
        PaperError,
        match=(r"entry \d+: lube\.filter_drop .*12 kPa .*13 kPa \(R\. Calder, 2026-11-25 12:00\)"),
    ):
        seal.ready(record, "technician")


def test_many_new_entries_are_counted(record: Path):
    job = signing.Job(record.parent.parent)
    job.record([Entry(f"lube.zero.{n}.sump", "1", "kPa", who=TECHNICIAN) for n in range(1, 9)])
    with pytest.raises(PaperError, match="3 more"):
        seal.ready(record, "technician")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("machine.toml", r"the file machine\.toml was changed"),
        ("specification.toml", r"the file specification\.toml was added"),
        ("checklists/own.toml", r"the file checklists/own\.toml was added"),
        ("trends/run.csv", r"the file trends/run\.csv was added"),
    ],
)
def test_a_changed_or_added_file_is_named(record: Path, name: str, said: str):
    path = record.parent.parent / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(
        (path.read_text(encoding="utf-8") if path.exists() else "") + "\n# one more line\n",
        encoding="utf-8",
    )
    with pytest.raises(PaperError, match=said):
        seal.ready(record, "technician")


def test_a_record_of_another_job_is_refused(record: Path, tmp_path: Path):
    other = real_job(
        tmp_path / "Another start-up",
        [
            replace(e, value="99" if e.what == "lube.filter_drop" else e.value)
            for e in signing.READINGS
        ],
    )
    (other.folder / "records").mkdir()
    path = other.folder / "records" / record.name
    path.write_bytes(record.read_bytes())
    with pytest.raises(
        PaperError,
        match=r"job\.db is .*altered",
    ):
        seal.ready(path, "technician")


# --- revisions ------------------------------------------------------------------------------------


def test_a_print_after_signing_is_revision_b_and_names_a(record: Path):
    job = signing.Job(record.parent.parent)
    before = signed(record).read_bytes()
    job.record(Entry("lube.filter_drop", "13", "kPa", who=TECHNICIAN, note="misread"))
    second = printed(job)
    text = " ".join(pypdf.PdfReader(second).pages[0].extract_text().split())
    assert second.name == "CH-3-commissioning-record-B.pdf" and record.read_bytes() == before
    assert "revision B" in text
    assert f"revision A: CH-3-commissioning-record.pdf, SHA-256 {sha256(before)}" in text
    assert signed(second) == second and signatures.read(second.read_bytes(), FIELDS).good


def test_an_unsigned_print_is_made_anew_not_numbered(record: Path):
    assert printed(signing.Job(record.parent.parent)) == record


def test_a_record_that_was_replaced_is_not_signed_any_more(record: Path):
    job = signing.Job(record.parent.parent)
    signed(record, ("technician", TECHNICIAN))
    job.record(Entry("lube.filter_drop", "13", "kPa", who=TECHNICIAN, note="misread"))
    printed(job)
    with pytest.raises(PaperError, match=r"CH-3-commissioning-record-B\.pdf"):
        seal.ready(record, "owner's witness")


def test_a_signed_record_stands_until_something_changes(record: Path):
    folder, name = record.parent.parent, "CH-3-commissioning-record"
    assert _standing(folder, record.parent, name, "", "") is None
    signed(record, ("technician", TECHNICIAN))
    standing = _standing(folder, record.parent, name, "", "")
    assert standing is not None and standing.path == record and not standing.clear
    assert (
        _standing(folder, record.parent, name, "us-letter", "") is None
        and _standing(folder, record.parent, name, "", "Northline") is None
    )
    signing.Job(folder).record(
        Entry("lube.filter_drop", "13", "kPa", who=TECHNICIAN, note="misread")
    )
    assert _standing(folder, record.parent, name, "", "") is None


def test_letters_go_on_after_z():
    letters = ["A"]
    for _ in range(53):
        letters.append(revisions.following(letters[-1]))
    assert (
        letters[:3] == ["A", "B", "C"]
        and letters[25:28] == ["Z", "AA", "AB"]
        and letters[52] == "BA"
    )


def test_full_and_short_form_have_their_own_revisions(tmp_path: Path):
    for name in (
        "X-commissioning-record.pdf",
        "X-commissioning-record-B.pdf",
        "X-commissioning-record-short.pdf",
        "X-commissioning-record-notes.pdf",
    ):
        (tmp_path / name).write_bytes(b"")
    assert [letter for letter, _ in revisions.existing(tmp_path, "X-commissioning-record")] == [
        "A",
        "B",
    ]
    assert [
        letter for letter, _ in revisions.existing(tmp_path, "X-commissioning-record-short")
    ] == ["A"]
    assert revisions.later(tmp_path / "X-commissioning-record.pdf") == [
        tmp_path / "X-commissioning-record-B.pdf"
    ]


# --- identities -----------------------------------------------------------------------------------


def test_an_old_certificate_is_found_before_a_new_key_is_written(tmp_path: Path):
    (tmp_path / "key.crt").write_text("of before")
    with pytest.raises(PaperError, match="already exists"):
        identity.save(person(TECHNICIAN), tmp_path / "key.p12", "long enough to keep")
    assert not (tmp_path / "key.p12").exists()


def test_a_new_identity_is_readable_by_its_owner_only_and_comes_back(tmp_path: Path):
    made = person(TECHNICIAN)
    path = identity.save(made, tmp_path / "keys" / "calder.p12", PASSPHRASE)
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert identity.load(path, PASSPHRASE).fingerprint == made.fingerprint
    assert certificates.vouchers(path.with_suffix(".crt")) == [made.der]


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not here")
def test_another_program_reads_the_key_file_and_the_certificate(tmp_path: Path):
    path = identity.save(person(TECHNICIAN), tmp_path / "calder.p12", PASSPHRASE)
    subprocess.run(
        ["openssl", "pkcs12", "-in", str(path), "-passin", f"pass:{PASSPHRASE}", "-noout"],
        check=True,
        capture_output=True,
    )
    told = subprocess.run(
        [
            "openssl",
            "x509",
            "-in",
            str(path.with_suffix(".crt")),
            "-noout",
            "-fingerprint",
            "-sha256",
            "-subject",
        ],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    assert (
        person(TECHNICIAN).fingerprint.replace(" ", "").upper() in told.replace(":", "")
        and TECHNICIAN in told
    )


def test_a_key_has_no_place_in_a_job(record: Path):
    inside = record.parent / "calder.p12"
    with pytest.raises(PaperError, match="job's folder"):
        identity.save(person(TECHNICIAN), inside, PASSPHRASE)
    assert not inside.exists()
    with pytest.raises(PaperError, match="job's folder"):
        identity.load(inside, PASSPHRASE)


def test_refusals_of_a_key_file_are_one_sentence(tmp_path: Path):
    path = identity.save(person(TECHNICIAN), tmp_path / "calder.p12", PASSPHRASE)
    for attempt, said in (
        (
            lambda: identity.save(person(TECHNICIAN), tmp_path / "short.p12", "seven 7"),
            "fewer than 8 characters",
        ),
        (lambda: identity.save(person(TECHNICIAN), path, PASSPHRASE), "already"),
        (lambda: identity.load(path, "wrong one"), "the passphrase is wrong"),
        (lambda: identity.load(tmp_path / "none.p12", PASSPHRASE), "cannot be read"),
        (lambda: certificates.vouchers(path), "there is no certificate in the file"),
        (lambda: identity.new("  "), "needs a name"),
        (lambda: identity.new("x" * 65), "at most 64 characters"),
    ):
        with pytest.raises(PaperError, match=said):
            attempt()


def test_a_key_is_named_in_exactly_one_way(tmp_path: Path):
    for choice in (
        credentials.Choice(),
        credentials.Choice(file=tmp_path / "a.p12", token=token.Token("m", "c")),
    ):
        with (
            pytest.raises(PaperError, match="--p12"),
            credentials.opened(choice, lambda *_: "", print),
        ):
            pass


def test_no_option_takes_a_passphrase():
    options = [option for parameter in main.commands["sign"].params for option in parameter.opts]
    assert not [
        option for option in options if "pass" in option or "pin" in option.strip("-").split("-")
    ]


# --- tokens ---------------------------------------------------------------------------------------


def test_a_token_without_its_support_says_what_to_install(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setitem(sys.modules, "pyhanko.sign.pkcs11", None)
    with (
        pytest.raises(PaperError, match=r"pip install \"startkit\[token\]\""),
        token.signer(token.Token("lib.so", "cert"), "1234"),
    ):
        pass


def _fake_tokens(monkeypatch: pytest.MonkeyPatch, refuse: bool = False) -> list[tuple[object, str]]:
    """pyHanko's context replaced by one that remembers what it was asked for and signs with a key
    of ours.
    """
    asked: list[tuple[object, str]] = []

    class Context:
        def __init__(self, config: object, user_pin: str | None = None) -> None:
            asked.append((config, user_pin or ""))

        def __enter__(self) -> object:
            if refuse:
                raise RuntimeError("PIN incorrect")
            return person(TECHNICIAN).signer()

        def __exit__(self, *_: object) -> None:
            pass

    monkeypatch.setitem(
        sys.modules, "pyhanko.sign.pkcs11", types.SimpleNamespace(PKCS11SigningContext=Context)
    )
    return asked


def test_the_options_of_a_token_reach_pyhanko_and_its_key_signs(
    record: Path, monkeypatch: pytest.MonkeyPatch
):
    asked = _fake_tokens(monkeypatch)
    result = run(
        "sign",
        record,
        "--as",
        "technician",
        "--pkcs11",
        "lib.so",
        "--token",
        "card",
        "--slot",
        "2",
        "--certificate",
        "sign-cert",
        "--key",
        "sign-key",
    )
    assert result.exit_code == 0 and signatures.read(record.read_bytes(), FIELDS).good
    config, pin = asked[0]
    assert (config.module_path, config.slot_no, config.cert_label, config.key_label, pin) == (
        "lib.so",
        2,
        "sign-cert",
        "sign-key",
        PASSPHRASE,
    )
    assert config.token_criteria.label == "card"


def test_a_token_that_refuses_is_one_sentence(monkeypatch: pytest.MonkeyPatch):
    _fake_tokens(monkeypatch, refuse=True)
    with (
        pytest.raises(PaperError, match=r"the token cannot be used \(PIN incorrect\)"),
        token.signer(token.Token("lib.so", "cert"), "1234"),
    ):
        pass


# --- time-stamps ----------------------------------------------------------------------------------


@pytest.fixture
def time_server() -> Iterator[str]:
    """A time-stamp server on this computer."""
    from asn1crypto import keys as asn1_keys
    from asn1crypto import tsp, x509
    from cryptography.hazmat.primitives import serialization as to
    from pyhanko.sign.timestamps import DummyTimeStamper

    stamper = person("Time server")
    dummy = DummyTimeStamper(
        x509.Certificate.load(stamper.der),
        asn1_keys.PrivateKeyInfo.load(
            stamper.key.private_bytes(to.Encoding.DER, to.PrivateFormat.PKCS8, to.NoEncryption())
        ),
    )

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            answer = dummy.request_tsa_response(
                tsp.TimeStampReq.load(self.rfile.read(int(self.headers["Content-Length"])))
            ).dump()
            self.send_response(200)
            self.send_header("Content-Type", "application/timestamp-reply")
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/stamp"
    server.shutdown()
    server.server_close()


def test_a_time_server_vouches_for_the_time(record: Path, time_server: str):
    seal.sign(
        seal.ready(record, "technician"),
        person(TECHNICIAN).signer(),
        credentials.time_stamp_server(time_server),
    )
    made = signatures.read(record.read_bytes(), FIELDS).made[0]
    assert made.good and made.clock == "time-stamp of Time server"


def test_without_one_the_signature_says_that_the_time_is_the_signer_s_own(whole):
    assert signatures.read(whole[1], FIELDS).made[0].clock == "the signer's own clock"


def test_a_server_that_does_not_answer_leaves_the_record_unsigned(record: Path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{taken.getsockname()[1]}/"
    before = record.read_bytes()
    with pytest.raises(PaperError, match="not signed"):
        seal.sign(
            seal.ready(record, "technician"),
            person(TECHNICIAN).signer(),
            credentials.time_stamp_server(address),
        )
    assert record.read_bytes() == before


@pytest.mark.parametrize("address", ["time.example", "ftp://time.example/", "http://"])
def test_what_is_no_address_is_refused_before_anything_is_asked(address: str):
    with pytest.raises(PaperError, match="address"):
        credentials.time_stamp_server(address)


# --- the command ----------------------------------------------------------------------------------


def test_a_new_identity_signs_and_is_used_again(record: Path, tmp_path: Path):
    key = tmp_path / "keys" / "calder.p12"
    result = run("sign", record.parent.parent, "--as", "technician", "--new-identity", "--p12", key)
    assert result.exit_code == 0, result.output
    assert f"{TECHNICIAN}: {key}" in result.output and "agrees" in result.output
    refused = run("sign", record, "--as", WITNESS, "--p12", key)
    assert refused.exit_code == 2 and WITNESS in refused.stderr
    again = run("sign", record, "--as", WITNESS, "--p12", key, "--yes-for-another")
    assert again.exit_code == 0 and "Signed as owner's witness" in again.output
    assert signatures.read(record.read_bytes(), FIELDS).good


def test_a_refusal_comes_before_the_passphrase_and_is_one_line(record: Path, tmp_path: Path):
    signing.Job(record.parent.parent).record(
        Entry("lube.filter_drop", "13", "kPa", who=TECHNICIAN, note="misread")
    )
    result = run(
        "sign", record, "--as", "technician", "--new-identity", "--p12", tmp_path / "a.p12"
    )
    assert (
        result.exit_code == 2
        and result.stderr.count("\n") == 1
        and "has changed since" in result.stderr
    )
    assert not (tmp_path / "a.p12").exists()

"""Records forged before they were signed are never plainly valid, whoever forged them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from benchmarks import forgeries, forgery_cases, tampering
from startkit.desk import plots
from startkit.errors import PaperError
from startkit.facts import plugins
from startkit.facts.journal import Entry
from startkit.paper import evidence
from startkit.paper.printing import svg, versions
from startkit.paper.signing import identity, seal
from startkit.paper.verifying import notebook_comparison, plot_comparison, signers, verification
from startkit.paper.verifying.increments import Layout
from startkit.paper.verifying.result import Part
from startkit.paper.verifying.signatures import Signature, Signatures
from startkit.procedure.stage import Line, Plot
from tests.paper.signing import TECHNICIAN, WITNESS, person

PEOPLE: dict[str, str] = {"technician": TECHNICIAN, "witness": WITNESS}


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> tampering.Scene:
    return tampering.scene(tmp_path_factory.mktemp("scene"), "short")


def people(**others: identity.Identity) -> Mapping[str, identity.Identity]:
    return {field: others.get(field) or person(name) for field, name in PEOPLE.items()}


def verified(
    content: bytes, folder: Path, trust: list[bytes] | None = None, **options: Any
) -> verification.Verification:
    path = folder / "record.pdf"
    path.write_bytes(content)
    vouching = [each.der for each in people().values()] if trust is None else trust
    return verification.verify(path, vouching, beside=False, **options)


def wrong(found: verification.Verification) -> list[str]:
    """Names of the parts that are wrong."""
    return [part.name for part in found.parts if part.mark == verification.BAD]


def test_the_honest_record_is_valid_with_certificates_given(there, tmp_path):
    found = verified(forgeries.signed(forgeries.with_fields(there.printed), people()), tmp_path)
    assert found.outcome == "valid", found.lines()


# --- pages ----------------------------------------------------------------------------------------


def test_a_second_document_behind_the_print_is_found(there, tmp_path):
    shadow = forgeries.after(there.printed, forgeries.painted(there.printed, b"ALL PASSED"))
    found = verified(forgeries.signed(forgeries.with_fields(shadow), people()), tmp_path)
    assert wrong(found), found.lines()


@pytest.mark.parametrize("words", [b"ALL PASSED", b""])
def test_painted_pages_are_found(there, tmp_path, words: bytes):
    painted = forgeries.painted(there.printed, words)
    found = verified(forgeries.signed(forgeries.with_fields(painted), people()), tmp_path)
    assert "pages" in wrong(found)


def test_objects_between_print_and_fields_are_found(there, tmp_path):
    dead = there.printed + b"\n9999 0 obj\n<< /Type /Page >>\nendobj\n"
    found = verified(forgeries.signed(forgeries.with_fields(dead), people()), tmp_path)
    assert "file" in wrong(found)


@pytest.mark.parametrize("name", forgeries.ADDED_WITH_FIELDS)
def test_anything_added_along_with_the_fields_is_found(there, tmp_path, name: str):
    content = forgeries.with_fields(there.printed, forgeries.ADDED_WITH_FIELDS[name])
    found = verified(forgeries.signed(content, people()), tmp_path)
    assert "file" in wrong(found), found.lines()


def test_another_stamp_is_found(there, tmp_path):
    content = forgeries.signed(
        forgeries.with_fields(there.printed),
        people(),
        lambda page: other_stamp(there),
    )
    assert "file" in wrong(verified(content, tmp_path))


def other_stamp(there: tampering.Scene) -> bytes:
    """The stamp of somebody else, drawn as stamps are."""
    from startkit.paper import stamp

    row = forgeries.rows_of(there.printed)["technician"]
    texts = stamp.of_signature(
        1, row, "The Authority", " ".join(["0000"] * 16), datetime.now().astimezone(), stamped=True
    )
    return stamp.drawn(texts, "technician")


# --- what one word in the data switches off -------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "version"), [("typst", "0.15.0"), ("startkit", "0.0.9"), ("typst", "9.1.0")]
)
@pytest.mark.parametrize("words", [b"ALL PASSED. FORGED.", b""])
def test_a_claimed_version_does_not_make_painted_pages_valid(
    there, tmp_path, name: str, version: str, words: bytes
):
    claimed = tampering.forged(there, {}, forgery_cases.claiming(name, version))
    painted = forgeries.painted(claimed, words)
    found = verified(forgeries.signed(forgeries.with_fields(painted), people()), tmp_path)
    assert found.outcome != "valid" and found.as_json()["valid"] is False
    assert found.lines()[-1] != "VALID"
    if words and name == "typst":
        assert "pages" in wrong(found)


def test_invented_words_of_another_version_are_not_plainly_valid(there, tmp_path):
    def change(data: dict[str, Any]) -> None:
        forgery_cases.claiming("startkit", "0.0.9")(data)
        for block in data["body"]:
            for verdict in block.get("verdicts", ()):
                verdict["sentence"] = "In order."

    content = tampering.forged(there, {}, change)
    found = verified(forgeries.signed(forgeries.with_fields(content), people()), tmp_path)
    assert found.outcome != "valid" and any("0.0.9" in line for line in found.lines())


@pytest.mark.parametrize("key", ["equations", "attachments", "versions"])
def test_what_only_the_record_says_is_compared_too(there, tmp_path, key: str):
    def change(data: dict[str, Any]) -> None:
        if key == "equations":
            data[key] = "Certified by the maker"
        elif key == "attachments":
            data[key][0]["description"] = "Certified by the maker"
        else:
            data[key][1]["version"] = "99.0"

    content = tampering.forged(there, {}, change)
    found = verified(forgeries.signed(forgeries.with_fields(content), people()), tmp_path)
    assert found.outcome != "valid"


def test_a_table_of_entries_that_contradicts_the_journal_is_found(there, tmp_path):
    content = tampering.forged(there, {evidence.CSV: b"seq,at,what\n1,2026,in order\n"})
    found = verified(forgeries.signed(forgeries.with_fields(content), people()), tmp_path)
    assert "pages" in wrong(found)


# --- the notebook ---------------------------------------------------------------------------------


def notebook_part(there: tampering.Scene, edit: Callable[[Any], None]) -> Part:
    """What is said of the notebook of a record, edited before it was printed."""
    import nbformat

    carried = evidence.of_pdf(there.printed)
    name = there.notebook.name
    notebook = nbformat.reads(carried.files[name].decode(), as_version=4)
    edit(notebook)
    content = nbformat.writes(notebook).encode()
    return notebook_comparison.part(evidence.Evidence({**carried.files, name: content}))


def test_the_honest_notebook_is_that_of_its_template(there):
    part = notebook_part(there, lambda notebook: None)
    assert part.mark == verification.GOOD and not part.unchecked


@pytest.mark.parametrize("name", sorted(set(forgery_cases.NOTEBOOKS) - {"A plot is invented"}))
def test_a_notebook_that_is_not_the_templates_is_not_plainly_valid(there, name: str):
    part = notebook_part(there, forgery_cases.NOTEBOOKS[name])
    assert part.mark == verification.BAD or part.unchecked, part.said


def test_a_template_that_is_not_installed_is_named(there, monkeypatch):
    monkeypatch.setattr(plugins, "template_homes", list)
    part = notebook_part(there, lambda notebook: None)
    assert part.mark == verification.OPEN and "no template new-machine" in part.unchecked[0]


def test_a_stage_that_is_left_out_is_named(there, tmp_path):
    content = tampering.forged(there, {}, edit=forgery_cases.a_stage_is_left_out)
    found = verified(forgeries.signed(forgeries.with_fields(content), people()), tmp_path)
    assert found.outcome != "valid"
    assert any("Not printed in this record: Load-up" in line for line in found.lines())


# --- plots ----------------------------------------------------------------------------------------


def plot_parts(
    change: Callable[[dict[str, str]], None] = lambda plot: None, drawn: bool = True
) -> list[Part]:
    """What is said of one printed plot of one stage, changed before it was printed."""
    line = Line("measured", (0.0, 1.0, 2.0), (0.0, 4.0, 5.0))
    plot = Plot("Rise", "Time", "time", "Oil differential", "pressure_difference", (line,))
    seen = SimpleNamespace(
        stages={"oil": SimpleNamespace(title="Lubrication")},
        findings=lambda name: SimpleNamespace(plots=(plot,)),
        system="SI",
        entries=SimpleNamespace(barometer=SimpleNamespace(quantity=None)),
    )
    (printed,) = plots.drawn([plot])
    printed["svg"] = svg.grey(svg.safe(printed["svg"], "plot"))
    change(printed)
    block = {"block": "stage", "stage": "oil", "plots": [printed] if printed else []}
    record = {"body": [block], "versions": versions.versions({})}
    return plot_comparison.part(record, seen, plots if drawn else None)


def moved(by: float) -> Callable[[dict[str, str]], None]:
    """Every coordinate of a drawing moved."""

    def change(plot: dict[str, str]) -> None:
        plot["svg"] = re.sub(
            r"(?<=[ML] )\d+\.\d+", lambda n: f"{float(n.group()) + by:.6f}", plot["svg"]
        )

    return change


@pytest.mark.parametrize("change", [lambda plot: None, moved(0.001)])
def test_an_honest_plot_is_drawn_again_as_printed_on_any_processor(change):
    assert [part.mark for part in plot_parts(change)] == [verification.GOOD]


@pytest.mark.parametrize(
    "change",
    [
        moved(0.5),
        lambda plot: plot.update(svg=forgery_cases.PLOT),
        lambda plot: plot.update(title="Rise, certified"),
        lambda plot: plot.update(alt="It rises."),
        lambda plot: plot.update(svg=plot["svg"].replace("Time", "Tide")),
        lambda plot: plot.clear(),
    ],
)
def test_another_plot_is_found(change):
    (part,) = plot_parts(change)
    assert part.mark == verification.BAD and "Lubrication" in part.said[0]


def test_plots_that_are_not_drawn_again_are_said_to_be_unchecked():
    (part,) = plot_parts(drawn=False)
    assert part.mark == verification.OPEN and part.unchecked == ("1 plot, not drawn again",)


# --- signing --------------------------------------------------------------------------------------


def test_painted_pages_are_not_signed(there, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(forgeries.painted(there.printed, b"ALL PASSED"))
    with pytest.raises(PaperError, match="pages"):
        seal.ready(path, "technician")


def test_a_second_document_behind_the_print_is_not_signed(there, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(
        forgeries.after(there.printed, forgeries.painted(there.printed, b"ALL PASSED"))
    )
    with pytest.raises(PaperError):
        seal.ready(path, "technician")


def test_nobody_signs_for_another_unasked(there, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(there.printed)
    ready = seal.ready(path, "technician")
    with pytest.raises(PaperError, match=TECHNICIAN):
        seal.sign(ready, person(WITNESS).signer())
    assert seal.sign(ready, person(WITNESS).signer(), for_another=True).signer == WITNESS


def test_a_certificate_out_of_its_dates_does_not_sign(there, tmp_path):
    path = tmp_path / "record.pdf"
    path.write_bytes(there.printed)
    old = forgeries.dated(TECHNICIAN, datetime(2019, 1, 1, tzinfo=UTC))
    with pytest.raises(PaperError, match="valid from"):
        seal.sign(seal.ready(path, "technician"), old.signer())


@pytest.mark.parametrize("name", ["Ꮳ Sequoia", "ⵣ Amazigh", "Ӏ Ӏӏ", "ߒ Kouyaté", "Ann 😀"])
def test_a_name_that_could_never_be_verified_is_refused_before_it_signs(name: str):
    with pytest.raises(PaperError, match="letter"):
        identity.new(name)


# --- signers --------------------------------------------------------------------------------------


def signed_by(there: tampering.Scene, **others: identity.Identity) -> bytes:
    return forgeries.signed(forgeries.with_fields(there.printed), people(**others))


@pytest.mark.parametrize("trusted", [(TECHNICIAN, WITNESS), (TECHNICIAN,)])
def test_a_signer_does_not_vouch_for_another(there, tmp_path, trusted: tuple[str, ...]):
    witness = forgeries.issued_by(person(TECHNICIAN), WITNESS)
    found = verified(
        signed_by(there, witness=witness), tmp_path, [person(name).der for name in trusted]
    )
    assert "signature" in wrong(found)
    assert [each.trusted for each in found.signatures] == [True, False]


def test_one_person_does_not_sign_in_two_fields(there, tmp_path):
    content = signed_by(there, witness=person(TECHNICIAN))
    assert "signature" in wrong(verified(content, tmp_path))
    assert "signature" in wrong(verified(content, tmp_path, [], signed_by=["witness"]))
    untold = verified(content, tmp_path, [])
    assert any("the record names M. Osei" in line for line in untold.lines())


@pytest.mark.parametrize(
    "begins", [datetime(2019, 1, 1, tzinfo=UTC), datetime.now(UTC) + timedelta(days=900)]
)
def test_a_trusted_certificate_signs_within_its_dates_only(there, tmp_path, begins: datetime):
    other = forgeries.dated(WITNESS, begins)
    found = verified(signed_by(there, witness=other), tmp_path, [person(TECHNICIAN).der, other.der])
    assert "signature" in wrong(found)


# --- times ----------------------------------------------------------------------------------------

LAST = [Entry("lube.sump", "50", at="2026-11-25T08:00:00.000+01:00")]


def at_times(*times: str) -> list[str]:
    made = tuple(
        Signature(field, signer=name, at=at)
        for (field, name), at in zip(PEOPLE.items(), times, strict=False)
    )
    return [line for part in signers.of_times(Signatures(made), LAST) for line in part.said]


@pytest.mark.parametrize(
    ("times", "told"),
    [
        (("2026-11-25T09:00:00+01:00", "2026-11-25T09:05:00+01:00"), ""),
        (("2019-01-01T09:00:00+01:00",), "before the last entry"),
        (("2026-11-26T09:00:00+01:00", "2026-11-25T09:05:00+01:00"), "before the first"),
        (("2096-11-26T09:00:00+01:00",), "future"),
        (("never",), "cannot be read"),
    ],
)
def test_times_that_contradict_each_other_are_told(times: tuple[str, ...], told: str):
    said = at_times(*times)
    assert told in " ".join(said) and bool(told) == bool(said)


@pytest.mark.parametrize("trailer", [b"<</ID [<\xc2>]>>", b"<< /Size", b"<</A <</B (>>", b"<<"])
def test_a_damaged_trailer_is_a_fault_and_no_traceback(trailer: bytes):
    from startkit.paper.verifying import increments

    content = b"%%PDF-1.7\nxref\n0 1\n0000000000 65535 f \ntrailer\n%s\nstartxref\n9\n%%%%EOF\n"
    layout = increments.taken_apart(content % trailer, {"signatures": [], "paper": "a4"})
    assert layout.faults


def test_a_layout_that_is_none_is_a_fault_and_no_traceback():
    from startkit.paper.verifying import increments

    for content in (b"", b"%PDF-1.7\n%%EOF", b"startxref\n5\n%%EOF", b"x" * 100):
        layout = increments.taken_apart(content, {"signatures": [], "paper": "a4"})
        assert isinstance(layout, Layout) and layout.faults

"""The company's mark: from the fleet's folder into every unsigned job, and over the first page of
its record.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pikepdf
import pytest
from PIL import Image

from startkit.errors import JobError, PaperError
from startkit.facts.pictures import MARKS
from startkit.fleet import company_mark, template_change
from startkit.fleet import folder as folder_
from startkit.fleet.folder import Fleet
from startkit.fleet.run import Run
from startkit.paper.verifying.verification import BAD, verify

DRAWN = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 30"><rect width="90"'
    b' height="30"/></svg>'
)


def marked(fleet: Fleet, name: str = "mark.svg", content: bytes = DRAWN) -> Fleet:
    (fleet.folder / name).write_bytes(content)
    return named(fleet, name)


def named(fleet: Fleet, name: str) -> Fleet:
    settings = fleet.folder / "fleet.toml"
    lines = [
        line
        for line in settings.read_text(encoding="utf-8").splitlines()
        if not line.startswith("mark =")
    ]
    at = lines.index("[fleet]") + 1
    settings.write_text(
        "\n".join([*lines[:at], *([f'mark = "{name}"'] if name else []), *lines[at:]]) + "\n",
        encoding="utf-8",
    )
    return folder_.load(fleet.folder)


def there(job: Path) -> list[str]:
    return [name for name in MARKS if (job / name).is_file()]


def test_a_new_mark_takes_the_place_of_the_old_one_and_none_takes_it_away(
    make_fleet: Callable[..., Fleet],
) -> None:
    fleet = marked(make_fleet(1))
    (job,) = fleet.jobs()
    assert (
        company_mark.bring(fleet, job)
        and there(job) == ["company-mark.svg"]
        and not company_mark.bring(fleet, job)
    )
    out = io.BytesIO()
    Image.new("RGB", (90, 30), "black").save(out, "PNG")
    assert company_mark.bring(marked(fleet, "mark.PNG", out.getvalue()), job) and there(job) == [
        "company-mark.png"
    ]
    assert company_mark.bring(named(fleet, ""), job) and there(job) == []


def test_a_signed_job_keeps_the_mark_it_was_signed_with(
    make_fleet: Callable[..., Fleet], monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet = marked(make_fleet(1))
    monkeypatch.setattr(company_mark, "signed", lambda folder: True)
    assert not company_mark.bring(fleet, fleet.jobs()[0]) and there(fleet.jobs()[0]) == []
    assert template_change.signed(fleet.jobs()[0]) is False


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        ("gone.svg", None, "is not a picture in the fleet's folder"),
        ("../outside.svg", DRAWN, "is not a picture in the fleet's folder"),
        ("mark.gif", b"GIF89a", "is not a picture in the fleet's folder"),
        ("mark.svg", DRAWN + b" " * 600_000, "0.6 MB"),
    ],
)
def test_a_mark_that_cannot_be_used_is_told_in_one_sentence(
    make_fleet: Callable[..., Fleet], name: str, content: bytes | None, why: str
) -> None:
    fleet = make_fleet(1)
    fleet = marked(fleet, name, content) if content is not None else named(fleet, name)
    with pytest.raises(JobError, match=why):
        Run(fleet)


def test_a_folder_that_takes_no_mark_stops_no_other_job(
    make_fleet: Callable[..., Fleet], monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet = marked(make_fleet(2))
    first, second = fleet.jobs()
    write = company_mark.write_whole
    monkeypatch.setattr(
        company_mark,
        "write_whole",
        lambda path, content: (
            (_ for _ in ()).throw(PaperError("write-protected"))
            if path.parent == first
            else write(path, content)
        ),
    )
    assert (
        len(Run(fleet).tasks) == 2 and there(first) == [] and there(second) == ["company-mark.svg"]
    )


def test_the_run_prints_it_and_the_record_can_be_verified(make_fleet: Callable[..., Fleet]) -> None:
    fleet = make_fleet(1)
    (plain,) = Run(fleet).outcomes()
    without = (fleet.jobs()[0] / "records" / plain.record).read_bytes()
    fleet = marked(fleet)
    assert [task.name for task in Run(fleet, changed=True).tasks] == [fleet.jobs()[0].name], (
        "a new mark is a change"
    )
    (done,) = Run(fleet, changed=True).outcomes()
    record = fleet.jobs()[0] / "records" / done.record
    with pikepdf.open(record) as pdf, pikepdf.open(io.BytesIO(without)) as before:
        assert (
            "pictures/company-mark.svg" in pdf.attachments
            and "pictures/company-mark.svg" not in before.attachments
        )
        assert pdf.pages[0].Contents.read_bytes() != before.pages[0].Contents.read_bytes()
        assert len(pdf.pages) == len(before.pages)
    assert [part.name for part in verify(record).parts if part.mark == BAD] == ["signatures"], (
        "all is in order but that nobody has signed yet"
    )


def test_a_mark_that_asks_for_something_outside_is_never_printed(
    make_fleet: Callable[..., Fleet],
) -> None:
    from startkit.paper.printing.export import export

    fleet = marked(
        make_fleet(1),
        content=DRAWN.replace(b"<rect", b'<image href="http://127.0.0.1/x.png"/><rect'),
    )
    company_mark.bring(fleet, fleet.jobs()[0])
    with pytest.raises(PaperError, match="the mark cannot be printed"):
        export(fleet.jobs()[0])

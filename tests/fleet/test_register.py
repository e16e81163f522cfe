"""The register: states, open items, instruments, waivers, figures, records; on screen and on paper;
from an index that the jobs rebuild.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import nbformat
import pikepdf
import pypdf
import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.errors import JobError, PaperError
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.fleet import figures, index, template_change
from startkit.fleet.folder import Fleet
from startkit.fleet.index import Index
from startkit.fleet.register import Register
from startkit.fleet.register_notebook import SECTIONS, day, open_fleet
from startkit.fleet.summary import summarised
from startkit.paper.printing import register_page as paper
from startkit.science.baseline_shift import CANNOT_TELL, MOVED, NOT_MOVED
from tests.fleet.conftest import WHO
from tests.fleet.summaries import approach, conditions, figure, item, visit

DAY = date(2026, 11, 25)
FLEET = Fleet(Path("nowhere"), "Harbour Street", "Example Service")


def register(*summaries: dict, fleet: Fleet = FLEET) -> Register:
    return Register(fleet, summaries, DAY)


def rows(part: dict, number: int = 0) -> list[list[str]]:
    return part["tables"][number]["rows"]


# --- sections -------------------------------------------------------------------------------------


def test_machines_are_counted_by_the_last_hold_point_that_is_clear() -> None:
    part = register(
        visit("2026-05-02", clear=4),
        visit("2026-05-03", tag="CH-2", clear=2),
        visit("2026-05-04", tag="CH-3", clear=0),
        {"job": "CH-4", "fault": "the journal is damaged."},
    ).front()
    assert rows(part) == [
        ["Clear to hand over, released", "1", "CH-1"],
        ["Clear to turn the shaft, released", "1", "CH-2"],
        ["Nothing clear yet", "1", "CH-3"],
    ]
    assert rows(part, 1)[1] == ["Clear to turn the shaft", "2", "2", "1", "3", "1"]
    assert rows(part, 2) == [["CH-4", "the journal is damaged."]]


def test_open_items_stand_by_owner_and_age_and_say_which_are_past_their_date() -> None:
    part = register(
        visit(
            "2026-05-02",
            open=[
                item("Heat balance", "R. Calder", "2026-11-20"),
                item("Relief valve", "M. Osei", "2026-10-01", "2026-11-01"),
            ],
        ),
        visit(
            "2026-05-03",
            tag="CH-2",
            open=[{**item("not begun, 7 items", "R. Calder", "2026-05-03"), "items": 7}],
        ),
    ).open_items()
    assert rows(part) == [["M. Osei", "1", "55", "1"], ["R. Calder", "8", "206", "0"]]
    assert [(r[0], r[1], r[6], r[7]) for r in rows(part, 1)] == [
        ("M. Osei", "CH-1", "55", "2026-11-01 (past)"),
        ("R. Calder", "CH-2", "206", ""),
        ("R. Calder", "CH-1", "5", ""),
    ]


def test_very_many_open_items_are_condensed_without_losing_count() -> None:
    part = register(
        *(
            visit(
                "2026-05-02",
                tag=f"CH-{n}",
                open=[item(f"Item {k}", "R. Calder", "2026-05-02") for k in range(9)],
            )
            for n in range(50)
        )
    ).open_items()
    assert (
        rows(part)[0][1] == "450"
        and len(rows(part, 1)) == 50
        and sum(int(row[2]) for row in rows(part, 1)) == 450
    )


def test_instruments_are_listed_once_at_under_and_over_the_days_that_are_looked_ahead() -> None:
    def tool(tag: str, due: str) -> dict:
        return {"tag": tag, "name": "Gauge", "serial": f"G-{tag}", "due": due}

    part = register(
        visit(
            "2026-05-02",
            instruments=[
                tool("P1", "2026-11-24"),
                tool("P2", "2027-01-24"),
                tool("P3", "2027-01-25"),
                tool("P4", ""),
            ],
        ),
        visit("2026-05-03", tag="CH-2", instruments=[tool("P1", "2026-11-24")]),
    ).instruments()
    assert [(row[0], row[4], row[5]) for row in rows(part)] == [
        ("P4", "", "CH-1"),
        ("P1", "-1", "CH-1, CH-2"),
        ("P2", "60", "CH-1"),
    ]
    assert part["remarks"][0].startswith("1 of 4 ")


def test_records_say_which_jobs_were_made_with_which_template() -> None:
    other = {"name": "new-machine.ipynb", "digest": "ef" * 32}
    part = register(
        visit("2026-05-02"),
        visit("2026-05-03", tag="CH-2"),
        visit("2026-05-04", tag="CH-3", template=other),
    ).records()
    assert part["remarks"] == [
        "new-machine.ipynb cdcdcdcdcdcd: 2 jobs.",
        "new-machine.ipynb efefefefefef: 1 job.",
    ]


def test_figures_side_by_side_follow_the_fleets_units() -> None:
    known = {
        "load_up.specific_power": figure(
            "Power for capacity", 0.1706, "dimensionless", "specific_power", 0.002
        ),
        "load_up.evaporator_approach_full": approach(0.9),
    }
    visits = [
        visit("2026-05-02", known),
        visit("2026-05-03", known, tag="CH-2"),
        visit("2020-05-02", {}, tag="CH-3"),
    ]
    si, ip = (
        Register(Fleet(Path("n"), "f", system=system), visits, DAY).figures()
        for system in ("SI", "I-P")
    )
    assert rows(si)[0][2:] == ["0.90 ± 0.10", "0.1706 ± 0.0040"] and rows(ip)[0][2:] == [
        "1.62 ± 0.18",
        "0.600 ± 0.014",
    ]
    assert [c["unit"] for c in ip["tables"][0]["columns"]][2:] == ["Δ°F", "kW/ton"]
    assert si["remarks"][0].startswith("1 machine ") and len(si["plots"]) == 1


def test_of_a_great_fleet_those_that_differ_most_are_drawn_and_all_are_in_the_table() -> None:
    visits = [
        visit(
            "2026-05-02",
            {
                "load_up.evaporator_approach_full": approach(
                    0.9 + (3.0 if n == 150 else 0.0) + 0.001 * (n % 7)
                )
            },
            tag=f"CH-{n}",
        )
        for n in range(200)
    ]
    part = register(*visits).figures()
    assert len(part["plots"]) == figures.MOST_DRAWN // figures.MOST_ROWS and len(rows(part)) == 200
    assert (
        any("CH-150" in plot["svg"] for plot in part["plots"])
        and "120 of 200" in part["remarks"][0]
    )


def test_what_moved_stands_first() -> None:
    key = "load_up.evaporator_approach_full"
    visits = [
        visit("2020-05-02", {key: approach(0.9), **conditions()}, tag=tag)
        for tag in ("CH-1", "CH-2")
    ]
    visits += [
        visit("2026-05-02", {key: approach(value), **conditions()}, tag=tag)
        for tag, value in (("CH-1", 0.92), ("CH-2", 1.9))
    ]
    part = register(*visits).baseline()
    assert [(row[0], row[6]) for row in rows(part)] == [
        ("CH-2", "✗ moved"),
        ("CH-1", "✓ not moved"),
    ]
    assert rows(part)[0][3:6] == ["0.90 K", "1.90 K", "+1.00 ± 0.14 K"]
    assert part["remarks"] == [f"1 {MOVED}, 0 {CANNOT_TELL}, 1 {NOT_MOVED}."]


def test_a_control_chart_is_drawn_with_its_limits_and_their_source() -> None:
    part = register(
        *(
            visit(f"{2016 + n}-05-02", {"load_up.evaporator_approach_full": approach(value)})
            for n, value in enumerate((0.90, 0.95, 0.88, 0.93, 0.91, 1.4))
        )
    ).charts()
    assert (
        rows(part)[0][-1] == "✗ outside"
        and "2.66 and 3.267 (NIST" in part["remarks"][0]
        and "rough" in part["remarks"][1]
    )
    assert "upper limit" in part["plots"][0]["svg"] and "outside" in part["plots"][0]["alt"]


@pytest.mark.parametrize("section", SECTIONS)
def test_an_empty_fleet_and_hostile_names_are_drawn_as_text(section: str) -> None:
    hostile = "<script>alert(1)</script>"
    bad = visit(
        "2026-05-02",
        {"load_up.evaporator_approach_full": approach(0.9)},
        tag=hostile,
        open=[item(hostile, hostile, "2026-05-02")],
        plant=hostile,
        waived=[
            {
                "stage": hostile,
                "title": hostile,
                "who": hostile,
                "why": hostile,
                "how": "waived",
                "when": "",
            }
        ],
        instruments=[{"tag": hostile, "name": hostile, "serial": hostile, "due": ""}],
    )
    from startkit.desk import cards

    assert cards.plain(getattr(register(), section)())
    part = getattr(register(bad, fleet=Fleet(Path("n"), hostile)), section)()
    assert "<script>" not in str(cards.html(part)) and json.dumps(part)


# --- index ----------------------------------------------------------------------------------------


def test_the_index_is_read_and_no_job_is_judged_again(
    make_fleet: Callable[..., Fleet], monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet = make_fleet(2)
    first = Index(fleet).summaries()
    assert [s["tag"] for s in first] == ["CH-10", "CH-11"] and not any(s["fault"] for s in first)
    monkeypatch.setattr(index, "summarised", lambda folder: pytest.fail("the index was there"))
    assert Index(fleet).summaries() == first


def test_an_index_that_is_stale_missing_or_damaged_is_made_from_the_jobs(
    make_fleet: Callable[..., Fleet], monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet = make_fleet(2)
    first = Index(fleet).summaries()
    judged: list[str] = []
    monkeypatch.setattr(
        index, "summarised", lambda folder: judged.append(folder.name) or summarised(folder)
    )
    Job(fleet.jobs()[1]).record(
        Entry("setup.order_number", "A-7", who="M. Osei", at="2026-03-03T08:00:00.000+01:00")
    )
    assert Index(fleet).summaries()[1]["last_who"] == "M. Osei" and judged == ["CH-11"]
    shutil.rmtree(fleet.jobs()[0])
    assert [s["job"] for s in Index(fleet).summaries()] == ["CH-11"] and judged == ["CH-11"]
    for damage in (
        lambda path: path.unlink(),
        lambda path: path.write_bytes(b"not a database at all" * 300),
        lambda path: path.write_bytes(path.read_bytes()[:5000]),
    ):
        judged.clear()
        damage(Index(fleet).path)
        assert [s["job"] for s in Index(fleet).summaries()] == ["CH-11"] and judged == ["CH-11"]
    assert first[1]["entries"] + 1 == Index(fleet).summaries()[0]["entries"]


def test_a_new_record_and_a_changed_sheet_make_a_job_stale(
    make_fleet: Callable[..., Fleet],
) -> None:
    job = make_fleet(1).jobs()[0]
    seen = [index.state_of(job)]
    (job / "records").mkdir()
    (job / "records" / "CH-10-commissioning-record.pdf").write_bytes(b"%PDF")
    seen.append(index.state_of(job))
    (job / "machine.toml").write_text(
        (job / "machine.toml").read_text(encoding="utf-8") + "# seen\n", encoding="utf-8"
    )
    seen.append(index.state_of(job))
    assert len(set(seen)) == 3


def test_a_job_that_cannot_be_read_is_in_the_register_with_its_reason_and_is_tried_again(
    make_fleet: Callable[..., Fleet],
) -> None:
    fleet = make_fleet(2)
    (fleet.jobs()[0] / "job.db").write_bytes(b"broken" * 2000)
    assert (
        "is not a job's journal" in Index(fleet).summaries()[0]["fault"]
        or "damaged" in Index(fleet).summaries()[0]["fault"]
    )
    assert Index(fleet).summaries()[1]["fault"] == ""


def test_a_folder_that_cannot_be_written_still_has_its_register(
    make_fleet: Callable[..., Fleet],
) -> None:
    fleet = make_fleet(1)
    shutil.rmtree(fleet.records, ignore_errors=True)
    fleet.records.write_text("a file where the folder should be", encoding="utf-8")
    assert [s["tag"] for s in Index(fleet).summaries()] == ["CH-10"]


def test_the_summary_names_owner_age_waiver_and_template(make_fleet: Callable[..., Fleet]) -> None:
    job = Job(make_fleet(1).jobs()[0])
    job.record(
        [
            Entry(
                "waiver.setup.instruments",
                "Gauges come tomorrow",
                who="M. Osei",
                at="2026-03-04T08:00:00.000+01:00",
            ),
            Entry(
                "handover.open_items.1.item",
                "Insulate the suction pipe",
                who=WHO,
                at="2026-03-05T08:00:00.000+01:00",
            ),
            Entry("handover.open_items.1.owner", "M. Osei", who=WHO),
            Entry("handover.open_items.1.due", "2026-04-01", who=WHO),
            Entry("handover.open_items.2.item", "Done already", who=WHO),
            Entry("handover.open_items.2.state", "closed", who=WHO),
        ]
    )
    found = summarised(job.folder)
    assert found["fault"] == "" and len(found["template"]["digest"]) == 64
    assert [(w["title"], w["who"], w["why"], w["when"]) for w in found["waived"]] == [
        ("Instruments in calibration", "M. Osei", "Gauges come tomorrow", "2026-03-04")
    ]
    assert [(i["title"], i["owner"], i["due"]) for i in found["open"] if i["due"]] == [
        ("Insulate the suction pipe", "M. Osei", "2026-04-01")
    ]
    assert {i["owner"] for i in found["open"]} == {WHO, "M. Osei"} and all(
        i["since"].startswith("2026-03") for i in found["open"]
    )


# --- notebook and paper ---------------------------------------------------------------------------


def test_the_notebook_is_run_and_printed_with_every_section(
    make_fleet: Callable[..., Fleet],
) -> None:
    fleet = make_fleet(2)
    result = CliRunner().invoke(
        main, ["fleet", "register", str(fleet.folder), "--as-of", "2026-11-25"]
    )
    assert result.exit_code == 0, result.output
    notebook = nbformat.read(fleet.records / "register.ipynb", 4)
    assert sum(bool(cell.outputs) for cell in notebook.cells if cell.cell_type == "code") == len(
        SECTIONS
    )
    assert str(fleet.folder) not in (fleet.records / "register.ipynb").read_text(encoding="utf-8")
    printed = fleet.records / "register.pdf"
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(printed).pages)
    for words in (
        "Skerrow and Alder Estates",
        "Plinth and Petrel Cooling Service",
        "CH-10",
        "CH-11",
        "Open items",
        "Instruments due",
        "Limits waived",
        "as of 2026-11-25",
        "Records",
    ):
        assert words in text, words
    with pikepdf.open(printed) as pdf:
        assert sorted(pdf.attachments) == ["register.ipynb", "register.json"]
        assert (
            pdf.attachments["register.ipynb"].get_file().read_bytes()
            == (fleet.records / "register.ipynb").read_bytes()
        )
    first = printed.read_bytes()
    CliRunner().invoke(main, ["fleet", "register", str(fleet.folder), "--as-of", "2026-11-25"])
    assert printed.read_bytes() == first


def test_the_exporter_prints_the_register_as_well(tmp_path: Path) -> None:
    from nbformat.v4 import new_code_cell, new_notebook, new_output

    from startkit.desk.cards import CellOutput
    from startkit.paper.printing.exporter import RecordExporter

    bundle, _ = CellOutput(register(visit("2026-05-02")).front())._repr_mimebundle_()
    node = new_notebook(
        cells=[
            new_code_cell(
                "register.front()", id="front", outputs=[new_output("display_data", bundle)]
            )
        ]
    )
    nbformat.write(node, tmp_path / "register.ipynb")
    content, resources = RecordExporter().from_filename(str(tmp_path / "register.ipynb"))
    assert content.startswith(b"%PDF") and resources["output_extension"] == ".pdf"
    assert paper.is_register(node) and not paper.is_register(new_notebook(cells=[]))
    node.cells.append(
        new_code_cell(
            "book.hold('load')",
            id="hold",
            outputs=[
                new_output("display_data", {"application/vnd.startkit.part+json": {"part": "hold"}})
            ],
        )
    )
    with pytest.raises(PaperError, match="hold"):
        paper.pdf(node, "register.ipynb", b"")


def test_a_fleet_that_cannot_be_opened_says_so_in_every_cell(tmp_path: Path) -> None:
    for opened in (open_fleet(tmp_path), open_fleet(tmp_path, "draft")):
        assert all(getattr(opened, section)().part["part"] == "error" for section in SECTIONS)
    assert "there is no fleet.toml" in open_fleet(tmp_path).front().part["sentence"]


def test_the_day_is_given_or_that_of_the_epoch_or_today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    assert day("2026-11-25") == DAY and day("") == date.today()
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1764072000")
    assert day("") == date(2025, 11, 25)
    with pytest.raises(JobError, match="'soon'"):
        day("soon")


# --- templates put into the jobs ----------------------------------------------------------------


def test_one_template_change_reaches_every_unsigned_job_and_says_which_digest_each_has(
    make_fleet: Callable[..., Fleet], tmp_path: Path
) -> None:
    fleet = make_fleet(3)
    signed, other, plain = fleet.jobs()
    (signed / "records").mkdir()
    (signed / "records" / "CH-10-commissioning-record.pdf").write_bytes(
        b"%PDF-1.7 /ByteRange [0 1 2 3]"
    )
    Job(other).journal.append([Entry("job.template", "own.ipynb", note="sha256 " + "0" * 64)])
    changed = tmp_path / "new-machine.ipynb"
    changed.write_text(
        Job(plain).template.read_text(encoding="utf-8").replace("## Handing over", "## At the end"),
        encoding="utf-8",
    )
    before = summarised(plain)["template"]["digest"]
    found = {b.job: b for b in template_change.bring(fleet, str(changed), WHO)}
    assert [found[name].how for name in ("CH-10", "CH-11", "CH-12")] == [
        "signed",
        "other",
        "changed",
    ]
    assert (
        Job(plain).template.read_bytes() == changed.read_bytes()
        and summarised(plain)["template"]["digest"] == found["CH-12"].now != before
    )
    assert [path.name for path in (plain / "records" / "replaced").iterdir()] == [
        f"new-machine-{before[:12]}.ipynb"
    ]
    assert (
        Job(plain).journal.faults() == []
        and Job(plain).state().latest["job.template"].note
        == f"sha256 {found['CH-12'].now} in place of {before}"
    )
    assert [b.how for b in template_change.bring(fleet, str(changed), WHO)] == [
        "signed",
        "other",
        "same",
    ]
    assert [
        line.rpartition(": ")[2] for line in template_change.lines(list(found.values()))[:3]
    ] == [
        "CH-12",
        "CH-10",
        "CH-11",
    ]


def test_a_notebook_that_is_no_template_of_jobs_is_refused(
    make_fleet: Callable[..., Fleet],
) -> None:
    with pytest.raises(JobError, match="parameters"):
        template_change.bring(make_fleet(1), "fleet-register")

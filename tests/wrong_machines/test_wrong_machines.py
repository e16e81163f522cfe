"""No wrong machine comes out clear; an honest one does."""

from __future__ import annotations

from fnmatch import fnmatchcase

import pytest

from startkit.desk.report import data
from startkit.procedure import last_record
from startkit.procedure.holds import HOLDS
from startkit.procedure.releases import GIVEN
from tests.wrong_machines.every import ROWS
from tests.wrong_machines.job import gone_early, honest, released, wrong
from tests.wrong_machines.page import PAGE, page
from tests.wrong_machines.rows import ALL, UNNOTICED, Row

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("tag", ALL)
def test_an_honest_machine_is_clear_at_every_hold_point(tag: str) -> None:
    unsettled = {v.key: v.sentence for _, v in honest(tag).verdicts() if not v.settled}
    assert unsettled == {}


@pytest.mark.parametrize("tag", ALL)
def test_eyes_panel_and_stopwatch_are_enough_to_clear_every_hold_point(tag: str) -> None:
    job = honest(tag, recorder=False)
    assert not any(what.startswith("vanes.trace") for what in job.state.latest)
    assert {v.key: v.sentence for _, v in job.verdicts() if not v.settled} == {}


def test_an_honest_machine_is_released_at_every_hold_point_in_time() -> None:
    tag = "CH-3"  # the demonstration tells it of CH-1
    job = released(honest(tag), honest(tag).state.entries, f"{tag} released")
    assert {job.release(hold.name).state for hold in HOLDS} == {GIVEN}
    assert job.early == {}


@pytest.mark.parametrize(
    ("row", "tag"),
    [(row, tag) for tag in ALL for row in ROWS if tag in row.on],
    ids=lambda each: each.wrong if isinstance(each, Row) else each,
)
def test_a_wrong_machine_is_noticed(row: Row, tag: str) -> None:
    if row.early:
        told = data(gone_early(honest(tag), row))["holds"]
        assert row.early in [hold["hold"] for hold in told if hold["early"]]
        return
    unsettled = [v.key for _, v in wrong(honest(tag), row).verdicts() if not v.settled]
    noticed = any(fnmatchcase(key, each) for key in unsettled for each in row.by.split())
    assert noticed is (tag not in UNNOTICED.get(row.wrong, ())), unsettled


def test_stages_that_compare_the_figures_of_all_others_do_not_ask_each_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = []
    compare = last_record.compare
    monkeypatch.setattr(last_record, "compare", lambda e: [asked.append(e), compare(e)][1])
    row = next(row for row in ROWS if "CH-3" in row.on)
    list(wrong(honest("CH-3"), row).verdicts())
    assert 0 < len(asked) <= 2


def test_the_known_gaps_are_rows_and_the_page_lists_them() -> None:
    assert set(UNNOTICED) <= {row.wrong for row in ROWS}
    assert PAGE.read_text(encoding="utf-8") == page(), "run `python -m tests.wrong_machines.page`"


def test_there_are_enough_rows() -> None:
    assert sum(len(row.on) for row in ROWS) >= 150

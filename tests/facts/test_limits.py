"""Limits: data with a source, in an order of authority; a faulty one is refused with file, line and
remedy.
"""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from startkit.errors import SheetError
from startkit.facts import limits as limits_
from startkit.facts import toml_file
from startkit.facts.machine import load
from startkit.units import Q

ROOT = Path(__file__).parents[2]
FOLDERS = ROOT / "startkit" / "stages"

ONE = """["lube.zero"]
title = "Zero"
kind = "pressure_difference"
low = "-15 kPa"
high = "15 kPa"
source = "data sheet"
standing = "published"
"""


def _limits(text=ONE):
    return limits_.from_toml(toml_file.parse(text, "limits.toml"), "limits.toml", text)


def _over(body, authority=limits_.SHEET, key="lube.zero"):
    text = f'[limits]\n"{key}" = {body}\n'
    return _limits().overridden(
        toml_file.parse(text, "sheet.toml")["limits"], authority, "sheet.toml", text, ("limits",)
    )


# --- the defaults ------------------------------------------------------------------------------


def test_every_default_limit_bounds_something_or_is_filled_in_by_its_stage():
    for key, limit in limits_.defaults().items():
        assert key.count(".") == 1 and limit.title and limit.standing in limits_.STANDINGS
        if limit.low is not None and limit.high is not None:
            assert limit.low < limit.high, key


def test_every_published_or_secondary_default_names_its_document():
    for key, limit in limits_.defaults().items():
        if limit.standing in ("published", "secondary", "from memory"):
            assert limit.source, key


def test_a_limit_that_nobody_defined_is_named():
    with pytest.raises(SheetError, match=r"lube\.colour"):
        limits_.defaults()["lube.colour"]


def test_an_unknown_limit_says_in_which_file_it_belongs():
    with pytest.raises(SheetError) as refused:
        limits_.defaults()["lube.colour"]
    assert "startkit/stages/lube/limits.toml" in refused.value.remedy


def test_each_folder_of_a_stage_holds_that_stages_limits_only():
    folders = [p.parent.name for p in FOLDERS.glob("*/limits.toml")]
    keys = []
    for folder in folders:
        table = toml_file.load(FOLDERS / folder / "limits.toml")[0]
        keys += list(table)
        assert {key.split(".")[0] for key in table} == {folder}
    assert len(folders) > 5 and len(keys) == len(set(keys))
    assert set(keys) == set(limits_.defaults())


def test_a_limit_in_the_folder_of_another_stage_is_refused_with_its_file(monkeypatch):
    monkeypatch.setattr(limits_, "_files", lambda: [("vanes", ONE)])
    with pytest.raises(SheetError) as refused:
        limits_.defaults.__wrapped__()
    assert refused.value.where.startswith("startkit/stages/vanes/limits.toml, line 1")


def test_reading_the_limits_imports_no_stage():
    code = (
        "import sys; from startkit.facts import limits; limits.defaults();"
        " print([m for m in sys.modules if m.startswith('startkit.stages.')])"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert run.stdout.strip() == "[]"


def test_a_built_wheel_holds_every_file_of_the_package(tmp_path):
    """Limits, units, fonts, templates of notebooks and of the page: what no import would miss."""
    builder = pytest.importorskip("hatchling.builders.wheel").WheelBuilder(str(ROOT))
    (wheel,) = builder.build(directory=str(tmp_path), versions=["standard"])
    with zipfile.ZipFile(wheel) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
    here = [path for path in (ROOT / "startkit").rglob("*") if "__pycache__" not in path.parts]
    assert held == {
        *(path.relative_to(ROOT).as_posix() for path in here if path.is_file()),
        *(f"startkit/templates/{path.name}" for path in (ROOT / "templates").glob("*.ipynb")),
    }
    assert len([name for name in held if name.endswith("/limits.toml")]) > 10


# --- how well it is known, as it is printed ------------------------------------------------------


@pytest.mark.parametrize(
    ("standing", "printed"),
    [
        ("published", "data sheet"),
        ("secondary", "data sheet (as restated in a secondary text)"),
        ("from memory", "data sheet, from memory: check against the standard"),
        ("common practice", "common practice, no source: data sheet"),
        ("own default", "default of this workbook, no source: data sheet"),
    ],
)
def test_the_standing_is_printed_with_the_source(standing, printed):
    assert _limits(ONE.replace('"published"', f'"{standing}"'))["lube.zero"].origin == printed


# --- order of authority ------------------------------------------------------------------------


def test_a_sheets_limit_wins_and_is_printed_as_its_own():
    limit = _over('{ high = "5 kPa", source = "maker, page 3" }')["lube.zero"]
    assert (limit.low, limit.high) == (None, Q(5, "kPa"))
    assert limit.origin == "machine sheet: maker, page 3"


def test_the_sheet_wins_over_the_specification_which_wins_over_the_default(tmp_path, sheet):
    path = tmp_path / "specification.toml"
    path.write_text(
        '[limits]\n"vanes.closing_time" = { high = "5 %", source = "clause 4"'
        ' }\n"vanes.opening_time" = { high = "6 %", source = "clause 5" }\n',
        encoding="utf-8",
    )
    layered = load(sheet()).limits_over(limits_.specification(limits_.defaults(), path), "s")
    assert layered["vanes.closing_time"].high == Q(10, "percent")  # the sheet's
    assert layered["vanes.opening_time"].origin == "specification: clause 5"
    assert layered["vanes.zero"].authority == "default"


def test_a_figure_from_memory_that_somebody_confirmed_counts_as_published():
    limits = _limits(ONE.replace('"published"', '"from memory"'))
    text = '[limits]\n"lube.zero" = { confirmed = "B. Jansen, 2026-11-20" }\n'
    limit = limits.overridden(
        toml_file.parse(text, "s")["limits"], limits_.SHEET, "s", text, ("limits",)
    )["lube.zero"]
    assert limit.origin == "data sheet; confirmed: B. Jansen, 2026-11-20" and limit.high == Q(
        15, "kPa"
    )


def test_the_layer_below_is_left_as_it_was():
    base = _limits()
    base.overridden(
        {"lube.zero": {"high": "5 kPa", "source": "x"}}, limits_.SHEET, "s", "", ("limits",)
    )
    assert base["lube.zero"].high == Q(15, "kPa")


# --- what is refused ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ('{ high = 5, source = "x" }', "put number and unit in quotes"),
        ('{ high = "5 °C", source = "x" }', "is not a unit of pressure difference"),
        ('{ high = "5", source = "x" }', "has no unit"),
        ('{ high = "five kPa", source = "x" }', "is not a number"),
        ('{ high = "5 kPa" }', "needs its source"),
        ('{ height = "5 kPa", source = "x" }', "'height' does not belong to a limit"),
        ('"5 kPa"', "a limit is a table"),
    ],
)
def test_a_faulty_limit_is_refused_with_file_and_line(body, told):
    with pytest.raises(SheetError, match=told) as refused:
        _over(body)
    assert refused.value.where.startswith("sheet.toml, line 2")
    assert refused.value.remedy


def test_a_limit_of_another_name_is_refused():
    with pytest.raises(SheetError, match="name of a limit"):
        _over('{ high = "5 kPa", source = "x" }', key="lube.nil")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (('title = "Zero"\n', ""), "lacks title"),
        (('kind = "pressure_difference"', 'kind = "push"'), "unknown kind"),
        (('"published"', '"hearsay"'), "unknown kind or standing"),
        (('"15 kPa"', '"15 °C"'), "is not a unit"),
    ],
)
def test_a_faulty_default_is_refused(change, told):
    with pytest.raises(SheetError, match=told):
        _limits(ONE.replace(*change))

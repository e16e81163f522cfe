"""Check lists: what a company may write, and how a fault is told with file and line."""

from __future__ import annotations

import pytest

from startkit.errors import SheetError, StartkitError
from startkit.facts import checklists
from startkit.facts.checklists import EVIDENCE
from startkit.units import Q

GOOD = """name = "crane"
title = "Lifting"
before = "turn_shaft"
order = 25
source = "company rule 12"
cautions = ["Nobody stands under a load."]

[[items]]
name = "sling"
question = "Slings seen and in date"
evidence = ["yes", "photograph", "name"]

[[items]]
name = "load"
question = "Load on the hook"
help = "At the crane's scale."
evidence = ["number", "signature"]
kind = "mass"
high = "2000 kg"
source = "crane's plate"
gate = "load"
"""


def _read(text=GOOD):
    return checklists._from_text(text, "crane.toml")


def test_a_list_is_read_with_its_items():
    found = _read()
    assert (found.name, found.title, found.before, found.order, found.cautions) == (
        "crane",
        "Lifting",
        "turn_shaft",
        25,
        ("Nobody stands under a load.",),
    )
    assert [item.name for item in found.items] == ["sling", "load"]
    assert found.items[1].limit.high == Q(2000, "kg")
    assert found.items[1].limit.origin == "check list crane: crane's plate"


def test_an_items_source_is_that_of_the_list_unless_it_has_its_own():
    assert [item.source for item in _read().items] == ["company rule 12", "crane's plate"]


def test_without_evidence_a_plain_yes_is_wanted():
    assert _read('name = "a"\ntitle = "A"\n[[items]]\nname = "b"\nquestion = "B"\n').items[
        0
    ].evidence == ("yes",)


def test_each_kind_of_evidence_has_a_field_of_its_own():
    item = _read().items[0]
    assert len({item.field_name(evidence) for evidence in EVIDENCE}) == len(EVIDENCE)


@pytest.mark.parametrize(
    ("old", "new", "line", "told"),
    [
        ('title = "Lifting"\n', "", None, "'title' is missing"),
        ('name = "crane"', 'name = "Crane 1"', 1, "'Crane 1'"),
        ('name = "crane"', "name = 3", 1, "a text in quotes"),
        ("order = 25", 'order = "25"', 4, "a whole number"),
        ("order = 25", "order = true", 4, "a whole number"),
        ("cautions =", "warnings =", 6, "'warnings'"),
        ('["Nobody stands under a load."]', "[1]", 6, "in quotes"),
        ('question = "Slings seen and in date"\n', "", 8, "'question' is missing"),
        (
            '"photograph"',
            '"photo"',
            11,
            "'photo' .* yes, number, photograph",
        ),
        ('["yes", "photograph", "name"]', "[]", 11, "no evidence"),
        ('"photograph", "name"', '"yes"', 11, "twice"),
        ('kind = "mass"', 'kind = "heft"', 18, "'heft'"),
        ('kind = "mass"\n', "", 13, "the number has no kind"),
        ('"2000 kg"', "2000", 18 + 1, "a number with its unit"),
        ('"2000 kg"', '"2000 kPa"', 19, "is not a unit of mass"),
        ('"2000 kg"', '"2000"', 19, "has no unit"),
        (
            'high = "2000 kg"',
            'high = "2000 kg"\nlow = "2001 kg"',
            20,
            "lower limit is above the upper",
        ),
        ('evidence = ["number", "signature"]', 'evidence = ["signature"]', 18, "only for items"),
        ('name = "load"', 'name = "sling"', None, None),
        (
            'question = "Load on the hook"',
            'question = "Load on the hook"\nwanted = "maybe"',
            16,
            "is not an answer",
        ),
        (
            'question = "Load on the hook"',
            'question = "Load on the hook"\nevidense = ["yes"]',
            16,
            "did you mean 'evidence'",
        ),
        ('help = "At the crane\'s scale."', "required = 1", 16, "true or false"),
    ],
)
def test_a_fault_is_told_with_file_line_and_remedy(old, new, line, told):
    text = GOOD.replace(old, new, 1)
    if told is None:  # both items may be called alike as long as no field of theirs is
        assert _read(text)
        return
    with pytest.raises(SheetError, match=told) as refused:
        _read(text)
    assert refused.value.where.startswith("crane.toml") and refused.value.remedy
    if line is not None:
        assert f"line {line}" in refused.value.where


def test_two_items_with_one_field_are_refused():
    with pytest.raises(SheetError, match="'sling'") as refused:
        _read(
            GOOD.replace('name = "load"', 'name = "sling"').replace(
                '["number", "signature"]', '["number", "yes"]'
            )
        )
    assert "line 14" in refused.value.where


def test_a_gauge_pressure_cannot_have_a_limit_that_hangs_on_the_barometer():
    with pytest.raises(SheetError, match="relative_pressure"):
        _read(GOOD.replace('"mass"', '"gauge_pressure"').replace("2000 kg", "2000 kPa"))
    assert _read(
        GOOD.replace('"mass"', '"relative_pressure"').replace("2000 kg", "2000 kPa")
    ).items[1].limit.high == Q(2000, "kPa")


def test_a_list_without_items_is_refused():
    with pytest.raises(SheetError, match="no item"):
        _read('name = "a"\ntitle = "A"\nitems = []\n')


def test_what_is_not_toml_is_told_with_its_line():
    with pytest.raises(SheetError, match="not TOML") as refused:
        _read('name = "a"\ntitle = A\n')
    assert "line 2" in refused.value.where


# --- where they are found ------------------------------------------------------------------------


def test_the_shipped_lists_are_in_order():
    found = checklists.shipped()
    assert found
    for each in found:
        assert each.items and all(item.source for item in each.items), each.name


def test_a_job_folder_without_lists_has_the_shipped_ones(tmp_path):
    assert {each.name for each in checklists.every(tmp_path)} == {
        each.name for each in checklists.every()
    }


def test_a_list_in_the_jobs_folder_is_found(tmp_path):
    (tmp_path / "checklists").mkdir()
    (tmp_path / "checklists" / "crane.toml").write_text(GOOD, encoding="utf-8")
    assert "crane" in {each.name for each in checklists.every(tmp_path)}


def test_a_list_in_the_jobs_folder_takes_the_place_of_a_shipped_one(tmp_path):
    (tmp_path / "checklists").mkdir()
    name = checklists.shipped()[0].name
    (tmp_path / "checklists" / "ours.toml").write_text(
        GOOD.replace('name = "crane"', f'name = "{name}"'), encoding="utf-8"
    )
    found = {each.name: each for each in checklists.every(tmp_path)}
    assert found[name].title == "Lifting" and len(found) == len(checklists.every())


def test_two_lists_of_one_name_in_a_folder_are_refused(tmp_path):
    for file in ("a.toml", "b.toml"):
        (tmp_path / file).write_text(GOOD, encoding="utf-8")
    with pytest.raises(SheetError, match="'crane'"):
        checklists._by_name(checklists.in_folder(tmp_path))


class _Point:
    def __init__(self, loaded):
        self.name, self.value, self._loaded = "crane", "firm.lists:folder", loaded

    def load(self):
        if isinstance(self._loaded, Exception):
            raise self._loaded
        return lambda: self._loaded


def test_a_company_adds_lists_by_entry_point(tmp_path, monkeypatch):
    (tmp_path / "crane.toml").write_text(GOOD, encoding="utf-8")
    for path in (tmp_path, tmp_path / "crane.toml"):  # a folder or a file
        monkeypatch.setattr(checklists, "entry_points", lambda group, path=path: [_Point(path)])
        assert [each.name for each in checklists.installed()] == ["crane"]


def test_an_entry_point_that_fails_is_one_sentence(monkeypatch):
    monkeypatch.setattr(
        checklists, "entry_points", lambda group: [_Point(ImportError("no such thing"))]
    )
    with pytest.raises(StartkitError, match="'crane' cannot be loaded"):
        checklists.installed()

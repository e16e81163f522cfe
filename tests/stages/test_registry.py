"""Which stages a job has: built-in, added by other packages, and only those that its machine calls
for.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from startkit.errors import StartkitError
from startkit.procedure import registry
from startkit.procedure.holds import NAMES
from startkit.procedure.stage import PLAIN_KINDS, SERIES, TABLE, Findings, Stage
from startkit.units import KINDS

PLAIN = Stage(
    "roof", "Roof", "One.", (), lambda machine, limits, entries: Findings(), before="load", order=5
)


class _Point:
    def __init__(self, loaded):
        self.name, self.value, self._loaded = "roof", "firm.stages:STAGE", loaded

    def load(self):
        if isinstance(self._loaded, Exception):
            raise self._loaded
        return self._loaded


def test_stages_come_in_working_order():
    found = registry.stages()
    orders = [stage.order for stage in found.values()]
    assert orders == sorted(orders) and next(iter(found)) == "setup"


@pytest.mark.parametrize("stage", registry.stages().values(), ids=lambda stage: stage.name)
def test_every_built_in_stage_is_declared_soundly(stage):
    names = [f.name for f in stage.fields]
    assert len(names) == len(set(names)), "a field name twice"
    assert stage.before in NAMES and stage.purpose and stage.title
    for field in stage.fields:
        assert field.kind in (*KINDS, *PLAIN_KINDS, TABLE, SERIES), field.name
        assert "." not in field.name and field.question
        assert bool(field.columns) is (field.kind in (TABLE, SERIES)), field.name
        assert field.kind != "choice" or field.choices, field.name
        for column in field.columns:
            assert column.kind in (*KINDS, *PLAIN_KINDS), (field.name, column.name)
            assert column.kind != "choice" or column.choices, (field.name, column.name)


@pytest.mark.parametrize("stage", registry.stages().values(), ids=lambda stage: stage.name)
def test_every_plausible_range_of_a_built_in_stage_can_be_read(stage):
    from startkit.units import Q, parse

    for declared in (d for field in stage.fields for d in (field, *field.columns) if d.plausible):
        low, high = (
            parse(text, declared.kind, barometer=Q(101.325, "kPa")) for text in declared.plausible
        )
        assert low < high, declared.name


def test_another_package_adds_a_stage(monkeypatch):
    monkeypatch.setattr(registry, "entry_points", lambda group: [_Point(PLAIN)])
    assert next(iter(registry.stages())) == "roof"


@pytest.mark.parametrize(
    ("loaded", "told"),
    [(ImportError("nothing there"), "cannot be loaded"), (print, "is not a stage")],
)
def test_an_added_stage_that_is_none_is_one_sentence(monkeypatch, loaded, told):
    monkeypatch.setattr(registry, "entry_points", lambda group: [_Point(loaded)])
    with pytest.raises(StartkitError, match=told):
        registry.stages()


def test_two_stages_of_one_name_are_refused():
    with pytest.raises(StartkitError, match="two stages are called 'roof'"):
        registry.ordered([PLAIN, PLAIN])


def test_a_stage_before_an_unknown_hold_point_is_refused():
    with pytest.raises(StartkitError, match="unknown hold point 'lunch'"):
        registry.ordered([replace(PLAIN, before="lunch")])

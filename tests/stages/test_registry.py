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


FIELDS = [(stage, field) for stage in registry.stages().values() for field in stage.fields]


def test_every_built_in_stage_is_declared_soundly():
    for stage in registry.stages().values():
        names = [f.name for f in stage.fields]
        assert len(names) == len(set(names)), f"a field name twice in {stage.name}"
        assert stage.before in NAMES and stage.purpose and stage.title, stage.name
    for stage, field in FIELDS:
        where = (stage.name, field.name)
        assert field.kind in (*KINDS, *PLAIN_KINDS, TABLE, SERIES), where
        assert "." not in field.name and field.question, where
        assert bool(field.columns) is (field.kind in (TABLE, SERIES)), where
        for declared in (field, *field.columns):
            assert declared.kind != "choice" or declared.choices, (*where, declared.name)
        for column in field.columns:
            assert column.kind in (*KINDS, *PLAIN_KINDS), (*where, column.name)


def test_every_plausible_range_of_a_built_in_stage_can_be_read():
    from startkit.units import Q, parse

    fixed = [(s, d) for s, f in FIELDS for d in (f, *f.columns) if isinstance(d.plausible, tuple)]
    for stage, each in fixed:
        low, high = (parse(text, each.kind, barometer=Q(101.325, "kPa")) for text in each.plausible)
        assert low < high, (stage.name, each.name)


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
    with pytest.raises(StartkitError, match="'roof'"):
        registry.ordered([PLAIN, PLAIN])


def test_a_stage_before_an_unknown_hold_point_is_refused():
    with pytest.raises(StartkitError, match="'lunch'"):
        registry.ordered([replace(PLAIN, before="lunch")])

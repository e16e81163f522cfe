"""The registry's own short list of units is pint's, and everything else that pint knows is found
behind it.
"""

from __future__ import annotations

import math
import re
from importlib import resources
from itertools import product
from typing import Any

import numpy as np
import pint
import pytest

from startkit import kinds, units
from startkit.unit_registry import SHORT, TRADE, bare, base, registry

PINTS = pint.UnitRegistry()


def units_of(registry: pint.UnitRegistry) -> set[str]:
    """Names, symbols and aliases of the units that a registry has read."""
    return set(dir(registry)) - set(dir(type(registry))) - set(vars(registry))


# The list is that of pint 0.25: before, columns of water and mercury had other names, and inches of
# water none.
OLDER = "inH2O" not in units_of(PINTS)
PREFIXES = [
    part.strip().removesuffix("-")
    for line in (resources.files("pint") / "default_en.txt").read_text("utf-8").splitlines()
    if re.match(r"\w+- =", line)
    for place, part in enumerate(line.split("#")[0].split("="))
    if place != 1
]
OWN = [
    line.split(" = ")[0]
    for line in (resources.files("startkit") / TRADE).read_text(encoding="utf-8").splitlines()
    if " = " in line
]


@pytest.fixture
def ours():
    return registry()


def test_every_unit_of_the_list_has_pints_names_symbol_and_size(ours):
    names = units_of(ours) - set(OWN)
    assert len(names) > 150
    for name in names:
        if name not in units_of(PINTS) and OLDER:
            continue
        assert ours.get_name(name) == PINTS.get_name(name)
        assert ours.get_symbol(name) == PINTS.get_symbol(name)
        size, root = ours.get_root_units(name)
        pints_size, pints_root = PINTS.get_root_units(name)
        assert size == pytest.approx(pints_size, rel=1e-15) and str(root) == str(pints_root)


def test_a_name_that_the_list_answers_means_the_same_in_pints_whole_file(ours):
    # Were it not for `knows`, milli-litre would answer where pint has a unit of angle called mil.
    names = {
        *units_of(PINTS),
        *(prefix + name for prefix, name in product(PREFIXES, units_of(PINTS))),
    }
    answered = [
        name
        for name in names
        if ours.knows(name)
        and name not in OWN
        and "%" not in name
        and not (OLDER and name in units_of(ours))
    ]
    assert len(answered) > 1000 and "mil" not in answered and "cd" not in answered
    for name in answered:
        try:
            there = PINTS.get_root_units(name)
        except pint.OffsetUnitCalculusError:
            continue  # a thousandth of a degree on a scale that does not begin at nothing
        here = ours.get_root_units(name)
        assert here[0] == pytest.approx(there[0], rel=1e-14) and str(here[1]) == str(there[1]), name
    assert not ours.is_whole


def test_the_short_forms_are_pints(ours):
    for name in SHORT:
        here, there = (
            ours.Quantity(1, name).to_base_units(),
            PINTS.Quantity(1, name).to_base_units(),
        )
        assert here.magnitude == pytest.approx(there.magnitude, rel=1e-15) and str(
            here.units
        ) == str(there.units)
    assert not ours.is_whole


@pytest.mark.parametrize("name", ["furlong", "cd", "mil", "kilocalorie", "rod", "US_dry_pint"])
def test_any_other_unit_of_pint_is_found_behind_the_list(ours, name: str):
    before = ours.Quantity(3, "kilowatt")
    assert str(ours.Quantity(1, name).to_base_units()) == str(
        PINTS.Quantity(1, name).to_base_units()
    )
    assert ours.is_whole and before.to("Btu/hour").magnitude == pytest.approx(
        PINTS.Quantity(3, "kilowatt").to("Btu/hour").magnitude
    )


def test_units_of_the_trade_stay_ours_once_pints_are_there(ours):
    before = {name: ours.get_root_units(name)[0] for name in OWN}
    ours.Quantity(1, "furlong")
    assert {
        name: ours.get_root_units(name)[0] for name in OWN
    } == before and "ton_cooling" in before


def test_what_is_no_unit_is_still_none(ours):
    with pytest.raises(pint.UndefinedUnitError):
        ours.Quantity(1, "flurb")


def test_everything_that_can_be_typed_is_on_the_list():
    fresh = registry()
    for table in kinds.SPELLINGS.values():
        for unit in table.values():
            fresh.Quantity(1, unit.pint)
    assert not fresh.is_whole


@pytest.mark.parametrize(
    ("magnitude", "unit", "wanted"),
    [
        (44.0, "degF", "kelvin"),
        (44, "degF", "degC"),
        (3.0, "kilowatt", "ton_cooling"),
        (2.0, "delta_degF", "delta_degC"),
        (np.array([1.0, 2.0]), "psi", "kilopascal"),
        (0.0, "inHg", "pascal"),
        (0.0, "psi", "pascal"),
        (-0.0, "psi", "pascal"),
        (math.inf, "bar", "pascal"),
    ],
)
def test_a_bare_magnitude_is_what_pint_gives_to_the_last_bit(
    magnitude: Any, unit: str, wanted: str
):
    for _ in range(2):  # the second time from memory
        for quantity in (
            units.Q(magnitude, unit),
            PINTS.Quantity(magnitude, unit) if "ton" not in wanted else units.Q(magnitude, unit),
        ):
            for found, expected in (
                (bare(quantity, wanted), quantity.to(wanted).magnitude),
                (base(quantity), quantity.to_base_units().magnitude),
            ):
                assert (
                    type(found) is type(expected)
                    and np.array_equal(found, expected)
                    and np.array_equal(np.signbit(found), np.signbit(expected))
                )


def test_a_magnitude_in_a_unit_of_another_dimension_is_refused():
    with pytest.raises(pint.DimensionalityError):
        bare(units.Q(1.0, "kilowatt"), "pascal")


def test_a_whole_number_and_a_fraction_of_the_same_size_stay_what_they_are():
    assert [type(bare(units.Q(value, "pascal"), "pascal")) for value in (1.0, 1, 1.0)] == [
        float,
        int,
        float,
    ]

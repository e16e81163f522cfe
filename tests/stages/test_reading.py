"""A reading's arithmetic: what it calculates, and what follows the reading into every result."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import UnitError
from startkit.procedure.reading import Reading
from startkit.units import Q

VALUES = st.floats(-1e4, 1e4).filter(lambda x: abs(x) > 1e-3)
SPREADS = st.floats(0, 1e2)
EARLY, LATE = datetime(2026, 11, 1, tzinfo=UTC), datetime(2026, 11, 2, tzinfo=UTC)


def kpa(value: float, u: float | None = 1.0, name: str = "bench.a", **more) -> Reading:
    return Reading(
        what=name,
        text=str(value),
        quantity=Q(value, "kilopascal"),
        u=None if u is None else Q(u, "kilopascal"),
        **{"instruments": (f"G-{name[-1]}",), "moment": EARLY, **more},
    )


def other(value: float = 40.0, u: float | None = 1.0, **more) -> Reading:
    return kpa(value, u, "bench.b", **more)


MISSING = Reading(what="bench.c")
FAULTY = Reading(what="bench.d", text="ten", problem="Not a number.", taken=True)
TWO = {
    "less": lambda a, b: a.less(b),
    "plus": lambda a, b: a.plus(b),
    "relative_to": lambda a, b: a.relative_to(b),
    "share_of": lambda a, b: a.share_of(b),
    "deviation_from": lambda a, b: a.deviation_from(b),
    "mean_of": lambda a, b: Reading.mean_of([a, b]),
    "largest_of": lambda a, b: Reading.largest_of([a, b]),
    "smallest_of": lambda a, b: Reading.smallest_of([a, b]),
    "derived": lambda a, b: Reading.derived(Q(1, "meter"), None, a, b),
}


@pytest.fixture(params=TWO)
def combine(request):
    return TWO[request.param]


def test_every_result_keeps_the_items_of_both_once(combine):
    assert combine(kpa(10), other()).items == ("bench.a", "bench.b")
    assert combine(kpa(10), kpa(12)).items == ("bench.a",)


def test_every_result_keeps_the_instruments_of_both_once(combine):
    assert combine(kpa(10), other()).instruments == ("G-a", "G-b")
    assert combine(kpa(10), kpa(12)).instruments == ("G-a",)


def test_every_result_is_as_untrusted_as_either(combine):
    assert combine(kpa(10, untrusted="overdue"), other()).untrusted == "overdue"
    assert combine(kpa(10), other(untrusted="overdue")).untrusted == "overdue"
    assert combine(kpa(10), other()).untrusted == ""


def test_every_result_keeps_the_flag_of_either(combine):
    assert combine(kpa(10), other(flag="unusual")).flag == "unusual"


def test_a_problem_of_either_is_a_problem_of_the_result(combine):
    for found in (combine(kpa(10), FAULTY), combine(FAULTY, kpa(10)), combine(MISSING, FAULTY)):
        assert found.problem == "Not a number."
        assert found.quantity is None and found.u is None and found.taken


def test_a_missing_reading_leaves_the_result_not_taken(combine):
    for found in (combine(kpa(10), MISSING), combine(MISSING, kpa(10))):
        assert not found.taken and found.quantity is None and found.problem == ""
        assert found.items and "bench.c" in found.items


def test_a_result_of_two_readings_is_taken(combine):
    assert combine(kpa(10), other()).taken


def test_a_result_was_entered_when_the_last_of_its_readings_was(combine):
    assert combine(kpa(10, moment=EARLY), other(moment=LATE)).moment == LATE


def test_an_uncertainty_that_one_reading_lacks_the_result_lacks():
    for name in ("less", "plus", "relative_to", "share_of", "deviation_from", "mean_of"):
        assert TWO[name](kpa(10, None), other()).u is None, name
        assert TWO[name](kpa(10), other(u=None)).u is None, name


@given(VALUES, VALUES, SPREADS, SPREADS, st.floats(-1, 1))
def test_the_uncertainty_of_a_difference_and_of_a_sum_is_that_of_the_law_of_propagation(
    a, b, u, v, r
):
    # Law of propagation of uncertainty, JCGM 100:2008, 5.2.2.
    first, second = kpa(a, u), other(b, v)
    for found, sign, value in (
        (first.less(second, r), -1, a - b),
        (first.plus(second, r), 1, a + b),
    ):
        assert found.quantity.to("kilopascal").magnitude == pytest.approx(value, abs=1e-9)
        expected = math.sqrt(max(0.0, u * u + v * v + sign * 2 * r * u * v))
        assert found.u.to("kilopascal").magnitude == pytest.approx(
            expected, rel=1e-6, abs=1e-7 * (u + v) + 1e-9
        )


@given(VALUES, VALUES, SPREADS, SPREADS, st.floats(-1, 1))
def test_the_uncertainty_of_a_ratio_is_that_of_the_law_of_propagation(a, b, u, v, r):
    # Law of propagation of uncertainty, JCGM 100:2008, 5.2.2.
    found = kpa(a, u).relative_to(other(b, v), r)
    by_a, by_b = u / b, -a * v / b**2
    expected = 100 * math.sqrt(max(0.0, by_a**2 + by_b**2 + 2 * r * by_a * by_b))
    assert found.quantity.to("percent").magnitude == pytest.approx(100 * a / b)
    # Where the two parts cancel, only their rounding is left: the root of 1e-16 of each.
    rounding = 1e-7 * 100 * (abs(by_a) + abs(by_b)) + 1e-9
    assert found.u.to("percent").magnitude == pytest.approx(expected, rel=1e-6, abs=rounding)


@given(VALUES, VALUES, SPREADS)
def test_a_deviation_is_the_share_less_one_with_the_same_uncertainty(a, due, u):
    share, off = (
        kpa(a, u).relative_to(Q(due, "kilopascal")),
        kpa(a, u).deviation_from(Q(due, "kilopascal")),
    )
    assert off.quantity.to("percent").magnitude == pytest.approx(
        share.quantity.to("percent").magnitude - 100, abs=1e-6
    )
    assert off.u == share.u and off.items == share.items


def test_what_is_due_may_be_in_another_unit():
    found = kpa(50).relative_to(Q(100_000, "pascal"))
    assert found.quantity.to("percent").magnitude == pytest.approx(50)
    assert found.u.to("percent").magnitude == pytest.approx(1)


def test_an_exact_quantity_adds_no_uncertainty_and_no_item():
    for found in (kpa(50).less(Q(10, "kilopascal")), kpa(50).plus(Q(10, "kilopascal"))):
        assert found.u == Q(1.0, "kilopascal") and found.items == ("bench.a",)


def test_a_share_of_nothing_is_a_problem_and_not_a_number():
    found = kpa(50).relative_to(Q(0, "kilopascal"))
    assert found.quantity is None and "zero" in found.problem and found.items == ("bench.a",)


# --- one reading ---------------------------------------------------------------------------------


def test_a_multiple_has_the_uncertainty_of_reading_and_factor():
    found = kpa(50, 1).times(2.0, 0.1)
    assert found.quantity == Q(100.0, "kilopascal")
    assert found.u.magnitude == pytest.approx(math.hypot(2, 5))
    assert kpa(50, 1).times(-2.0).u == Q(2.0, "kilopascal")


def test_a_multiple_by_a_quantity_has_its_unit():
    found = kpa(50, 1).times(Q(2.0, "meter**2"))
    assert found.quantity.to("kilonewton").magnitude == pytest.approx(100)
    assert found.u.to("kilonewton").magnitude == pytest.approx(2)


def test_another_quantity_of_the_same_reading_keeps_all_but_quantity_and_uncertainty():
    read = kpa(50, untrusted="overdue", flag="unusual")
    found = read.with_quantity(Q(3, "liter/second"), Q(0.1, "liter/second"))
    assert found.quantity == Q(3, "liter/second") and found.u == Q(0.1, "liter/second")
    assert (found.what, found.text, found.untrusted, found.flag, found.items) == (
        read.what,
        read.text,
        "overdue",
        "unusual",
        read.items,
    )


def test_another_quantity_does_not_heal_a_reading_that_is_missing_or_faulty():
    assert MISSING.with_quantity(Q(1, "meter")) == MISSING
    assert FAULTY.with_quantity(Q(1, "meter")) == FAULTY


def test_an_unreadable_reading_has_a_problem_and_no_quantity():
    found = kpa(50).unreadable("No liquid of this name.")
    assert found.quantity is None and found.u is None and found.taken
    assert found.problem == "No liquid of this name." and found.items == ("bench.a",)


# --- several readings ----------------------------------------------------------------------------


@given(st.lists(st.tuples(VALUES, SPREADS), min_size=1, max_size=6))
def test_a_mean_of_independent_readings_is_surer_than_one_of_a_shared_error(readings):
    given_ = [kpa(value, u, f"bench.{n}") for n, (value, u) in enumerate(readings)]
    alone, shared = Reading.mean_of(given_), Reading.mean_of(given_, 1.0)
    sizes = [u for _, u in readings]
    assert alone.quantity.magnitude == pytest.approx(
        math.fsum(v for v, _ in readings) / len(readings), abs=1e-6
    )
    assert alone.u.magnitude == pytest.approx(
        math.sqrt(sum(u * u for u in sizes)) / len(sizes), abs=1e-9
    )
    assert shared.u.magnitude == pytest.approx(sum(sizes) / len(sizes), abs=1e-6)


def test_a_mean_of_temperatures_is_a_temperature():
    read = [Reading(what=f"bench.{t}", quantity=Q(t, "degC")) for t in (10, 20)]
    assert Reading.mean_of(read).quantity.to("degC").magnitude == pytest.approx(15)


def test_of_no_readings_there_is_no_mean_and_no_largest():
    for found in (Reading.mean_of([]), Reading.largest_of([]), Reading.smallest_of([])):
        assert not found.taken and found.quantity is None


def test_largest_and_smallest_bring_their_own_uncertainty():
    few = [kpa(10, 1), kpa(30, 3, "bench.b"), kpa(20, 2, "bench.c")]
    assert Reading.largest_of(few).u == Q(3, "kilopascal")
    assert Reading.smallest_of(few).u == Q(1, "kilopascal")
    assert Reading.largest_of(few).items == ("bench.a", "bench.b", "bench.c")


def test_a_calculated_figure_may_rest_on_an_answer_that_is_no_number():
    answer = Reading(what="bench.way", text="up")
    found = Reading.derived(Q(1, "meter"), None, kpa(10), answer)
    assert found.quantity == Q(1, "meter") and found.items == ("bench.a", "bench.way")


# --- temperatures --------------------------------------------------------------------------------


def celsius(value: float, unit: str = "degC", name: str = "bench.a") -> Reading:
    return Reading(what=name, text="x", quantity=Q(value, unit), u=Q(0.1, "delta_degC"))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (Q(12, "degC"), Q(7, "degC")),
        (Q(53.6, "degF"), Q(7, "degC")),
        (Q(285.15, "kelvin"), Q(7, "degC")),
    ],
)
def test_of_two_temperatures_the_difference_is_given(first, second):
    found = Reading(what="bench.a", quantity=first).less(second)
    assert found.quantity.to("delta_degC").magnitude == pytest.approx(5)
    assert "delta" in str(found.quantity.units)


def test_a_difference_may_be_added_to_a_temperature_or_taken_from_it():
    five = Reading(what="bench.b", quantity=Q(9, "delta_degF"), u=Q(0.1, "delta_degC"))
    warmer, colder = celsius(7).plus(five), celsius(12).less(five)
    assert warmer.quantity.to("degC").magnitude == pytest.approx(12)
    assert colder.quantity.to("degC").magnitude == pytest.approx(7)
    assert five.plus(celsius(7)).quantity.to("degC").magnitude == pytest.approx(12)
    assert warmer.u.to("delta_degC").magnitude == pytest.approx(0.1 * math.sqrt(2))


def test_what_makes_no_sense_of_temperatures_is_refused():
    difference = Reading(what="bench.b", quantity=Q(5, "delta_degC"))
    for attempt in (
        lambda: celsius(7).plus(celsius(8)),
        lambda: difference.less(celsius(8)),
        lambda: celsius(7).relative_to(celsius(8)),
        lambda: celsius(7).deviation_from(Q(8, "degC")),
        lambda: celsius(7).times(2),
    ):
        with pytest.raises(UnitError):
            attempt()


def test_two_temperature_differences_have_a_ratio():
    approach = Reading(what="bench.b", quantity=Q(2, "delta_degC"))
    assert approach.relative_to(Q(4, "delta_degC")).quantity == Q(50, "percent")

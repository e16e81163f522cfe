"""What a technician types is read as meant, or refused in one sentence."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ReadingError, UnitError
from startkit.units import (
    IP,
    KINDS,
    SI,
    Q,
    magnitude,
    number,
    parse,
    quantities,
    show,
    split,
    unit_for,
)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("12.5", 12.5),
        ("12,5", 12.5),
        ("1 234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1.234,5", 1234.5),
        ("1'234.5", 1234.5),
        ("−3", -3.0),
        ("-0,5", -0.5),
        ("1,234,567", 1234567.0),
        ("0,125", 0.125),
        ("1e3", 1000.0),
        (" 7 ", 7.0),
        ("+4", 4.0),
        (".5", 0.5),
    ],
)
def test_a_number_is_read_with_comma_or_point(typed: str, value: float) -> None:
    assert number(typed) == value


@pytest.mark.parametrize("typed", ["1,234", "12,345", "1.2.3", "1,2,3", "1.234.5", "1,234.5.6"])
def test_a_number_that_can_be_read_in_two_ways_is_refused(typed: str) -> None:
    with pytest.raises(ReadingError, match="two ways"):
        number(typed)


@pytest.mark.parametrize("typed", ["", "abc", "--3", "12 apples", "1e", "∞", "nan", "1/2", "½"])
def test_a_text_that_is_no_number_is_refused(typed: str) -> None:
    with pytest.raises(ReadingError, match="not a number"):
        number(typed)


def test_a_number_beyond_any_reading_is_refused() -> None:
    with pytest.raises(ReadingError, match="too large"):
        number("1e999")


@given(st.text(max_size=40))
def test_any_text_is_either_read_or_refused_by_our_own_error(text: str) -> None:
    for kind in ("temperature", "gauge_pressure", "flow"):
        try:
            parse(text, kind, "", Q(100, "kPa"))
        except (ReadingError, UnitError) as error:
            assert str(error).endswith(".")


@given(st.floats(-1e6, 1e6, allow_nan=False))
def test_what_is_shown_can_be_typed_back(value: float) -> None:
    shown = show(Q(value, "degC"), "temperature", digits=3)
    assert parse(shown, "temperature").to("degC").magnitude == pytest.approx(value, abs=6e-4)


def test_a_unit_in_the_text_wins_over_the_unit_of_the_field() -> None:
    assert parse("44 °F", "temperature", "°C").to("degC").magnitude == pytest.approx(
        6.6667, abs=1e-4
    )


@pytest.mark.parametrize(
    ("typed", "kind", "si", "unit"),
    [
        ("100 gpm", "flow", 6.30902e-3, "m**3/s"),
        ("1 ton", "cooling", 3516.85, "W"),
        ("1 tons", "cooling", 3516.85, "W"),
        ("10 ft", "pressure_drop", 29890.7, "Pa"),
        ("1 cfm", "air_flow", 4.719474e-4, "m**3/s"),
        ("500 micron", "vacuum", 66.661, "Pa"),
        ("1 Torr", "vacuum", 133.322, "Pa"),
        ("0.6 kW/ton", "specific_power", 0.170607, ""),
        ("2 mils", "length", 5.08e-5, "m"),
        ("68 cSt", "viscosity", 6.8e-5, "m**2/s"),
        ("90 %", "percent", 0.9, ""),
        ("3600 rpm", "speed", 376.991, "rad/s"),
        ("10 GΩ", "insulation", 1e10, "ohm"),
        ("10 GOhm", "insulation", 1e10, "ohm"),
        ("5 °F", "temperature_difference", 2.77778, "delta_degC"),
        ("200 lb", "mass", 90.7185, "kg"),
        ("0,2 ips", "vibration", 5.08e-3, "m/s"),
        ("2 h", "time", 7200.0, "s"),
    ],
)
def test_spellings_of_the_trade_are_understood(typed: str, kind: str, si: float, unit: str) -> None:
    assert parse(typed, kind).to(unit or "dimensionless").magnitude == pytest.approx(si, rel=1e-5)


def test_a_ton_of_refrigeration_is_12000_btu_an_hour(outside) -> None:
    outside.check(
        "units.ton_cooling",
        printed=12000 * 1055.05585262 / 3600,
        ours=Q(1, "ton_cooling").to("watt").magnitude,
        rel=1e-9,
        standing="published",
        source=(
            "12 000 Btu(IT)/h, the International Table Btu being 1055.055 852 62 J (ISO 31-4,"
            " Annex)"
        ),
    )


def test_a_micron_of_mercury_is_a_thousandth_of_a_millimetre(outside) -> None:
    outside.check(
        "units.micron_mercury",
        printed=133.322387415e-3,
        ours=Q(1, "micron_mercury").to("pascal").magnitude,
        rel=1e-9,
        standing="published",
        source="conventional millimetre of mercury 133.322 4 Pa, NIST SP 811 (2008), B.8",
    )


def test_gauge_pressure_is_read_with_the_barometer_of_the_site() -> None:
    assert parse("0 psig", "gauge_pressure", barometer=Q(84, "kPa")).to(
        "kPa"
    ).magnitude == pytest.approx(84)
    assert parse("-10 kPa", "gauge_pressure", barometer=Q(84, "kPa")).to(
        "kPa"
    ).magnitude == pytest.approx(74)


def test_inches_of_vacuum_are_below_the_barometer() -> None:
    # 28.94 in Hg of vacuum at 29.921 in Hg is 25 mm Hg absolute (40 CFR 82.158, table for
    # low-pressure appliances).
    read = parse("28.937 in Hg vac", "gauge_pressure", barometer=Q(29.921, "inHg"))
    assert read.to("mmHg").magnitude == pytest.approx(25.0, abs=0.02)


def test_gauge_pressure_without_a_barometer_says_what_to_do() -> None:
    with pytest.raises(ReadingError, match="Setup"):
        parse("60 psig", "gauge_pressure")


def test_a_pressure_below_vacuum_is_refused() -> None:
    with pytest.raises(ReadingError, match="perfect vacuum"):
        parse("-110 kPa", "gauge_pressure", barometer=Q(101, "kPa"))


@pytest.mark.parametrize("text", ["-12.75 in Hg vac", "−43 kPa vac", "-1 psi vac"])
def test_a_vacuum_with_a_sign_is_refused(text: str) -> None:
    with pytest.raises(ReadingError, match="minus"):
        parse(text, "gauge_pressure", barometer=Q(84, "kPa"))


def test_a_vacuum_and_a_negative_gauge_pressure_are_the_same() -> None:
    by_word, by_sign = (
        parse(text, "gauge_pressure", barometer=Q(84, "kPa"))
        for text in ("12.75 in Hg vac", "-12.75 in Hg")
    )
    assert by_word.to("Pa").magnitude == pytest.approx(by_sign.to("Pa").magnitude)


def test_a_reading_without_a_unit_is_refused() -> None:
    with pytest.raises(UnitError, match="has no unit"):
        parse("12", "temperature")


@pytest.mark.parametrize(
    ("typed", "kind"),
    [("12 kPa", "temperature"), ("12 psig", "flow"), ("3 apples", "power"), ("3 K", "flow")],
)
def test_a_unit_of_another_kind_is_refused_with_the_right_ones(typed: str, kind: str) -> None:
    with pytest.raises(UnitError, match="give "):
        parse(typed, kind)


def test_a_wrong_unit_names_the_field() -> None:
    with pytest.raises(UnitError) as caught:
        unit_for("psig", "flow", "Chilled water flow")
    assert str(caught.value) == "Chilled water flow: 'psig' is not a unit of flow; give L/s or gpm."


def test_every_unit_that_is_shown_can_be_typed() -> None:
    barometer = Q(100, "kPa")
    for name, system in itertools.product(KINDS, (SI, IP)):
        typed = f"1 {KINDS[name].unit(system).label}".strip()
        read = parse(typed, name, barometer=barometer)
        assert magnitude(read, name, system, barometer) == pytest.approx(1.0), (name, system)


def test_split_keeps_number_and_unit_apart() -> None:
    assert split("1 234,5 kPa gauge") == ("1 234,5", "kPa gauge")
    assert split("abc") == ("abc", "")


# --- the door of the science floor ---------------------------------------------------------------


@quantities("kilowatt", flow="kg/s", rise="delta_degC")
def heat(flow, rise):
    return 4.2 * flow * rise


def test_the_door_converts_and_wraps() -> None:
    assert heat(Q(1, "kg/s"), Q(9, "delta_degF")).to("kW").magnitude == pytest.approx(21.0)
    assert heat.si(1.0, 5.0) == 21.0


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (Q(10, "degF"), "a temperature was given where"),
        (10, "plain number"),
        (Q(1, "kPa"), "cannot be read as"),
    ],
)
def test_the_door_refuses_what_pint_would_let_through(bad, said: str) -> None:
    with pytest.raises(UnitError, match=said):
        heat(Q(1, "kg/s"), bad)


def test_a_difference_is_refused_where_a_temperature_is_due() -> None:
    @quantities("kelvin", t="kelvin")
    def same(t):
        return t

    with pytest.raises(UnitError, match="difference was given where"):
        same(Q(10, "delta_degC"))


def test_a_door_with_an_unknown_argument_is_refused_when_it_is_built() -> None:
    with pytest.raises(TypeError, match="no argument"):
        quantities("kW", nothing="kg")(lambda flow: flow)


def test_minus_zero_is_shown_as_zero() -> None:
    assert show(Q(-0.001, "kW"), "power") == "0.0 kW"


def test_a_missing_reading_is_said_in_words() -> None:
    assert show(None, "power") == "not taken"

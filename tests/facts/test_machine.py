"""A machine sheet is read with its units, or refused with file, line, field and remedy."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from startkit.errors import SheetError
from startkit.facts import blank, machine
from startkit.facts.limits import defaults


def refused(path: Path) -> str:
    with pytest.raises(SheetError) as caught:
        machine.load(path)
    return str(caught.value)


def line_of(path: Path, text: str) -> int:
    return next(
        n for n, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if text in line
    )


def test_numbers_carry_their_units(sheet: Callable[..., Path]) -> None:
    read = machine.load(sheet())
    assert read.design.leaving_chilled.to("degF").magnitude == pytest.approx(44.06)
    assert read.motor.full_load_current.to("ampere").magnitude == 480


def test_a_number_without_a_unit_names_file_line_field_and_remedy(
    sheet: Callable[..., Path],
) -> None:
    path = sheet('voltage = "400 V"', "voltage = 400")
    where, _, said = refused(path).partition(": ")
    assert where == f"sheet.toml, line {line_of(path, 'voltage')}, motor.voltage"
    assert "unit" in said and said.endswith('"400 V".')


def test_a_wrong_unit_names_the_right_ones(sheet: Callable[..., Path]) -> None:
    path = sheet('design_flow = "75 L/s"', 'design_flow = "75 kPa"')
    where, _, said = refused(path).partition(": ")
    assert where == f"sheet.toml, line {line_of(path, '75 kPa')}, evaporator.design_flow"
    assert "'kPa'" in said and "L/s or gpm" in said


def test_a_missing_field_names_its_table(sheet: Callable[..., Path]) -> None:
    path = sheet('low_trip = "100 kPa"\n', "")
    assert re.match(
        rf"sheet.toml, line {line_of(path, '[oil]')}, oil.low_trip: 'low_trip' is missing; add it;"
        r" a blank sheet .*\.$",
        refused(path),
    )


def test_a_missing_table_is_named(sheet: Callable[..., Path]) -> None:
    assert "'vanes' is missing" in refused(
        sheet('[vanes]\nopening_time = "42 s"\nclosing_time = "42 s"\n', "")
    )


def test_a_misspelt_key_is_answered_with_the_near_one(sheet: Callable[..., Path]) -> None:
    path = sheet(
        'full_load_current = "480 A"', 'full_load_curent = "480 A"\nfull_load_current = "480 A"'
    )
    where, _, said = refused(path).partition(": ")
    assert where == f"sheet.toml, line {line_of(path, 'curent')}, motor.full_load_curent"
    assert "'full_load_curent'" in said and "'full_load_current'?" in said


def test_a_choice_outside_the_list_names_the_choices(sheet: Callable[..., Path]) -> None:
    said = refused(sheet('starter = "wye-delta"', 'starter = "star-delta"'))
    assert "'star-delta'" in said and "'across the line', 'wye-delta'" in said


def test_the_first_of_several_faults_is_told_and_the_others_counted(
    sheet: Callable[..., Path],
) -> None:
    path = sheet('voltage = "400 V"\nfrequency = "50 Hz"', "voltage = 400\nfrequency = 50")
    said = refused(path)
    assert "motor.voltage" in said and "(1 more" in said


def test_a_fault_in_the_third_point_names_its_line(
    sheet: Callable[..., Path], tmp_path: Path
) -> None:
    path = sheet()
    text = path.read_text(encoding="utf-8")
    point = text[text.index("[[selection.points]]") : text.index("[limits]")]
    path.write_text(
        text.replace("[limits]", point + point.replace('"300 kW"', '"300 kg"') + "[limits]"),
        encoding="utf-8",
    )
    assert f"line {line_of(path, '300 kg')}, selection.points.3.power" in refused(path)


def test_text_that_is_not_toml_names_its_line(sheet: Callable[..., Path]) -> None:
    path = sheet('tag = "CH-9"', "tag = CH-9")
    assert refused(path).startswith(
        f"sheet.toml, line {line_of(path, 'tag')}"
    ) or f"line {line_of(path, 'tag')}" in refused(path)


def test_a_missing_file_is_one_sentence(tmp_path: Path) -> None:
    assert "there is no such file" in refused(tmp_path / "nothing.toml")


def test_a_file_that_is_not_utf8_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "sheet.toml"
    path.write_bytes("tag = 'Größe'".encode("latin-1"))
    assert "UTF-8" in refused(path)


def test_an_empty_selection_is_refused(sheet: Callable[..., Path]) -> None:
    path = sheet()
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("[[selection.points]]")] + "points = []\n", encoding="utf-8")
    assert "selection.points" in refused(path)


def test_the_sheets_own_limit_overrides_the_default_and_says_so(sheet: Callable[..., Path]) -> None:
    limit = machine.load(sheet()).limits_over(defaults(), "machine.toml")["vanes.closing_time"]
    assert limit.high.to("percent").magnitude == 10
    assert limit.origin == "machine sheet: data sheet, page 3"


def test_a_limit_in_the_wrong_unit_is_refused_when_the_sheet_is_read(
    sheet: Callable[..., Path],
) -> None:
    path = sheet('low = "-10 %", high = "10 %"', 'low = "-10 s", high = "10 %"')
    assert f"line {line_of(path, '-10 s')}" in refused(path) and "not a unit of percent" in refused(
        path
    )


def test_a_limit_without_its_source_is_refused(sheet: Callable[..., Path]) -> None:
    assert "source" in refused(sheet(', source = "data sheet, page 3"', ""))


def test_an_unknown_limit_is_refused(sheet: Callable[..., Path]) -> None:
    assert "'vanes.closing'" in refused(sheet('"vanes.closing_time"', '"vanes.closing"'))


def test_the_blank_sheet_has_every_key_and_is_valid_once_filled() -> None:
    text = blank.blank_sheet()
    for name, section in machine.Machine.model_fields.items():
        if name != "limits":
            for key in section.annotation.model_fields:
                assert re.search(
                    rf"^(# )?{key} = |^\[\[selection\.{key}\]\]", text, re.MULTILINE
                ), f"{name}.{key}"


def test_the_blank_sheet_is_toml() -> None:
    import tomllib

    assert set(tomllib.loads(blank.blank_sheet())) == set(machine.Machine.model_fields) - {"limits"}


def test_the_examples_of_the_blank_sheet_are_accepted() -> None:
    import tomllib

    # Every line with an example, taken at its word.
    text = re.sub(
        r'^(?:# )?(\w+) = ""  # such as (.*)$',
        r'\1 = "\2"',
        blank.blank_sheet(),
        flags=re.MULTILINE,
    )
    text = re.sub(
        r'^(tag|serial|refrigerant|plant|kind|document) = ""$',
        r'\1 = "x"',
        text,
        flags=re.MULTILINE,
    )
    machine.from_table(tomllib.loads(text), "blank.toml", text)


def test_a_blank_sheet_never_overwrites_a_file(tmp_path: Path) -> None:
    path = tmp_path / "sheet.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(SheetError, match="already"):
        blank.write_new(path, "new")
    assert path.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("vanes", "actuator", '"electric"'),
        ("oil", "heater_power", '"1500 W"'),
        ("evaporator", "passes", "2"),
        ("condenser", "surface", '"246 m²"'),
    ],
)
def test_a_sheet_that_holds_a_retired_key_still_opens(sheet, section, key, value):
    path = sheet(f"[{section}]\n", f"[{section}]\n{key} = {value}\n")
    assert not hasattr(getattr(machine.load(path), section), key)


def test_a_sheet_may_give_the_settings_of_its_safeties(sheet: Callable[..., Path]) -> None:
    given = 'high_condenser_pressure = { setting = "1100 kPa", reset = "by hand", source = "p. 3" }'
    path = sheet("[vanes]", f"[safeties]\n{given}\n[vanes]")
    trip = machine.load(path).safeties.high_condenser_pressure
    assert trip is not None and trip.setting.to("kPa").magnitude == 1100
    assert machine.load(sheet()).safeties.high_condenser_pressure is None


@pytest.mark.parametrize(
    "wrong",
    [
        'high_condenser_pressure = { setting = "80 °C", source = "page 3" }',
        'high_condenser_pressure = { setting = "1100 kPa" }',
        'high_condensor_pressure = { setting = "1100 kPa", source = "page 3" }',
    ],
)
def test_a_setting_with_a_wrong_unit_without_source_or_misspelt_is_refused(
    sheet: Callable[..., Path], wrong: str
) -> None:
    assert "safeties" in refused(sheet("[vanes]", f"[safeties]\n{wrong}\n[vanes]"))

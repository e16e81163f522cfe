"""TOML as a person writes it: the line of every fault, and files that no person wrote."""

from __future__ import annotations

import time

import pytest

from startkit.errors import SheetError
from startkit.facts import toml_file


@pytest.mark.parametrize(
    ("text", "path", "line"),
    [
        ("[a]\nb = 1\n", ("a", "b"), 2),
        ("[ a ]  # remark\nb = 1\n", ("a", "b"), 2),
        ("[[a.b]]\nc = 1\n[[a.b]]\nc = 2\n", ("a", "b", 1, "c"), 4),
        ('["x.y"]\n"p q" = 1\n', ("x.y", "p q"), 2),
        ("a.b = 1\n", ("a", "b"), 1),
        ('x = """\u2028\x85"""\nb = 1\n', ("b",), 2),
        ("['x]y']\nb = 1\n", ("x]y", "b"), 2),
    ],
)
def test_a_key_is_found_on_its_line(text, path, line):
    assert toml_file.line_of(text, path) == line


@pytest.mark.parametrize(
    "line",
    [
        "[" + " " * 200_000,
        "[" + "a" * 200_000,
        '["' * 50_000,
        "a." * 100_000,
        "'" * 200_001,
        "[" * 200_000,
        " " * 200_000 + "x",
    ],
)
def test_a_line_of_any_length_is_looked_at_once(line):
    begin = time.process_time()
    toml_file.line_of(f'x = """\n{line}\n"""\ny = 1\n', ("y",))
    assert time.process_time() - begin < 1.0


@pytest.mark.parametrize(
    "text",
    [
        "a" + ".a" * 20_000 + " = 1",
        "[a" + ".a" * 20_000 + "]",
        "x = {" + "a." * 5_000 + "a = 1}",
        "x = " + "[" * 100_000,
        "x = " + "{a = " * 20_000,
    ],
)
def test_what_is_nested_deeper_than_a_person_writes_is_said_so(text):
    with pytest.raises(SheetError, match="nested too deeply"):
        toml_file.parse(text, "sheet.toml")


def test_a_long_list_of_numbers_is_not_a_deep_key():
    assert (
        len(
            toml_file.parse(
                "x = [" + "1.5, " * 500 + "]\ny = [\n[" + "1.5, " * 500 + "],\n]", "sheet.toml"
            )["x"]
        )
        == 500
    )


def test_a_file_that_no_person_wrote_is_refused_by_its_size(tmp_path):
    path = tmp_path / "sheet.toml"
    path.write_text("# \n" * 2_000_000, encoding="utf-8")
    with pytest.raises(SheetError, match="far larger"):
        toml_file.load(path)


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(SheetError, match="not a file"):
        toml_file.load(tmp_path)


def test_a_number_of_thousands_of_digits_is_refused_in_one_sentence():
    with pytest.raises(SheetError, match="digits"):
        toml_file.parse("x = " + "9" * 5000, "sheet.toml")


def test_a_table_written_as_text_reads_back_the_same_below_its_remark():
    table = {
        "machine": {"tag": 'CH "1"\n\x7f', "year": 2026, "ok": True},
        "selection": {"points": [{"load": "100 %"}, {"load": "50 %", "power": "79 kW"}]},
        "limits": {"lube.oil_superheat": {"low": "20 K", "source": "page 6"}},
    }
    text = toml_file.text_of(table, "made from a list\nof machines")
    assert text.startswith("# made from a list\n# of machines\n\n[machine]\n")
    assert toml_file.parse(text, "sheet") == table
    assert toml_file.line_of(text, ("selection", "points", 1, "power")) > 0


def test_half_of_a_surrogate_pair_is_written_as_a_question_mark():
    assert toml_file.parse(toml_file.text_of({"tag": "CH\ud800"}), "sheet") == {"tag": "CH?"}


def test_a_value_without_a_toml_form_is_refused():
    with pytest.raises(SheetError, match="text in quotes"):
        toml_file.text_of({"serial": None})

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

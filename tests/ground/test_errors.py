"""One sentence for a technician, whatever stood in the file that it speaks of."""

from __future__ import annotations

import pytest

from startkit.errors import LONGEST, SheetError, StartkitError, shown


def test_a_sentence_says_where_what_and_the_remedy():
    assert (
        str(SheetError("the unit is missing", "sheet.toml, line 3", "add it"))
        == "sheet.toml, line 3: the unit is missing; add it."
    )
    assert str(StartkitError("nothing was saved")) == "nothing was saved."


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("\x1b[31mred", "\\x1b[31mred"),
        ("bell\x07", "bell\\x07"),
        ("back\x08\x08", "back\\x08\\x08"),
        ("a\rb", "a\\rb"),
        ("turned\u202eround", "turned\\u202eround"),
        ("half\ud800", "half\\ud800"),
        ("a\tb", "a b"),
        ("\x9b31m", "\\x9b31m"),
    ],
)
def test_signs_that_would_act_in_a_terminal_stand_as_their_code(typed: str, said: str):
    assert shown(typed) == said and said in str(StartkitError(typed))


@pytest.mark.parametrize(
    "name", ["Zoë Müller-Østergård", "李小龍", "نگار می‌نویسد", "Ωmega ≥ 3 °C", "12\u00a0kPa"]
)
def test_names_in_any_script_stay_as_they_are(name: str):
    assert shown(name) == name


def test_ends_of_lines_stay_in_a_text_and_go_in_a_sentence():
    assert shown("a\nb") == "a\nb"
    assert str(StartkitError("a\nb", "x\ny", "z\r\nz")).count("\n") == 0


def test_a_sentence_stays_a_sentence_when_a_whole_file_was_typed():
    assert (
        len(str(SheetError("x" * 1_000_000, "y" * 1_000_000, "z" * 1_000_000))) < 3 * LONGEST + 20
    )

"""The fonts of the page."""

from __future__ import annotations

from pathlib import Path

import matplotlib
import pytest

from startkit.paper import glyphs

THERE = Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def test_the_fonts_lie_where_the_plotting_library_has_them():
    assert glyphs.folder() == THERE and (THERE / glyphs.UPRIGHT[0]).is_file()


@pytest.mark.parametrize("origin", [None, "/nowhere/matplotlib/__init__.py"])
def test_where_they_are_not_found_in_its_folder_the_library_is_asked(
    origin: str | None, monkeypatch: pytest.MonkeyPatch
):
    found = None if origin is None else type("Spec", (), {"origin": origin})
    monkeypatch.setattr(glyphs, "find_spec", lambda name: found)
    assert glyphs.folder() == THERE

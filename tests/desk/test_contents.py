"""What JupyterLab saves of a notebook."""

from __future__ import annotations

from startkit.desk.contents import WIDGET, drop_widgets


def notebook(**data: str) -> dict:
    return {"cells": [{"cell_type": "markdown"}, {"outputs": [{"data": data}, {"text": "x"}]}]}


def test_a_live_view_is_saved_as_its_last_state() -> None:
    saved = notebook(**{"text/html": "<p>", WIDGET: "model"})
    drop_widgets(saved)
    assert saved["cells"][1]["outputs"][0]["data"] == {"text/html": "<p>"}


def test_a_widget_without_html_is_kept() -> None:
    saved = notebook(**{WIDGET: "model"})
    drop_widgets(saved)
    assert saved["cells"][1]["outputs"][0]["data"] == {WIDGET: "model"}

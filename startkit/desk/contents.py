"""What JupyterLab saves of a job's notebook: the last state of each card, not its dead widget."""

# `Any` here: a notebook's JSON, and the untyped interface of JupyterLab's server.
from __future__ import annotations

from typing import Any

from jupyter_server.services.contents.largefilemanager import AsyncLargeFileManager

WIDGET = "application/vnd.jupyter.widget-view+json"


def drop_widgets(notebook: dict[str, Any]) -> None:
    """Take live views out of outputs that also have HTML.

    A widget does not outlive its kernel: opened again, each cell would show an error instead of the
    card "as of" its time, which is in the same output.

    Parameters
    ----------
    notebook : dict
        As read from JSON; changed in place.
    """
    for cell in notebook.get("cells", ()):
        for output in cell.get("outputs", ()):
            data = output.get("data", {})
            if "text/html" in data:
                data.pop(WIDGET, None)


class JobContents(AsyncLargeFileManager):
    """JupyterLab's own file manager, which saves notebooks without live views."""

    def run_pre_save_hooks(self, model: dict[str, Any], path: str, **kwargs: Any) -> None:
        """Change what will be written, before it is signed and written."""
        if model.get("type") == "notebook" and isinstance(model.get("content"), dict):
            drop_widgets(model["content"])
        super().run_pre_save_hooks(model=model, path=path, **kwargs)

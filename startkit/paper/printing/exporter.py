"""An executed notebook of a job as its commissioning record: nbconvert's exporter
``startkit-record``.

This module stays light: nbconvert imports every exporter when it lists them.
"""

# `Any` here: nbconvert's interface has no types.
from __future__ import annotations

from pathlib import Path
from typing import Any

from nbconvert.exporters import Exporter
from traitlets import Enum, Unicode

from startkit.errors import PaperError


class RecordExporter(Exporter):
    """Writes PDF/A-3b through one Typst template; refuses what it cannot print."""

    export_from_notebook = "Commissioning record (PDF)"
    output_mimetype = "application/pdf"

    paper = Enum(
        ["", "a4", "us-letter"], "", help="Paper; empty: Letter for a job in I-P units, else A4."
    ).tag(config=True)
    form = Enum(
        ["full", "short"], "full", help="Full record, or the short form for the owner."
    ).tag(config=True)
    company = Unicode("", help="Name at the top of the first page.").tag(config=True)

    _source: Path | None = None

    def _file_extension_default(self) -> str:
        return ".pdf"

    def from_filename(
        self, filename: str, resources: dict[str, Any] | None = None, **kw: Any
    ) -> tuple[Any, dict[str, Any]]:
        """The record of the notebook in a file, whose bytes are attached as they are on disk."""
        self._source = Path(filename)
        try:
            return super().from_filename(filename, resources, **kw)
        finally:
            self._source = None

    def from_notebook_node(
        self, nb: Any, resources: dict[str, Any] | None = None, **kw: Any
    ) -> tuple[Any, dict[str, Any]]:
        """The record of a notebook whose job's folder is in ``resources["metadata"]["path"]``, or
        is its parent.

        Raises
        ------
        PaperError
            There is no job next to the notebook, it was run in form mode, or something cannot be
            printed.
        """
        from startkit.paper.printing import export, register_page
        from startkit.paper.printing.runs import to_bytes

        ready = self._init_resources(resources)
        ready["output_extension"] = self.file_extension
        content = self._source.read_bytes() if self._source else to_bytes(nb)
        name = (
            self._source.name
            if self._source
            else f"{ready['metadata'].get('name') or 'notebook'}.ipynb"
        )
        if register_page.is_register(nb):
            return register_page.pdf(nb, name, content, self.paper, self.company), ready
        folder = _job_folder(Path(ready["metadata"].get("path") or "."))
        return (
            export.printed(folder, nb, name, content, self.paper, self.form, self.company).content,
            ready,
        )


def _job_folder(beside: Path) -> Path:
    from startkit.facts.job import DATABASE

    for folder in (beside, beside.parent, beside.resolve().parent):
        if (folder / DATABASE).is_file():
            return folder
    raise PaperError(
        "there is no job next to the notebook",
        str(beside),
        "print a notebook in its job's folder",
    )

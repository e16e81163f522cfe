"""What every job needs, imported and prepared once in the process that the workers are forked from.

Imported for its effect. Nothing here belongs to a job, and nothing starts a thread.
"""

from __future__ import annotations

import gc
from contextlib import suppress
from importlib import import_module

from startkit.paper import interpreter

USUAL = (
    "R-134a",
    "R-513A",
    "R-1233zd(E)",
)  # refrigerants whose saturation lines are calculated beforehand
_MODULES = (
    "matplotlib.backends.backend_svg",
    "matplotlib.figure",
    "fontTools.ttLib",
    "papermill",
    "pyarrow.compute",
    "pyarrow.csv",
    "scipy.integrate",
    "scipy.interpolate",
    "scipy.ndimage",
    "scipy.optimize",
    "typst",
    "startkit.desk.notebook",
    "startkit.fleet.engine",
    "startkit.fleet.notebook_shell",
    "startkit.paper.printing.export",
    "startkit.paper.printing.record",
    "startkit.paper.printing.typesetting",
    "startkit.procedure.registry",
    "encodings.utf_8_sig",
    "IPython.core.application",
    "IPython.core.completerlib",
    "IPython.core.oinspect",
    "mistune",
)


def _import_all() -> None:
    for name in _MODULES:
        with suppress(
            Exception
        ):  # what is missing is missed by the job that needs it, with its own error
            import_module(name)


def _warm() -> None:
    """Fill what is calculated once in each process: limits, stages, glyphs, the fonts of the plots,
    the notebook's schema.
    """
    import nbformat

    from startkit.desk import plots
    from startkit.facts import limits
    from startkit.fleet import record_stamp
    from startkit.paper import glyphs
    from startkit.procedure import registry
    from startkit.procedure.stage import Line, Plot
    from startkit.science import refrigerant

    nbformat.validate(nbformat.v4.new_notebook())
    limits.defaults()
    registry.stages()
    record_stamp.versions()
    glyphs.covered()
    glyphs.covered(glyphs.OBLIQUE)
    glyphs.fonts()
    for fluid in USUAL:
        refrigerant.dome.si(fluid)
    plots.svg(
        Plot("Warm", "Load", "percent", "Power", "power", (Line("first", [0.0, 1.0], [0.0, 1.0]),))
    )


interpreter.skip_address_grammar()
_import_all()
with suppress(Exception):
    _warm()
# What is here stays: the collector of a forked process need not look at it again, nor touch its
# pages, which all of them share.
gc.collect()
gc.freeze()

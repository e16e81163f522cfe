"""What our own processes leave out."""

from __future__ import annotations

import gc
import subprocess
import sys

import pytest

from startkit.paper import lean


def said(code: str) -> list[str]:
    """What a process of its own prints."""
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.splitlines()


def test_a_notebook_is_validated_without_the_grammar_of_addresses() -> None:
    code = (
        "import sys; from startkit.paper import lean; lean.addresses(); import nbformat;"
        " nbformat.validate(nbformat.v4.new_notebook()); print(sys.modules.get('rfc3987_syntax'),"
        " 'jsonschema' in sys.modules)"
    )
    assert subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split() == ["None", "True"]


def test_where_it_is_loaded_already_it_stays() -> None:
    code = (
        "import sys; sys.modules['rfc3987_syntax'] = there = object(); from startkit.paper import"
        " lean; lean.addresses(); print(sys.modules['rfc3987_syntax'] is there)"
    )
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "True"
    )


def test_the_property_library_does_not_complain_at_the_end() -> None:
    code = (
        "from startkit.paper import lean; lean.ending(); from startkit.science import"
        " refrigerant_equations as e; from startkit.science.refrigerant_data import find;"
        " e.state(find('R-134a'))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == done.stderr == ""


def test_a_process_ends_with_its_own_status() -> None:
    assert (
        subprocess.run(
            [
                sys.executable,
                "-c",
                "from startkit.paper import lean; lean.ending(); raise SystemExit(3)",
            ],
            check=False,
        ).returncode
        == 3
    )


def test_verification_begins_with_the_signatures_before_it_loads_what_judges() -> None:
    code = (
        "import sys, startkit.paper.verification; print([m for m in ('numpy', 'pint', 'typst',"
        " 'startkit.facts.job') if m in sys.modules])"
    )
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "[]"
    )


# --- manuals that nobody reads --------------------------------------------------------------------

SCIENCES = (
    "import numpy, scipy.special, scipy.optimize, scipy.interpolate, scipy.integrate,"
    " scipy.ndimage, scipy.sparse; "
)
WORKED = (
    "print(scipy.special.stdtrit(5, 0.975), scipy.optimize.nnls([[1., 0.], [0., 1.]], [2.,"
    " -1.])[0], scipy.interpolate.CubicSpline([0, 1, 2], [0, 1, 4])(1.5)); "
)


def test_without_manuals_scipy_calculates_the_same() -> None:
    assert said(f"from startkit.paper import lean; lean.manuals(); {SCIENCES}{WORKED}") == said(
        f"{SCIENCES}{WORKED}"
    )


def test_without_manuals_the_compiler_and_the_test_helpers_of_numpy_are_not_loaded_until_asked_for() -> (
    None
):
    looked = (
        "import sys; print('numpy.f2py' in sys.modules, 'numpy.testing' in sys.modules); import"
        " numpy.testing; numpy.testing.assert_allclose(1, 1); print('loaded')"
    )
    assert said(f"from startkit.paper import lean; lean.manuals(); {SCIENCES}{looked}") == [
        "False False",
        "loaded",
    ]


def test_a_cell_that_uses_the_test_helpers_of_numpy_finds_them() -> None:
    assert said(
        "from startkit.paper import lean; lean.manuals();"
        f" {SCIENCES}numpy.testing.assert_allclose(1, 1); import sys; print(numpy.testing is"
        " sys.modules['numpy.testing'])"
    ) == ["True"]


def test_where_scipy_is_loaded_already_its_manuals_stay() -> None:
    assert said(
        f"{SCIENCES}from scipy._lib import _docscrape as d; from startkit.paper import lean;"
        " lean.manuals(); print(d.FunctionDoc.__name__)"
    ) == ["FunctionDoc"]


def test_another_scipy_that_keeps_its_manuals_elsewhere_takes_its_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def gone() -> None:
        raise ImportError("no such module")

    monkeypatch.setattr(lean, "_empty_manuals", gone)
    monkeypatch.delitem(sys.modules, "scipy._lib._array_api", raising=False)
    lean.manuals()


# --- the web --------------------------------------------------------------------------------------


def test_a_check_of_signatures_loads_no_library_for_the_web() -> None:
    assert said(
        "import sys; from startkit.paper import lean; lean.web(); import pyhanko.sign.validation;"
        " print('yarl' in sys.modules, 'multidict' in sys.modules)"
    ) == ["False False"]


def test_where_the_library_for_the_web_is_loaded_already_it_stays() -> None:
    assert said(
        "import aiohttp; from startkit.paper import lean; lean.web(); import pyhanko.sign.fields;"
        " print(aiohttp.ClientSession.__module__)"
    ) == ["aiohttp.client"]


def test_a_pyhanko_that_does_not_bear_it_gets_the_real_library() -> None:
    code = (
        "from startkit.paper import lean\ndef no(name): raise TypeError(name)\nlean.import_module ="
        " no\nlean.web()\nfrom pyhanko.sign.timestamps import HTTPTimeStamper\nimport aiohttp;"
        " print(aiohttp.ClientSession.__module__)"
    )
    assert said(code) == ["aiohttp.client"]


def test_around_one_record_nothing_is_collected_and_afterwards_it_is_as_before() -> None:
    was = gc.isenabled()
    with lean.one_record():
        assert not gc.isenabled()
    assert gc.isenabled() == was

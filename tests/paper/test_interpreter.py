"""How our own processes run: what they skip, and work that needs an event loop."""

from __future__ import annotations

import asyncio
import gc
import subprocess
import sys
from collections.abc import Callable

import pytest

from startkit.paper import interpreter
from startkit.paper.interpreter import with_own_loop
from tests.paper.conftest import in_a_thread, where_a_loop_runs


async def answer() -> int:
    return 42


def work() -> int:
    coroutine = answer()
    try:
        return asyncio.run(coroutine)
    finally:
        coroutine.close()


def wrong() -> int:
    raise ValueError("no key")


@pytest.mark.parametrize("place", [in_a_thread, where_a_loop_runs])
def test_work_is_done(place: Callable[[Callable[[], int]], int]) -> None:
    assert place(lambda: with_own_loop(work)) == 42


@pytest.mark.parametrize("place", [in_a_thread, where_a_loop_runs])
def test_an_error_of_the_work_is_the_error_of_the_call(
    place: Callable[[Callable[[], int]], int],
) -> None:
    with pytest.raises(ValueError, match="no key"):
        place(lambda: with_own_loop(wrong))


def test_without_the_help_the_work_cannot_be_done_where_a_loop_runs() -> None:
    with pytest.raises(RuntimeError, match="running event loop"):
        where_a_loop_runs(work)


# --- what is skipped ---


def said(code: str) -> list[str]:
    """What a process of its own prints."""
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.splitlines()


def test_a_notebook_is_validated_without_the_grammar_of_addresses() -> None:
    code = (
        "import sys; from startkit.paper import interpreter; interpreter.skip_address_grammar();"
        " import nbformat; nbformat.validate(nbformat.v4.new_notebook());"
        " print(sys.modules.get('rfc3987_syntax'),"
        " 'jsonschema' in sys.modules)"
    )
    assert subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split() == ["None", "True"]


def test_where_it_is_loaded_already_it_stays() -> None:
    code = (
        "import sys; sys.modules['rfc3987_syntax'] = there = object(); from startkit.paper import"
        " interpreter; interpreter.skip_address_grammar(); "
        " print(sys.modules['rfc3987_syntax'] is there)"
    )
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "True"
    )


def test_the_property_library_does_not_complain_at_the_end() -> None:
    code = (
        "from startkit.paper import interpreter; interpreter.skip_last_collection();"
        " from startkit.science import refrigerant_equations as e;"
        " from startkit.science.refrigerant_data import find;"
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
                "from startkit.paper import interpreter; interpreter.skip_last_collection();"
                " raise SystemExit(3)",
            ],
            check=False,
        ).returncode
        == 3
    )


def test_verification_begins_with_the_signatures_before_it_loads_what_judges() -> None:
    code = (
        "import sys, startkit.paper.verifying.verification; print([m for m in"
        " ('numpy', 'pint', 'typst', 'startkit.facts.job') if m in sys.modules])"
    )
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "[]"
    )


def test_garbage_collection_pauses_inside_and_is_as_before_afterwards() -> None:
    was = gc.isenabled()
    with interpreter.collection_paused():
        assert not gc.isenabled()
    assert gc.isenabled() == was

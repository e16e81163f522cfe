"""Whatever a file holds: it is read, or refused in one sentence with its remedy, soon and in little
memory.

STARTKIT_FUZZ raises the number of inputs (default 2000 over all readers); `benchmarks/fuzz.py` is
the long run.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchmarks.fuzz import Tally, fault_of
from benchmarks.fuzz_inputs import KINDS, TOKENS, Edit, edited
from benchmarks.fuzz_targets import TARGETS

INPUTS = int(os.environ.get("STARTKIT_FUZZ", "2000"))
SHARES = sum(target.share for target in TARGETS.values())
tokens = st.one_of(st.sampled_from(TOKENS), st.binary(max_size=12))
edits = st.lists(
    st.builds(
        Edit, st.sampled_from(sorted(set(KINDS))), st.floats(0, 1), st.integers(0, 200), tokens
    ),
    min_size=1,
    max_size=6,
)


@pytest.mark.parametrize("name", list(TARGETS))
def test_every_input_is_read_or_refused_in_a_sentence(name: str, tmp_path: Path) -> None:
    target = TARGETS[name]
    seeds = list(target.seeds())
    for seed in seeds:
        target.read(seed, tmp_path)
    tally = Tally(name)

    # The same inputs every time, so that a failure is one of the change at hand; the long run draws
    # new ones.
    @settings(
        max_examples=max(5, round(INPUTS * target.share / SHARES)),
        deadline=None,
        database=None,
        derandomize="STARTKIT_FUZZ" not in os.environ,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.sampled_from(range(len(seeds))), edits)
    def reads(number: int, changes: list[Edit]) -> None:
        fault = fault_of(target, edited(seeds[number], changes, target.spans), tmp_path, tally)
        assert not fault, fault

    reads()
    assert tally.inputs > 0


def test_the_harness_sees_a_fault(tmp_path: Path) -> None:
    """A check that cannot fail proves nothing: each kind of fault is put in and must be found."""
    import time
    from dataclasses import replace

    from startkit.errors import ReadingError

    def raising(error: Exception):
        def read(data: bytes, folder: Path) -> None:
            raise error

        return replace(TARGETS["units"], read=read)

    def busy(data: bytes, folder: Path) -> None:
        end = time.process_time() + 2.2
        while time.process_time() < end:
            pass

    assert "ZeroDivisionError" in fault_of(
        raising(ZeroDivisionError("x")), b"", tmp_path, Tally("")
    )
    assert "no remedy" in fault_of(raising(ReadingError("bad", "here")), b"", tmp_path, Tally(""))
    assert fault_of(raising(ReadingError("bad", "here", "do that")), b"", tmp_path, Tally("")) == ""
    assert "processor time" in fault_of(
        replace(TARGETS["units"], read=busy), b"", tmp_path, Tally("")
    )

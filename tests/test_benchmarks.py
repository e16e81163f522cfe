"""The table of the benchmarks: every figure is read from what a benchmark prints, and what is
missing or fails says so.
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
_spec = importlib.util.spec_from_file_location("benchmarks_all", ROOT / "benchmarks" / "all.py")
every = importlib.util.module_from_spec(_spec)
sys.modules["benchmarks_all"] = every
_spec.loader.exec_module(every)
HELP = next(b for b in every.BENCHMARKS if b.name == "help_time")

PRINTED = {
    "help_time": ("python -c pass 0.020 s; startkit --help 0.110 s; ratio 5.4\n", "ratio 5.4"),
    "desk_latency": (
        "edit to durable save and card, median of all: 36.2 ms (target 100 ms)\n",
        "36.2 ms",
    ),
    "killed": (
        (
            "60 kills in 9 s: 812 entries acknowledged, 0 lost, 0 broken chains, 0 unreadable"
            " journals\n"
        ),
        "60 kills: 0 lost, 0 broken chains",
    ),
    "killed_files": (
        (
            "new job            22 steps    62 kills   0 faults\nrescue             11 steps    20"
            " kills   1 faults\n    half a file\n"
        ),
        "82 kills of 2 deeds, 1 faults",
    ),
    "power_cut": (
        (
            "EXTRA: 50 cuts in 40 s: 812 entries acknowledged, 0 lost, 0 broken chains, 0"
            " unreadable journals\nFULL: 50 cuts in 38 s: 902 entries acknowledged, 31 lost, 0"
            " broken chains, 0 unreadable journals\n"
        ),
        "50 cuts: 0 lost, 0 broken chains",
    ),
    "record_speed": ("webpdf to record, both cold, ratio: 3.12\n", "ratio 3.12"),
    "trend_speed": (
        (
            "| rows | loop |\n| 86,400 | 20 | 0.77 | 0.26 | 0.46 | **1.50** | 0.53 | 418 | 134 |"
            " 513 |\n"
        ),
        "1.50 s together, ratio 513",
    ),
    "coverage": (
        (
            "| Capacity | 95.2 | +0.01 | 96.0 | +0.02 | 500 |\n| Approach | 93.1 | -0.10 | 94.0 |"
            " +0.00 | 500 |\n"
        ),
        "95 % intervals hold the truth in 93 to 95 % of runs",
    ),
    "vane_diagnosis": (
        (
            "Right 90.4 %, undecided 9.6 %, wrong 0.0 % (missed 0.0 %) of 1400 runs.\nRight 1 %,"
            " undecided 1 %, wrong 1 %\n"
        ),
        "Right 90.4 %, undecided 9.6 %, wrong 0.0 %",
    ),
    "wrong_readings": (
        "Every slip was tried: 30. 20 of them count: 19 of 20 (95.0 %) are noticed\n",
        "95.0 % of 20 noticed",
    ),
    "honest_machines": (
        "| clear to load | 0 | 0.0 % |\n| clear to hand over | 3 | 0.6 % |\n",
        "3 false fails, 0.6 %",
    ),
    "pulldown_risk": (
        "Over all cases the interval held in 89 of 100 trends.\n",
        "90 % interval holds in 89 of 100",
    ),
    "fleet_rate": ("ratio: 8.3\n", "ratio 8.3"),
    "tampering": (
        "caught 226 of 226; honest 17 of 17\n",
        "caught 226 of 226; honest records valid 17 of 17",
    ),
    "fuzz": (
        (
            "toml              chance      300      120     0.01     88.1       0\ntrend, text     "
            "  chance      300       20     0.01     90.0       1\n"
        ),
        "600 inputs over 2 readers, 1 faults",
    ),
}


@pytest.mark.parametrize(
    ("name", "printed", "shown"),
    [(name, *pair) for name, pair in PRINTED.items()],
    ids=list(PRINTED),
)
def test_a_figure_is_read_from_what_the_benchmark_prints(
    name: str, printed: str, shown: str
) -> None:
    benchmark = next(b for b in every.BENCHMARKS if b.name == name)
    assert benchmark.read(printed) == shown
    assert benchmark.read("Traceback (most recent call last):") == ""


def test_every_benchmark_of_the_folder_is_in_the_table() -> None:
    assert every.unlisted() == []


def test_one_that_is_there_gives_its_figure_and_its_command() -> None:
    line = every.measured(HELP)
    assert line.shown.startswith("ratio ") and float(line.shown.split()[1]) > 1
    assert line.command == "python benchmarks/help_time.py"


def test_one_that_is_not_there_is_called_missing() -> None:
    assert every.measured(replace(HELP, name="not_written")).shown.startswith("missing")


def test_one_that_prints_no_figure_says_what_it_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "help_time.py").write_text("raise SystemExit('no Chromium here')", encoding="utf-8")
    monkeypatch.setattr(every, "HERE", tmp_path)
    assert every.measured(HELP).shown == "no figure: no Chromium here"


def test_an_unknown_name_is_refused_with_the_known_ones(capsys: pytest.CaptureFixture[str]) -> None:
    assert every.main(["speed"]) == 2
    assert "help_time" in capsys.readouterr().err

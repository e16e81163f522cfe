"""How long a trend takes: import, marks, every figure, steady stretches; beside a loop that asks
for each property row by row.

Run ``python benchmarks/trend_speed.py`` (a day, 86,400 rows of 40 columns) or ``--rows 1000000``;
with ``--write`` the table goes into
``workbook/proof/trend-speed.md``. Times are wall clock of one run, libraries loaded before; memory
is the peak of the process.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

HERE = Path(__file__).resolve().parent
if str(HERE.parent) not in sys.path:
    sys.path.insert(0, str(HERE.parent))

import numpy as np

from startkit.facts import machine
from startkit.facts.limits import defaults
from startkit.facts.trend import trend
from startkit.facts.trend.guess import guess_file
from startkit.stages.load_up import trend_figures, trend_windows
from startkit.units import Q

SHEET = HERE.parent / "workbook" / "plant" / "machines" / "CH-1.toml"
PAGE = HERE.parent / "workbook" / "proof" / "trend-speed.md"
BAROMETER = Q(101.1, "kilopascal")
COLUMNS = 40
LOOPED = 400  # rows of the loop; its rate is carried to the whole trend


@dataclass(frozen=True)
class Times:
    """Seconds of each step, peak memory [MB], and the loop's seconds for the same rows."""

    rows: int
    file: float
    read: float
    figures: float
    slow: float
    steady: float
    memory: float
    loop: float

    @property
    def total(self) -> float:
        return self.read + self.figures + self.steady

    @property
    def ratio(self) -> float:
        return self.loop / self.figures


def write_day(path: Path, rows: int) -> None:
    """A running machine's readings every second in 40 columns, 17 of them points of the load-up."""
    import pyarrow as pa
    from pyarrow import csv

    rng, seconds = np.random.default_rng(7), np.arange(rows)
    share = 0.55 + 0.35 * np.sin(seconds / 9000)
    made = {
        "CHWR Temp (°C)": 7 + 5.5 * share,
        "CHWS Temp (°C)": 7 + 0 * share,
        "CHW Flow (L/s)": 76.3 + 0 * share,
        "CDWS Temp (°C)": 19 + 11 * share,
        "CDWR Temp (°C)": 19 + 16.2 * share,
        "CDW Flow (L/s)": 95 + 0 * share,
        "Evap Press (kPa)": 258 - 4 * share,
        "Cond Press (kPa)": 430 + 390 * share,
        "Suction Temp (°C)": 6 + share,
        "Discharge Temp (°C)": 24 + 20 * share,
        "Liquid Temp (°C)": 18 + 15 * share,
        "Power (kW)": 30 + 255 * share,
        "Motor Current (A)": 40 + 335 * share,
        "IGV Position (%)": 25 + 75 * share,
        "Evap dP (kPa)": 58 + 0 * share,
        "Oil Diff Press (kPa)": 170 + 0 * share,
        "Oil Temp (°C)": 47 + 0 * share,
    }
    noise = {
        "Temp": 0.02,
        "Flow": 0.2,
        "Press": 0.4,
        "Power": 0.4,
        "Current": 0.5,
        "Position": 0.1,
        "dP": 0.2,
    }
    table = {
        "Time": np.char.replace(
            (np.datetime64("2026-04-16T00:00:00") + seconds.astype("timedelta64[s]")).astype(str),
            "T",
            " ",
        )
    }
    for name, values in made.items():
        spread = next(size for word, size in noise.items() if word in name)
        table[name] = np.round(values + rng.normal(0, spread, rows), 2)
    for extra in range(COLUMNS - len(table)):
        table[f"Zone {extra} valve"] = np.round(50 + 10 * rng.standard_normal(rows), 1)
    csv.write_csv(pa.table(table), path, csv.WriteOptions(quoting_style="none"))


def loop_seconds(sheet: machine.Machine, readings: dict[str, np.ndarray]) -> float:
    """Seconds for one row of a loop that asks CoolProp for each property as it is needed."""
    from CoolProp.CoolProp import PropsSI

    def row(i: int) -> tuple[float, ...]:
        r = {name: float(values[i]) for name, values in readings.items()}
        evaporating, condensing = (
            PropsSI("T", "P", r[f"{side}_pressure"], "Q", 1, "R134a")
            for side in ("evaporator", "condenser")
        )
        bubble = PropsSI("T", "P", r["condenser_pressure"], "Q", 0, "R134a")
        heats = []
        for side, fluid_side in (("chilled", "evaporator"), ("condenser", "condenser")):
            entering, leaving = r[f"{side}_entering"], r[f"{side}_leaving"]
            rho, cp = (
                PropsSI("D", "T", entering, "P", 101325, "Water"),
                PropsSI("C", "T", (entering + leaving) / 2, "P", 101325, "Water"),
            )
            heats.append(r[f"{fluid_side}_flow"] * rho * cp * abs(entering - leaving))
        capacity, rejected = heats
        return (
            capacity,
            rejected,
            (capacity + r["power"] - rejected) / rejected,
            r["power"] / capacity,
            r["chilled_leaving"] - evaporating,
            condensing - r["condenser_leaving"],
            r["suction_temperature"] - evaporating,
            bubble - r["liquid_temperature"],
            condensing - evaporating,
            r["current"] / 386,
        )

    picked = np.linspace(0, next(iter(readings.values())).size - 1, LOOPED).astype(int)
    picked = [i for i in picked if all(np.isfinite(readings[name][i]) for name in readings)]
    row(picked[0])
    begin = time.perf_counter()
    for i in picked:
        row(i)
    return (time.perf_counter() - begin) / len(picked)


def measure(path: Path) -> Times:
    """One run over a file, with the libraries already loaded."""
    sheet = machine.load(SHEET)
    made = guess_file(path, sheet)
    trend_figures.circuit(sheet)
    _warm(sheet)
    begin = time.perf_counter()
    found = trend.build(path, made, "day", "0")
    read = time.perf_counter()
    figures = trend_figures.figures(sheet, found, BAROMETER)
    figured = time.perf_counter()
    trend_windows.steady(sheet, defaults(), found, BAROMETER)
    steady = time.perf_counter()
    trend_figures.figures(
        sheet, found, BAROMETER, slow=True, only=("isentropic_head", "isentropic_efficiency")
    )
    slow = time.perf_counter()
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    loop = loop_seconds(sheet, figures.readings) * len(found)
    return Times(
        len(found),
        path.stat().st_size / 1e6,
        read - begin,
        figured - read,
        slow - steady,
        steady - figured,
        memory,
        loop,
    )


def _warm(sheet: machine.Machine) -> None:
    """The splines are built once for each refrigerant; a job has them from its first reading on."""
    from startkit.science import compression, refrigerant, water

    name = sheet.machine.refrigerant
    pressure = np.array([300e3, 800e3])
    compression.isentropic_efficiency.si(
        name, pressure[:1], np.array([280.0]), pressure[1:], np.array([310.0])
    )
    refrigerant.bubble_temperature.si(name, pressure)
    water.density.si(np.array([285.0])), water.heat_capacity.si(np.array([285.0]))


def page(times: list[Times]) -> str:
    """The table of the proof."""
    lines = [
        "# How long a trend takes",
        "",
        "This page is written by `benchmarks/trend_speed.py --write`.",
        "",
        (
            f"CSV of {COLUMNS} columns, 17 of them points, a row every second; {os.cpu_count()}"
            " cores. Seconds of wall clock, one run, libraries loaded and splines built before."
        ),
        (
            "Read: parsed, stamps read, units, marks. Figures: all but those of the compressor (28"
            " a row), which stand by themselves. The loop asks CoolProp for each property of"
            " each row"
        ),
        (
            f"(nine of them, ten figures) as a script would; timed over {LOOPED} rows spread over"
            " the trend and carried to all."
        ),
        "",
        (
            "| rows | file, MB | read | figures | steady | together | compressor's figures |"
            " memory, MB | loop | loop / figures |"
        ),
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for t in times:
        lines.append(
            f"| {t.rows:,} | {t.file:.0f} | {t.read:.2f} | {t.figures:.2f} | {t.steady:.2f} |"
            f" **{t.total:.2f}** | {t.slow:.2f} | {t.memory:.0f} | {t.loop:.0f} | {t.ratio:.0f} |"
        )
    return "\n".join([*lines, ""])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, nargs="*", default=[86_400])
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    chosen = parser.parse_args()
    times = []
    for rows in chosen.rows:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "day.csv"
            # A process of its own for each, so that memory is that of the trend alone.
            with ProcessPoolExecutor(1, get_context("spawn")) as pool:
                pool.submit(write_day, path, rows).result()
            with ProcessPoolExecutor(1, get_context("spawn")) as pool:
                times.append(pool.submit(measure, path).result())
    text = page(times)
    if chosen.write:
        PAGE.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()

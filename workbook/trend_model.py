"""A panel's export of the load-up day: the model's truth seen through the instruments every quarter
of a minute, with the faults such files have.

Between the loads everything goes in a straight line; after each change the leaving water hunts for
a while.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from startkit.facts.machine import Machine
from startkit.facts.trend import column_map
from startkit.facts.trend.guess import guess_file
from workbook.chiller_model import CELSIUS, Steady
from workbook.measured import MOTOR_HERTZ, Measured
from workbook.people import SENSORS
from workbook.sensors_model import stream

STEP = 15.0  # [s] between rows
HOLDS = (
    ("08:52", "09:52"),
    ("10:20", "11:20"),
    ("12:35", "13:35"),
    ("14:00", "15:00"),
)  # when each load of the story was held
HUNTS, SWING, PERIOD = 900.0, 0.35, 240.0  # [s], [K], [s] of the hunting at the beginning of a hold
# Column -> instrument. What the file calls them.
COLUMNS = {
    "Evap EWT (°C)": "TW-1",
    "Evap LWT (°C)": "TW-2",
    "Cond EWT (°C)": "TW-3",
    "Cond LWT (°C)": "TW-4",
    "CHW Flow (L/s)": "FW-1",
    "CDW Flow (L/s)": "FW-2",
    "Evap Press (kPa)": "PE-1",
    "Cond Press (kPa)": "PC-1",
    "Suction Temp (°C)": "TR-1",
    "Discharge Temp (°C)": "TR-1",
    "Liquid Line Temp (°C)": "TR-1",
    "Power (kW)": "WM-1",
    "Motor Current (A)": "AM-1",
    "IGV Position (%)": "VP-1",
    "Motor Speed (Hz)": "",
    "Oil Diff Press (kPa)": "PO-S",
    "Oil Temp (°C)": "TO-1",
}


@dataclass(frozen=True)
class Day:
    """The export, and what was so.

    Parameters
    ----------
    text : str
        The file.
    holds : tuple of (float, datetime, datetime)
        Each load with the begin and end of its hold.
    """

    text: str
    holds: tuple[tuple[float, datetime, datetime], ...]


def load_up_day(measured: Measured, faults: bool = True) -> Day:
    """The trend of the third day: every load of the story while it was held, and the way from one
    to the next.
    """
    loads, holds = measured.truth.loads, [tuple(_at(clock) for clock in pair) for pair in HOLDS]
    seconds, place, swing = _course(
        [((a - holds[0][0]).total_seconds(), (b - holds[0][0]).total_seconds()) for a, b in holds]
    )
    levels = [_truths(measured, measured.steady[load]) for load in loads]
    truth = {
        name: np.interp(place, np.arange(len(loads)), [values[name] for values in levels])
        for name in COLUMNS
    }
    truth["Evap LWT (°C)"] = truth["Evap LWT (°C)"] + swing
    shown = {name: _seen(measured, name, values) for name, values in truth.items()}
    stamps = [holds[0][0] + timedelta(seconds=float(s)) for s in seconds]
    rows = [
        [stamp.strftime("%m/%d/%Y %H:%M:%S"), *(f"{shown[name][i]:.2f}" for name in COLUMNS)]
        for i, stamp in enumerate(stamps)
    ]
    if faults:
        rows = _with_faults(rows, stream(measured.seed, "trend", "faults"))
    head = ",".join(["Time", *COLUMNS])
    return Day(
        "\n".join([head, *(",".join(row) for row in rows)]) + "\n",
        tuple((load, *hold) for load, hold in zip(loads, holds, strict=True)),
    )


def _at(clock: str) -> datetime:
    hour, minute = map(int, clock.split(":"))
    return datetime(2026, 4, 16, hour, minute)


def _course(holds: list[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Seconds, place between the loads, swing of the leaving water."""
    seconds = np.arange(0.0, holds[-1][1] + STEP / 2, STEP)
    place = np.interp(
        seconds,
        [at for hold in holds for at in hold],
        [n for n in range(len(holds)) for _ in range(2)],
    )
    swing = np.zeros_like(seconds)
    for begin, _ in holds:
        inside = (seconds >= begin) & (seconds < begin + HUNTS)
        swing[inside] = SWING * np.sin(2 * np.pi * (seconds[inside] - begin) / PERIOD)
    return seconds, place, swing


def confirmed_map(path: Path, machine: Machine) -> str:
    """The map of the export as a person would leave it: guessed, instruments and zone written in,
    confirmed.
    """
    guessed = guess_file(path, machine)
    columns = tuple(
        replace(column, instrument=COLUMNS.get(column.column, "")) for column in guessed.columns
    )
    return column_map.text(replace(guessed, confirmed=True, zone="-04:00", columns=columns))


def _truths(measured: Measured, s: Steady) -> dict[str, float]:
    """True values at one load in the units of the columns."""
    at, oil = s.conditions, measured.oil_circuit(measured.truth.zero_left)
    return dict(
        zip(
            COLUMNS,
            (
                s.entering_chilled - CELSIUS,
                at.leaving_chilled - CELSIUS,
                at.entering_condenser - CELSIUS,
                s.leaving_condenser - CELSIUS,
                at.chilled_flow * 1e3,
                at.condenser_flow * 1e3,
                s.evaporator_pressure / 1e3 - measured.truth.barometer,
                s.condenser_total_pressure / 1e3 - measured.truth.barometer,
                s.suction_temperature - CELSIUS,
                s.discharge_temperature - CELSIUS,
                s.liquid_temperature - CELSIUS,
                s.power / 1e3,
                s.current,
                100 * s.operation.position,
                MOTOR_HERTZ * s.operation.speed,
                oil.true_differential / 1e3,
                measured.oil_supply_celsius,
            ),
            strict=True,
        )
    )


def _seen(measured: Measured, name: str, truth: np.ndarray) -> np.ndarray:
    """The readings of one column: the instrument's bias, and fresh noise in every row."""
    tag = COLUMNS[name]
    if not tag:
        return truth
    offset, share = SENSORS[tag].bias(measured.seed)
    return (
        truth * (1 + share)
        + offset
        + stream(measured.seed, tag, "trend", name).normal(
            0.0, max(SENSORS[tag].noise, 1e-9), truth.size
        )
    )


def _with_faults(rows: list[list[str]], rng: np.random.Generator) -> list[list[str]]:
    """Lost readings as zeros and words, two spikes, a duplicate stamp, four minutes missing."""
    count = len(rows)
    for column, text in (
        ("Evap LWT (°C)", "0.00"),
        ("CHW Flow (L/s)", "0.00"),
        ("Cond Press (kPa)", "Bad"),
        ("Power (kW)", ""),
    ):
        for row in rng.choice(count, 6, replace=False):
            rows[row][1 + list(COLUMNS).index(column)] = text
    for column, by in (("Power (kW)", 180.0), ("Cond LWT (°C)", 12.0)):
        row, place = int(rng.integers(100, count - 100)), 1 + list(COLUMNS).index(column)
        rows[row][place] = f"{float(rows[row][place] or 0) + by:.2f}"
    twice = int(rng.integers(50, count // 3))
    rows[twice] = [rows[twice - 1][0], *rows[twice][1:]]
    gap = int(3720 / STEP)  # in the first change of load
    return rows[:gap] + rows[gap + int(240 / STEP) :]

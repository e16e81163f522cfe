"""Motor: its current as a part of full load, what it draws at the start, and how long it takes to
speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.formula import Number
from startkit.units import quantities

_PRINTED = "EASA Electrical Engineering Handbook, starting characteristics (secondary)"


@dataclass(frozen=True)
class Starter:
    """A kind of starter: line current and torque at standstill as parts of those across the line.

    `current` is None where the starter's own setting decides: give that as the limit.
    """

    key: str
    title: str
    current: float | None
    torque: float | None
    source: str
    standing: str


STARTERS = {
    row.key: row
    for row in (
        Starter(
            "across-the-line", "full voltage, across the line", 1.0, 1.0, "definition", "published"
        ),
        Starter("wye-delta", "wye-delta", 1 / 3, 1 / 3, _PRINTED, "secondary"),
        # Line side of the transformer; its magnetising current, usually under a quarter of full
        # load, comes on top.
        Starter(
            "autotransformer-80", "autotransformer, 80 % tap", 0.64, 0.64, _PRINTED, "secondary"
        ),
        Starter(
            "autotransformer-65", "autotransformer, 65 % tap", 0.42, 0.42, _PRINTED, "secondary"
        ),
        Starter(
            "autotransformer-50", "autotransformer, 50 % tap", 0.25, 0.25, _PRINTED, "secondary"
        ),
        Starter("reactor-80", "primary reactor, 80 % tap", 0.80, 0.64, _PRINTED, "secondary"),
        Starter("reactor-65", "primary reactor, 65 % tap", 0.65, 0.42, _PRINTED, "secondary"),
        Starter("reactor-50", "primary reactor, 50 % tap", 0.50, 0.25, _PRINTED, "secondary"),
        Starter(
            "resistor-80", "primary resistor, 80 % of voltage", 0.80, 0.64, _PRINTED, "secondary"
        ),
        Starter(
            "soft-start",
            "solid-state soft starter",
            None,
            None,
            "its own current limit",
            "common practice",
        ),
        Starter(
            "drive",
            "variable-frequency drive",
            None,
            None,
            "its own current limit",
            "common practice",
        ),
    )
}

# Locked-rotor apparent power over rated power, kVA/hp: from, up to but not including.
# NEMA MG 1 10.37.2 (secondary); the nameplate shows the letter.
CODE_LETTERS = {
    "A": (0.0, 3.15),
    "B": (3.15, 3.55),
    "C": (3.55, 4.0),
    "D": (4.0, 4.5),
    "E": (4.5, 5.0),
    "F": (5.0, 5.6),
    "G": (5.6, 6.3),
    "H": (6.3, 7.1),
    "J": (7.1, 8.0),
    "K": (8.0, 9.0),
    "L": (9.0, 10.0),
    "M": (10.0, 11.2),
    "N": (11.2, 12.5),
    "P": (12.5, 14.0),
    "R": (14.0, 16.0),
    "S": (16.0, 18.0),
    "T": (18.0, 20.0),
    "U": (20.0, 22.4),
}
CODE_LETTER_SOURCE = "NEMA MG 1 10.37.2 (secondary)"
_HORSEPOWER = 745.69987158227022  # W, 550 ft lbf/s


@quantities("dimensionless", current="ampere", full_load_current="ampere")
def percent_full_load_current(current: Number, full_load_current: Number) -> Number:
    """Line current as a part of the motor's full-load current.

    part = I / I_full_load

    Parameters
    ----------
    current : Quantity
        Line current [A]; of the three phases take the highest for a limit, the mean for a load.
    full_load_current : Quantity
        Nameplate or selection [A].

    Returns
    -------
    Quantity
        [1]; ``.to("percent")`` shows it as the trade does.

    Raises
    ------
    ScienceError
        No full-load current.

    Source: definition.
    """
    if full_load_current <= 0:
        raise ScienceError(
            "no full-load current to compare with",
            "percent of full-load current",
            "enter it from the nameplate",
        )
    return current / full_load_current


@quantities("ampere", winding_current="ampere")
def line_current(winding_current: Number) -> Number:
    """Line current of a motor whose windings are in delta.

    I = sqrt(3) I_winding

    Parameters
    ----------
    winding_current : Quantity
        Read inside the delta, in the lead of one winding [A].

    Returns
    -------
    Quantity
        [A], of balanced phases: unbalance inside the delta is not that of the line.

    Source: definition of the balanced three-phase delta.
    """
    return math.sqrt(3) * winding_current


def starter(key: str) -> Starter:
    """The starter of that key, or a `ScienceError` that names the known ones."""
    if key not in STARTERS:
        raise ScienceError(
            f"{key!r} is not a kind of starter", "starter", f"choose {', '.join(STARTERS)}"
        )
    return STARTERS[key]


@quantities(
    "ampere", locked_rotor_current="ampere", full_load_current="ampere", limit="dimensionless"
)
def expected_inrush(
    locked_rotor_current: Number,
    kind: str,
    full_load_current: Number | None = None,
    limit: Number | None = None,
) -> Number:
    """Line current expected at standstill with a kind of starter.

    I = ratio I_locked_rotor; soft starter and drive: I = min(limit I_full_load, I_locked_rotor)

    Parameters
    ----------
    locked_rotor_current : Quantity
        At rated voltage, in the connection in which the motor runs [A].
    kind : str
        A key of `STARTERS`.
    full_load_current : Quantity, optional
        [A]; needed with `limit`.
    limit : Quantity, optional
        Current limit set in a soft starter or drive, as a part of full-load current [1].

    Returns
    -------
    Quantity
        [A], symmetrical RMS: the first half cycle's offset peak is higher, a slow display's value
        lower.

    Raises
    ------
    ScienceError
        Unknown starter; a soft starter or drive without its limit.

    Source: EASA handbook, starting characteristics (secondary).
    """
    row = starter(kind)
    if row.current is not None:
        return row.current * locked_rotor_current
    if limit is None or full_load_current is None:
        raise ScienceError(
            f"a {row.title} draws what it was set to",
            "expected inrush",
            "enter its current limit and the full-load current",
        )
    return min(limit * full_load_current, locked_rotor_current)


@quantities(("ampere", "ampere"), power="watt", voltage="volt")
def locked_rotor_current(letter: str, power: Number, voltage: Number) -> tuple[Number, Number]:
    """Locked-rotor current that the nameplate's code letter allows, from and to.

    I = (kVA/hp) P[hp] / (sqrt(3) V)

    Parameters
    ----------
    letter : str
        Code letter of the nameplate, ``"A"`` to ``"U"``; V has no upper end.
    power : Quantity
        Rated shaft power [W].
    voltage : Quantity
        Rated, line-to-line [V].

    Returns
    -------
    (Quantity, Quantity)
        Lowest and highest [A].

    Raises
    ------
    ScienceError
        No such letter, or no voltage.

    Source: NEMA MG 1 10.37.2 (secondary).
    """
    if letter.upper() not in CODE_LETTERS or voltage <= 0:
        raise ScienceError(
            f"no locked-rotor current follows from code letter {letter!r} at {voltage:g} V",
            "code letter",
            "enter it from the motor's data sheet",
        )
    amperes = [
        1000 * kva * power / _HORSEPOWER / (math.sqrt(3) * voltage)
        for kva in CODE_LETTERS[letter.upper()]
    ]
    return amperes[0], amperes[1]


@quantities("second", inertia="kilogram*meter**2", speed="radian/second", torque="newton*meter")
def acceleration_time(inertia: Number, speed: Number, torque: Number) -> Number:
    """Time from standstill to speed at a mean accelerating torque.

    t = J omega / T_mean  (in inch-pound units: Wk^2 n / (308 T))

    Parameters
    ----------
    inertia : Quantity
        Of motor and load, brought to the motor's shaft [kg m^2]; a geared impeller counts with the
        square of its ratio.
    speed : Quantity
        Reached [rad/s].
    torque : Quantity
        Mean of motor torque less load torque over the run-up [N m].

    Returns
    -------
    Quantity
        [s]; an estimate, since the torque changes with speed and with the square of the voltage.

    Raises
    ------
    ScienceError
        No torque is left to accelerate with.

    Source: EASA handbook, accelerating time (secondary); Newton's second law.
    """
    if torque <= 0:
        raise ScienceError(
            "no torque is left for acceleration",
            "acceleration time",
            "check the starter's torque against the load at closed vanes",
        )
    return inertia * speed / torque


@quantities("dimensionless", measured="second", expected="second")
def acceleration_excess(measured: Number, expected: Number) -> Number:
    """By how much a run-up took longer than on the sheet.

    excess = t_measured / t_expected - 1

    Parameters
    ----------
    measured, expected : Quantity
        Time from closing the starter to full speed or to transition [s].

    Returns
    -------
    Quantity
        [1]; positive: slower than expected (low voltage, open vanes, dragging bearing, wrong tap).

    Raises
    ------
    ScienceError
        The expected time is zero or below.

    Source: definition.
    """
    if expected <= 0:
        raise ScienceError(
            "no acceleration time to compare with",
            "acceleration time",
            "enter it from the machine's sheet",
        )
    return measured / expected - 1

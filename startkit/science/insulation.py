"""Insulation: a winding's resistance to ground, brought to 40 °C, and its polarisation index."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

THERMOPLASTIC, THERMOSETTING = "thermoplastic", "thermosetting"
SYSTEMS = (THERMOPLASTIC, THERMOSETTING)

CORRECTION_SOURCE = {
    THERMOPLASTIC: "IEEE 43-2013 6.3, thermoplastic: halving for each 10 K (secondary)",
    THERMOSETTING: "IEEE 43-2013 6.3, thermosetting (from memory: check against the standard)",
}

# Highest temperature of the insulation [°C], by its class: IEC 60085, from memory.
CLASS_TEMPERATURES = {"A": 105, "B": 130, "F": 155, "H": 180}
PI_SILENT_ABOVE = 5000e6  # ohm at 40 °C; IEEE 43-2013 12.2, from memory
# Least polarisation index by thermal class of the insulation (IEEE 43-2000, quoted in an
# instrument's manual).
PI_MINIMUM = {"A": 1.5, "B": 2.0, "F": 2.0, "H": 2.0}
PI_SOURCE = "IEEE 43 12.2, table of polarisation indices (secondary)"


@dataclass(frozen=True)
class Minimum:
    """A row of the table of least one-minute resistances at 40 °C: fixed [ohm], or one kilovolt
    rule.
    """

    winding: str
    title: str
    resistance: float | None
    source: str
    standing: str


_TABLE_3 = "IEEE 43-2013 12.3, Table 3"
MINIMUMS = {
    row.winding: row
    for row in (
        Minimum(
            "older",
            "most windings made before about 1970, and field windings",
            None,
            _TABLE_3,
            "from memory",
        ),
        Minimum(
            "form-wound",
            "form-wound AC windings made after about 1970, 1 kV and above",
            100e6,
            _TABLE_3,
            "secondary",
        ),
        Minimum(
            "random-wound",
            "random-wound windings, form-wound windings below 1 kV, DC armatures",
            5e6,
            _TABLE_3,
            "secondary",
        ),
    )
}


@dataclass(frozen=True)
class AppliedVoltage:
    """A row of the table of direct test voltages: rated line-to-line voltage up to, and test
    voltage from, to [V].
    """

    rated_up_to: float
    low: float
    high: float
    standing: str


APPLIED_VOLTAGE_SOURCE = "IEEE 43-2000 Table 1 (secondary)"
APPLIED_VOLTAGES = (
    AppliedVoltage(1000, 500, 500, "from memory"),
    AppliedVoltage(2500, 500, 1000, "secondary"),
    AppliedVoltage(5000, 1000, 2500, "secondary"),
    AppliedVoltage(12000, 2500, 5000, "secondary"),
    AppliedVoltage(float("inf"), 5000, 10000, "secondary"),
)

# windings are grounded at least this many times as long as they were charged; IEEE 43 6, from
# memory
DISCHARGE_RATIO = 4.0


@dataclass(frozen=True)
class PolarisationIndex:
    """The index, and whether it is meaningful: a reason in words if it is not."""

    value: Value
    says_something: bool
    reason: str


@quantities("dimensionless", temperature="kelvin")
def correction_to_40C(temperature: Number, system: str) -> Number:
    """Factor K_t that brings a resistance measured at a winding temperature to 40 °C.

    thermoplastic: K_t = 0.5^((40 - t)/10);
    thermosetting: K_t = exp(-1245 (1/(t + 273) - 1/313)) for 10 to 40 °C, exp(-4230 (1/(t + 273) -
    1/313)) for 40 to 85 °C

    Parameters
    ----------
    temperature : Quantity
        Of the winding [K].
    system : str
        ``"thermoplastic"`` (asphalt-mica and older) or ``"thermosetting"`` (epoxy, polyester);
        there is no default,
        since at 20 °C the two differ by three times.

    Returns
    -------
    Quantity
        K_t [1].

    Raises
    ------
    ScienceError
        The system was not chosen, or a thermosetting winding is outside 10 to 85 °C.

    Source: IEEE 43-2013 6.3; the thermosetting form from memory.
    """
    if system not in SYSTEMS:
        raise ScienceError(
            f"the insulation system {system!r} is not known",
            "insulation to 40 °C",
            "choose thermoplastic or thermosetting, as the motor's maker says",
        )
    celsius = np.asarray(temperature, dtype=float) - 273.15
    factor = 0.5 ** ((40 - celsius) / 10) if system == THERMOPLASTIC else _thermosetting(celsius)
    return float(factor) if factor.ndim == 0 else factor


def _thermosetting(celsius: np.ndarray) -> np.ndarray:
    if np.any((celsius < 10 - 1e-6) | (celsius > 85 + 1e-6)):
        raise ScienceError(
            "the winding is outside 10 to 85 °C",
            "insulation to 40 °C",
            "measure again with the winding inside that range",
        )
    # 273 and 313, not 273.15 and 313.15: as the standard writes it.
    return np.exp(np.where(celsius < 40, -1245.0, -4230.0) * (1 / (celsius + 273) - 1 / 313))


@quantities("ohm", resistance="ohm", temperature="kelvin")
def insulation_at_40C(resistance: Number, temperature: Number, system: str) -> Number:
    """Insulation resistance brought to 40 °C.

    R_40 = K_t R_t

    Parameters
    ----------
    resistance : Quantity
        One-minute reading [ohm].
    temperature : Quantity
        Of the winding [K].
    system : str
        ``"thermoplastic"`` or ``"thermosetting"``, see `correction_to_40C`.

    Returns
    -------
    Quantity
        [ohm].

    Raises
    ------
    ScienceError
        See `correction_to_40C`.

    Source: IEEE 43-2013 6.3.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(insulation_at_40C(Q(200, "megaohm"), Q(20, "degC"),
    ...     "thermoplastic").to("megaohm").magnitude, 1)
    50.0
    """
    return correction_to_40C.si(temperature, system) * resistance


@quantities("ohm", rated_voltage="volt")
def minimum_insulation(winding: str, rated_voltage: Number) -> Number:
    """Least one-minute resistance at 40 °C for a kind of winding.

    older: R = (kV + 1) Mohm; form-wound: 100 Mohm; random-wound or below 1 kV: 5 Mohm

    Parameters
    ----------
    winding : str
        ``"older"``, ``"form-wound"`` or ``"random-wound"``, see `MINIMUMS`.
    rated_voltage : Quantity
        Line-to-line [V]; form-wound below 1 kV falls under the row of random-wound.

    Returns
    -------
    Quantity
        [ohm]. A hermetic motor in refrigerant may follow its maker instead.

    Raises
    ------
    ScienceError
        No such kind of winding.

    Source: IEEE 43-2013 12.3, Table 3 (100 and 5 Mohm secondary, by ANSI/EASA AR100-2020; kV + 1
    from memory).
    """
    if winding not in MINIMUMS:
        raise ScienceError(
            f"{winding!r} is not a kind of winding",
            "minimum insulation",
            f"choose {', '.join(MINIMUMS)}",
        )
    if winding == "form-wound" and rated_voltage < 1000:
        winding = "random-wound"
    fixed = MINIMUMS[winding].resistance
    return (rated_voltage / 1000 + 1) * 1e6 if fixed is None else fixed


@quantities(None, one_minute="ohm", ten_minutes="ohm", one_minute_at_40C="ohm")
def polarisation_index(
    one_minute: Number,
    ten_minutes: Number,
    one_minute_at_40C: Number | None = None,
    random_wound: bool = False,
) -> PolarisationIndex:
    """Polarisation index, and whether it is meaningful for this winding.

    PI = R_10min / R_1min

    Parameters
    ----------
    one_minute, ten_minutes : Quantity
        Readings at one and the same winding temperature [ohm].
    one_minute_at_40C : Quantity, optional
        One-minute reading brought to 40 °C [ohm]; above 5000 Mohm the index is dropped.
    random_wound : bool
        The absorption current of a random winding is nearly gone in two to three minutes.

    Returns
    -------
    PolarisationIndex

    Raises
    ------
    ScienceError
        A reading of zero or below.

    Source: IEEE 43-2013 5.4, Annex A (secondary) and 12.2 (from memory).
    """
    if one_minute <= 0 or ten_minutes <= 0:
        raise ScienceError(
            "an insulation reading is zero or below",
            "polarisation index",
            "measure again; zero is a fault to ground",
        )
    value = ten_minutes / one_minute
    if one_minute_at_40C is not None and one_minute_at_40C > PI_SILENT_ABOVE:
        return PolarisationIndex(
            value,
            False,
            "the one-minute resistance at 40 °C is above 5000 MΩ: both readings are near the end of"
            " the instrument's scale",
        )
    if random_wound:
        return PolarisationIndex(
            value,
            False,
            "the absorption current of a random winding dies away in two to three minutes",
        )
    return PolarisationIndex(value, True, "")


@quantities(("volt", "volt"), rated_voltage="volt")
def applied_voltage(rated_voltage: Value) -> tuple[Value, Value]:
    """Direct voltage to test with, from and to.

    Parameters
    ----------
    rated_voltage : Quantity
        Line-to-line [V].

    Returns
    -------
    (Quantity, Quantity)
        Lowest and highest test voltage [V]. Never on a hermetic motor under vacuum: it arcs over.

    Raises
    ------
    ScienceError
        A rated voltage of zero or below.

    Source: IEEE 43-2000 Table 1 (secondary; the row below 1 kV from memory).
    """
    row = applied_voltage_row(rated_voltage)
    return row.low, row.high


def applied_voltage_row(rated: float) -> AppliedVoltage:
    """The table's row for a rated line-to-line voltage [V]; it also shows how well it is known."""
    if rated <= 0:
        raise ScienceError(
            "no rated voltage", "test voltage", "enter the rated voltage of the nameplate"
        )
    first, *others = APPLIED_VOLTAGES
    # The first row ends below 1000 V, the others include their upper end.
    return (
        first
        if rated < first.rated_up_to
        else next(row for row in others if rated <= row.rated_up_to)
    )


@quantities("second", charged="second")
def discharge_time(charged: Number) -> Number:
    """How long a winding is grounded after the test.

    t_discharge >= 4 t_test

    Parameters
    ----------
    charged : Quantity
        Time under test voltage [s].

    Returns
    -------
    Quantity
        [s].

    Source: IEEE 43 clause 6 (from memory).
    """
    return DISCHARGE_RATIO * charged

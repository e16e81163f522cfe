"""Vibration: broad-band velocity at a bearing housing, its zone, and conversions that hold for a
pure sine only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

RIGID, FLEXIBLE = "rigid", "flexible"
LETTERS = ("A", "B", "C", "D")
MEANING = {
    "A": "as newly commissioned machines",
    "B": "acceptable for unrestricted long-term operation",
    "C": (
        "not acceptable for long-term operation: may run for a limited time until it can be"
        " corrected"
    ),
    "D": "severe enough to cause damage",
}
SINE_WARNING = (
    "valid for a pure sine only; a real machine's peak can be far from 1.41 times RMS: measure"
    " RMS velocity instead"
)


@dataclass(frozen=True)
class Boundaries:
    """RMS velocities [m/s] between the zones of one machine group on one kind of support."""

    group: int
    support: str
    ab: float
    bc: float
    cd: float


ZONE_SOURCE = "ISO 20816-3:2022 Tables A.1 and A.2 (secondary: check against the standard)"
ZONES = {
    (row.group, row.support): row
    for row in (
        Boundaries(1, RIGID, 2.3e-3, 4.5e-3, 7.1e-3),
        Boundaries(1, FLEXIBLE, 3.5e-3, 7.1e-3, 11.0e-3),
        Boundaries(2, RIGID, 1.4e-3, 2.8e-3, 4.5e-3),
        Boundaries(2, FLEXIBLE, 2.3e-3, 4.5e-3, 7.1e-3),
    )
}


@dataclass(frozen=True)
class Scope:
    """What an edition covers: power above [W], speed from and to [rad/s]."""

    edition: str
    power: float
    slowest: float
    fastest: float
    standing: str


_RPM = 2 * math.pi / 60
SCOPES = {
    row.edition: row
    for row in (
        Scope("ISO 20816-3:2022", 15e3, 120 * _RPM, 30000 * _RPM, "published"),  # its title
        Scope(
            "ISO 10816-3:2009", 15e3, 120 * _RPM, 15000 * _RPM, "published"
        ),  # its title, in the part list of ISO 10816-1
    )
}
CURRENT_EDITION = "ISO 20816-3:2022"

GROUP_1_POWER = 300e3  # W; above it, or from this shaft height on, group 1 (from memory)
GROUP_1_SHAFT_HEIGHT = 0.315  # m (from memory)
ALARM_STEP = 0.25  # of boundary B/C above the baseline (from memory)
ALARM_CEILING = 1.25  # times boundary B/C (from memory)
TRIP_CEILING = 1.25  # times boundary C/D (from memory)
ACCEPTANCE_CEILING = 1.25  # times boundary A/B, for a new machine, if agreed (from memory)
SLOW_SPEED = 600 * _RPM  # at and below it the band begins at 2 Hz instead of 10 Hz (from memory)


@dataclass(frozen=True)
class Zone:
    """The zone, or none and why; with the boundaries that applied."""

    letter: str
    in_scope: bool
    reason: str
    ab: Value = None
    bc: Value = None
    cd: Value = None


@dataclass(frozen=True)
class Settings:
    """Suggested alarm and highest trip for one measuring point."""

    alarm: Value
    trip: Value


@dataclass(frozen=True)
class SineRms:
    """An RMS value formed from a peak, and the warning that must be printed with it."""

    rms: Value
    warning: str


@quantities(None, power="watt", shaft_height="meter")
def machine_group(power: Number, shaft_height: Number | None = None) -> int:
    """Group of the machine: 1 (large) or 2 (medium).

    group 1: P > 300 kW or shaft height >= 315 mm; group 2: the others above 15 kW

    Parameters
    ----------
    power : Quantity
        Rated [W].
    shaft_height : Quantity, optional
        Of an electric motor [m].

    Returns
    -------
    int
        1 or 2.

    Source: ISO 20816-3 clause 5 (from memory: check against the standard).
    """
    large = power > GROUP_1_POWER or (
        shaft_height is not None and shaft_height >= GROUP_1_SHAFT_HEIGHT
    )
    return 1 if large else 2


@quantities(
    {"ab": "meter/second", "bc": "meter/second", "cd": "meter/second"},
    velocity="meter/second",
    speed="radian/second",
    power="watt",
)
def zone(
    velocity: Value,
    group: int,
    support: str,
    speed: Value,
    power: Value,
    edition: str = CURRENT_EDITION,
) -> Zone:
    """Zone of a broad-band RMS velocity measured on a bearing housing.

    A if v <= A/B; B if v <= B/C; C if v <= C/D; else D

    Parameters
    ----------
    velocity : Quantity
        RMS velocity, 10 to 1000 Hz [m/s]; the highest direction at that bearing.
    group : int
        1 or 2, see `machine_group`.
    support : str
        ``"rigid"`` or ``"flexible"``, in the direction measured.
    speed : Quantity
        Of the shaft in that bearing [rad/s].
    power : Quantity
        Rated [W].
    edition : str
        A key of `SCOPES`: the editions differ in the highest speed they cover.

    Returns
    -------
    Zone
        Outside the scope without a letter: the value is recorded, not zoned.

    Raises
    ------
    ScienceError
        Unknown group, support or edition, or a negative velocity.

    Source: ISO 20816-3:2022 Annex A (secondary); scope from the titles of the editions.

    Examples
    --------
    >>> from startkit.units import Q
    >>> zone(Q(2.8, "mm/s"), 2, "rigid", Q(2960, "revolutions_per_minute"), Q(250, "kW")).letter
    'B'
    """
    if (group, support) not in ZONES or edition not in SCOPES:
        raise ScienceError(
            f"no zones are known for group {group!r}, support {support!r}, {edition}",
            "vibration zone",
            "choose group 1 or 2 and a rigid or flexible support",
        )
    if velocity < 0:
        raise ScienceError(
            "the velocity is negative", "vibration zone", "enter the RMS velocity as shown"
        )
    outside = out_of_scope(speed, power, SCOPES[edition])
    if outside:
        return Zone("", False, outside)
    row = ZONES[group, support]
    # A reading equal to a boundary belongs to the better zone; conversions must not push it over.
    letter = LETTERS[sum(velocity > edge * (1 + 1e-9) for edge in (row.ab, row.bc, row.cd))]
    return Zone(letter, True, MEANING[letter], row.ab, row.bc, row.cd)


def out_of_scope(speed: float, power: float, scope: Scope) -> str:
    """Why a machine of that shaft speed [rad/s] and power [W] is outside an edition; empty if it is
    inside.
    """
    slack = 1e-9 * speed
    if power <= scope.power:
        return (
            f"at {power / 1000:.3g} kW the machine is not above the {scope.power / 1000:.0f} kW of"
            f" {scope.edition}: recorded, not zoned"
        )
    if speed > scope.fastest + slack:
        return (
            f"at {speed / _RPM:.0f} r/min the shaft is faster than the {scope.fastest / _RPM:.0f}"
            f" r/min of {scope.edition}: recorded, not zoned"
        )
    if speed < scope.slowest - slack:
        return (
            f"at {speed / _RPM:.0f} r/min the shaft is slower than the {scope.slowest / _RPM:.0f}"
            f" r/min of {scope.edition}: recorded, not zoned"
        )
    return ""


@quantities(("hertz", "hertz"), speed="radian/second")
def frequency_band(speed: Number) -> tuple[Number, Number]:
    """Band in which broad-band velocity is measured, from and to.

    Parameters
    ----------
    speed : Quantity
        Of the shaft [rad/s].

    Returns
    -------
    (Quantity, Quantity)
        10 and 1000 Hz; 2 and 1000 Hz at and below 600 r/min.

    Source: ISO 20816-3 clause 4 (10 to 1000 Hz secondary; 2 Hz from memory).
    """
    return (2.0 if speed <= SLOW_SPEED * (1 + 1e-9) else 10.0), 1000.0


@quantities({"alarm": "meter/second", "trip": "meter/second"}, baseline="meter/second")
def suggested_settings(baseline: Number, group: int, support: str) -> Settings:
    """Alarm suggested from this machine's own baseline, and the highest trip.

    alarm = min(baseline + 0.25 B/C, 1.25 B/C);  trip <= 1.25 C/D

    Parameters
    ----------
    baseline : Quantity
        Steady RMS velocity of this point at this commissioning [m/s].
    group : int
        1 or 2.
    support : str
        ``"rigid"`` or ``"flexible"``.

    Returns
    -------
    Settings
        `alarm` and `trip` [m/s]; the maker's settings come first.

    Raises
    ------
    ScienceError
        No such group and support.

    Source: ISO 20816-3 clause on operational limits (from memory: check against the standard).
    """
    if (group, support) not in ZONES:
        raise ScienceError(
            f"no zones are known for group {group!r} on support {support!r}",
            "vibration settings",
            "choose group 1 or 2 and rigid or flexible",
        )
    row = ZONES[group, support]
    return Settings(
        min(baseline + ALARM_STEP * row.bc, ALARM_CEILING * row.bc), TRIP_CEILING * row.cd
    )


@quantities({"rms": "meter/second"}, peak_to_peak="meter", frequency="hertz")
def velocity_from_displacement(peak_to_peak: Number, frequency: Number) -> SineRms:
    """RMS velocity that a peak-to-peak displacement means at one frequency.

    v_rms = pi f D / sqrt(2)

    Parameters
    ----------
    peak_to_peak : Quantity
        Displacement D [m].
    frequency : Quantity
        Of that sine [Hz], most often the shaft's speed.

    Returns
    -------
    SineRms
        `rms` [m/s] and `warning`.

    Source: sine wave, closed form.
    """
    return SineRms(math.pi * frequency * peak_to_peak / math.sqrt(2), SINE_WARNING)

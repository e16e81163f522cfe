"""Sensors: one reading against a reference instrument, as found and as left.

The kind of reading is open (temperature, pressure, flow, current), so these functions take any
dimension
and answer in differences of the reference's unit; a temperature's difference is a difference.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pint

from startkit.errors import ScienceError, UnitError
from startkit.unit_registry import Q, is_temperature

AGREES = 1.0  # |En| <= 1: ISO/IEC 17043, ISO 13528
REFERENCE_RATIO = (
    4.0  # a reference four times better than what it checks: common practice (ANSI/NCSL Z540)
)
SOURCE = "En number of ISO/IEC 17043 and ISO 13528"


@dataclass(frozen=True)
class Comparison:
    """One sensor against its reference.

    `deviation` is sensor less reference, `offset` what to add to the sensor's reading, `tolerance`
    the two accuracies combined, `en` the deviation over it; `agrees` if the deviation is inside the
    tolerance.
    """

    deviation: pint.Quantity
    tolerance: pint.Quantity
    offset: pint.Quantity
    en: float
    agrees: bool


def en_number(deviation: float, accuracy: float, reference_accuracy: float) -> float:
    """Deviation over both expanded uncertainties.

    E_n = (x - x_ref) / sqrt(U^2 + U_ref^2)

    Parameters
    ----------
    deviation : float
        Sensor less reference [any unit].
    accuracy, reference_accuracy : float
        Expanded uncertainties, k = 2 [same unit]; a maker's accuracy is taken as its expanded
        uncertainty.

    Returns
    -------
    float
        [1]; between -1 and 1 sensor and reference agree.

    Raises
    ------
    ScienceError
        Neither has an accuracy.

    Source: ISO/IEC 17043, ISO 13528.
    """
    tolerance = math.hypot(accuracy, reference_accuracy)
    if tolerance <= 0:
        raise ScienceError(
            "neither the sensor nor the reference has an accuracy",
            "sensor check",
            "enter both accuracies from their data sheets",
        )
    return deviation / tolerance


def compare(
    reading: pint.Quantity,
    reference: pint.Quantity,
    accuracy: pint.Quantity,
    reference_accuracy: pint.Quantity,
) -> Comparison:
    """A sensor's reading against a reference taken at the same place and time.

    d = x - x_ref;  tolerance = sqrt(U^2 + U_ref^2);  offset = -d;  E_n = d / tolerance

    Parameters
    ----------
    reading, reference : Quantity
        Sensor as the controls show it, and reference instrument [same dimension].
    accuracy, reference_accuracy : Quantity
        Of each [difference of that dimension], k = 2.

    Returns
    -------
    Comparison

    Raises
    ------
    UnitError
        The dimensions differ, or an accuracy of a temperature was given as a temperature.
    ScienceError
        Neither has an accuracy.

    Source: `SOURCE`; the combination of JCGM 100:2008, 5.1.2, for independent instruments.
    """
    try:
        deviation = reading.to(reference.units) - reference
        parts = [
            _difference(part).to(deviation.units).magnitude
            for part in (accuracy, reference_accuracy)
        ]
    except pint.DimensionalityError as error:
        raise UnitError(
            f"{error.units1} and {error.units2} are not the same kind of reading",
            "sensor check",
            "enter sensor and reference in units of one kind",
        ) from None
    en = en_number(deviation.magnitude, *parts)
    return Comparison(
        deviation,
        Q(math.hypot(*parts), deviation.units),
        -deviation,
        en,
        abs(en) <= AGREES * (1 + 1e-9),
    )


def _difference(accuracy: pint.Quantity) -> pint.Quantity:
    if is_temperature(accuracy.units):
        raise UnitError(
            "an accuracy was given as a temperature",
            "sensor check",
            "give it in delta_degC or delta_degF",
        )
    return accuracy


def after_offset(found: Comparison, offset: pint.Quantity) -> Comparison:
    """What the comparison should read once an offset has been set; the as-left reading must then
    show it.

    d_left = d_found + offset

    Parameters
    ----------
    found : Comparison
        As found.
    offset : Quantity
        Set in the controls, often rounded to their step [difference].

    Returns
    -------
    Comparison

    Raises
    ------
    UnitError
        The offset has another dimension.

    Source: definition.
    """
    try:
        deviation = found.deviation + _difference(offset).to(found.deviation.units)
    except pint.DimensionalityError:
        raise UnitError(
            f"an offset in {offset.units} does not fit this sensor",
            "sensor check",
            f"give it in {found.deviation.units}",
        ) from None
    en = en_number(deviation.magnitude, found.tolerance.magnitude, 0.0)
    return Comparison(deviation, found.tolerance, -deviation, en, abs(en) <= AGREES * (1 + 1e-9))


def uncertainty_ratio(accuracy: pint.Quantity, reference_accuracy: pint.Quantity) -> float:
    """How many times better the reference is than the sensor that it checks.

    ratio = U / U_ref

    Parameters
    ----------
    accuracy, reference_accuracy : Quantity
        [same dimension].

    Returns
    -------
    float
        [1]; below 4 the check says more about the reference than custom allows.

    Raises
    ------
    ScienceError
        The reference has no accuracy.

    Source: ANSI/NCSL Z540 (the figure of 4 as common practice).
    """
    if reference_accuracy.magnitude <= 0:
        raise ScienceError(
            "the reference has no accuracy",
            "sensor check",
            "enter it from its calibration certificate",
        )
    return float(
        (_difference(accuracy) / _difference(reference_accuracy)).to("dimensionless").magnitude
    )

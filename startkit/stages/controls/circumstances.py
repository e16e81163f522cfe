"""Circumstances of a trip: its direction, how it was brought about, and how it resets."""

from __future__ import annotations

from dataclasses import replace

from startkit.facts.machine import Machine
from startkit.procedure.reading import Row
from startkit.stages.controls.fields import AT_SENSOR, BY_ITSELF, FALLING, FORCED, RISING
from startkit.stages.controls.setting_verdicts import maker_setting
from startkit.verdict import Outcome, Verdict

# Safeties that only a person may reset, with the source; all from memory.
BY_HAND = {
    "high_condenser_pressure": "EN 378-2, from memory: check against the standard",
    "emergency_stop": "ISO 13850, from memory: check against the standard",
    "motor_overcurrent": "NFPA 70 430.43, from memory: check against the standard",
    "refrigerant_detector": "ASHRAE 15 8.11.2.1, from memory: check against the standard",
}


def judged(machine: Machine, found: Verdict, row: Row) -> Verdict:
    """The verdict on a trip that was seen, with its direction, reset and proof taken into account.

    A wrong direction or a reset by itself where a person must reset fails whatever was seen.
    """
    if found.outcome in (Outcome.OPEN, Outcome.WAIVED):
        return found
    for fault, step in (_direction(machine, row), _reset(machine, row)):
        if fault:
            sentence = f"{found.sentence} {fault}"
            return replace(found, outcome=Outcome.FAIL, sentence=sentence, next_step=step)
    return _by_proof(found, row)


def _direction(machine: Machine, row: Row) -> tuple[str, str]:
    """High trips rise, low trips fall; the sheet's own word comes first."""
    entered, maker = row.code("direction"), maker_setting(machine, row)
    due = (maker.direction if maker is not None else None) or _natural(row.code("safety"))
    if not entered or not due or entered == due:
        return "", ""
    return (
        f"It must trip {due}, and is entered as {entered}.",
        "Look how it is set in the controls; correct that, or the entry, and prove it again.",
    )


def _natural(safety: str) -> str:
    if safety.startswith("low_"):
        return FALLING.code
    high = safety.startswith("high_") or safety in ("motor_overcurrent", "current_unbalance")
    return RISING.code if high else ""


def _reset(machine: Machine, row: Row) -> tuple[str, str]:
    if row.code("reset") != BY_ITSELF.code:
        return "", ""
    safety, maker = row.code("safety"), maker_setting(machine, row)
    if safety in BY_HAND:
        told = f"It may not reset by itself ({BY_HAND[safety]})."
    elif maker is not None and maker.reset == "by hand":
        told = f"The sheet asks for a reset by hand ({maker.source})."
    else:
        return "", ""
    return told, "Set it to stay tripped until a person resets it, and prove it again."


def _by_proof(found: Verdict, row: Row) -> Verdict:
    """Forced in the controls, only their logic was proven; simulated at the sensor, all but the
    sensor itself. The record says which.
    """
    if found.outcome is not Outcome.PASS:
        return found
    if row.code("method") == AT_SENSOR.code:
        return replace(found, sentence=f"{found.sentence} The sensor itself was not proven by it.")
    if row.code("method") != FORCED.code:
        return found
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=f"{found.sentence} Forced: sensor and wiring were not proven.",
        next_step="Prove it at the sensor, or waive with the reason.",
    )

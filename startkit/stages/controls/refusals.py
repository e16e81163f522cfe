"""Starts that the controls must refuse: each condition taken away once, before the shaft turns."""

from __future__ import annotations

from dataclasses import replace

from startkit.procedure.entries import Entries
from startkit.procedure.judging import Answer, by_choice
from startkit.stages.controls.fields import REFUSALS, REFUSED, SIMULATED, STARTED
from startkit.verdict import Outcome, Verdict

# Before the first run no timer runs by itself, so that it can only be simulated; all else is taken
# away in earnest.
SIMULATED_IS_ENOUGH = ("refused_timer",)


def refusals(entries: Entries) -> tuple[Verdict, ...]:
    """One verdict for each condition that this machine has."""
    return tuple(_refusal(entries, name) for name in REFUSALS if entries.has(name))


def _refusal(entries: Entries, name: str) -> Verdict:
    who = entries.reading("refused_by")
    by = f", tried by {who.text}"
    found = by_choice(
        entries,
        name,
        f"controls.{name}",
        f"Start refused: {REFUSALS[name][0].lower()}{REFUSALS[name][1:]}",
        answers={
            REFUSED: Answer(Outcome.PASS, f"Refused with the condition actually missing{by}."),
            SIMULATED: _simulated(name, by),
            STARTED: Answer(
                Outcome.FAIL,
                "The start was not refused.",
                "Do not turn the shaft until the controls refuse it.",
            ),
        },
        blank="Not tried.",
        next_step="With the motor circuit locked out, attempt a start with only this missing.",
    )
    found = replace(found, rests_on=(*found.rests_on, *who.items))
    if found.outcome is not Outcome.PASS or (who.text and not who.problem):
        return found
    return replace(
        found,
        outcome=Outcome.OPEN,
        sentence=who.problem or "Who tried it is not entered.",
        next_step="Enter who tried it.",
    )


def _simulated(name: str, by: str) -> Answer:
    said = f"Refused with the condition simulated{by}"
    if name in SIMULATED_IS_ENOUGH:
        return Answer(Outcome.PASS, f"{said}.")
    return Answer(
        Outcome.UNPROVEN,
        f"{said}: sensor and wiring were not proven.",
        "Actually remove the condition, and try again.",
    )

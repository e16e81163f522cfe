"""Waivers, and what does not apply: a person's reason, laid over a verdict if it counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from startkit.facts.exemptions import Exemptions
from startkit.facts.journal import Entry
from startkit.procedure.people import ROLES, Person
from startkit.verdict import Outcome, Verdict

WAIVER, NOT_APPLICABLE = "waiver.", "not_applicable."


@dataclass(frozen=True)
class Waivers:
    """The reasons that were given on a job.

    Parameters
    ----------
    rules : Exemptions
    people : mapping of str -> str, or None
        Name -> code of the role of everyone on the job; None: the job keeps no list of people.
    waived, not_applicable : mapping of str -> (str, str)
        Verdict key -> who and why.
    """

    rules: Exemptions
    people: Mapping[str, str] | None = None
    waived: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    not_applicable: Mapping[str, tuple[str, str]] = field(default_factory=dict)

    def laid_over(self, verdict: Verdict) -> Verdict:
        """The verdict with its reason laid over it if that counts; a pass stays a pass, and a
        reason that does not count is given with what was found.
        """
        if verdict.outcome is Outcome.PASS:
            return verdict
        if verdict.key in self.not_applicable:
            return self._not_applicable(verdict, *self.not_applicable[verdict.key])
        if verdict.key in self.waived:
            return self._waived(verdict, *self.waived[verdict.key])
        return verdict

    def _not_applicable(self, verdict: Verdict, who: str, why: str) -> Verdict:
        objection = self.objection_to_lacking(verdict, who)
        if objection:
            return _refused(verdict, f"“Not applicable” by {who} does not count: {objection}.")
        sentence = f"Not applicable, according to {who}: {why.rstrip('. ')}."
        return replace(verdict, outcome=Outcome.NA, sentence=sentence, next_step="")

    def _waived(self, verdict: Verdict, who: str, why: str) -> Verdict:
        objection = self.objection_to_waiver(verdict.key, who, why)
        if objection:
            return _refused(verdict, f"The waiver by {who} does not count: {objection}.")
        sentence = f"Waived by {who}: {why.rstrip('. ')}. Found: {verdict.sentence}"
        return replace(verdict, outcome=Outcome.WAIVED, sentence=sentence, next_step="")

    def objection_to_lacking(self, verdict: Verdict, who: str) -> str:
        """Why a person may not call an item not applicable; empty if nothing is against it."""
        if not self.rules.can_be_lacking(verdict.key):
            return "every machine has this; read it, or have it waived"
        if verdict.outcome is Outcome.FAIL:
            return "a fault was found; have it corrected or waived"
        if verdict.outcome is not Outcome.OPEN:
            return "it was read, so the machine has it; read it again, or have it waived"
        return self._not_on_the_job(who)

    def objection_to_waiver(self, key: str, who: str, why: str) -> str:
        """Why a person may not waive an item; empty if nothing is against it."""
        if not self.rules.can_be_waived(key):
            return "this item cannot be waived"
        if not self.rules.is_a_reason(why):
            return "the reason is not a sentence"
        missing = self._not_on_the_job(who)
        if missing or self.people is None:
            return missing
        if self.people[who] not in self.rules.may_waive:
            may = [role.label for role in ROLES if role.code in self.rules.may_waive]
            return (
                f"only {', '.join(may[:-1])} or {may[-1]} may waive" if may else "no one may waive"
            )
        return ""

    def _not_on_the_job(self, who: str) -> str:
        if self.people is None or who in self.people:
            return ""
        return f"{who} is not among the people on this job"


def _refused(verdict: Verdict, why: str) -> Verdict:
    return replace(verdict, sentence=f"{verdict.sentence} {why}")


def reasons(latest: Mapping[str, Entry], prefix: str) -> dict[str, tuple[str, str]]:
    """Verdict key -> who and why; a reason without a name counts for nothing."""
    return {
        what.removeprefix(prefix): (entry.who, entry.value)
        for what, entry in latest.items()
        if what.startswith(prefix) and entry.value and entry.who
    }


def by_name(people: tuple[Person, ...]) -> dict[str, str]:
    """Name -> code of the role."""
    return {person.name: person.code for person in people if person.name}

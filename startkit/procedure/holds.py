"""Hold points: what must be settled before the next irreversible step."""

from __future__ import annotations

from dataclasses import dataclass

from startkit.verdict import Outcome, Verdict


@dataclass(frozen=True)
class HoldPoint:
    """One hold point: its name, and its headline when clear and when not."""

    name: str
    clear: str
    not_clear: str


HOLDS: tuple[HoldPoint, ...] = (
    HoldPoint("oil_pump", "Clear to run the oil pump", "NOT CLEAR TO RUN THE OIL PUMP"),
    HoldPoint("turn_shaft", "Clear to turn the shaft", "NOT CLEAR TO TURN THE SHAFT"),
    HoldPoint("load", "Clear to load", "NOT CLEAR TO LOAD"),
    HoldPoint("hand_over", "Clear to hand over", "NOT CLEAR TO HAND OVER"),
)
NAMES = tuple(hold.name for hold in HOLDS)


@dataclass(frozen=True)
class HoldState:
    """A hold point with the verdicts that it needs."""

    hold: HoldPoint
    needed: tuple[Verdict, ...]

    @property
    def in_the_way(self) -> tuple[Verdict, ...]:
        return tuple(v for v in self.needed if not v.settled)

    @property
    def waived(self) -> tuple[Verdict, ...]:
        return tuple(v for v in self.needed if v.outcome is Outcome.WAIVED)

    @property
    def is_clear(self) -> bool:
        """Clear only if something was judged and nothing is in the way."""
        return bool(self.needed) and not self.in_the_way

    @property
    def word(self) -> str:
        """``"not clear"``, ``"clear"`` or ``"clear by waiver"``."""
        if not self.is_clear:
            return "not clear"
        return "clear by waiver" if self.waived else "clear"

    @property
    def headline(self) -> str:
        """The hold point's headline; a waiver among what it needs is part of it."""
        if not self.is_clear:
            return self.hold.not_clear
        return f"{self.hold.clear}, by waiver" if self.waived else self.hold.clear


def needs(hold: HoldPoint, before: str) -> bool:
    """True if a verdict that is due before hold point `before` is needed by `hold`."""
    return NAMES.index(before) <= NAMES.index(hold.name)

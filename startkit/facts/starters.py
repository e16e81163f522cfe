"""Kinds of starter: their names, and what follows from each for the motor's starting current."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Starter:
    """One kind of starter.

    Parameters
    ----------
    code : str
        As journals keep it.
    label : str
        As machine sheets and forms write it.
    phrase : str
        With its article, for a sentence.
    starting : str
        Key of its starting current in `startkit.science.motor.STARTERS`; of an autotransformer, to
        which the tap is added, the part before it.
    limit_key : str
        Key under ``[motor]`` in the machine sheet that limits its current; empty: it limits none.
    in_delta : bool
        True if it changes from wye to delta: its leads to the motor carry what the windings carry.
    switches_over : bool
        True if it changes over during the start, which may show as a short peak.
    turned_round : str
        What puts a wrong rotation right.
    """

    code: str
    label: str
    phrase: str
    starting: str
    limit_key: str = ""
    in_delta: bool = False
    switches_over: bool = False
    turned_round: str = "Lock out, and exchange two phases at the supply to the starter"

    @property
    def limits_current(self) -> bool:
        """True if the starting current is what was set, and no more."""
        return bool(self.limit_key)


ROWS = (
    Starter("across_the_line", "across the line", "a start across the line", "across-the-line"),
    Starter(
        "wye_delta",
        "wye-delta",
        "a wye-delta starter",
        "wye-delta",
        in_delta=True,
        switches_over=True,
    ),
    Starter(
        "autotransformer",
        "autotransformer",
        "an autotransformer",
        "autotransformer",
        switches_over=True,
    ),
    Starter("soft_start", "soft start", "a soft starter", "soft-start", "starter_current_limit"),
    Starter(
        "drive",
        "variable-speed drive",
        "a variable-speed drive",
        "drive",
        "drive_current_limit",
        turned_round="Lock out, wait until the drive has discharged, and exchange two of its output"
        " leads, or set its direction, as its manual says; its supply leads change nothing",
    ),
)
STARTERS = {row.label: row for row in ROWS}  # by the name that a machine sheet gives

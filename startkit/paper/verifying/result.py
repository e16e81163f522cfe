"""The result of a verification: part by part, as lines for a person and as data for a machine."""

# `Any` here: to be written as JSON.
from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from startkit import __version__
from startkit.paper.verifying.signatures import Signature

GOOD, BAD, OPEN = "✓", "✗", "○"
MOST = 12  # sentences of one part that are shown


@dataclass(frozen=True)
class Part:
    """One thing that was checked.

    Parameters
    ----------
    name : str
    mark : str
        `GOOD`, `BAD`, or `OPEN` for what could not be checked or needs a person's eye.
    said : tuple of str
        Sentences.
    unchecked : tuple of str
        What of it could not be checked; the last line names it.
    """

    name: str
    mark: str
    said: tuple[str, ...]
    unchecked: tuple[str, ...] = ()


@dataclass(frozen=True)
class Verification:
    """Everything that was found.

    Parameters
    ----------
    file, sha256 : str
    title, revision : str
        Of the record; empty if it cannot be read.
    signatures : tuple of Signature
    parts : tuple of Part
    asked : bool
        True if certificates were given that vouch for signers.
    """

    file: str
    sha256: str
    title: str
    revision: str
    signatures: tuple[Signature, ...]
    parts: tuple[Part, ...]
    asked: bool

    @property
    def valid(self) -> bool:
        """True if nothing that was checked is wrong."""
        return all(part.mark != BAD for part in self.parts)

    @property
    def unchecked(self) -> tuple[str, ...]:
        """What could not be checked."""
        return tuple(each for part in self.parts for each in part.unchecked)

    @property
    def outcome(self) -> str:
        """``"valid"``, ``"valid as far as checked"`` or ``"not valid"``."""
        if not self.valid:
            return "not valid"
        return "valid as far as checked" if self.unchecked else "valid"

    def lines(self) -> list[str]:
        """For a person."""
        revision = f", revision {self.revision}" if self.revision else ""
        lines = [f"{self.file}: {self.title or 'not a record'}{revision}"]
        for part in self.parts:
            lines += [
                f"{part.mark if n == 0 else ' '} {part.name if n == 0 else '':12} {sentence}"
                for n, sentence in enumerate(part.said)
            ]
        if self.signatures and not self.asked:
            lines.append(
                "The signers' identity depends on their certificates: compare the SHA-256 of each"
                " with its owner, or give the certificates with --trust."
            )
        return [*map(_one_line, lines), _one_line(self._last_line())]

    def _last_line(self) -> str:
        wrong = sum(part.mark == BAD for part in self.parts)
        if wrong:
            return f"NOT VALID: {wrong} of {len(self.parts)} checks failed"
        if self.unchecked:
            return f"VALID as far as checked; not checked: {'; '.join(self.unchecked)}"
        return "VALID"

    def as_json(self) -> dict[str, Any]:
        """For a machine."""
        return {
            "schema": "startkit-verification-1",
            "valid": self.outcome == "valid",
            "outcome": self.outcome,
            "unchecked": list(self.unchecked),
            "file": self.file,
            "sha256": self.sha256,
            "title": self.title,
            "revision": self.revision,
            "checked_with": __version__,
            "trust_given": self.asked,
            "signatures": [{**asdict(s), "good": s.good} for s in self.signatures],
            "parts": [
                {
                    "part": part.name,
                    "outcome": {GOOD: "good", BAD: "bad", OPEN: "open"}[part.mark],
                    "said": list(part.said),
                }
                for part in self.parts
            ],
        }


def _one_line(text: str) -> str:
    """Nothing that a record holds starts a line of its own."""
    return " ".join(text.splitlines())

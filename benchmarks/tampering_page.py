"""What `benchmarks/tampering.py` found, as a page."""

from __future__ import annotations

from collections import Counter

from startkit.paper.verifying import verification

HEAD = """# Tampering

What `startkit verify` says to a signed record that was tampered with, or forged before it was
signed. Made by `python benchmarks/tampering.py --write`; the cases, and the record that they start
from, are in that file and in `benchmarks/forgery_cases.py`. A reduced set runs with the tests.

Caught, that is, not plainly valid: {caught} of {tried}. Honest records valid: {valid} of {honest}.

## Tampered and forged

| what was done | caught | what verify says first |
|---|---|---|
{flipped}
{rows}

## Honest

| record | verify |
|---|---|
{valids}

## What no check of one file can see

A record that was printed and signed anew, consistent in itself, by other keys under the same names:
only the certificates show it (`--trust`, or the SHA-256 of each compared with its owner). A
signature that the technician did not announce, cut off again: what remains is the valid record of
before; `--signed-by` asks for it. A signer who enters what was not measured. Without a time-stamp
server, a computer whose clock was wrong when it signed, as long as it agrees with the journal.
"""


def is_caught(found: verification.Verification) -> bool:
    """True unless the last line is a plain VALID."""
    return found.outcome != "valid"


def document(
    honest: list[tuple[str, verification.Verification]],
    rows: list[tuple[str, verification.Verification]],
    flips: list[verification.Verification],
    caught: int,
    seed: int,
) -> str:
    """The tables with what they do not show; `seed` is that of the flipped bits."""
    valid = sum(found.outcome == "valid" for _, found in honest)
    told = sum(not found.valid for found in flips)
    return HEAD.format(
        caught=caught,
        tried=len(rows) + len(flips),
        valid=valid,
        honest=len(honest),
        flipped=f"| One bit flipped, anywhere in the file, {len(flips)} places (seed {seed}) |"
        f" {told} of {len(flips)} | {_commonest(flips)} |",
        rows="\n".join(
            f"| {name} | {'yes' if is_caught(found) else 'NO'} | {wrong(found)} |"
            for name, found in rows
        ),
        valids="\n".join(
            f"| {name} | {found.outcome}{'' if found.valid else ': ' + wrong(found)} |"
            for name, found in honest
        ),
    )


def _commonest(flips: list[verification.Verification]) -> str:
    counted = Counter(wrong(found).split(";")[0] for found in flips)
    return "; ".join(f"{sentence} ({count})" for sentence, count in counted.most_common(3))


def wrong(found: verification.Verification) -> str:
    """What verify found wrong, a sentence a part; else what it says it could not check."""
    bad = [part for part in found.parts if part.mark == verification.BAD]
    # A signature begins with who signed, the verdicts with how many were derived: what is wrong
    # comes after.
    sentences = [
        f"{part.name}: {part.said[min(part.name in ('signature', 'verdicts'), len(part.said) - 1)]}"
        for part in bad
    ] or [f"not checked: {each}" for each in found.unchecked]
    first = (sentence[:150].rstrip(".").replace("|", "/") for sentence in sentences[:3])
    return "; ".join(dict.fromkeys(first)) or "nothing"

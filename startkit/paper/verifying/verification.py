"""Verification: is a record what was signed, and does what it prints follow from what it carries?
No job is needed.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as Late
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from startkit import __version__
from startkit.errors import PaperError, StartkitError
from startkit.facts.digests import sha256
from startkit.paper import evidence, interpreter
from startkit.paper.evidence import Evidence
from startkit.paper.verifying import signatures
from startkit.paper.verifying.result import BAD, GOOD, MOST, OPEN, Part, Verification
from startkit.paper.verifying.signatures import Signatures
from startkit.side_process import Lost, process

if TYPE_CHECKING:
    from startkit.facts.job import Job
    from startkit.facts.journal import Entry
    from startkit.paper.verifying.increments import Layout
    from startkit.paper.verifying.plot_comparison import Draws
    from startkit.paper.verifying.verdict_comparison import Derived

T = TypeVar("T")
LONGEST = 120.0  # s for what takes one or two; a computer may be busy


def verify(
    path: Path,
    trust: Sequence[bytes] = (),
    signed_by: Iterable[str] = (),
    beside: bool = True,
    draws: Draws | None = None,
) -> Verification:
    """Check a record on a machine that has never seen its job.

    Parameters
    ----------
    path : pathlib.Path
        The PDF.
    trust : sequence of bytes
        Certificates (DER) that vouch for signers, from `certificates.vouchers`; empty: no
        signer's identity is checked.
    signed_by : iterable of str
        Roles that must have signed, besides those the technician named when signing.
    beside : bool
        True: signatures are checked in a second process, which halves the time.
    draws : Draws, optional
        Draws the plots again, as `startkit.desk.plots` does; without it they are said to be
        unchecked.

    Raises
    ------
    PaperError
        There is no such file, or a role is not one of the record's.
    """
    path = Path(path)
    content = evidence.read(path)
    with _apart(content, trust, beside) as (evidenced, sealed), interpreter.collection_paused():
        _load()
        try:
            found = evidenced()
            found.record  # noqa: B018 - read here, so that its fault is reported for this file
        except PaperError as error:
            return Verification(
                path.name,
                sha256(content),
                "",
                "",
                (),
                (Part("file", BAD, (str(error),)),),
                bool(trust),
            )
        return _looked_at(path, content, found, sealed, trust, signed_by, draws)


def _load() -> None:
    """Load what judges while a second process reads the file: loading takes as long as judging."""
    from startkit.procedure import registry

    for name in (
        "startkit.paper.verifying.verdict_comparison",
        "startkit.paper.verifying.page_comparison",
        "scipy.optimize",
    ):
        import_module(name)
    registry.stages()


def _looked_at(
    path: Path,
    content: bytes,
    found: Evidence,
    sealed: Callable[[], Signatures | PaperError],
    trust: Sequence[bytes],
    signed_by: Iterable[str],
    draws: Draws | None,
) -> Verification:
    from startkit.paper import revisions, signature_page
    from startkit.paper.verifying import increments, signers, succession

    data = found.record
    rows = {str(row["field"]): row for row in data["signatures"]}
    wanted = [signature_page.field_of(role, rows) for role in signed_by]
    layout = increments.taken_apart(content, data)
    contents = _contents(found, layout, draws)
    signed = _read_or_refused(sealed)
    asked = bool(trust) or bool(wanted)
    parts = (
        *_safely("signatures", lambda: signers.of_signatures(signed, rows, wanted, asked)),
        *_safely("file", lambda: [signers.of_additions(signed, layout, rows)]),
        *_safely("times", lambda: signers.of_times(signed, _entries(found))),
        *contents,
        *_safely("revision", lambda: [succession.part(path, found)]),
    )
    return Verification(
        path.name,
        sha256(content),
        str(data.get("title", "")),
        revisions.of_line(data.get("revision")).letter,
        signed.made if isinstance(signed, Signatures) else (),
        parts,
        bool(trust),
    )


def _safely(name: str, made: Callable[[], Iterable[Part]]) -> list[Part]:
    """The parts; one that says so if what is looked at is damaged in a way that nothing foresaw."""
    try:
        return list(made())
    except Exception as error:  # a foreign file may hold anything
        return [Part(name, BAD, (f"It cannot be checked ({type(error).__name__}).",))]


# --- signatures -----------------------------------------------------------------------------------


@contextmanager
def _apart(
    content: bytes, trust: Sequence[bytes], beside: bool
) -> Iterator[tuple[Callable[[], Evidence], Callable[[], Signatures | PaperError]]]:
    """What the file carries, and its signatures: two calls that wait for what a second process
    reads.
    """
    carried = partial(evidence.of_pdf, content)
    if not beside:
        yield carried, _sealed(content, trust)
        return
    with process() as pool:
        reading = pool.submit(evidence.of_pdf, *carried.args)
        sealed = _sealed(content, trust)  # loads what the other process does without
        yield (
            _or_here(reading, carried),
            _or_here(pool.submit(signatures.read_apart, *sealed.args), sealed),
        )


def _sealed(content: bytes, trust: Sequence[bytes]) -> partial[Signatures | PaperError]:
    from startkit.paper.signature_page import FIELDS

    return partial(signatures.read_or_refuse, content, tuple(FIELDS), tuple(trust))


def _read_or_refused(sealed: Callable[[], Signatures | PaperError]) -> Signatures | PaperError:
    try:
        return sealed()
    except PaperError as error:
        return error


def _or_here(waiting: Future[T], here: Callable[[], T]) -> Callable[[], T]:
    """A call that waits for what the second process finds, and finds it here if that was lost."""

    def found() -> T:
        try:
            return waiting.result(LONGEST)
        except Lost:
            return here()
        except Late:
            raise PaperError(
                f"the file is not read after {LONGEST:.0f} s",
                "record",
                "use the record as it was printed",
            ) from None

    return found


# --- what it carries ------------------------------------------------------------------------------


def _contents(found: Evidence, layout: Layout, draws: Draws | None) -> list[Part]:
    """Attachments, journal, verdicts and pages, each only as far as the one before it holds."""
    from startkit.paper.verifying import verdict_comparison

    parts = carried(found)
    if any(part.mark == BAD for part in parts):
        return [
            *parts,
            Part(
                "verdicts",
                OPEN,
                (("Not derived again: the attached data are not what was recorded."),),
            ),
        ]
    with tempfile.TemporaryDirectory() as scratch:
        try:
            job = verdict_comparison.restored(found, Path(scratch))
        except StartkitError as error:
            return [*parts, Part("verdicts", BAD, (f"They cannot be derived again: {error}",))]
        # The page is set outside of Python while the verdicts are derived in it; each has the job
        # opened for itself.
        with ThreadPoolExecutor(1) as thread:
            pages = thread.submit(_pages, found, job.folder, layout.printed)
            return [*parts, *judged(found, job, draws), pages.result()]


def carried(found: Evidence) -> list[Part]:
    """Whether the attached files and the journal are whole."""
    return [_attachments(found), _journal(found)]


def judged(found: Evidence, job: Job, draws: Draws | None) -> list[Part]:
    """Whether files, verdicts, plots and notebook are those of the journal.

    Parameters
    ----------
    found : Evidence
    job : Job
        Restored from it.
    draws : Draws or None
        As in `verify`.
    """
    return [*_changed(found), *_verdicts(found, job, draws), _notebook(found)]


def _attachments(found: Evidence) -> Part:
    faults = found.attachment_faults
    good = f"{len(found.files)} files, each equal to its recorded digest."
    return Part(
        "attachments",
        BAD if faults else GOOD,
        tuple(f"{fault}." for fault in faults[:MOST]) or (good,),
    )


def _journal(found: Evidence) -> Part:
    try:
        faults = found.journal_faults
    except PaperError as error:
        return Part("journal", BAD, (str(error),))
    said = tuple(f"{fault[0].upper()}{fault[1:]}." for fault in faults[:MOST])
    return Part(
        "journal",
        BAD if faults else GOOD,
        said
        or (f"{len(found.entries)} entries, the chain of hashes is unbroken and ends as printed.",),
    )


def _changed(found: Evidence) -> list[Part]:
    """The attached files that the journal names by digest; nothing if all are as recorded.

    A change that page 1 reports is for a person to judge; one that it keeps quiet is a fault.
    """
    said = found.changed_files
    told = found.record["front"].get("changed")
    quiet = [each for each in said if isinstance(told, list) and each not in told]
    sentences = [
        f"{each}{'' if each not in quiet else ', and page 1 does not say so'}." for each in said
    ]
    mark = BAD if quiet else OPEN
    return [Part("job files", mark, tuple(sentences[:MOST]))] if said else []


def _verdicts(found: Evidence, job: Job, draws: Draws | None) -> list[Part]:
    """Verdicts, and the plots that are drawn from the same findings."""
    from startkit.paper.printing import versions
    from startkit.paper.verifying import plot_comparison, verdict_comparison

    try:
        derived = verdict_comparison.held_against(found, job)
        plots = plot_comparison.part(found.record, derived.seen, draws)
    except StartkitError as error:
        return [Part("verdicts", BAD, (f"They cannot be derived again: {error}",))]
    except Exception as error:  # an added stage may fail in any way
        said = f"They cannot be derived again ({type(error).__name__}: {error})."
        return [Part("verdicts", BAD, (said,))]
    then = versions.named(found.record).get("startkit", "unknown")
    same = then == __version__
    compared = _of_this_version(derived) if same else _of_another_version(derived, then)
    return [compared, *plots, _holds(derived)]


def _holds(derived: Derived) -> Part:
    """Hold points that were not simply released, what came before, and back-dated readings."""
    from startkit.procedure.passing import early_lines, released
    from startkit.procedure.releases import GIVEN
    from startkit.procedure.times import back_dated

    seen, said, passed = derived.seen, list[str](), 0
    for state in seen.holds():
        given = released(seen, state)
        simply = (given["released"] or {}).get("state") == GIVEN
        passed += simply
        told = ["" if simply else given["release"], *early_lines(seen, state.hold)]
        said += [f"{state.headline}: {each}" for each in told if each]
    said += back_dated(seen)
    first = f"{passed} of {len(seen.holds())} released by name, on the readings of that moment."
    return Part("hold points", OPEN if said else GOOD, (first, *said))


def _notebook(found: Evidence) -> Part:
    from startkit.paper.verifying import notebook_comparison

    try:
        return notebook_comparison.part(found)
    except StartkitError as error:
        return Part("notebook", BAD, (str(error),))
    except Exception as error:  # a foreign file may hold anything
        return Part("notebook", BAD, (f"It cannot be compared ({type(error).__name__}).",))


def _of_this_version(derived: Derived) -> Part:
    told = [f"{difference}." for difference in derived.differences]
    outcome = f"{len(told)} printed differently" if told else "as printed"
    return Part(
        "verdicts",
        BAD if told else GOOD,
        (
            f"{derived.verdicts} derived again with startkit {__version__}: {outcome}.",
            *_few(told),
            *_left_out(derived),
        ),
    )


def _left_out(derived: Derived) -> list[str]:
    """What the record keeps quiet, though it is derived and weighs at the hold points."""
    titles = derived.left_out
    return [f"Not printed in this record: {', '.join(titles)}."] if titles else []


def _of_another_version(derived: Derived, then: str) -> Part:
    """Outcomes, figures, limits and entries must be the same; words and what only one of the two
    versions judges are listed.
    """
    from startkit.paper.verifying import verdict_comparison

    sorted_out = verdict_comparison.across_versions(derived.differences, then)
    told = [f"{each}." for each in sorted_out.contradicting]
    outcome = f"{len(told)} printed differently" if told else "as printed"
    said = [
        f"{derived.verdicts} derived again with startkit {__version__}, printed by {then}:"
        f" outcomes, figures, limits and entries are {outcome}."
    ]
    said += [*_few(told), *_left_out(derived)]
    said += _few([f"Corrected since {then}: {each}." for each in sorted_out.corrected])
    said += _few([f"In one version only: {each}." for each in sorted_out.one_sided])
    unchecked = []
    if sorted_out.corrected:
        unchecked.append(f"figures corrected since startkit {then}: {len(sorted_out.corrected)}")
    if sorted_out.one_sided:
        unchecked.append(f"judged by one version only: {len(sorted_out.one_sided)}")
    if sorted_out.wording:
        said.append(
            f"{len(sorted_out.wording)} worded differently by this version; the record keeps the"
            f" words of startkit {then}."
        )
        unchecked.append(f"wording set by startkit {then} ({len(sorted_out.wording)} differ)")
    return Part("verdicts", BAD if told else GOOD, tuple(said), tuple(unchecked))


def _few(told: Sequence[str]) -> list[str]:
    return [*told[:MOST], *([f"And {len(told) - MOST} more."] if len(told) > MOST else [])]


def _entries(found: Evidence) -> tuple[Entry, ...]:
    """The journal; none if it is damaged, which another part reports."""
    try:
        return found.entries
    except PaperError:
        return ()


def _pages(found: Evidence, folder: Path, printed: bytes) -> Part:
    from startkit.facts.job import Job
    from startkit.paper.verifying import page_comparison

    try:
        pages = page_comparison.compared(found, Job(folder, read_only=True), printed)
    except StartkitError as error:
        return Part("pages", BAD, (str(error),))
    except Exception as error:  # a foreign file may hold anything
        return Part("pages", BAD, (f"They cannot be typeset again ({type(error).__name__}).",))
    if pages.faults:
        return Part("pages", BAD, tuple(f"{_capital(fault)}." for fault in pages.faults))
    return Part("pages", OPEN if pages.unchecked else GOOD, pages.said, pages.unchecked)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]

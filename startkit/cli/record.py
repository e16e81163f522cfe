"""Commands on a record: print it, sign it, verify it, make a job or a baseline from it."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from startkit.cli.output import (
    CLEAR,
    JOB,
    NOT_PASSED,
    PAPER,
    PARTLY,
    WHO,
    plain_errors,
    say,
    warn_of_changed_notebook,
)
from startkit.errors import shown
from startkit.paper import interpreter


@click.command("print")
@JOB
@PAPER
@click.option("--short", is_flag=True, help="The short form for the owner.")
@click.option("--company", default="", metavar="NAME", help="Name at the top of the first page.")
@plain_errors
def print_(job: Path, paper: str | None, short: bool, company: str) -> int:
    """Run a job's notebook and print the commissioning record as PDF."""
    with interpreter.collection_paused():
        from startkit.fleet.task import print_alone

        warn_of_changed_notebook(job)
        made = print_alone(job, paper or "", "short" if short else "full", company)
    say(f"Record: {made.path}")
    return CLEAR if made.clear else NOT_PASSED


@click.command()
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--as",
    "role",
    required=True,
    metavar="ROLE",
    help="Role or name as on the signature page; the technician signs first.",
)
@click.option(
    "--p12",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The signer's key, or where to save a new one.",
)
@click.option(
    "--new-identity",
    is_flag=True,
    help="Make a new key with a self-signed certificate.",
)
@click.option(
    "--name",
    default="",
    help="Name in a new certificate; default: the name on the signature page.",
)
@click.option(
    "--pkcs11",
    "module",
    metavar="MODULE",
    help="Sign with a token: its maker's PKCS#11 library.",
)
@click.option("--token", "label", default="", metavar="LABEL", help="Which token.")
@click.option("--slot", type=int, help="Or: the slot number.")
@click.option(
    "--certificate", default="", metavar="LABEL", help=("Label of the certificate in the token.")
)
@click.option(
    "--key",
    default="",
    metavar="LABEL",
    help=("Label of the key, if it differs from the certificate's."),
)
@click.option(
    "--timestamp",
    default="",
    metavar="ADDRESS",
    help="Time-stamp server (RFC 3161); without it the time is this computer's.",
)
@click.option(
    "--await",
    "awaited",
    multiple=True,
    metavar="ROLE",
    help="Further signatories besides technician and witness (first signature only).",
)
@click.option(
    "--yes-for-another",
    "for_another",
    is_flag=True,
    help="Sign even though the record names another person here.",
)
@plain_errors
def sign(
    record: Path,
    role: str,
    p12: Path | None,
    new_identity: bool,
    name: str,
    module: str | None,
    label: str,
    slot: int | None,
    certificate: str,
    key: str,
    timestamp: str,
    awaited: tuple[str, ...],
    for_another: bool,
) -> None:
    """Sign a RECORD, or the newest record of a job, digitally. startkit asks for the passphrase, or
    takes it from STARTKIT_PASSPHRASE.
    """
    from startkit.paper.signing import credentials, seal
    from startkit.paper.signing.token import Token

    ready = seal.ready(record, role, awaited)
    stamper = credentials.time_stamp_server(timestamp) if timestamp else None
    token = Token(module, certificate, key, label, slot) if module else None
    choice = credentials.Choice(
        p12, new_identity, name or ready.row["name"], ready.row["firm"], token
    )
    for each in ready.unchecked:
        say(f"Not checked before signing: {each}.")
    for sentence in ready.changed:
        say(f"Note: {sentence}.")
    with credentials.opened(choice, _secret, say) as signer:
        agreed = for_another or _agrees(seal.another(ready, signer), ready.row["name"])
        signed = seal.sign(ready, signer, stamper, agreed)
    say(f"Signed as {signed.role} by {signed.signer}: {signed.path}")
    say(
        "The job agrees with the printed record."
        if ready.compared
        else (
            "The job is not in this folder: the record was signed without comparing it with the"
            " job."
        )
    )


def _agrees(name: str, named: str) -> bool:
    """Asked only of a person at a terminal, and only if the certificate is of another name."""
    return (
        bool(name)
        and sys.stdin.isatty()
        and click.confirm(
            shown(f"The record names {named} here; the certificate belongs to {name}. Sign?"),
            err=True,
        )
    )


def _secret(what: str, twice: bool) -> str:
    """A passphrase from the environment, or typed without being shown."""
    given = os.environ.get("STARTKIT_PASSPHRASE")
    if given is not None:
        return given
    # Some tokens ask for their PIN themselves: an empty answer leaves it to them.
    return click.prompt(
        what,
        default="" if what == "PIN" else None,
        show_default=False,
        hide_input=True,
        confirmation_prompt=twice,
        err=True,
    )


@click.command()
@click.argument("record", type=click.Path(path_type=Path))
@click.option(
    "--trust",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="CERT",
    help="Certificate of a signer or an authority that you trust.",
)
@click.option(
    "--signed-by",
    "roles",
    multiple=True,
    metavar="ROLE",
    help="Who must have signed, besides those named in the record.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@plain_errors
def verify(record: Path, trust: tuple[Path, ...], roles: tuple[str, ...], as_json: bool) -> int:
    """Check a RECORD without its job: signatures, attachments, journal, and every verdict derived
    again.

    Exit status 0: valid; 1: not valid; 3: valid as far as it could be checked, and the last line
    states what could not be.
    """
    import json

    with interpreter.collection_paused():
        from startkit.paper import certificates
        from startkit.paper.verifying import verification

        vouching = [der for path in trust for der in certificates.vouchers(path)]
        from startkit.desk import plots

        with plots.second_process():  # draws while verdicts are derived
            found = verification.verify(record, vouching, roles, draws=plots)
    say(json.dumps(found.as_json(), indent=1).split("\n") if as_json else found.lines())
    return {"valid": CLEAR, "not valid": NOT_PASSED}.get(found.outcome, PARTLY)


@click.command("import")
@click.argument("record", type=click.Path(path_type=Path))
@JOB
@click.option(
    "--baseline",
    is_flag=True,
    help="Put the record's figures into an existing JOB, for comparison.",
)
@click.option(
    "--template",
    default="",
    metavar="NAME",
    help="Template of the new job; default: the one named in the record.",
)
@click.option(
    "--restore",
    is_flag=True,
    help="Make the record's own job again, with all its entries: the same visit, not the next.",
)
@WHO
@plain_errors
def import_(
    record: Path, job: Path, baseline: bool, template: str, restore: bool, who: str
) -> None:
    """Make the JOB of the next visit from a RECORD: the same machine, nothing proven, what was
    entered then shown as last time.
    """
    from startkit.paper.verifying.job_import import import_job, restore_job

    if baseline:
        from startkit.paper.verifying.baseline_import import import_baseline

        say(f"Baseline: {import_baseline(record, job, who)}")
        return
    made = (restore_job if restore else import_job)(record, job, who, template)
    say(
        f"{len(made.state().entries)} entries in {made.folder}, those of the record's own visit."
        if restore
        else f"Job of the next visit in {made.folder}: nothing is proven yet; what was entered then"
        " is shown as last time."
    )
    say(f"Open it with:  startkit open {made.folder}")


COMMANDS = (print_, sign, verify, import_)

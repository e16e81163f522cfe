"""What one signature is made with: a key (in a PKCS#12 file, newly made, or in a token) and a
time-stamp server.
"""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from startkit.errors import PaperError
from startkit.paper.signing import identity, token
from startkit.paper.signing.token import Token

Ask = Callable[[str, bool], str]  # what for, and whether it is to be given twice


@dataclass(frozen=True)
class Choice:
    """Which key is meant.

    Parameters
    ----------
    file : pathlib.Path or None
        PKCS#12; of a new identity: where to keep it.
    new : bool
        True: make a new identity.
    name, firm : str
        Of a new identity.
    token : Token or None
    """

    file: Path | None = None
    new: bool = False
    name: str = ""
    firm: str = ""
    token: Token | None = None


@contextmanager
def opened(choice: Choice, ask: Ask, tell: Callable[[str], None]) -> Iterator[Any]:
    """A signer as pyHanko takes it.

    Parameters
    ----------
    choice : Choice
    ask : callable
        Asks for a passphrase or PIN; neither ever appears on a command line.
    tell : callable
        Receives where a new identity was saved.

    Raises
    ------
    PaperError
        None or more than one key is meant, or it cannot be used.
    """
    if (choice.token is not None) + (choice.new or choice.file is not None) != 1:
        raise PaperError(
            "no signing key was given",
            "sign",
            "give --p12 FILE, --new-identity, or --pkcs11 MODULE",
        )
    if choice.token is not None:
        with token.signer(choice.token, ask("PIN", False)) as signer:
            yield signer
    elif choice.new:
        yield _made(choice, ask, tell).signer()
    else:
        assert choice.file is not None
        yield identity.load(choice.file, ask("Passphrase", False)).signer()


def _made(choice: Choice, ask: Ask, tell: Callable[[str], None]) -> identity.Identity:
    path = choice.file or identity.default_path(choice.name)
    if path.exists():
        raise PaperError(
            "the file already exists", str(path), "sign with it (--p12) or choose another name"
        )
    made = identity.new(choice.name, choice.firm)
    identity.save(made, path, ask("Passphrase of the new identity", True))
    tell(
        f"New identity of {made.name}: {path}. Keep it with its passphrase; next time sign with"
        " --p12."
    )
    tell(
        f"Its certificate, for others to check against: {path.with_suffix('.crt')}, SHA-256"
        f" {made.fingerprint}"
    )
    return made


# --- time-stamps (RFC 3161) ----------------------------------------------------------------------

SECONDS = 20.0  # a server on the other side of the world answers in far less


def time_stamp_server(address: str) -> Any:
    """A time-stamp server as pyHanko takes it.

    Parameters
    ----------
    address : str
        ``http://`` or ``https://``; the server signs its answer, so plain HTTP is in order.

    Raises
    ------
    PaperError
        Not such an address.
    """
    from pyhanko.sign.timestamps.requests_client import RequestsHTTPTimeStamper

    parts = urlsplit(address)
    if parts.scheme not in ("http", "https") or not parts.netloc:
        raise PaperError(
            f"{address!r} is not a server address",
            "--timestamp",
            "give it as  https://name/path",
        )
    return RequestsHTTPTimeStamper(address, timeout=SECONDS)

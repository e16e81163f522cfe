"""A token: a key in a card or module that never leaves it, reached by PKCS#11 through pyHanko."""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from startkit.errors import PaperError, StartkitError


@dataclass(frozen=True)
class Token:
    """Where the key is.

    Parameters
    ----------
    module : str
        The maker's library.
    certificate : str
        Label of the signer's certificate.
    key : str
        Label of the key; empty: that of the certificate.
    label : str
        Label of the token; empty: the one in the slot.
    slot : int or None
        Number of the slot.
    """

    module: str
    certificate: str
    key: str = ""
    label: str = ""
    slot: int | None = None


@contextmanager
def signer(token: Token, pin: str) -> Iterator[Any]:
    """A signer as pyHanko takes it, as long as the token is open.

    Parameters
    ----------
    token : Token
    pin : str
        Empty: the token asks for it itself.

    Raises
    ------
    PaperError
        The package for PKCS#11 is not installed, or the token refuses.
    """
    try:
        from pyhanko.config.pkcs11 import PKCS11PinEntryMode, PKCS11SignatureConfig, TokenCriteria
        from pyhanko.sign.pkcs11 import PKCS11SigningContext
    except ImportError:
        raise PaperError(
            "tokens are not supported here",
            "PKCS#11",
            'install the support with  pip install "startkit[token]"',
        ) from None
    config = PKCS11SignatureConfig(
        token.module,
        cert_label=token.certificate,
        key_label=token.key or None,
        slot_no=token.slot,
        token_criteria=TokenCriteria(label=token.label) if token.label else None,
        prompt_pin=PKCS11PinEntryMode.DEFER,
    )
    try:
        with PKCS11SigningContext(config, user_pin=pin or None) as opened:
            yield opened
    except StartkitError:
        raise
    except Exception as error:  # the maker's library fails in its own ways
        said = " ".join(str(error).split())[:160].rstrip(".") or type(error).__name__
        raise PaperError(
            f"the token cannot be used ({said})",
            token.module,
            "check that it is plugged in, and its label and PIN",
        ) from None

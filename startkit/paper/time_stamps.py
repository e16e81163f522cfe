"""Time-stamps: the time from a server that vouches for it (RFC 3161), asked only if its address is
given.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from startkit.errors import PaperError

SECONDS = 20.0  # a server on the other side of the world answers in far less


def server(address: str) -> Any:
    """A time-stamp server as pyHanko takes it.

    Parameters
    ----------
    address : str
        ``http://`` or ``https://``; the answer is signed by the server, so that plain HTTP is in order.

    Raises
    ------
    PaperError
        Not such an address.
    """
    from pyhanko.sign.timestamps.requests_client import RequestsHTTPTimeStamper

    parts = urlsplit(address)
    if parts.scheme not in ("http", "https") or not parts.netloc:
        raise PaperError(
            f"{address!r} is not the address of a server",
            "--timestamp",
            "give it as  https://name/path",
        )
    return RequestsHTTPTimeStamper(address, timeout=SECONDS)

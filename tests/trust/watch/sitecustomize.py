"""Put first on the path of a process and its children: notes every network address that Python asks
for.
"""

import os
import sys

_LOG = os.environ["STARTKIT_WATCH"]
# Their first argument is the socket itself.
_SOCKET = ("socket.connect", "socket.bind", "socket.sendto", "socket.sendmsg")


def _note(event, arguments):
    if event.startswith("socket.") and event not in ("socket.__new__", "socket.gethostname"):
        with open(_LOG, "a", encoding="utf-8") as log:  # noqa: PTH123
            log.write(f"{event}\t{arguments[1:] if event in _SOCKET else arguments!r}\n")


sys.addaudithook(_note)
with open(_LOG, "a", encoding="utf-8") as _log:  # noqa: PTH123
    _log.write(f"process\t{sys.orig_argv[1:4]!r}\n")

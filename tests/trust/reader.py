"""A process that reads files as the fuzzing targets do, each in a child of its own so that its
memory is its own.

It takes lines of JSON ``["target", "file"]`` and answers each with one.

Run:  python -m tests.trust.reader
"""

from __future__ import annotations

import importlib
import json
import os
import sys
import tempfile
import time
import traceback
from pathlib import Path
from typing import Any

from benchmarks.fuzz import badly_said, memory
from benchmarks.fuzz_base import plant
from benchmarks.fuzz_targets import TARGETS
from startkit.errors import StartkitError

LONGEST = 60  # s


def read(name: str, file: str) -> dict[str, Any]:
    """The sentence of the refusal or "read", what is wrong with it, processor time [s], memory
    [byte].
    """
    target = TARGETS[name]
    data = Path(file).read_bytes()
    said, wrong = "read", ""
    with tempfile.TemporaryDirectory() as folder:
        target.read(target.seeds()[0], Path(folder))
        begin = time.process_time()
        try:
            target.read(data, Path(folder))
        except StartkitError as error:
            said, wrong = str(error), badly_said(error)
        except Exception:  # whatever gets out is what is looked for
            wrong = traceback.format_exc(limit=-3)
        took = time.process_time() - begin
    return {"said": said, "wrong": wrong, "took": took, "memory": memory()}


def in_child(name: str, file: str) -> dict[str, Any]:
    """`read` in a child; one that hangs or dies is told as well."""
    import signal

    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        signal.alarm(LONGEST)
        os.write(into, json.dumps(read(name, file)).encode())
        os._exit(0)
    os.close(into)
    with os.fdopen(out, "rb") as stream:
        answer = stream.read()
    status = os.waitpid(child, 0)[1]
    return (
        json.loads(answer)
        if answer
        else {
            "said": "",
            "wrong": f"the process ended with status {status}",
            "took": LONGEST,
            "memory": 0,
        }
    )


# What many targets import: once here, instead of in each child. None of it starts threads by that.
IMPORTED = ("nbformat.v4", "openpyxl", "papermill", "pyarrow.csv", "pyarrow.parquet")


def main() -> None:
    """Answer until nothing more is asked."""
    plant()
    for name in IMPORTED:
        importlib.import_module(name)
    for line in sys.stdin:
        print(json.dumps(in_child(*json.loads(line))), flush=True)


if __name__ == "__main__":
    main()

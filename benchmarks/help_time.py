"""How long `startkit --help` takes beside a bare Python, which is the floor under it."""

from __future__ import annotations

import subprocess
import sys
import time


def least(command: list[str], times: int = 7) -> float:
    """Shortest of several runs [s]."""

    def once() -> float:
        begin = time.perf_counter()
        subprocess.run(command, capture_output=True, check=True)
        return time.perf_counter() - begin

    return min(once() for _ in range(times))


def main() -> None:
    """Print both and their ratio."""
    bare, ours = (
        least([sys.executable, "-c", "pass"]),
        least([sys.executable, "-m", "startkit.cli", "--help"]),
    )
    print(f"python -c pass {bare:.3f} s; startkit --help {ours:.3f} s; ratio {ours / bare:.1f}")


if __name__ == "__main__":
    main()

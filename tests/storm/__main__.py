"""`python -m tests.storm kills --kills 1000`: one kind of weather; without a word, all of them in full."""

from __future__ import annotations

import importlib
import sys
import time

KINDS = ("kills", "power", "disk", "inputs", "routes", "crew", "postgres", "processes", "plans")


def main(arguments: list[str]) -> int:
    """The status: 0 where nothing was lost."""
    if arguments:
        return int(importlib.import_module(f"tests.storm.{arguments[0]}").main(arguments[1:]))
    worst = 0
    for kind in KINDS:
        began = time.monotonic()
        print(f"-- {kind}", flush=True)
        worst |= int(importlib.import_module(f"tests.storm.{kind}").main([]))
        print(f"-- {kind}: {time.monotonic() - began:.0f} s", flush=True)
    return worst


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

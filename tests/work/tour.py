"""A tour of what calls compiled loops; fails where one was called with kinds of values that are not listed.

`make kernels` writes the list anew: what is listed stays, what is new is added.
"""

from __future__ import annotations

import contextlib
import importlib
import io
import json
import sys
import tempfile
from pathlib import Path

import numpy as np

from linkwright.cli import main
from linkwright.physics.compiled import KERNELS
from linkwright.work.compiling import Kind, Kinds, compile_module, kind_of, listed

LIST = Path(__file__).parents[2] / "src" / "linkwright" / "work" / "kernels.toml"
HEAD = "# The compiled loops and the kinds of values that each is called with; `make kernels` writes this anew.\n\n"
SHOOT = """[shoot]
title = "Many"
region = "GB"
permits = ["gb-coordinated"]
date = 2027-05-14
"""
#: A site beside another, on which links walk from one spot to the next.
SITE = """[[site]]
name = "{name}"
latitude = {latitude}
longitude = -4.0
spots = [
  {{ name = "Rack", x_m = 0.0, y_m = 0.0 }},
  {{ name = "Near", x_m = 9.0, y_m = 0.0 }},
  {{ name = "Off", x_m = 20.0, y_m = 5.0 }},
]
[[call]]
name = "On {name}"
site = "{name}"
links = {links}
"""
LINK = """[[link]]
name = "Link {n}"
transmitter = "uhf-body-worn"
receiver = "uhf-cart-rack"
at = "Rack"
route = ["Near", "Off"]
"""
RATE_HZ = 48_000


def tour(folder: Path) -> None:
    """Every command that has a compiled loop under it, on small things and on large."""
    import soundfile

    many = folder / "many.toml"
    names = [f"Link {n}" for n in range(48)]
    here, there = (
        SITE.format(name=name, latitude=latitude, links=json.dumps(live))
        for name, latitude, live in (("Here", 50.0, names[:-1]), ("There", 50.003, names[-1:]))
    )
    many.write_text(SHOOT + here + there + "".join(LINK.format(n=n) for n in range(48)), "utf-8")
    draw = np.random.default_rng(1)
    voice = draw.normal(0.0, 0.1, 4 * RATE_HZ) * (np.arange(4 * RATE_HZ) // RATE_HZ % 2 * 0.9 + 0.1)
    voice[RATE_HZ : RATE_HZ + 2000] = 0.0
    soundfile.write(folder / "one.wav", np.stack([voice, np.roll(voice, 40)], axis=1), RATE_HZ, "PCM_24")
    rows = [f"2027-05-14T09:00:{n // 10:02d}.{n % 10}Z,Link,-60,-61,{int(n < 200)}" for n in range(400)]
    (folder / "log.csv").write_text("time,link,rf_a_dbm,rf_b_dbm,quality\n" + "\n".join(rows) + "\n", "utf-8")
    sweep = "".join(f"{470 + n * 0.025:.3f},{-100 + n % 7}\n" for n in range(8000))
    (folder / "sweep.csv").write_text(sweep, "utf-8")
    for arguments in (
        ["plan", str(many)], ["fit", str(many)], ["listen", str(folder / "one.wav")],
        ["diagnose", str(folder / "log.csv")], ["sweep", str(folder / "sweep.csv")], ["demo", "--no-serve"],
    ):  # fmt: skip
        said = io.StringIO()
        try:
            with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                main(arguments)
        except SystemExit as left:
            if left.code == 2:
                raise RuntimeError(f"{arguments}: {said.getvalue()[-500:]}") from None


def called() -> dict[str, Kinds]:
    """Every loop that was called in this process, with the kinds of its values."""
    found: dict[str, Kinds] = {}
    for compiled in KERNELS:
        ways = [[kind_of(kind) for kind in signature] for signature in compiled.signatures]
        if ways:
            found[f"{compiled.py_func.__module__}:{compiled.py_func.__name__}"] = ways
    return found


def still_taken() -> dict[str, Kinds]:
    """The list, without loops that are gone, and ways that no loop takes any more."""
    ways_of: dict[str, Kinds] = {}
    for name, ways in listed().items():
        module, _, loop = name.partition(":")
        compiled = getattr(importlib.import_module(module), loop, None)
        if compiled is not None:
            takes = compiled.py_func.__code__.co_argcount
            ways_of[name] = [way for way in ways if len(way) == takes and all(map(is_whole, way))]
    return ways_of


def is_whole(kind: Kind) -> bool:
    """Whether a named tuple has the fields that its class has now."""
    if isinstance(kind, str):
        return True
    module, _, name = kind[0].partition(":")
    return len(getattr(importlib.import_module(module), name)._fields) == len(kind) - 1


def write(ways_of: dict[str, Kinds]) -> None:
    """The list, with what is new in it, and without what no loop takes any more."""
    known, lines = still_taken(), []
    for name in sorted({*known, *ways_of}):
        ways = known.get(name, [])
        ways = ways + [way for way in ways_of.get(name, []) if way not in ways]
        if ways:
            lines.append(f'"{name}" = [\n' + "".join(f"  {json.dumps(way)},\n" for way in ways) + "]\n")
    LIST.write_text(HEAD + "".join(lines), "utf-8")


if __name__ == "__main__":
    # what a loop calls of others is compiled with kinds of its own while machine code is not there yet
    compile_module(still_taken())
    within = called()
    with tempfile.TemporaryDirectory() as place:
        tour(Path(place))
    ways_of = {name: [way for way in ways if way not in within.get(name, [])] for name, ways in called().items()}
    if "--write" in sys.argv:
        write(ways_of)
    known = listed()
    lacking = {name: way for name, ways in ways_of.items() for way in ways if way not in known.get(name, [])}
    for name, way in lacking.items():
        print(f"{name} is called with {way}, which work/kernels.toml lacks: run make kernels")
    sys.exit(1 if lacking else 0)

"""Sheets of the built-in shoot and of shoots with hostile names, for tests."""

from __future__ import annotations

import functools
import importlib.resources
from typing import Literal

from tests.plan.shoots import HEADER, pocket, shoot

from linkwright.plan.chain import scene_of
from linkwright.plan.pipeline import make_plan
from linkwright.sheets.bundle import Sheets
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import parse_shoot

#: Names that spreadsheets, markup and readers could take for more than text.
HOSTILE = '=HYPERLINK(\\"x\\") *bold* #image(\\"a.png\\") <b> @ref $x$ \\\\ `code`'

#: Plain letters, a hieroglyph, a Vai syllable, and a sign of no writing at all.
STRANGE = "Ada \N{EGYPTIAN HIEROGLYPH A001} \N{VAI SYLLABLE EE} \ue000"


def demo() -> Shoot:
    """The built-in shoot, without its sweep."""
    text = importlib.resources.files("linkwright.demo").joinpath("shoot.toml").read_text("utf-8")
    return parse_shoot(text.replace('sweeps = ["sweep.csv"]\n', ""), "demo.toml")


def hostile() -> Shoot:
    """A shoot in which every name that a person types is hostile."""
    return shoot(
        pocket()
        + f'[[link]]\nname = "{HOSTILE}"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\n'
        + f'[[contact]]\nname = "{HOSTILE}"\nphone = "+44"\n',
        HEADER.replace('title = "Test"', f'title = "{HOSTILE}"'),
    )


def strange() -> Shoot:
    """A shoot whose names have letters that the fonts of the sheets do not have."""
    return shoot(
        pocket() + f'[[link]]\nname = "{STRANGE}"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\n',
        HEADER.replace('title = "Test"', f'title = "Title {STRANGE}"'),
    )


def calls() -> Shoot:
    """One link that is on in three calls with another power in each, and somebody to call."""
    sites = "".join(
        f'[[site]]\nname = "Pier {n}"\nspots = [{{ name = "Camera", x_m = 0, y_m = 0 }}, '
        f'{{ name = "Far", x_m = {away}, y_m = 0 }}]\n'
        for n, away in enumerate((5, 45, 200))
    )
    times = ("08:00:00", "10:00:00"), ("11:00:00", "13:00:00"), ("14:00:00", "16:00:00")
    days = "".join(
        f'[[call]]\nname = "Call {n}"\nsite = "Pier {n}"\nfrom = {a}\nto = {b}\n' for n, (a, b) in enumerate(times)
    )
    link = '[[link]]\nname = "Pilot"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\nroute = ["Far"]\n'
    contact = '[[contact]]\nname = "Keeper of the quay"\nrole = "site"\nphone = "+44 0000 000000"\n'
    return shoot(pocket() + sites + link + days + contact)


SHOOTS = {"demo": demo, "hostile": hostile, "strange": strange, "calls": calls}


@functools.cache
def sheets(which: str = "demo", paper: Literal["a4", "us-letter"] = "a4") -> Sheets:
    """The sheets of one of them."""
    read = SHOOTS[which]()
    return Sheets(scene_of(read, {}), make_plan(read, {}), paper, "http://192.0.2.7:8765")


@functools.cache
def files(which: str = "demo", paper: Literal["a4", "us-letter"] = "a4") -> dict[str, bytes]:
    """All files of one of them."""
    return dict(sheets(which, paper).made())

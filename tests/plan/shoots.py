"""Shoots for the tests of plans: as text, so that they are read the way a person's are."""

from __future__ import annotations

from pathlib import Path

from linkwright.air.readers import read_sweep_bytes
from linkwright.air.sweep import Sweep
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import parse_shoot, read_shoot

QUAY = Path(__file__).parents[1] / "shoot" / "data" / "quay.toml"

HEADER = """
[shoot]
title = "Test"
region = "GB"
permits = ["gb-coordinated"]
date = 2027-05-14
accepts = ["gb-coordinated-470-606"]
"""


def quay() -> Shoot:
    """The example of the files' contract."""
    return read_shoot(QUAY)


def shoot(body: str, header: str = HEADER) -> Shoot:
    """A shoot from the text after its header."""
    return parse_shoot(header + body, "test.toml")


def links(count: int, transmitter: str = "pocket", receiver: str = "uhf-cart-rack", more: str = "") -> str:
    """That many links of one kind, within 12 m where the site has no spots."""
    return "".join(
        f'[[link]]\nname = "L{n + 1}"\ntransmitter = "{transmitter}"\nreceiver = "{receiver}"\n'
        f"within_m = 12\n{more}\n"
        for n in range(count)
    )


def pocket(tunes: str = "[[518.0, 566.0]]", more: str = "") -> str:
    """A body-worn type with its own tuning range."""
    return f'[transmitter.pocket]\nuse = "uhf-body-worn"\ntunes_mhz = {tunes}\n{more}\n'


def flat_sweep(from_khz: int, to_khz: int, level: float = -100.0, bumps: dict[int, float] | None = None) -> Sweep:
    """A calibrated sweep in 25 kHz steps: a rippling floor with carriers of given levels on it."""
    lines = ["frequency MHz,level dBm"]
    for n, khz in enumerate(range(from_khz, to_khz + 1, 25)):
        ripple = 0.3 * ((n * 7919) % 11 - 5) / 5.0
        lines.append(f"{khz / 1000:.3f},{(bumps or {}).get(khz, level + ripple):.2f}")
    return read_sweep_bytes("\n".join(lines).encode(), "flat.csv")

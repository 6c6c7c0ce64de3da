"""Invented sites with corners and walls that nobody drew: walks through them, and places that are held out.

The truth knows none of the program's models: its own exponents, a corner behind which it is darker, walls, shadows
that are alike over a distance of its own, a body, a meter that is off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linkwright.reach.ends import Ends
from linkwright.reach.ground import AtWork, walk
from linkwright.reach.walk import Walked
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Site, Spot, Surroundings
from linkwright.units import FloatArray

CART = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.8)
TX = Transmitter(form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=25, powers_mw=(5.0, 20.0, 40.0))
RX = Receiver(tunes_mhz=((518.0, 542.0),), noise_figure_db=8.0, required_cnr_db=20.0)
KHZ, POWER_MW, READINGS_A_SECOND = 530_000, 20.0, 10
AROUND: tuple[Surroundings, ...] = ("street", "residential", "office", "hall", "open")


@dataclass(frozen=True, eq=False)
class Walk:
    """A link, its walk, places that were not walked (m, 3), and the mean levels that are true there over all turns
    (m,) [dBm]."""

    link: AtWork
    walked: Walked
    held_out: FloatArray
    true_dbm: FloatArray


def walked_corner(seed: int) -> Walk:
    """A site, a walk out and back, and twelve places beside the way and beyond it."""
    rng = np.random.default_rng(seed)
    around = AROUND[seed % len(AROUND)]
    long_m = float(rng.uniform(15.0, 35.0) if around in ("office", "hall") else rng.uniform(40.0, 90.0))
    near, far = (Spot(name=n, x_m=d, y_m=0.0, z_m=1.3) for n, d in (("Near", 4.0), ("Far", long_m)))
    side = Spot(name="Side", x_m=long_m, y_m=float(rng.uniform(0.2, 0.5)) * long_m, z_m=1.3)
    route = (near, far, side, far, near)
    site = Site(name="S", surroundings=around, spots=(CART, near, far, side))
    link = AtWork("Pilot", Ends(site, TX, RX, "belt-back", CART, "walking", name="Pilot"), KHZ, POWER_MW, route)
    total_s = float(walk(route, 1.4, 2)[0][-1])
    time_s, places, ways = walk(route, 1.4, int(total_s * READINGS_A_SECOND))
    beside = places[rng.choice(len(places), 8)] + np.array([0.0, 1.0, 0.0]) * rng.uniform(-6.0, 6.0, (8, 1))
    beyond = np.array([[long_m * s, (side.y_m if s > 1.1 else 0.0), 1.3] for s in (1.05, 1.15, 1.25, 1.4)])
    held_out = np.concatenate([beside, beyond])
    truth = _truth(rng, np.concatenate([places, held_out]), long_m, around in ("office", "hall"))
    ahead = -(places[:, :2] * ways[:, :2]).sum(axis=1)
    ahead /= np.maximum(np.hypot(*places[:, :2].T) * np.hypot(*ways[:, :2].T), 1e-9)
    facing_db, away_db = 5.0 + rng.normal(0.0, 2.0), 15.0 + rng.normal(0.0, 3.0)
    body = (
        facing_db + (away_db - facing_db) * (1.0 + ahead) / 2.0
    )  # belt-back: it shows its back when it walks away
    fading = 10.0 * np.log10(np.maximum(rng.exponential(size=(2, len(places))), 1e-4).max(axis=0))
    level = truth[: len(places)] - body + fading + rng.normal(0.0, 2.0)
    all_turns = np.mean(facing_db + (away_db - facing_db) * (1.0 + np.cos(np.arange(6) * np.pi / 3.0)) / 2.0)
    walked = Walked(time_s, places, ways, level[:, None], ("",) * len(places))
    return Walk(link, walked, held_out, truth[len(places) :] - all_turns)


def _truth(rng: np.random.Generator, at: FloatArray, long_m: float, indoors: bool) -> FloatArray:
    """Mean levels [dBm] at places (n, 3) without the body."""
    distance = np.maximum(np.hypot(at[:, 0], at[:, 1]), 1.0)
    exponent, kit = rng.normal(2.2, 0.3), rng.normal(0.0, 2.5)
    loss = 26.9 + 10.0 * exponent * np.log10(distance)  # 530 MHz at 1 m: 26.9 dB
    corner = rng.uniform(0.4, 0.9) * long_m
    dark = rng.uniform(5.0, 22.0)
    loss += dark * np.clip((distance - corner) / rng.uniform(3.0, 12.0), 0.0, 1.0)
    for _ in range(int(rng.integers(0, 3))):
        behind = at[:, 0] > rng.uniform(0.2, 1.0) * long_m
        loss += rng.uniform(2.0, 12.0) * behind
    gap = np.sqrt(((at[:, None] - at[None]) ** 2).sum(axis=2))
    reach = rng.uniform(2.0, 6.0) if indoors else rng.uniform(4.0, 15.0)
    root = np.linalg.cholesky(np.exp(-gap / reach) + 1e-6 * np.eye(len(at)))
    shadow = rng.uniform(2.0, 5.0) * (root @ rng.normal(size=len(at)))
    return np.asarray(10.0 * np.log10(POWER_MW) - kit - loss - shadow)

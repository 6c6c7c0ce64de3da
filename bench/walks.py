"""Walk tests on invented sites, from a seed: the truth is drawn, walked through fading, and logged."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from linkwright.reach.ends import Ends
from linkwright.reach.ground import AtWork, walk
from linkwright.reach.walk import Walked
from linkwright.shoot.end import Worn
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Site, Spot
from linkwright.units import FloatArray

TX = Transmitter(form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=125, powers_mw=(10.0,))
RX = Receiver(tunes_mhz=((518.0, 542.0),), noise_figure_db=6.0, required_cnr_db=20.0)
CART = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.8)
READINGS_A_SECOND = 10.0
WAVELENGTH_M = 0.52


@dataclass(frozen=True)
class Truth:
    """What is true of a site: offset and slope at 10 m, and how much more the body costs than was assumed [dB]."""

    offset_db: float
    slope_db: float
    body_db: float


def walked_site(seed: int) -> tuple[AtWork, Walked, Truth]:
    """A link, a walk out and back through a site, and what is true of the site."""
    rng = np.random.default_rng(seed)
    truth = Truth(rng.normal(0.0, 6.0), rng.normal(0.0, 7.0), max(-9.0, rng.normal(0.0, 4.0)))
    length = rng.uniform(35.0, 90.0)
    turn, height = rng.uniform(-0.6, 0.6), 1.3
    near = Spot(name="Near", x_m=float(rng.uniform(4.0, 9.0)), y_m=0.0, z_m=height)
    far = Spot(name="Far", x_m=length * math.cos(turn), y_m=length * math.sin(turn), z_m=height)
    side = Spot(name="Side", x_m=length / 2.0, y_m=float(rng.uniform(-20.0, 20.0)), z_m=height)
    route = (near, far, side, near)
    worn: Worn = "belt-back" if rng.random() < 0.5 else "pocket"
    ends = Ends(Site(name="S", spots=(CART, near, far, side)), TX, RX, worn, CART, "walking")
    link = AtWork("Pilot", ends, 578_000, 10.0, route)
    total_s = float(walk(route, 1.4, 2)[0][-1])
    time_s, places, ways = walk(route, 1.4, int(total_s * READINGS_A_SECOND))
    found = link.arriving(places, ways)
    gone = np.concatenate([[0.0], np.cumsum(np.sqrt((np.diff(places, axis=0) ** 2).sum(axis=1)))])
    hidden = (found.body_db[:, 0] - 5.0) / 10.0
    mean = found.gain_db[:, 0] + 10.0 + truth.offset_db + truth.slope_db * np.log10(found.between.distance_m / 10.0)
    mean = mean - truth.body_db * hidden + shadowing(rng, gone)
    k = float(rng.choice([0.0, 1.0, 2.0, 4.0]))
    level = np.stack([mean + 10.0 * np.log10(faded(rng, gone, k)) for _ in range(2)], axis=1)
    spoilt = rng.random(time_s.size) < 0.02  # a hand on the antenna, a passer-by
    level[spoilt] -= rng.uniform(10.0, 30.0, int(spoilt.sum()))[:, None]
    return link, Walked(time_s, places, ways, np.round(level), ("",) * time_s.size), truth


def shadowing(rng: np.random.Generator, gone: FloatArray) -> FloatArray:
    """Slow shadowing along a way (n,) [dB]: exponential correlation, drawn step by step."""
    sigma, alike = rng.uniform(2.5, 6.0), math.exp(rng.uniform(math.log(2.0), math.log(15.0)))
    kept = np.exp(-np.diff(gone) / alike)
    drawn = rng.standard_normal(gone.size)
    value = np.empty(gone.size)
    value[0] = drawn[0]
    for n in range(1, gone.size):
        value[n] = kept[n - 1] * value[n - 1] + math.sqrt(1.0 - kept[n - 1] ** 2) * drawn[n]
    return np.asarray(sigma * value)


def faded(rng: np.random.Generator, gone: FloatArray, k: float) -> FloatArray:
    """Power of a branch on its way through waves from all around and a steady one (n,): a sum of sinusoids."""
    waves = 24
    way = rng.uniform(0.0, 2.0 * math.pi, waves)
    phase = rng.uniform(0.0, 2.0 * math.pi, waves)
    cycles = gone[:, None] / WAVELENGTH_M * np.cos(way)[None, :]
    scattered = np.exp(2j * math.pi * cycles + 1j * phase).sum(axis=1) / math.sqrt(waves)
    steady = np.exp(2j * math.pi * gone / WAVELENGTH_M * math.cos(float(rng.uniform(0.0, 2.0 * math.pi))))
    return np.asarray(np.abs(math.sqrt(k / (k + 1.0)) * steady + scattered / math.sqrt(k + 1.0)) ** 2)

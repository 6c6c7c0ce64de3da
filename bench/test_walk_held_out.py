"""Places that were held out of walks on 200 invented sites with corners and walls that nobody drew.

`plain`: by the models alone; `trend`: with a walk's offset, slope and body; `levels`: the models with the walk's
levels; `both`, what plans take: the levels about the trend. Root mean square errors [dB], and how often 90 % of
what is told holds the truth.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from bench.corners import KHZ, POWER_MW, walked_corner
from pytest_benchmark.fixture import BenchmarkFixture

from linkwright.reach.arriving import Arriving, Stand, arriving
from linkwright.reach.doubt import NINETY, own_of
from linkwright.reach.ends import Ends
from linkwright.reach.spot_levels import MeasuredLevels, learned, readings_of
from linkwright.reach.walk import learn, pieces_taken
from linkwright.units import FloatArray, dbm_from_mw

SITES = 200


def by_model(ends: Ends, places: FloatArray) -> tuple[Arriving, FloatArray]:
    """What arrives from places, and the mean over all turns [dBm]."""
    found = arriving([Stand(ends, KHZ / 1000.0, places, np.full(len(places), 1.4))])
    return found, (found.share * found.gain_db).sum(axis=1) + dbm_from_mw(POWER_MW)


def after(ends: Ends, taken: MeasuredLevels, found: Arriving) -> tuple[FloatArray, FloatArray]:
    """By how much levels move the places' medians, and how sure they are then [dB]."""
    readings = readings_of(ends.site, [replace(taken, ends=replace(taken.ends, site=ends.site))])
    assert readings is not None
    return learned(ends.site, readings).each(ends, own_of(ends.site, found), found)


def errors(seed: int) -> tuple[FloatArray, FloatArray]:
    """Errors at held-out places by each method (4, m), and what is told of the last (m,) [dB]."""
    invented = walked_corner(seed)
    ends, places = replace(invented.link.ends, facing=None), invented.held_out
    taken = pieces_taken(invented.link, invented.walked)
    found, plain = by_model(ends, places)
    shift, _ = after(ends, taken, found)
    site = ends.site.model_copy(update={"learnt": learn(invented.link, invented.walked, seed=1)})
    trended, trend = by_model(replace(ends, site=site), places)
    more, spread = after(replace(ends, site=site), taken, trended)
    return invented.true_dbm - np.stack([plain, trend, plain + shift, trend + more]), spread


def test_held_out_places(benchmark: BenchmarkFixture) -> None:
    several = benchmark.pedantic(lambda: [errors(seed) for seed in range(SITES)], rounds=1)
    every, spread = np.concatenate([e for e, _ in several], axis=1), np.concatenate([s for _, s in several])
    squares = np.sqrt((every**2).mean(axis=1))
    for name, error in zip(("plain", "trend", "levels", "both"), squares, strict=True):
        benchmark.extra_info[f"{name}_rms_db"] = round(float(error), 2)
    benchmark.extra_info["within_90"] = round(float((np.abs(every[3]) < NINETY * spread).mean()), 3)
    assert squares[3] < min(squares[:3])

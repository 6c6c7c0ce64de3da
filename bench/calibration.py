"""How sure is sure? Invented sites whose truth is drawn, and links that keep to what is wanted there or do not.

A site's truth is drawn by its own code from what the program says it does not know: body, kit, and a field of the
places' own that is alike by distance. `wrong` makes the truth another: its spreads, its Rice factor, the distance
over which it is alike, each as so many times the program's. With readings, levels are read at places of the route
first, each with the errors of a reading.

`python -m bench.calibration` prints the table of docs/reach.md.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from linkwright.physics.pathloss import p1411_sight_variability_db
from linkwright.reach.budget import Budget, BudgetRequest, budgets_of
from linkwright.reach.doubt import BODY_DB, LOCATIONS, SHARED, kit_db_of, own_of
from linkwright.reach.ends import Ends
from linkwright.reach.path import MODELS, rice_db_of
from linkwright.reach.spot_levels import (
    FADING_DB,
    METER_DB,
    TURN_DB,
    Learned,
    MeasuredLevels,
    learned,
    looks_of,
    readings_of,
)
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Site, Spot, Surroundings
from linkwright.units import FloatArray

TX = Transmitter(form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=25, powers_mw=(5.0, 20.0, 40.0))
RX = Receiver(tunes_mhz=((518.0, 542.0),), noise_figure_db=8.0, required_cnr_db=20.0)
AROUND: tuple[Surroundings, ...] = ("open", "street", "residential", "office", "hall")
MHZ, READ_S = 530.0, 20.0


@dataclass(frozen=True)
class Wrong:
    """How many times the program's the truth's spreads, Rice factor and distance of likeness are."""

    spreads: float = 1.0
    rice: float = 1.0
    alike: float = 1.0


@dataclass(frozen=True, eq=False)
class Judged:
    """Links (n,) of all sites: how sure they were told to be, whether they keep to what is wanted, and on which
    site."""

    sure: FloatArray
    kept: FloatArray
    site: FloatArray

    @property
    def lean(self) -> tuple[float, float]:
        """Told less kept, all together, and its standard deviation with whole sites drawn: shares of the links."""
        by_site = np.bincount(self.site.astype(int), weights=self.sure - self.kept)
        return float(by_site.sum() / self.sure.size), float(np.sqrt((by_site**2).sum()) / self.sure.size)

    def bins(self, edges: tuple[float, ...]) -> list[tuple[int, float, float]]:
        """How many links were told a sureness in each bin, its mean, and the share of them that keep."""
        found = []
        for low, high in itertools.pairwise(edges):
            mine = (self.sure >= low) & ((self.sure < high) | (high == edges[-1]))
            if mine.any():
                found.append((int(mine.sum()), float(self.sure[mine].mean()), float(self.kept[mine].mean())))
        return found


def judged(sites: int, readings: int = 0, wrong: Wrong = Wrong(), seed: int = 1) -> Judged:
    """The links of so many invented sites, each with so many readings of its first link."""
    found = []
    for n in range(sites):
        rng = np.random.default_rng([seed, n])
        found += [(*pair, float(n)) for pair in _site(rng, readings, wrong)]
    columns = np.array(found)
    return Judged(columns[:, 0], columns[:, 1], columns[:, 2])


def _site(rng: np.random.Generator, readings: int, wrong: Wrong) -> list[tuple[float, float]]:
    around = AROUND[int(rng.integers(len(AROUND)))]
    wide = float(rng.uniform(8.0, 40.0))
    spots = tuple(
        Spot(name=f"P{n}", x_m=float(x), y_m=float(y), z_m=1.3)
        for n, (x, y) in enumerate(rng.uniform([3.0, -wide / 2.0], [wide, wide / 2.0], (6, 2)))
    )
    site = Site(name="S", surroundings=around, spots=spots)
    at = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.8)
    asked = []
    for name in ("One", "Two"):
        route = tuple(spots[int(i)] for i in rng.choice(6, int(rng.integers(1, 4)), replace=False))
        asked.append(BudgetRequest(Ends(site, TX, RX, "pocket", at, name=name), route, MHZ))
    rice_db = float(np.clip(rice_db_of(site) + 10.0 * np.log10(wrong.rice), -12.0, 15.0))
    other = site.model_copy(update={"rice_db": rice_db})
    truly = budgets_of([replace(link, ends=replace(link.ends, site=other)) for link in asked])
    field, body, kit = _truth(rng, site, asked, wrong)
    before = budgets_of(asked)
    known = _read(rng, asked[0], before[0], field[0] + body[0] + kit, readings) if readings else None
    told = before if known is None else budgets_of([replace(link, readings=known) for link in asked])
    return [
        _weigh(rng, said, bare, true, own + turned + kit)
        for said, bare, true, own, turned in zip(told, before, truly, field, body, strict=True)
    ]


def _weigh(
    rng: np.random.Generator, said: Budget, bare: Budget, true: Budget, deviation: FloatArray
) -> tuple[float, float]:
    """How sure a link is told to be, with a noise that leaves it somewhere near to holding, and whether it
    keeps."""
    x = said.hand.plain_db + float(rng.uniform(-8.0, 18.0))
    told = said.hand.told(x).sure
    harm = float(true.hand.course.harm_s(np.array([[x]]), deviation[None, :])[0, 0])
    return told, float(harm <= bare.asked.wanted.harm_s)


def _truth(
    rng: np.random.Generator, site: Site, asked: list[BudgetRequest], wrong: Wrong
) -> tuple[list[FloatArray], FloatArray, float]:
    """The places' own deviations of each link, its body's, and the kit's [dB]."""
    places = [spot for link in asked for spot in link.route]
    at = np.array([(s.x_m, s.y_m, s.z_m) for s in places])
    gap = np.sqrt(((at[:, None] - at[None]) ** 2).sum(axis=2))
    alike = np.exp(-gap / (wrong.alike * MODELS[site.surroundings].alike_m))
    root = np.linalg.cholesky(SHARED + (1.0 - SHARED) * alike + 1e-9 * np.eye(len(at)))
    score = root @ rng.normal(size=len(at))
    own = own_of(site, budgets_of(asked)[0].arrived)
    share = np.clip(0.5 * (1.0 + np.vectorize(math.erf)(-score / np.sqrt(2.0))), *LOCATIONS)
    law = np.where(own.in_sight, -p1411_sight_variability_db(share), own.sigma_db * score) * wrong.spreads
    sizes = np.cumsum([0, *(len(link.route) for link in asked)])
    kit = wrong.spreads * kit_db_of(asked[0].ends) * float(rng.normal())
    parts = [law[a:b] for a, b in itertools.pairwise(sizes)]
    return parts, wrong.spreads * BODY_DB * rng.normal(size=len(asked)), kit


def _read(
    rng: np.random.Generator, link: BudgetRequest, bare: Budget, deviation: FloatArray, count: int
) -> Learned | None:
    """So many readings of a link at places of its route, one look or some seconds each."""
    which = rng.integers(len(link.route), size=count)
    looks = np.array([looks_of(READ_S)] * count)
    share = bare.arrived.share[bare.begin : bare.begin + len(link.route)]
    gain = bare.arrived.gain_db[bare.begin : bare.begin + len(link.route)]
    model = (share * gain).sum(axis=1)
    error = METER_DB * rng.normal() + np.hypot(FADING_DB / np.sqrt(looks), TURN_DB) * rng.normal(size=count)
    places = np.array([(s.x_m, s.y_m, s.z_m) for s in link.route])[which]
    taken = MeasuredLevels(
        link.ends, link.mhz, model[which] + deviation[which] + error, places, looks, np.full(count, np.nan)
    )
    readings = readings_of(link.ends.site, [taken])
    return None if readings is None else learned(link.ends.site, readings)


EDGES = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 0.97, 1.0)


def main(sites: int = 1000) -> None:
    """Print the tables."""
    print("| readings | truth | told | kept | lean | by bins: links, told, kept |")
    print("| --- | --- | --- | --- | --- | --- |")
    cases = [(readings, "as told", Wrong()) for readings in (0, 1, 3, 20)]
    for name in ("spreads", "rice", "alike"):
        cases += [(3, f"{name} x {times:g}", Wrong(**{name: times})) for times in (0.5, 2.0)]
    for readings, says, wrong in cases:
        found = judged(sites, readings, wrong)
        lean, deviation = found.lean
        bins = "; ".join(f"{n} {told:.2f} {kept:.2f}" for n, told, kept in found.bins(EDGES))
        print(
            f"| {readings} | {says} | {found.sure.mean():.3f} | {found.kept.mean():.3f} | "
            f"{lean:+.3f} ± {deviation:.3f} | {bins} |"
        )


if __name__ == "__main__":
    main()

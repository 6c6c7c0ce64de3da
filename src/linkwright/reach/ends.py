"""The two ends of a link, and what arrives from any place: one computation behind plan, maps and routes."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.fading import cycles
from linkwright.physics.noise import thermal_noise_dbm
from linkwright.reach.antenna import best_gain_dbi, polarisation_db, relative_db
from linkwright.reach.body import CROWD_DB, Body, body_of, shown_by
from linkwright.reach.curves import WEAKER_DB, Curves, Pair
from linkwright.reach.feed import Feed, feed_for, noise_dbm
from linkwright.reach.path import Paths, paths, spread_of, xyz
from linkwright.shoot.antennas import Antenna
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.models import Crowd, Facing, Worn
from linkwright.shoot.place import Point, Site, Spot
from linkwright.units import BoolArray, FloatArray, IntArray

#: Walking speed [m/s] (common practice, no source).
WALKING_M_S: Final = 1.4


@dataclass(frozen=True, slots=True)
class Ear:
    """An antenna of the receiving end: where it stands; None: the receiver's own, as its type says."""

    point: Point
    antenna: Antenna | None
    combined: int = 1


@dataclass(frozen=True)
class Ends:
    """Both ends of a link on a site: who sends, how it is worn, who listens with which antennas on which branch."""

    site: Site
    transmitter: Transmitter
    receiver: Receiver
    worn: Worn
    at: Spot
    facing: Facing | None = None
    crowd: Crowd = "none"
    speed_m_s: float = WALKING_M_S

    @functools.cached_property
    def branches(self) -> tuple[tuple[Ear, ...], ...]:
        """The antennas of each branch that has one; the receiver's own, once, where the site has none for it."""
        here = [antenna for antenna in self.site.antennas if antenna.at == self.at.name]
        if not here:
            return ((Ear(self.at, None),),)
        by_branch = [[one for one in here if one.branch == name] for name in ("A", "B")[: self.receiver.branches]]
        found = [tuple(Ear(standing(one, self.at), one, len(of)) for one in of) for of in by_branch if of]
        return tuple(found) or ((Ear(self.at, None),),)

    @functools.cached_property
    def body(self) -> Body:
        """The losses on the talent's body."""
        return body_of(self.transmitter, self.site.learnt)

    def feed(self, ear: Ear, mhz: float) -> Feed:
        """What lies between an antenna and the receiver at a frequency [MHz]."""
        return feed_for(ear.antenna, self.receiver, mhz, ear.combined)

    def ear_gain_dbi(self, ear: Ear) -> float:
        """An antenna's gain in its best direction [dBi]."""
        return self.receiver.antenna_gain_dbi if ear.antenna is None else best_gain_dbi(ear.antenna)[0]

    def heard_gain_db(self, mhz: float) -> float:
        """The most gain from an isotropic antenna's level to the receiver's input [dB]."""
        ears = itertools.chain.from_iterable(self.branches)
        return max(self.ear_gain_dbi(ear) + self.feed(ear, mhz).gain_db for ear in ears)

    def iip3_dbm(self, mhz: float) -> float:
        """The intercept of receiver and feed, told at the receiver's input, on the worst branch [dBm]."""
        return min(self.feed(ear, mhz).iip3_dbm for ear in itertools.chain.from_iterable(self.branches))

    def noise_dbm(self, branch: Sequence[Ear], mhz: float) -> float:
        """The noise of a branch at the receiver's input in the link's bandwidth [dBm]."""
        if branch[0].antenna is None:
            return self.thermal_dbm + self.receiver.noise_figure_db
        excess = sum(self.feed(ear, mhz).excess for ear in branch)
        return noise_dbm(self.thermal_dbm, self.receiver.noise_figure_db, excess)

    @functools.cached_property
    def thermal_dbm(self) -> float:
        """kTB in the link's bandwidth [dBm]."""
        return thermal_noise_dbm(self.transmitter.bandwidth_khz)

    def most_noise_dbm(self, mhz: float) -> float:
        """The noise of the noisiest branch [dBm]."""
        return max(self.noise_dbm(branch, mhz) for branch in self.branches)


def standing(antenna: Antenna, spot: Spot) -> Point:
    """Where an antenna stands: where it says, else at its spot."""
    return Point(
        x_m=spot.x_m if antenna.x_m is None else antenna.x_m,
        y_m=spot.y_m if antenna.y_m is None else antenna.y_m,
        z_m=spot.z_m if antenna.z_m is None else antenna.z_m,
    )


@dataclass(frozen=True, eq=False, slots=True)
class Arriving:
    """What arrives from n places at the e antennas, all gains in dB, without the transmit power.

    between : the paths (n, e). body_db (n, e), antenna_db (n, e), turned_db (n, e: polarisation), walked_db (n, e:
    what a walk test corrects) are gains of their own; feed_db (e). total_db (n, e) is their sum. branch_db (n, b)
    is what each branch gets, over_noise_db (n, b) the same over its own noise [dB over dBm]; first (n,) is the
    better branch, weaker_db (n,) how much less over its noise the other has (inf: there is none), ear (n,) the
    strongest antenna of the better one. sight (n,) and wall_spread_db (n,) are that antenna's. says : how the body
    is turned, in words.
    """

    between: Paths
    body_db: FloatArray
    antenna_db: FloatArray
    turned_db: FloatArray
    walked_db: FloatArray
    feed_db: FloatArray
    total_db: FloatArray
    branch_db: FloatArray
    over_noise_db: FloatArray
    noise_dbm: FloatArray
    first: IntArray
    weaker_db: FloatArray
    ear: IntArray
    says: str

    @property
    def gain_db(self) -> FloatArray:
        """From transmit power to the receiver's input on the better branch (n,) [dB]."""
        return np.asarray(self.branch_db[np.arange(self.first.size), self.first])

    @property
    def best_over_noise_db(self) -> FloatArray:
        """The same over the branch's noise (n,) [dB over dBm]."""
        return np.asarray(self.over_noise_db[np.arange(self.first.size), self.first])

    @property
    def sight(self) -> BoolArray:
        """Whether the strongest antenna is in sight (n,)."""
        return np.asarray(self.between.sight[np.arange(self.ear.size), self.ear])

    @property
    def wall_spread_db(self) -> FloatArray:
        """How the loss of what is in its way scatters (n,) [dB]."""
        return np.asarray(self.between.wall_spread_db[np.arange(self.ear.size), self.ear])


def arriving(ends: Ends, mhz: float, places: FloatArray, heading: FloatArray | None = None) -> Arriving:
    """What arrives at the receiver from a talent at `places` (n, 3) [m] on a frequency [MHz].

    heading : (n, 3) the way that the talent walks at each place, of any length; None: it stands.
    """
    branches = ends.branches
    ears = tuple(itertools.chain.from_iterable(branches))
    at = xyz(tuple(ear.point for ear in ears))
    between = paths(ends.site, np.full(len(places), mhz), places, at)
    body_gain, says = _body(ends, places, at, heading)
    antenna = np.zeros(between.sight.shape)
    turned = np.zeros(between.sight.shape)
    for n, ear in enumerate(ears):
        antenna[:, n] = ends.ear_gain_dbi(ear)
        if ear.antenna is not None:
            antenna[:, n] += relative_db(ear.antenna, places - at[n])
            turned[:, n] = polarisation_db(ear.antenna.polarisation, between.sight[:, n])
    feed = np.array([ends.feed(ear, mhz).gain_db for ear in ears])
    walked = walked_db(ends.site, between.distance_m)
    fixed = ends.transmitter.antenna_gain_dbi - CROWD_DB[ends.crowd]
    total = fixed + body_gain - between.loss_db + antenna + turned + walked + feed
    noise = np.array([ends.noise_dbm(branch, mhz) for branch in branches])
    first, weaker, ear_of, branch_db = _better(total, noise, [len(branch) for branch in branches])
    return Arriving(
        between, body_gain, antenna, turned, walked, feed, total, branch_db, branch_db - noise, noise, first,
        weaker, ear_of, says,
    )  # fmt: skip


def _body(ends: Ends, places: FloatArray, at: FloatArray, heading: FloatArray | None) -> tuple[FloatArray, str]:
    """Gain by the body (n, e) [dB], and how it is turned."""
    ahead = None
    if ends.facing == "walking" and heading is not None:
        way = at[None, :, :2] - places[:, None, :2]
        length = np.hypot(way[..., 0], way[..., 1]) * np.hypot(heading[:, 0], heading[:, 1])[:, None]
        ahead = (way * heading[:, None, :2]).sum(axis=2) / np.maximum(length, 1e-9)
    shown, says = shown_by(ends.worn, ends.facing, ahead)
    return np.broadcast_to(-ends.body.loss_db(shown), (len(places), len(at))), says


def _better(
    total: FloatArray, noise: FloatArray, sizes: Sequence[int]
) -> tuple[IntArray, FloatArray, IntArray, FloatArray]:
    """The better branch of each place, how much weaker the other is, the strongest antenna, what branches get."""
    if total.shape[1] == 1:
        only = np.zeros(len(total), dtype=np.int64)
        return only, np.full(len(total), np.inf), only, total
    rows = np.arange(len(total))
    begins = np.cumsum([0, *sizes])
    parts = [total[:, a:b] for a, b in itertools.pairwise(begins)]
    strongest = np.stack([a + part.argmax(axis=1) for a, part in zip(begins, parts, strict=False)], axis=1)
    gets = [part[:, 0] if part.shape[1] == 1 else 10.0 * np.log10((10.0 ** (part / 10.0)).sum(1)) for part in parts]
    branch = np.stack(gets, axis=1)
    over = branch - noise
    first = over.argmax(axis=1)
    weaker = over.max(axis=1) - over.min(axis=1) if len(sizes) == 2 else np.full(len(total), np.inf)
    return first, weaker, strongest[rows, first], branch


def walked_db(site: Site, distance_m: FloatArray) -> FloatArray:
    """What a walk test adds to the level at distances of any shape [dB]; beyond those walked it stays."""
    if site.learnt is None:
        return np.zeros(distance_m.shape)
    walked = np.clip(distance_m, site.learnt.nearest_m, site.learnt.farthest_m)
    return np.asarray(site.learnt.offset_db + site.learnt.slope_db * np.log10(walked / site.learnt.reference_m))


def pair_of(ends: Ends, mhz: float, weaker_db: float = 0.0) -> Pair | None:
    """The pair of branches of the receiving end at a frequency [MHz]; None for one branch."""
    branches = ends.branches
    if ends.receiver.branches != 2:
        return None
    if branches[0][0].antenna is None:
        return Pair(cycles(mhz, ends.receiver.branch_spacing_m))
    if len(branches) < 2 or not weaker_db < WEAKER_DB[-1]:
        return None
    a, b = xyz(tuple(ear.point for ear in branches[0])), xyz(tuple(ear.point for ear in branches[1]))
    apart = np.sqrt(((a[:, None, :] - b[None, :, :]) ** 2).sum(axis=2)).min()
    return Pair(cycles(mhz, float(apart)), weaker_db)


def curves_of(ends: Ends, mhz: float, found: Arriving) -> Curves:
    """How each of the places of `found` holds: few kinds of them differ, and those are worked out."""
    weaker = np.full(found.first.size, 0.0)
    if np.isfinite(found.weaker_db).any():
        step = np.searchsorted(WEAKER_DB, found.weaker_db - 1e-9)
        weaker = np.asarray(WEAKER_DB)[np.minimum(step, len(WEAKER_DB) - 1)]
    spread = np.round(found.wall_spread_db, 1)
    keys, which = np.unique(np.stack([found.sight, spread, weaker], axis=1), axis=0, return_inverse=True)
    kinds = [(spread_of(ends.site, bool(s), float(w)), pair_of(ends, mhz, float(d))) for s, w, d in keys]
    return Curves.of(kinds).at(which.reshape(-1).astype(np.int64))

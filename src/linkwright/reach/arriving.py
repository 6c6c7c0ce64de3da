"""What arrives from talents at places: one computation behind plans, maps and routes, for all links of a site at
once.

Every wave of a place has two parts (`reach.path`). The steady one loses what the body takes at the talent's turn,
the scattered ones the power mean of it over all turns, since they come from all around. Local mean and Rice's
factor follow from both, so the body and the walls count once.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.fading import doppler_hz
from linkwright.physics.harm import K_DB, NO_HELP_DB, Kinds
from linkwright.reach.antenna import polarisation_db, relative_db
from linkwright.reach.body import BEHIND_THE_BODY, CROWD_DB, Body, shown_by
from linkwright.reach.ends import Carried, Ear, Ends
from linkwright.reach.path import Paths, paths_between, xyz
from linkwright.shoot.place import Site
from linkwright.units import BoolArray, FloatArray, IntArray

#: Turns of a body on which a transmitter is worn: six about the circle, two pairs of them alike. How much of the
#: transmitter's side each shows, and the share of time of each.
TURNS: Final = np.array([1.0, 0.5, -0.5, -1.0])
TURN_SHARES: Final = np.array([1.0, 2.0, 2.0, 1.0]) / 6.0
#: Angles over which the body's power mean is taken.
ANGLES: Final = np.cos(np.pi * (np.arange(24) + 0.5) / 24.0)


@dataclass(frozen=True, eq=False, slots=True)
class Stand:
    """A link with its transmitter at n places (n, 3) [m] on a frequency [MHz], its ends moving against each other
    at speeds (n,) [m/s]; `heading` (n, 3) is the way that it walks, of any length, for a talent who looks where it
    walks; `shown` (n,), where it is known, how much of the transmitter's side is shown, -1 to 1. `heard_at` (n, 3)
    and `heard_heading` : the same of a receiver that goes; None: it stands where the ends say."""

    ends: Ends
    mhz: float
    places: FloatArray
    speed_m_s: FloatArray
    heading: FloatArray | None = None
    shown: FloatArray | None = None
    heard_at: FloatArray | None = None
    heard_heading: FloatArray | None = None

    @property
    def turns_evenly(self) -> bool:
        """Whether who sends is taken to turn evenly all about."""
        return self.shown is None and self.ends.sender.turns_evenly

    @property
    def ears(self) -> tuple[Ear, ...]:
        """The antennas at every place."""
        return tuple(itertools.chain.from_iterable(self.ends.branches))

    @property
    def receivers(self) -> FloatArray:
        """Where the receiver is (n, 3) [m]."""
        if self.heard_at is not None:
            return self.heard_at
        return np.broadcast_to(xyz((self.ends.at,)), (len(self.places), 3))


def stand_at(
    ends: Ends,
    mhz: float,
    places: FloatArray,
    speed_m_s: FloatArray,
    heading: FloatArray | None = None,
    shown: FloatArray | None = None,
) -> Stand:
    """A link with whichever of its ends goes at places (n, 3) [m]: the transmitter, or where that stands the
    receiver. `shown` is of who sends."""
    if ends.sent_from is None:
        return Stand(ends, mhz, places, speed_m_s, heading, shown)
    stands = np.broadcast_to(xyz((ends.sent_from,)), places.shape)
    return Stand(ends, mhz, stands, speed_m_s, shown=shown, heard_at=places, heard_heading=heading)


@dataclass(frozen=True, eq=False, slots=True)
class Arriving:
    """What arrives from places (r,) of several stands at t turns each, gains without the transmit power.

    stand (r,) : whose place it is. share (r, t) : of the time there. gain_db (r, t) : local mean at the receiver's
    input on the better branch, whose noise is noise_dbm (r, t) and whose strongest ray is ray (r, t);
    branch_gain_db (r, 2, t) : the same of both branches, alike where there is one antenna for both. k_db (r, t) :
    Rice's factor there; weaker_db (r, t) : how much less over its noise the other branch has; apart (r,) : the
    branches [wavelengths], 0 for one; doppler_hz, bridges_ms (r,). body_db (rays, t) : loss of the steady wave,
    scattered_body_db (rays,) of the others; shown, heard_shown (rays, t) : how much of the side with the kit each
    end shows. vehicle_db (rays,) : loss into vehicles. antenna_db, turned_db, feed_db (rays,) : gains; `between`
    the paths and `ear` (rays,) the number of the antenna among its stand's. says : how each stand is turned, in
    words. places (r, 3) : where the transmitters are [m], heard_at (r, 3) the receivers. shift_db (r,) : what
    levels that were read add, counted in all gains already; None: none were.
    """

    stand: IntArray
    share: FloatArray
    gain_db: FloatArray
    noise_dbm: FloatArray
    branch_gain_db: FloatArray
    k_db: FloatArray
    weaker_db: FloatArray
    ray: IntArray
    branch: IntArray
    apart: FloatArray
    doppler_hz: FloatArray
    bridges_ms: FloatArray
    between: Paths
    body_db: FloatArray
    scattered_body_db: FloatArray
    shown: FloatArray
    heard_shown: FloatArray
    vehicle_db: FloatArray
    antenna_db: FloatArray
    turned_db: FloatArray
    walked_db: FloatArray
    feed_db: FloatArray
    ear: IntArray
    says: tuple[str, ...]
    places: FloatArray
    heard_at: FloatArray
    shift_db: FloatArray | None = None

    @property
    def over_noise_db(self) -> FloatArray:
        """Gain over the better branch's noise (r, t) [dB over dBm]."""
        return self.gain_db - self.noise_dbm

    @property
    def mean_gain_db(self) -> FloatArray:
        """Gain of the local mean over all turns (r,) [dB]."""
        return np.asarray(10.0 * np.log10((self.share * 10.0 ** (self.gain_db / 10.0)).sum(axis=1)))

    @property
    def sight(self) -> BoolArray:
        """Whether the strongest antenna is in sight (r,)."""
        return np.asarray(self.between.sight[self.ray[:, 0]])

    @property
    def wall_spread_db(self) -> FloatArray:
        """How the loss of what is in its way scatters (r,) [dB]."""
        return np.asarray(self.between.wall_spread_db[self.ray[:, 0]])

    @property
    def distance_m(self) -> FloatArray:
        """How far the strongest antenna is (r,) [m]."""
        return np.asarray(self.between.distance_m[self.ray[:, 0]])

    def kinds(self) -> Kinds:
        """How the places fade, in turn with their turns (r t,)."""
        turns = self.share.shape[1]
        return Kinds(
            self.k_db.ravel(),
            np.repeat(self.apart, turns),
            self.weaker_db.ravel(),
            np.repeat(self.doppler_hz, turns),
            np.repeat(self.bridges_ms, turns),
        )


@dataclass(frozen=True, eq=False, slots=True)
class _Rays:
    """One stand's rays, place by place, branch by branch, antenna by antenna, each (rays,)."""

    a: FloatArray
    b: FloatArray
    mhz: FloatArray
    own_db: FloatArray
    antenna_db: FloatArray
    feed_db: FloatArray
    ear: IntArray
    body_db: FloatArray
    scattered_body_db: FloatArray
    shown: FloatArray
    heard_shown: FloatArray
    vehicle_db: FloatArray
    says: str


def arriving(stands: Sequence[Stand]) -> Arriving:
    """What arrives at the receivers of stands on one site."""
    rays = [_rays(stand) for stand in stands]
    site = stands[0].ends.site
    a, b = np.concatenate([part.a for part in rays]), np.concatenate([part.b for part in rays])
    between = paths_between(site, np.concatenate([part.mhz for part in rays]), a, b)
    turned = _turned(stands, rays, between)
    walked = walked_db(site, between.distance_m)
    antenna, feed = (np.concatenate([getattr(part, name) for part in rays]) for name in ("antenna_db", "feed_db"))
    body, scattered_body = _padded(rays), np.concatenate([part.scattered_body_db for part in rays])
    fixed = np.concatenate([part.own_db for part in rays]) + antenna + feed + turned + walked - between.median_db
    k = between.rice_k
    steady = (10.0 ** ((fixed - between.wall_db) / 10.0) * k / (k + 1.0))[:, None] * 10.0 ** (-body / 10.0)
    scattered = (10.0 ** ((fixed - between.around_db - scattered_body) / 10.0) / (k + 1.0))[:, None]
    better = _better(stands, steady, np.broadcast_to(scattered, steady.shape))
    return Arriving(
        np.repeat(np.arange(len(stands)), [len(stand.places) for stand in stands]),
        np.concatenate([_shares(stand, body.shape[1]) for stand in stands]),
        *better,
        np.concatenate([np.full(len(stand.places), stand.ends.apart(stand.mhz)) for stand in stands]),
        np.concatenate([doppler_hz(stand.mhz, 1.0) * stand.speed_m_s for stand in stands]),
        np.concatenate([np.full(len(stand.places), stand.ends.receiver.bridges_ms) for stand in stands]),
        between, body, scattered_body,
        np.concatenate([_wide(part.shown, body.shape[1]) for part in rays]),
        np.concatenate([_wide(part.heard_shown, body.shape[1]) for part in rays]),
        np.concatenate([part.vehicle_db for part in rays]), antenna, turned, walked, feed,
        np.concatenate([part.ear for part in rays]), tuple(part.says for part in rays),
        np.concatenate([stand.places for stand in stands]), np.concatenate([stand.receivers for stand in stands]),
    )  # fmt: skip


def _rays(stand: Stand) -> _Rays:
    ends, mhz, ears = stand.ends, stand.mhz, stand.ears
    n, e = len(stand.places), len(ears)
    at = xyz(tuple(ear.point for ear in ears))
    a, b = stand.places if e == 1 else np.repeat(stand.places, e, axis=0), np.concatenate([at] * n)
    if stand.heard_at is not None:
        b = stand.heard_at
    antenna = np.array([ends.ear_gain_dbi(ear) for ear in ears] * n)
    for number, ear in enumerate(ears):
        if ear.antenna is not None:
            antenna[number::e] += relative_db(ear.antenna, stand.places - at[number])
    shown, says = _shown(stand, a, b, e)
    body, scattered = ends.body.loss_db(shown), scattered_db(ends.sender, ends.body, stand.shown is not None)
    heard_shown = np.ones(shown.shape)
    if ends.listener.worn != "mounted":
        # Both turn by themselves: every turn of the one with every turn of the other.
        heard, heard_says = _shown_of(ends.listener, b, a, stand.heard_heading)
        body = (body[:, :, None] + ends.listener_body.loss_db(heard)[:, None, :]).reshape(len(a), -1)
        shown, heard_shown = np.repeat(shown, heard.shape[1], axis=1), np.tile(heard, (1, shown.shape[1]))
        scattered += scattered_db(ends.listener, ends.listener_body, known=False)
        says = f"{says}; the receiver {heard_says}"
    into = _vehicles_db(ends, a, b)
    crowds = CROWD_DB[ends.crowd] + CROWD_DB[ends.listener.crowd]
    return _Rays(
        a, b, np.full(n * e, mhz), np.full(n * e, ends.sent_db - crowds) - into,
        antenna, np.array([ends.feed(ear, mhz).gain_db for ear in ears] * n), np.array([*range(e)] * n),
        body, np.full(n * e, scattered), shown, heard_shown, into, says,
    )  # fmt: skip


def scattered_db(carried: Carried, body: Body, known: bool) -> float:
    """What a body takes from the scattered waves [dB]; `known` that its turn is."""
    alone = carried.facing is None and not known and carried.worn not in BEHIND_THE_BODY
    return body.facing_db if alone else _all_turns_db(body)


def _vehicles_db(ends: Ends, a: FloatArray, b: FloatArray) -> FloatArray:
    """The loss into vehicles of each ray (rays,) [dB]; none where both ends are inside one, at one place."""
    inside = [end for end in (ends.inside, ends.listener.inside) if end is not None]
    into = np.full(len(a), sum(end.loss_db for end in inside))
    return np.where((a == b).all(axis=1), 0.0, into) if len(inside) == 2 else into


@functools.lru_cache(maxsize=256)
def _all_turns_db(body: Body) -> float:
    """The power mean of a body's loss over all turns [dB]."""
    return float(-10.0 * np.log10(np.mean(10.0 ** (-body.loss_db(ANGLES) / 10.0))))


def _shown(stand: Stand, a: FloatArray, b: FloatArray, ears: int) -> tuple[FloatArray, str]:
    """How much of the transmitter's side is shown by each ray at each turn (rays, t), and in words."""
    if stand.shown is not None:
        return np.repeat(stand.shown, ears)[:, None], f"worn {stand.ends.worn}, turned as it was"
    heading = None if stand.heading is None else np.repeat(stand.heading, ears, axis=0)
    return _shown_of(stand.ends.sender, a, b, heading)


def _shown_of(
    carried: Carried, here: FloatArray, there: FloatArray, heading: FloatArray | None
) -> tuple[FloatArray, str]:
    """How much of its side with the kit an end shows to the other end at each turn (rays, t), and in words."""
    if carried.turns_evenly:
        return np.broadcast_to(TURNS, (len(here), TURNS.size)), f"worn {carried.worn}, turning about"
    ahead = None
    if carried.facing == "walking" and heading is not None:
        way = there[:, :2] - here[:, :2]
        length = np.hypot(way[:, 0], way[:, 1]) * np.hypot(heading[:, 0], heading[:, 1])
        ahead = (way * heading[:, :2]).sum(axis=1) / np.maximum(length, 1e-9)
    shown, says = shown_by(carried.worn, carried.facing, ahead)
    return np.broadcast_to(np.asarray(shown), (len(here),))[:, None], says


def _shares(stand: Stand, turns: int) -> FloatArray:
    """Shares of time of the turns of each place (n, t)."""
    always = np.ones(1)
    sends = TURN_SHARES if stand.turns_evenly else always
    hears = TURN_SHARES if stand.ends.listener.turns_evenly else always
    shares = np.zeros((len(stand.places), turns))
    shares[:, : sends.size * hears.size] = np.outer(sends, hears).ravel()
    return shares


def _wide(values: FloatArray, turns: int) -> FloatArray:
    """Values (rays, few) as (rays, t); what is added is of turns that do not occur."""
    if values.shape[1] == 1:
        return np.broadcast_to(values, (len(values), turns))
    missing = turns - values.shape[1]
    return np.pad(values, ((0, 0), (0, missing)), mode="edge") if missing else values


def _padded(rays: Sequence[_Rays]) -> FloatArray:
    """The body's losses of all rays, with as many turns as any has (rays, t)."""
    turns = max(part.body_db.shape[1] for part in rays)
    return np.concatenate([_wide(part.body_db, turns) for part in rays])


def _turned(stands: Sequence[Stand], rays: Sequence[_Rays], between: Paths) -> FloatArray:
    """What polarisation costs each ray (rays,) [dB]."""
    turned = np.zeros(between.distance_m.size)
    if not stands[0].ends.site.antennas:
        return turned
    begin = 0
    for stand, part in zip(stands, rays, strict=True):
        for number, ear in enumerate(stand.ears):
            if ear.antenna is not None:
                mine = slice(begin + number, begin + len(part.a), len(stand.ears))
                turned[mine] = polarisation_db(ear.antenna.polarisation, between.sight[mine])
        begin += len(part.a)
    return turned


def _better(
    stands: Sequence[Stand], steady: FloatArray, scattered: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, IntArray, IntArray]:
    """Of each place and turn the better branch's gain and noise, both branches' gains, Rice's factor, how much
    weaker the other is, the strongest ray of it, and which branch it is; each (r, t) but the gains (r, 2, t)."""
    parts = [_branches_of(stand) for stand in stands]
    rays = np.cumsum(
        [0, *(len(stand.places) * sum(sizes) for stand, (sizes, _) in zip(stands, parts, strict=True))]
    )
    by_stand: list[tuple[FloatArray, ...]] = []
    for (sizes, _), alike in itertools.groupby(range(len(stands)), lambda n: (parts[n][0], _second(stands[n]))):
        some = list(alike)
        places = [len(stands[n].places) for n in some]
        noise = np.repeat(np.stack([parts[n][1] for n in some]), places, axis=0)
        mine = slice(int(rays[some[0]]), int(rays[some[-1] + 1]))
        second_db = _second(stands[some[0]])
        by_stand.append(_of_stands(sizes, noise, second_db, steady[mine], scattered[mine], mine.start))
    gain, noise_dbm, both, k_db, weaker, ray, branch = (
        np.concatenate(part) for part in zip(*by_stand, strict=True)
    )
    return gain, noise_dbm, both, k_db, weaker, ray.astype(np.int64), branch.astype(np.int64)


def _branches_of(stand: Stand) -> tuple[tuple[int, ...], FloatArray]:
    """How many antennas each branch has, and its noise [dBm]."""
    branches = stand.ends.branches
    return tuple(len(branch) for branch in branches), np.array(
        [stand.ends.noise_dbm(branch, stand.mhz) for branch in branches]
    )


def _second(stand: Stand) -> float:
    """How much weaker a second branch is that has no antenna of its own on the site [dB]."""
    own = stand.ends.receiver.branches == 2 and stand.ends.branches[0][0].antenna is None
    return 0.0 if own else NO_HELP_DB


def _of_stands(
    sizes: Sequence[int],
    noise: FloatArray,
    second_db: float,
    steady: FloatArray,
    scattered: FloatArray,
    begin: int,
) -> tuple[FloatArray, ...]:
    """`_better` of stands with branches of the same `sizes`, noise (places, branches) [dBm]."""
    n, e, turns = len(noise), sum(sizes), steady.shape[1]
    straight, around = steady.reshape(n, e, turns), scattered.reshape(n, e, turns)
    edges = np.cumsum([0, *sizes])
    gets = np.stack([(straight + around)[:, i:j].sum(axis=1) for i, j in itertools.pairwise(edges)], axis=1)
    over = 10.0 * np.log10(np.maximum(gets, 1e-40)) - noise[:, :, None]
    first = over.argmax(axis=1)
    rows, cols = np.arange(n)[:, None], np.arange(turns)[None, :]
    gain = 10.0 * np.log10(np.maximum(gets[rows, first, cols], 1e-40))
    weaker = over.max(axis=1) - over.min(axis=1) if len(sizes) == 2 else np.full((n, turns), second_db)
    parts = straight + around
    strongest = np.stack([i + parts[:, i:j].argmax(axis=1) for i, j in itertools.pairwise(edges)], axis=1)
    ear = strongest[rows, first, cols]
    straight_sum = np.stack([straight[:, i:j].sum(axis=1) for i, j in itertools.pairwise(edges)], axis=1)
    around_sum = np.stack([around[:, i:j].sum(axis=1) for i, j in itertools.pairwise(edges)], axis=1)
    ratio = straight_sum[rows, first, cols] / np.maximum(around_sum[rows, first, cols], 1e-300)
    k_db = np.clip(10.0 * np.log10(np.maximum(ratio, 1e-9)), K_DB[0], K_DB[-1])
    both = 10.0 * np.log10(np.maximum(gets[:, [0, -1]], 1e-40))
    return gain, noise[rows, first], both, k_db, np.minimum(weaker, NO_HELP_DB), begin + rows * e + ear, first


def walked_db(site: Site, distance_m: FloatArray) -> FloatArray:
    """What a walk test adds to the level at distances of any shape [dB]; beyond those walked it stays."""
    if site.learnt is None:
        return np.zeros(distance_m.shape)
    walked = np.clip(distance_m, site.learnt.nearest_m, site.learnt.farthest_m)
    return np.asarray(site.learnt.offset_db + site.learnt.slope_db * np.log10(walked / site.learnt.reference_m))

"""What is not known of a link's places: parts common to all of them, parts of each one's own; and a fixed set of
cases.

Body and kit are common to all places of a link. What a place has of its own (the model's spread, and that of walls
in the way) is a normal score z of unit variance that goes into its distribution; scores of paths whose ends are
near are alike: correlation S + (1 - S) exp(-gap / d), gap the distance between their talents and between their
receivers, S the share of a model's error that a whole site has in common. A case gives every part a value; all
cases are one fixed set of 256, so that the same shoot gives the same plan.

A level that was read conditions all of this (`reach.spot_levels`): the parts stay normal, with other means and
spreads.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.pathloss import p1411_sight_variability_db
from linkwright.reach.arriving import Arriving
from linkwright.reach.body import VEHICLE_SPREAD_DB
from linkwright.reach.ends import Ends
from linkwright.reach.path import MODELS, spread_of
from linkwright.shoot.equipment import Quantity
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.place import Site
from linkwright.units import BoolArray, FloatArray, IntArray

#: How many cases there are.
CASES: Final = 256
#: Common parts, standard deviations (assumed) [dB]: the body; figures of the kit that nobody measured, and stated
#: ones.
BODY_DB: Final = 3.0
KIT_DB: Final = 2.5
KIT_STATED_DB: Final = 1.0
#: What of each end its level and noise hang on.
OUTPUT: Final[Quantity] = "output power"
NOISE_FIGURE: Final[Quantity] = "noise figure"
#: Share of the variance of a model's error that is common to a whole site (assumed).
SHARED: Final = 0.25
#: How far a model's slope may be off, standard deviation (assumed) [dB a decade].
SLOPE_DB: Final = 10.0
#: Half of a normal distribution's 90 % interval over its standard deviation.
NINETY: Final = 1.6449
#: P.1411's variability in sight is known between these shares of locations.
LOCATIONS: Final = (0.01, 0.99)
#: The first columns of the cases: body, kit, and what is predicted of TV; then one a place.
BODY, KIT, TV, PLACES = range(4)


@functools.lru_cache(maxsize=8)
def _columns(count: int) -> FloatArray:
    """Cases of `count` independent normal parts (256, count): the order statistics of each part, in an order of its
    own (Richtmyer's sequence), then freed of what correlation is left."""
    primes = _primes(count)
    place = np.mod(np.outer(np.arange(1, CASES + 1), np.sqrt(primes)), 1.0)
    from scipy.special import ndtri

    score = ndtri((np.argsort(np.argsort(place, axis=0), axis=0) + 0.5) / CASES)
    for n in range(1, min(count, CASES // 4)):
        before = score[:, :n]
        score[:, n] -= before @ (before.T @ score[:, n]) / CASES
        score[:, n] *= math.sqrt(CASES / float(score[:, n] @ score[:, n]))
    return np.asarray(score)


def _primes(count: int) -> FloatArray:
    """The first primes."""
    most = max(16, int(count * (math.log(count + 2.0) + 2.0)))
    sieve = np.ones(most + 1, dtype=np.bool_)
    sieve[:2] = False
    for n in range(2, math.isqrt(most) + 1):
        if sieve[n]:
            sieve[n * n :: n] = False
    return np.flatnonzero(sieve)[:count].astype(np.float64)


def cases(count: int) -> FloatArray:
    """The cases of `count` independent normal parts (256, count); the first columns do not depend on the count."""
    return _columns(max(16, 1 << (count - 1).bit_length()))[:, :count]


def case_at(share: float) -> int:
    """Which of the cases in rising order has `share` of them under it: as many may fail."""
    return min(CASES - 1, math.floor(share * CASES + 1e-9))


@dataclass(frozen=True, eq=False, slots=True)
class Own:
    """How places scatter of their own (p,): standard deviation [dB], and which follow P.1411's law in sight; all
    laws `wider` than the models state them."""

    sigma_db: FloatArray
    in_sight: BoolArray
    wider: float = 1.0

    def deviation_db(self, score: FloatArray) -> FloatArray:
        """Level over the median [dB] at normal scores (..., p)."""
        plain = self.wider * self.sigma_db * score
        if not self.in_sight.any():
            return np.asarray(plain)
        from scipy.special import ndtr

        share = np.clip(ndtr(-score), *LOCATIONS)
        return np.where(self.in_sight, -self.wider * p1411_sight_variability_db(share), plain)

    @property
    def spread_db(self) -> FloatArray:
        """Standard deviation of each [dB]."""
        return np.asarray(self.wider * np.where(self.in_sight, SIGHT_SPREAD_DB, self.sigma_db))


def laid(own: Own, common_db: FloatArray, drawn: FloatArray) -> FloatArray:
    """Deviations in every case (256, p) [dB] in the order of those `drawn`, each place's with the quantiles of its
    own law and of what is common (p,) together: so a place by itself is told exactly, however few cases there
    are."""
    keys, which = distinct(np.stack([own.sigma_db, own.in_sight, common_db], axis=1).round(3))
    quantiles = np.stack([_quantiles(float(s), bool(sight), float(c)) for s, sight, c in keys], axis=1)
    laid_db = np.empty(drawn.shape)
    np.put_along_axis(laid_db, np.argsort(drawn, axis=0, kind="stable"), quantiles[:, which], axis=0)
    return laid_db


def distinct(rows: FloatArray) -> tuple[FloatArray, IntArray]:
    """Each row of some (n, x) once, as they come, and which of them each is (n,)."""
    at: dict[bytes, int] = {}
    which = [at.setdefault(row, len(at)) for row in map(bytes, np.ascontiguousarray(rows))]
    return np.frombuffer(b"".join(at)).reshape(len(at), rows.shape[1]), np.array(which, dtype=np.int64)


@functools.lru_cache(maxsize=4096)
def _quantiles(sigma_db: float, in_sight: bool, common_db: float) -> FloatArray:
    """Quantiles of a place's deviation and a common normal one together, at the middles of the cases (256,)
    [dB]."""
    from scipy.special import ndtr, ndtri

    share = (np.arange(CASES) + 0.5) / CASES
    if not in_sight:
        return np.asarray(np.hypot(sigma_db, common_db) * ndtri(share))
    fine = (np.arange(FINE) + 0.5) / FINE
    own = Own(np.array([sigma_db]), np.array([True])).deviation_db(ndtri(fine)[:, None])[:, 0]
    if common_db < 0.01:
        return np.asarray(np.interp(share, fine, own))
    at = np.linspace(own[0] - 4.0 * common_db, own[-1] + 4.0 * common_db, FINE)
    return np.asarray(np.interp(share, ndtr((at[:, None] - own[None, :]) / common_db).mean(axis=1), at))


#: Points of a law that is put together with a normal one.
FINE: Final = 400
#: Standard deviation of P.1411's variability in sight [dB]: a Rayleigh variable's, times 1.5624 x 7.
SIGHT_SPREAD_DB: Final = 1.5624 * 7.0 * math.sqrt(2.0 - math.pi / 2.0)


def own_of(site: Site, arrived: Arriving) -> Own:
    """What places have of their own, with or without line of sight, and with what walls add (p,).

    After a walk test it is what scattered there, and how sure its trend is at their distance, less so beyond.
    """
    sight, wall_spread_db = arrived.sight, arrived.wall_spread_db
    with_sight, without = spread_of(site, True), spread_of(site, False)
    if site.learnt is not None:
        spread = np.hypot(site.learnt.sigma_db, trend_spread_db(site.learnt, arrived.distance_m))
        return Own(spread, np.zeros(sight.shape, dtype=np.bool_))
    in_sight = sight & (with_sight.kind == "sight") & (wall_spread_db <= 0.0)
    model = np.where(sight, with_sight.sigma_db, without.sigma_db)
    return Own(np.hypot(model, wall_spread_db), in_sight)


def trend_spread_db(learnt: Learnt, distance_m: FloatArray) -> FloatArray:
    """How sure a walk test's offset and slope are at distances [dB], standard deviation; beyond those that were
    walked the models' slope may be off as it was before."""
    walked = np.clip(distance_m, learnt.nearest_m, learnt.farthest_m)
    decades = np.log10(walked / learnt.reference_m)
    offset = (learnt.offset_high_db - learnt.offset_low_db) / 2.0 / NINETY
    slope = (learnt.slope_high_db - learnt.slope_low_db) / 2.0 / NINETY
    variance = offset**2 + (decades * slope) ** 2 + 2.0 * learnt.correlation * decades * offset * slope
    beyond = SLOPE_DB * np.abs(np.log10(np.maximum(distance_m, 1.0) / walked))
    return np.asarray(np.hypot(np.sqrt(np.maximum(variance, 0.0)), beyond))


def kit_db_of(ends: Ends) -> float:
    """How the kit's figures may be off [dB]: less where those that count are stated or measured."""
    known = all(
        of.use is None or of.measurements(what)
        for of, what in ((ends.transmitter, OUTPUT), (ends.receiver, NOISE_FIGURE))
    )
    return KIT_STATED_DB if known else KIT_DB


def body_db_of(ends: Ends) -> float:
    """How what bodies and vehicles about the ends take may be off [dB]."""
    return math.hypot(BODY_DB * math.sqrt(ends.worn_ends), vehicle_db_of(ends))


def vehicle_db_of(ends: Ends) -> float:
    """How the loss into vehicles may be off [dB]: nothing where it was stated."""
    inside = [end for end in (ends.inside, ends.listener.inside) if end is not None and end.stated_db is None]
    return VEHICLE_SPREAD_DB * math.sqrt(len(inside))


def alike(site: Site, talents: FloatArray, receivers: FloatArray) -> FloatArray:
    """Correlation of the scores of paths (p, p): talents and receivers (p, 3) [m]."""
    return alike_between(site, talents, receivers, talents, receivers)


def alike_between(
    site: Site, talents: FloatArray, receivers: FloatArray, others: FloatArray, their_receivers: FloatArray
) -> FloatArray:
    """Correlation of the scores of paths with those of others (p, q), each with talents and receivers (., 3)
    [m]."""
    gap = np.sqrt(((talents[:, None] - others[None]) ** 2).sum(axis=2))
    gap = gap + np.sqrt(((receivers[:, None] - their_receivers[None]) ** 2).sum(axis=2))
    return np.asarray(SHARED + (1.0 - SHARED) * np.exp(-gap / MODELS[site.surroundings].alike_m))


@dataclass(frozen=True, eq=False, slots=True)
class Doubt:
    """What is not known of the places (p,) of some links, as cases: deviation_db (256, p) over the medians.

    parts (p, 3) : standard deviations of place, body and kit [dB]; tv (256,) : a normal score for predicted TV.
    """

    deviation_db: FloatArray
    parts: FloatArray
    tv: FloatArray

    def of(self, places: slice) -> Doubt:
        """The same of some of the places."""
        return Doubt(self.deviation_db[:, places], self.parts[places], self.tv)


def doubt_of(site: Site, ends: Sequence[Ends], arrived: Arriving) -> Doubt:
    """The doubt of places (p,), link by link: each link has cases of its own places."""
    own = own_of(site, arrived)
    kit, body = (np.array([of(each) for each in ends])[arrived.stand] for of in (kit_db_of, body_db_of))
    score = np.empty((CASES, arrived.stand.size))
    for mine in groups(arrived.stand):
        score[:, mine] = _scores(site, arrived.places[mine], arrived.heard_at[mine])
    first = cases(PLACES)
    common = body[None, :] * first[:, BODY, None] + kit[None, :] * first[:, KIT, None]
    parts = np.stack([own.spread_db, body, kit], axis=1)
    return Doubt(laid(own, np.hypot(body, kit), own.deviation_db(score) + common), parts, first[:, TV])


def groups(stand: IntArray) -> list[slice]:
    """The places of each stand, which lie together."""
    edges = np.flatnonzero(np.diff(stand)) + 1
    return [slice(int(a), int(b)) for a, b in zip([0, *edges], [*edges, stand.size], strict=True)]


def _scores(site: Site, talents: FloatArray, receivers: FloatArray) -> FloatArray:
    """Normal scores of places in every case (256, p)."""
    count = len(talents)
    independent = cases(PLACES + count)[:, PLACES:]
    if count == 1:
        return independent
    root = np.linalg.cholesky(alike(site, talents, receivers) + 1e-9 * np.eye(count))
    return np.asarray(independent @ root.T)

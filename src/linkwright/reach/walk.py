"""A walk test: levels along a known route re-fit a site's offset, slope and body loss, and are kept themselves.

The powers of neighbouring readings are averaged over a few wavelengths, so that what is left is the local mean. Its
difference from the model is an offset, a slope over the logarithm of distance, what the body costs more or less, a
slow shadowing that is alike at neighbouring places (exponential correlation; M. Gudmundson, Electronics Letters
27(23), 1991), and what is left at each place, which may be far off now and then (Student's t: robust). Priors: the
models are right within what is assumed below. The posterior is drawn by Gibbs sampling from a seed; intervals are
its quantiles. About this trend the averages condition what is not known (`reach.spot_levels`): each alone predicts
places that were held out worse (bench/test_walk_held_out.py).
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.physics.fading import cycles
from linkwright.physics.pathloss import NEAREST_M
from linkwright.progress import Tell
from linkwright.reach.arriving import arriving, stand_at
from linkwright.reach.body import SHOWN, shown_by
from linkwright.reach.doubt import SLOPE_DB
from linkwright.reach.ends import Ends
from linkwright.reach.ground import AtWork, walk
from linkwright.reach.path import xyz
from linkwright.reach.regress import Prior, WalkSamples, posterior
from linkwright.reach.spot_levels import MeasuredLevels
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.learnt import Learnt, WalkedLevel
from linkwright.shoot.place import Site, Spot
from linkwright.shoot.walklog import WalkLog
from linkwright.units import FloatArray, IntArray, dbm_from_mw, dbm_from_mw_array, mw_from_dbm_array

#: Levels are averaged over this much of the way [m]: four wavelengths at 600 MHz; and over more where there would
#: be more than so many averages.
AVERAGE_M: Final = 2.0
MOST_AVERAGES: Final = 200
#: A walk gives at least so many, over at least this share of an order of magnitude of distance for a slope.
LEAST_AVERAGES: Final = 12
#: How far a model may be off, standard deviations (assumed): offset [dB], body [dB].
OFFSET_DB: Final = 8.0
BODY_DB: Final = 6.0
#: How much the shown side of the body must vary over the walk for its loss to be told.
LEAST_TURN: Final = 0.2
#: What may have changed on a site since an earlier walk, standard deviation (assumed) [dB].
SINCE_DB: Final = 2.0


@dataclass(frozen=True, eq=False, slots=True)
class Walked:
    """Readings with places: seconds (n,), places (n, 3), ways (n, 3) [m], levels (n, b) [dBm], ways faced."""

    time_s: FloatArray
    places: FloatArray
    ways: FloatArray
    level_dbm: FloatArray
    facing: tuple[str, ...]


def placed(log: WalkLog, route: Sequence[Spot], site: Site) -> Walked:
    """Where each reading of a log was taken. Raises InputError where that cannot be told.

    By x_m and y_m where the log has them; else by the spots that it names, evenly in between; else evenly along the
    link's route from the first reading to the last.
    """
    height = float(np.mean([spot.z_m for spot in route]))
    if np.isfinite(log.x_m).any():
        keep = np.isfinite(log.x_m) & np.isfinite(log.y_m)
        places = np.stack([log.x_m[keep], log.y_m[keep], np.full(int(keep.sum()), height)], axis=1)
    elif any(log.spots):
        keep, places = _by_spots(log, site)
    else:
        if log.time_s[-1] <= 0.0:
            raise InputError("all readings have one time; expected times along the walk, or x_m and y_m")
        length_s, corners, _ = walk(route, 1.0, 4097)
        if length_s[-1] <= 0.0 or np.ptp(corners, axis=0).max() <= 0.0:
            raise InputError("the link's route is one spot; give the walk x_m and y_m, or name the spots passed")
        at = log.time_s / log.time_s[-1] * length_s[-1]
        keep = np.ones(at.size, dtype=np.bool_)
        places = np.stack([np.interp(at, length_s, corners[:, n]) for n in range(3)], axis=1)
    some = np.flatnonzero(keep).tolist()
    ways = np.gradient(places, axis=0) if len(places) > 1 else np.zeros(places.shape)
    return Walked(log.time_s[keep], places, ways, log.level_dbm[keep], tuple(log.facing[n] for n in some))


def _by_spots(log: WalkLog, site: Site) -> tuple[np.ndarray, FloatArray]:
    """Which readings lie between spots passed, and where. Raises InputError."""
    known = {spot.name: spot for spot in site.spots}
    marks = [(float(t), name) for t, name in zip(log.time_s, log.spots, strict=True) if name]
    for _, name in marks:
        if name not in known:
            near = did_you_mean(name, known) or f"; the spots are {', '.join(list(known)[:20])}"
            raise InputError(f'the log passes a spot "{name[:40]}" that {site.name} does not have{near}')
    if len({name for _, name in marks}) < 2:
        raise InputError("the log passes one spot only; expected at least two, or x_m and y_m")
    times = np.array([t for t, _ in marks])
    corners = xyz(tuple(known[name] for _, name in marks))
    keep = (log.time_s >= times[0]) & (log.time_s <= times[-1])
    return keep, np.stack([np.interp(log.time_s[keep], times, corners[:, n]) for n in range(3)], axis=1)


@dataclass(frozen=True, eq=False, slots=True)
class Averages:
    """Means over pieces of the way, each (m,): metres walked, level over the model's [dB], distance [m], how much
    of the body is in the way (0..1); `ones` how many readings. between_m : least and largest distance of a reading.
    """

    gone_m: FloatArray
    over_db: FloatArray
    distance_m: FloatArray
    hidden: FloatArray
    ones: FloatArray
    between_m: tuple[float, float]


def averages(link: AtWork, walked: Walked) -> Averages:
    """The walk in pieces, against what the models say there without any earlier walk."""
    ends: Ends = replace(link.ends, site=link.ends.site.model_copy(update={"learnt": None}))
    shown = _shown(ends, walked)
    speeds = np.full(len(walked.places), ends.usual_m_s)
    arrived = arriving([stand_at(ends, link.mhz, walked.places, speeds, shown=shown)])
    level = walked.level_dbm
    model = arrived.branch_gain_db[:, : level.shape[1], 0] + dbm_from_mw(link.power_mw)
    hidden = (1.0 - shown) / 2.0
    ratio = np.where(np.isfinite(level), mw_from_dbm_array(np.nan_to_num(level - model)), np.nan)
    piece, gone = _piece_of(walked)
    distance = np.maximum(arrived.distance_m, NEAREST_M)
    return _pieces(piece, gone, ratio, distance, hidden)


def _piece_of(walked: Walked) -> tuple[IntArray, FloatArray]:
    """In which piece of the way each reading lies, and how far it was gone by then [m]."""
    step = np.sqrt((np.diff(walked.places, axis=0) ** 2).sum(axis=1))
    gone = np.concatenate([[0.0], np.cumsum(step)])
    return (gone / max(AVERAGE_M, float(gone[-1]) / MOST_AVERAGES)).astype(np.int64), gone


def _pieces(
    piece: np.ndarray, gone: FloatArray, ratio: FloatArray, distance: FloatArray, hidden: FloatArray
) -> Averages:
    """Means over the pieces of the way: of powers, so that fading averages out."""
    heard = np.isfinite(ratio).any(axis=1)
    piece, gone, ratio, distance, hidden = (column[heard] for column in (piece, gone, ratio, distance, hidden))
    _, which, count = np.unique(piece, return_inverse=True, return_counts=True)

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(which, weights=values) / count)

    power = mean(np.nanmean(ratio, axis=1)) if ratio.size else np.zeros(0)
    ends = (float(distance.min(initial=np.inf)), float(distance.max(initial=0.0)))
    return Averages(
        mean(gone),
        dbm_from_mw_array(power),
        10.0 ** mean(np.log10(distance)),
        mean(hidden),
        count.astype(float),
        ends,
    )


def pieces_taken(link: AtWork, walked: Walked) -> MeasuredLevels:
    """The walk in pieces as levels that were read: means of powers, so that fading averages out."""
    level = walked.level_dbm
    best = np.nanmax(level, axis=1)
    piece, gone = _piece_of(walked)
    shown = _shown(link.ends, walked)
    numbers = np.unique(piece[np.isfinite(best)])
    mine = [np.flatnonzero((piece == n) & np.isfinite(best)) for n in numbers]
    gain = [float(dbm_from_mw_array(mw_from_dbm_array(best[m]).mean()[None])[0]) for m in mine]
    looks = [looks_over(float(np.ptp(gone[m])), m.size, link.mhz) for m in mine]
    return MeasuredLevels(
        link.ends,
        link.mhz,
        np.array(gain) - dbm_from_mw(link.power_mw),
        np.array([walked.places[m].mean(axis=0) for m in mine]).reshape(-1, 3),
        np.array(looks),
        np.array([float(shown[m].mean()) for m in mine]),
    )


def _levels(taken: MeasuredLevels) -> tuple[WalkedLevel, ...]:
    """The levels as the file has them."""
    return tuple(
        WalkedLevel(
            x_m=round(float(at[0]), 2), y_m=round(float(at[1]), 2), z_m=round(float(at[2]), 2),
            gain_db=round(float(gain), 2), looks=round(float(looks), 1), shown=round(float(shown), 2),
        )
        for at, gain, looks, shown in zip(taken.talents, taken.gain_db, taken.looks, taken.shown, strict=True)
    )  # fmt: skip


def looks_over(way_m: float, readings: int, mhz: float) -> float:
    """How many independent looks of the fast fading readings over a stretch of way are: one each half
    wavelength."""
    return float(np.clip(cycles(mhz, way_m) * 2.0, 1.0, max(readings, 1)))


def _shown(ends: Ends, walked: Walked) -> FloatArray:
    """How much of the transmitter's side was shown at each reading: as the log says, else as it was walked."""
    way = np.array([ends.at.x_m, ends.at.y_m]) - walked.places[:, :2]
    length = np.hypot(way[:, 0], way[:, 1]) * np.hypot(walked.ways[:, 0], walked.ways[:, 1])
    ahead = (way * walked.ways[:, :2]).sum(axis=1) / np.maximum(length, 1e-9)
    shown = np.broadcast_to(shown_by(ends.worn, ends.facing or "walking", ahead)[0], ahead.shape).copy()
    for word in SHOWN:
        said = np.array([facing == word for facing in walked.facing], dtype=np.bool_)
        shown[said] = float(shown_by(ends.worn, word, None)[0])
    return shown


def learn(
    link: AtWork,
    walked: Walked,
    day: datetime.date | None = None,
    *,
    earlier: Learnt | None = None,
    seed: int = 0,
    tell: Tell | None = None,
) -> Learnt:
    """What a walk taught about the site. Raises InputError for a walk too short to learn from.

    earlier : what an earlier walk taught, as the prior instead of the models'.
    """
    pieces = averages(link, walked)
    if pieces.gone_m.size < LEAST_AVERAGES:
        raise InputError(
            f"the walk has {pieces.gone_m.size} stretches of {AVERAGE_M:g} m with levels; expected at least "
            f"{LEAST_AVERAGES}: walk farther, and log more often"
        )
    reference = float(10.0 ** np.mean(np.log10(pieces.distance_m))) if earlier is None else earlier.reference_m
    turns = float(np.ptp(pieces.hidden)) >= LEAST_TURN
    columns = [np.ones(pieces.gone_m.size), np.log10(pieces.distance_m / reference)]
    if turns:
        columns.append(-pieces.hidden)
    prior = _prior(link, earlier, turns)
    drawn = posterior(WalkSamples(pieces.gone_m, pieces.over_db, np.stack(columns, axis=1)), prior, seed, tell)
    low, middle, high = np.quantile(drawn.terms, [0.05, 0.5, 0.95], axis=0)
    assumed = link.ends.site.model_copy(update={"learnt": None})
    body = replace(link.ends, site=assumed).body
    extra = body.away_db - body.facing_db
    told = [round(float(max(0.0, extra + value[2])), 2) if turns else None for value in (low, middle, high)]
    return Learnt(
        site=link.ends.site.name, link=link.name, date=day, readings=int(pieces.ones.sum()),
        carrier_mhz=link.carrier_khz / 1000.0,
        nearest_m=round(pieces.between_m[0], 2), farthest_m=round(pieces.between_m[1], 2),
        reference_m=round(reference, 2),
        offset_db=round(float(middle[0]), 2), offset_low_db=round(float(low[0]), 2),
        offset_high_db=round(float(high[0]), 2),
        slope_db=round(float(middle[1]), 2), slope_low_db=round(float(low[1]), 2),
        slope_high_db=round(float(high[1]), 2), body_low_db=told[0], body_db=told[1], body_high_db=told[2],
        correlation=round(float(np.corrcoef(drawn.terms[:, 0], drawn.terms[:, 1])[0, 1]), 3), sigma_db=max(0.5,
        round(float(np.median(drawn.shadow_db)), 2)), levels=_levels(pieces_taken(link, walked)),
    )  # fmt: skip


def _prior(link: AtWork, earlier: Learnt | None, turns: bool) -> Prior:
    """Where the terms are looked for: about the models, or about what an earlier walk taught."""
    middle, spread = [0.0, 0.0, 0.0], [OFFSET_DB, SLOPE_DB, BODY_DB]
    if earlier is not None:
        half = 1.6449
        middle[:2] = [earlier.offset_db, earlier.slope_db]
        spread[0] = float(np.hypot((earlier.offset_high_db - earlier.offset_low_db) / 2.0 / half, SINCE_DB))
        spread[1] = float(np.hypot((earlier.slope_high_db - earlier.slope_low_db) / 2.0 / half, SINCE_DB))
    terms = 3 if turns else 2
    sigma = 7.0 if link.ends.site.surroundings in ("street", "residential") else 5.0
    return Prior(np.array(middle[:terms]), np.array(spread[:terms]), sigma)

"""What is on the air in some sweeps of one place, all taken together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.air.carriers import Carrier, Wide, carriers, wide_signals
from linkwright.air.deaf import deaf_among
from linkwright.air.judgement import JudgedSweep, judge
from linkwright.air.looks import Look, look_of
from linkwright.air.multiplexes import Channel, Multiplex, multiplexes
from linkwright.air.occupancy import MeasuredAir
from linkwright.air.readers import ListedCarrier, Readout, evidence
from linkwright.air.series import series
from linkwright.air.sweep import Sweep
from linkwright.physics.detection import averaged_threshold_db
from linkwright.physics.looking import User

#: A microphone's band: what is called clean is clean over this width [kHz].
SLOT_KHZ = 200
#: A carrier this near to a recognised pilot is that pilot [kHz].
PILOT_NEAR_KHZ = 60.0
#: Share of idle bins that noise alone may list as a carrier.
FALSE_CARRIER = 1e-7


@dataclass(frozen=True, eq=False)
class Survey:
    """All that some files say about the air of one place.

    Attributes
    ----------
    readouts : what each file holds, in the order given. refused : for each file why it is no evidence, or None.
    judged : the series that count, each judged. looks : how each of them looked.
    tv, carriers, wide : what was found, rising in frequency. heard : carriers from lists.
    clean : bands [kHz] that were looked at, in which nothing stands over the floor; `missed` says how sure.
    missed : chance (0..1) of not having met a user who is on now and then, anywhere in the band.
    """

    readouts: tuple[Readout, ...]
    refused: tuple[str | None, ...]
    judged: tuple[JudgedSweep, ...]
    looks: tuple[Look, ...]
    tv: tuple[Multiplex, ...]
    carriers: tuple[Carrier, ...]
    wide: tuple[Wide, ...]
    heard: tuple[ListedCarrier, ...]
    clean: tuple[tuple[float, float], ...]
    missed: float

    @property
    def main(self) -> JudgedSweep | None:
        """The series that tells most: the most bins that were looked at; None where there is none."""
        return max(self.judged, key=lambda sweep: sweep.frequencies_khz.size, default=None)

    @property
    def uncertain(self) -> bool:
        """Whether no series has a floor that can be relied on."""
        return all(sweep.uncertain for sweep in self.judged)


def survey(readouts: Sequence[Readout], raster: Sequence[Channel] = (), user: User | None = None) -> Survey:
    """Put together what some files of one place hold. A file that turns out deaf does not count."""
    useful = [evidence(readout.sweeps) for readout in readouts]
    refused = _refused(useful, raster)
    counted = [sweep for sweeps, reason in zip(useful, refused, strict=True) if reason is None for sweep in sweeps]
    judged = tuple(judge(sweep) for sweep in series(counted))
    looks = tuple(look_of(sweep.sweep, user) for sweep in judged)
    tv = _merged_tv([multiplexes(sweep, raster) for sweep in judged])
    known = [(float(multiplex.from_khz), float(multiplex.to_khz)) for multiplex in tv]
    sure_carriers = [carrier for each in judged for carrier in carriers(each) if _is_sure(carrier, each)]
    wide = [wide_signal for each in judged for wide_signal in wide_signals(each, known)]
    return Survey(
        tuple(readouts),
        refused,
        judged,
        looks,
        tv,
        _merged_carriers(sure_carriers, tv),
        tuple(sorted(wide, key=lambda multiplex: multiplex.from_khz)),
        tuple(
            sorted(
                (carrier for readout in readouts for carrier in readout.heard),
                key=lambda carrier: carrier.centre_khz,
            )
        ),
        _clean(judged, [carrier for readout in readouts for carrier in readout.heard]),
        _missed(judged, looks),
    )


def _refused(useful: Sequence[tuple[Sweep, ...]], raster: Sequence[Channel]) -> tuple[str | None, ...]:
    """For each file why it is no evidence, judged by its first trace against those of the others."""
    firsts = [number for number, sweeps in enumerate(useful) if sweeps]
    reasons: list[str | None] = [None] * len(useful)
    if len(firsts) > 1:
        whys = deaf_among([judge(useful[number][0]) for number in firsts], raster)
        for number, reason in zip(firsts, whys, strict=True):
            reasons[number] = reason
    return tuple(reasons)


def _merged_tv(by_sweep: Sequence[tuple[Multiplex, ...]]) -> tuple[Multiplex, ...]:
    """One entry a channel: the sweep that says most about it, then the one that hears it best."""
    best: dict[str, Multiplex] = {}
    for multiplex in (multiplex for each in by_sweep for multiplex in each):
        other = best.get(multiplex.channel)
        if other is None or (multiplex.kind == "multiplex", multiplex.excess_db) > (
            other.kind == "multiplex",
            other.excess_db,
        ):
            best[multiplex.channel] = multiplex
    return tuple(sorted(best.values(), key=lambda multiplex: multiplex.from_khz))


def _merged_carriers(heard: Sequence[Carrier], tv: Sequence[Multiplex]) -> tuple[Carrier, ...]:
    """Carriers of all series once each, the one that stands highest; pilots and points of multiplexes left out."""
    kept: list[Carrier] = []
    for carrier in sorted(heard, key=lambda carrier: -carrier.excess_db):
        if not _belongs_to_tv(carrier, tv) and not any(_same(carrier, other) for other in kept):
            kept.append(carrier)
    return tuple(sorted(kept, key=lambda carrier: carrier.centre_khz))


def _is_sure(carrier: Carrier, judged: JudgedSweep) -> bool:
    """Whether a carrier is listed: thresholds that mark one idle bin in a thousand busy would list many that are
    nothing. What is not listed is not called clean either."""
    more_db = averaged_threshold_db(judged.averages, FALSE_CARRIER) - averaged_threshold_db(judged.averages)
    least_db = judged.mean_threshold_db if carrier.duty == 1.0 else judged.maximum_threshold_db
    return carrier.excess_db > least_db + more_db


def _same(carrier: Carrier, other: Carrier) -> bool:
    return abs(carrier.centre_khz - other.centre_khz) <= max(carrier.bandwidth_khz, other.bandwidth_khz) / 2.0


def _belongs_to_tv(carrier: Carrier, tv: Sequence[Multiplex]) -> bool:
    """Whether a carrier is a pilot, or a point of a channel of which no more than points is known."""
    for channel in tv:
        if not channel.from_khz <= carrier.centre_khz <= channel.to_khz:
            continue
        if channel.pilot_khz is not None and abs(carrier.centre_khz - channel.pilot_khz) <= PILOT_NEAR_KHZ:
            return True
        if channel.kind != "multiplex":
            return True
    return False


def _clean(judged: Sequence[JudgedSweep], heard: Sequence[ListedCarrier]) -> tuple[tuple[float, float], ...]:
    """Bands [kHz] in which every slot was looked at and nothing stands over a floor that can be relied on."""
    sure = tuple(sweep for sweep in judged if not sweep.uncertain)
    if not sure:
        return ()
    air = MeasuredAir(tuple(judged))
    low = min(judged_sweep.left_khz[0] for judged_sweep in sure) + SLOT_KHZ / 2.0
    high = max(judged_sweep.right_khz[-1] for judged_sweep in sure) - SLOT_KHZ / 2.0
    slots = np.arange(np.ceil(low / 25.0) * 25.0, high + 1e-6, 25.0).astype(np.int64)
    if slots.size == 0:
        return ()
    levels = air.slot_levels(slots, SLOT_KHZ)
    free = MeasuredAir(sure).slot_levels(slots, SLOT_KHZ).covered & levels.covered & ~levels.busy & ~levels.raised
    for carrier in heard:
        free &= np.abs(slots - carrier.centre_khz) > SLOT_KHZ
    return tuple(_bands(slots[free]))


def _bands(slots: np.ndarray) -> list[tuple[float, float]]:
    """What free slots cover together: slots that touch or overlap are one band."""
    if slots.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(slots) > SLOT_KHZ)
    starts = np.concatenate([[slots[0]], slots[breaks + 1]])
    stops = np.concatenate([slots[breaks], [slots[-1]]])
    half = SLOT_KHZ / 2.0
    return [(float(a) - half, float(b) + half) for a, b in zip(starts, stops, strict=True)]


def _missed(judged: Sequence[JudgedSweep], looks: Sequence[Look]) -> float:
    """The worst over the series, each counted as well as the best one that covers its band looked."""
    worst = 0.0 if judged else 1.0
    for sweep in judged:
        covering = [
            look.missed
            for other, look in zip(judged, looks, strict=True)
            if other.sweep.from_khz <= sweep.sweep.from_khz + 1.0 and other.sweep.to_khz >= sweep.sweep.to_khz - 1.0
        ]
        worst = max(worst, min(covering))
    return worst

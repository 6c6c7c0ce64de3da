"""A sweep that heard nothing because nothing reached it: the antenna was off, its cable broken or its input shut.

What is known to be on the air is gone and the floor is where it was, or a little lower: the receiver hears its own
noise. Such a sweep shows a clean band and is no evidence of one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.air.carriers import carriers
from linkwright.air.judgement import COARSE_KHZ, JudgedSweep
from linkwright.air.multiplexes import Channel, multiplexes

#: What is known must have stood this far over the floor to be missed [dB]; fading takes less than that from all
#: of several at once.
STRONG_DB = 10.0
#: So many must be gone at once: one may have been switched off.
LEAST_KNOWN = 2
#: Floors this near to each other are the same [dB].
SAME_FLOOR_DB = 3.0
#: What is wide and on the air all day nearly everywhere [kHz]: broadcast FM (ITU Radio Regulations, band 87.5-108
#: MHz), and the downlinks of cellular networks (3GPP TS 36.101, table 5.5-1; from memory). A sweep whose points lie
#: too far apart to show a carrier shows these: so many of its points in one, so many of which stand out.
BLOCKS: Final = (
    ("FM radio", 87_500.0, 108_000.0), ("cellular 729-756 MHz", 729_000.0, 756_000.0),
    ("cellular 758-821 MHz", 758_000.0, 821_000.0), ("cellular 859-894 MHz", 859_000.0, 894_000.0),
    ("cellular 925-960 MHz", 925_000.0, 960_000.0), ("cellular 1805-1880 MHz", 1_805_000.0, 1_880_000.0),
    ("cellular 1930-1995 MHz", 1_930_000.0, 1_995_000.0), ("cellular 2110-2170 MHz", 2_110_000.0, 2_170_000.0),
)  # fmt: skip
LEAST_POINTS: Final = 6
STANDING: Final = 0.75
#: What is left of a known signal may stand this far over the floor [dB] and still count as gone.
GONE_DB = 3.0


@dataclass(frozen=True)
class SteadySignal:
    """Something that is on the air all the time: its name, its band [kHz], how far it stood over the floor [dB].

    `over_db` is None where only its presence is known, as of a multiplex from a list of stations.
    """

    name: str
    from_khz: float
    to_khz: float
    over_db: float | None = None


def known_from(judged: JudgedSweep, raster: Sequence[Channel] = ()) -> tuple[SteadySignal, ...]:
    """What another sweep of the same place says is on the air all the time: multiplexes, steady strong carriers."""
    if judged.sweep.under_sampled:
        return _blocks(judged)
    there = multiplexes(judged, raster)
    known = [
        SteadySignal(f"TV channel {multiplex.channel}", multiplex.from_khz, multiplex.to_khz, multiplex.excess_db)
        for multiplex in there
        if multiplex.excess_db >= STRONG_DB
    ]
    inside = [(multiplex.from_khz, multiplex.to_khz) for multiplex in there]
    for carrier in carriers(judged):
        steady = carrier.duty > 0.9 and carrier.excess_db >= STRONG_DB
        if steady and not any(low <= carrier.centre_khz <= high for low, high in inside):
            half = max(carrier.bandwidth_khz / 2.0, judged.sweep.step_khz)
            known.append(
                SteadySignal(
                    f"{carrier.centre_khz / 1e3:.3f} MHz",
                    carrier.centre_khz - half,
                    carrier.centre_khz + half,
                    carrier.excess_db,
                )
            )
    return tuple(known)


def deaf_reason(judged: JudgedSweep, known: Sequence[SteadySignal], floor_db: float | None = None) -> str | None:
    """Why a sweep is refused as evidence, in a sentence; None where it heard what it should, or who can tell.

    Parameters
    ----------
    judged : the sweep in question.
    known : what is on the air all the time. At least two that the sweep looked at must be gone, all of them.
    floor_db : median floor of the sweep that `known` comes from, in the same unit; where it differs by more than
        3 dB the receiver was set otherwise, and nothing follows. None: not compared.
    """
    if floor_db is not None and abs(judged.typical_floor_db - floor_db) > SAME_FLOOR_DB:
        return None
    names = []
    for steady in known:
        if steady.over_db is not None and steady.over_db < STRONG_DB:
            continue
        heard = _heard_db(judged, steady)
        if heard is None:
            continue
        if heard > GONE_DB:
            return None
        names.append(steady.name)
    if len(names) < LEAST_KNOWN:
        return None
    listed = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    listed = " and ".join(names) if len(names) == LEAST_KNOWN else listed
    lower = 0.0 if floor_db is None else floor_db - judged.typical_floor_db
    unchanged = f" and its floor is {lower:.0f} dB lower" if lower >= 0.5 else " and its floor is unchanged"
    unchanged = "" if floor_db is None else unchanged
    return f"{listed} cannot be heard in it{unchanged}: the antenna or its cable was off, so it is no evidence"


def deaf_among(judged: Sequence[JudgedSweep], raster: Sequence[Channel] = ()) -> tuple[str | None, ...]:
    """For each of several sweeps of one place why it is refused, judged by what the others heard."""
    known = [known_from(judged_sweep, raster) for judged_sweep in judged]
    reasons: list[str | None] = []
    for number, sweep in enumerate(judged):
        reason = None
        for other, theirs in enumerate(judged):
            if other != number and reason is None and theirs.sweep.unit == sweep.sweep.unit:
                reason = deaf_reason(sweep, known[other], theirs.typical_floor_db)
        reasons.append(reason)
    return tuple(reasons)


def _blocks(judged: JudgedSweep) -> tuple[SteadySignal, ...]:
    """The wide blocks that a sweep of scattered points shows: what a quarter of their points stands over."""
    blocks = [SteadySignal(name, low, high, _block_db(judged, low, high)) for name, low, high in BLOCKS]
    return tuple(block for block in blocks if block.over_db is not None and block.over_db >= STRONG_DB)


def _block_db(judged: JudgedSweep, from_khz: float, to_khz: float) -> float | None:
    """What the upper quarter of the points of a block stands over the typical floor [dB]: traffic leaves some of it
    idle. None where hardly any point was looked at."""
    inside = (judged.frequencies_khz >= from_khz) & (judged.frequencies_khz <= to_khz)
    if int(inside.sum()) < LEAST_POINTS:
        return None
    return float(np.quantile(judged.mean_db[inside], STANDING)) - judged.typical_floor_db


def _heard_db(judged: JudgedSweep, known: SteadySignal) -> float | None:
    """How far a band stands over the floor [dB]; None where the sweep cannot tell."""
    half = judged.sweep.step_khz / 2.0
    inside = (judged.frequencies_khz > known.from_khz - half) & (judged.frequencies_khz < known.to_khz + half)
    width = known.to_khz - known.from_khz
    if judged.sweep.under_sampled and (known.name, known.from_khz, known.to_khz) in BLOCKS:
        return _block_db(judged, known.from_khz, known.to_khz)
    if judged.sweep.under_sampled or judged.sweep.step_khz > max(COARSE_KHZ, width):
        return None
    if np.sum(inside) * judged.sweep.step_khz < 0.75 * width:
        return None
    over = judged.mean_power[inside] / judged.floor_power[inside]
    wide = width > 5.0 * judged.sweep.step_khz
    return float(10.0 * np.log10(np.median(over) if wide else np.max(over)))

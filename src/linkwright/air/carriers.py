"""Narrow carriers in a sweep: runs of bins that stand out, with centre, width, level and duty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.air.judgement import JudgedSweep
from linkwright.units import BoolArray, FloatArray

#: A run of busy bins up to this wide is one carrier [kHz]; in a wider one (TV, a hump) only what stands out
#: of its surroundings is. Well over a microphone's 200 kHz, well under a TV channel; the project's choice.
NARROW_KHZ = 1_000.0
#: Runs nearer than this are one carrier that noise or its own modulation broke up [kHz]; the project's choice.
APART_KHZ = 50.0
#: By how much more than noise alone would a bin must stand out of a plateau to be a carrier on it [dB]; the
#: project's choice, since a multiplex fades over frequency.
STANDS_OUT_DB = 3.0
#: The surroundings: the median over this width [kHz].
SURROUNDINGS_KHZ = 1_000.0


@dataclass(frozen=True)
class Carrier:
    """A narrow carrier that was found.

    `centre_khz` [kHz], weighted by power over the floor; `bandwidth_khz` [kHz] of the run of bins;
    `level_db` power in the run, in the sweep's unit; `excess_db` of the highest bin over the floor; `duty`
    (0..1) the share of sweeps in which the highest bin was over its threshold; 1 for one that is too weak for
    that and shows in the mean only, which something steady does.
    """

    centre_khz: float
    bandwidth_khz: float
    level_db: float
    excess_db: float
    duty: float


def carriers(judged: JudgedSweep) -> tuple[Carrier, ...]:
    """The narrow carriers of a sweep, rising in frequency; runs less than 50 kHz apart are one."""
    spans: list[tuple[int, int]] = []
    if judged.sweep.step_khz > NARROW_KHZ or judged.sweep.under_sampled:
        # Neighbouring bins lie too far apart to belong to one carrier: each stands for itself.
        return tuple(_carrier(judged, int(at), int(at) + 1) for at in np.flatnonzero(judged.detected))
    for start, stop in _runs(judged, judged.detected):
        if judged.right_khz[stop - 1] - judged.left_khz[start] <= NARROW_KHZ:
            spans.append((start, stop))
        else:
            spans += _standing_out(judged, start, stop)
    return tuple(_carrier(judged, start, stop) for start, stop in spans)


@dataclass(frozen=True)
class Wide:
    """Something wider than a microphone that is no multiplex known: edges [kHz], density over the floor [dB]."""

    from_khz: float
    to_khz: float
    excess_db: float


def wide_signals(judged: JudgedSweep, known: Sequence[tuple[float, float]] = ()) -> tuple[Wide, ...]:
    """Runs of busy bins wider than 1 MHz outside of the bands `known` [kHz], such as recognised multiplexes."""
    if judged.sweep.step_khz > NARROW_KHZ or judged.sweep.under_sampled:
        return ()
    marked = judged.detected.copy()
    for low, high in known:
        marked &= (judged.frequencies_khz < low) | (judged.frequencies_khz > high)
    wide = []
    for start, stop in _runs(judged, marked):
        low, high = float(judged.left_khz[start]), float(judged.right_khz[stop - 1])
        if high - low > NARROW_KHZ:
            over = judged.mean_db[start:stop] - judged.floor_db[start:stop]
            wide.append(Wide(low, high, float(np.median(over))))
    return tuple(wide)


def _runs(judged: JudgedSweep, marked: BoolArray) -> list[tuple[int, int]]:
    """(start, stop) of every run of marked bins without a gap in frequency."""
    connected = np.zeros(marked.size, dtype=np.bool_)
    connected[1:] = marked[1:] & marked[:-1] & (judged.left_khz[1:] <= judged.right_khz[:-1] + 1e-6)
    starts = np.flatnonzero(marked & ~connected)
    follows = np.append(connected[1:], False)
    stops = np.flatnonzero(marked & ~follows) + 1
    if starts.size > 1:
        apart = judged.left_khz[starts[1:]] - judged.right_khz[stops[:-1] - 1] > APART_KHZ
        starts = starts[np.concatenate([[True], apart])]
        stops = stops[np.concatenate([apart, [True]])]
    return list(zip(starts.tolist(), stops.tolist(), strict=True))


def _standing_out(judged: JudgedSweep, start: int, stop: int) -> list[tuple[int, int]]:
    """The narrow runs, within a wide one, that stand out of the median around them."""
    from scipy.ndimage import median_filter

    width = max(3, int(SURROUNDINGS_KHZ / judged.sweep.step_khz) | 1)
    low, high = max(0, start - width), min(judged.mean_db.size, stop + width)
    inside = slice(start - low, stop - low)
    out = np.zeros(judged.mean_db.size, dtype=np.bool_)
    for trace, threshold in (
        (judged.mean_db, judged.mean_threshold_db),
        (judged.maximum_db, judged.maximum_threshold_db),
    ):
        around: FloatArray = median_filter(trace[low:high], size=width, mode="nearest")[inside]
        out[start:stop] |= trace[start:stop] > around + threshold + STANDS_OUT_DB
    return [
        (first, last)
        for first, last in _runs(judged, out)
        if judged.right_khz[last - 1] - judged.left_khz[first] <= NARROW_KHZ
    ]


def _carrier(judged: JudgedSweep, start: int, stop: int) -> Carrier:
    bins = slice(start, stop)
    over = np.maximum(judged.signal_power[bins], 1e-300)
    power = judged.signal_power[bins] + judged.floor_power[bins]
    centre = float(np.sum(over * judged.frequencies_khz[bins]) / np.sum(over))
    peak = start + int(np.argmax(over / judged.floor_power[bins]))
    looked = int(np.isfinite(judged.sweep.levels_db[:, judged.column[peak]]).sum())
    on = int(judged.on_count[peak])
    scale = judged.sweep.step_khz / judged.sweep.resolution_khz
    width = judged.right_khz[stop - 1] - judged.left_khz[start]
    return Carrier(
        centre_khz=centre,
        bandwidth_khz=float(min(width, judged.sweep.resolution_khz) if judged.sweep.under_sampled else width),
        level_db=float(10.0 * np.log10(power.sum() * min(1.0, scale))),
        excess_db=float(10.0 * np.log10(power[peak - start]) - judged.floor_db[peak]),
        duty=on / looked if on else 1.0,
    )

"""Compiled loops that look for suspects: bursts of noise, and stretches that nearly say again what was said."""

from __future__ import annotations

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.units import IntArray, SampleArray


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
@kernel
def bursts(
    top: SampleArray,
    bend: SampleArray,
    noisy: float,
    rise: float,
    live: float,
    edge: int,
    side: int,
    least: int,
    most: int,
    out: IntArray,
) -> int:
    """Stretches of the envelope that are noise, begin and end at once, and stay alike, as first, past the last.

    A stretch goes on while the third difference keeps a third of what it began with. Its median stands `rise` times
    over the largest of the `side` bins that end (begin) `edge` bins away, half as far again where it is shorter
    than four edges, and `noisy` times over the median magnitude; the medians of its first and last quarter are
    within twice of it. Returns how many.
    """
    kept = 0
    i = side + edge
    while i < top.size - side - edge - 4:
        if bend[i] < rise * bend[i - edge - 1] or top[i] < live:
            i += 1
            continue
        level = np.median(bend[i : i + 4])
        before = bend[i - edge - side : i - edge].max()
        if level < rise * before:
            i += 1
            continue
        stop = i
        while stop < top.size and 3.0 * bend[stop] >= level and stop - i <= most:
            stop += 1
        if least <= stop - i <= most and stop + edge + side <= top.size:
            inside = np.median(bend[i:stop])
            beside = max(before, bend[stop + edge : stop + edge + side].max())
            quarter = max(1, (stop - i) // 4)
            first, last = np.median(bend[i : i + quarter]), np.median(bend[stop - quarter : stop])
            alike = max(first, last) <= 2.0 * inside and inside <= 2.0 * min(first, last)
            loud = inside >= noisy * np.median(top[i:stop])
            steep = rise if stop - i >= 4 * edge else 1.5 * rise
            if inside >= steep * beside and alike and loud and kept < out.shape[0]:
                out[kept, 0], out[kept, 1] = i, stop
                kept += 1
                i = stop
                continue
        i += 1
    return kept


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
@kernel
def alike(
    x: SampleArray,
    top: SampleArray,
    width: int,
    from_bin: int,
    to_bin: int,
    live: float,
    lags: tuple[int, int],
    probe: int,
    least: int,
    residue: tuple[float, float],
    out: IntArray,
) -> int:
    """Stretches of at least `least` samples that nearly say again what stood lags[0]..lags[1] samples before.

    Looked at are peaks that stand over four bins on either side, in the bins from_bin..to_bin, against earlier ones
    that stand over two. What is left after taking away the earlier stretch, moved by a part of a sample, is at most
    residue[0] of the power in `probe` samples about the peak, and residue[1] in every piece of the stretch. Rows of
    `out`: first, past the last, lag.
    Returns how many.
    """
    peaks, heights = np.empty(top.size, np.int64), np.empty(top.size, np.float32)
    count, kept, done = 0, 0, 0
    for i in range(2, min(to_bin, top.size - 2)):
        if top[i] < live or not (
            top[i] > top[i - 1] and top[i] > top[i - 2] and top[i] >= top[i + 1] and top[i] >= top[i + 2]
        ):
            continue
        p = i * width
        for n in range(i * width, (i + 1) * width):
            if abs(x[n]) > abs(x[p]):
                p = n
        peaks[count], heights[count] = p, x[p]
        count += 1
        if i < max(from_bin, 4) or i >= top.size - 4 or p < done or p + probe + 2 >= x.size:
            continue
        if max(top[i - 3], top[i - 4]) >= top[i] or max(top[i + 3], top[i + 4]) > top[i]:
            continue
        apart = 0.05 * abs(x[p])
        for j in range(count - 2, -1, -1):
            lag = p - peaks[j]
            if lag > lags[1] or peaks[j] < probe + 3:
                break
            if (
                abs(x[p] - heights[j]) > apart
                or lag < lags[0]
                or not _near(x, p, lag, probe)
                or not _coarsely(x, p, lag, probe)
            ):
                continue
            best, moved, best_lag = 1.0, 0.0, lag
            for near in range(lag - 1, lag + 2):
                left, part = _left(x, p - probe, p + probe, near)
                if left < best:
                    best, moved, best_lag = left, part, near
            if best > residue[0]:
                continue
            if _periodic(x, peaks, j, lags, probe, 3.0 * residue[0]):
                break
            first, last = _stretch(x, p, best_lag, moved, probe // 2, residue[1])
            if last - first >= least and kept < out.shape[0]:
                out[kept, 0], out[kept, 1], out[kept, 2] = first, last, best_lag
                kept += 1
                done = last
                break
    return kept


@kernel
def _periodic(x: SampleArray, peaks: IntArray, j: int, lags: tuple[int, int], probe: int, most: float) -> bool:
    """Whether the sound about an earlier peak itself says again what stood before it: a tone, not a repeat."""
    for k in range(j - 1, -1, -1):
        lag = peaks[j] - peaks[k]
        if lag > lags[1] or peaks[k] < probe + 3:
            return False
        if lag >= lags[0] and _left(x, peaks[j] - probe, peaks[j] + probe, lag)[0] <= most:
            return True
    return False


@kernel
def _near(x: SampleArray, p: int, lag: int, probe: int) -> bool:
    """Whether a few samples about the peak are like those `lag` before: most stretches fail at the first."""
    limit = 0.3 * abs(x[p])
    for n in (p - probe // 16, p + probe // 16, p - probe // 5, p + probe // 5, p - probe // 2, p + probe // 2):
        if abs(x[n] - x[n - lag]) > limit:
            return False
    return True


@kernel
def _coarsely(x: SampleArray, p: int, lag: int, probe: int) -> bool:
    """Whether every eighth sample about the peak is roughly as `lag` before: at most 0.7 of the power is left."""
    power, plain = 1e-12, 0.0
    for n in range(p - probe, p + probe, 8):
        power += float(x[n]) ** 2
        plain += float(x[n] - x[n - lag]) ** 2
    return plain <= 0.7 * power


@kernel
def _left(x: SampleArray, first: int, last: int, lag: int) -> tuple[float, float]:
    """Share of the power that is left without what stood `lag` before, and the part of a sample it is moved by."""
    power, plain, slope, both = 0.0, 0.0, 0.0, 0.0
    for n in range(first, last):
        error = float(x[n] - x[n - lag])
        steep = 0.5 * float(x[n - lag + 1] - x[n - lag - 1])
        power += float(x[n]) ** 2
        plain += error * error
        slope += steep * steep
        both += error * steep
    if power <= 0.0 or slope <= 0.0:
        return 1.0, 0.0
    moved = min(0.6, max(-0.6, both / slope))
    return (plain - 2.0 * moved * both + moved * moved * slope) / power, moved


@kernel
def _stretch(x: SampleArray, p: int, lag: int, moved: float, piece: int, most: float) -> tuple[int, int]:
    """How far around p the stretch goes, in pieces."""
    first, last = p, p
    while first - piece - lag > 1 and _misfit(x, first - piece, first, lag, moved) <= most:
        first -= piece
    while last + piece + 1 < x.size and _misfit(x, last, last + piece, lag, moved) <= most:
        last += piece
    return first, last


@kernel
def _misfit(x: SampleArray, first: int, last: int, lag: int, moved: float) -> float:
    power, plain = 1e-12, 0.0
    for n in range(first, last):
        error = float(x[n] - x[n - lag]) - moved * 0.5 * float(x[n - lag + 1] - x[n - lag - 1])
        power += float(x[n]) ** 2
        plain += error * error
    return plain / power

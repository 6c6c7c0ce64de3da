"""From rows of hops to one matrix of sweeps and bins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linkwright.shoot.errors import InputError
from linkwright.units import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Segments:
    """Each row's hop (rows): lowest frequency and step [Hz], levels printed and used; `offset` [bins].

    `copied_at` (rows) is the bin of the row that was copied from its neighbour, -1 for none.
    """

    low_hz: FloatArray
    step_hz: FloatArray
    counts: IntArray
    used: IntArray
    offset: float
    copied_at: IntArray


@dataclass(frozen=True, eq=False)
class SweepGrid:
    """The matrix (sweeps, bins) and its axis, as in `Sweep`; whether hops `overlapping` were merged."""

    frequencies_khz: FloatArray
    levels_db: FloatArray
    step_khz: float
    copied: BoolArray
    overlapping: bool


def assembled(segments: Segments, parts: list[FloatArray], name: str) -> SweepGrid:
    """Levels laid out over sweeps and bins; infinite ones become NaN.

    `parts` hold the levels of some rows each, row after row; the list is emptied as they are laid out, so that
    little more than the result is held.

    Where hops overlap, bins nearer than half a step become one and the higher level counts. Raises
    `InputError` where nothing was looked at, or where the hops do not repeat as sweeps do.
    """
    step = float(np.median(segments.step_hz))
    keys = np.stack([segments.low_hz, segments.used.astype(np.float64)], axis=1)
    hops, first_row, hop_of_row = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    hop_of_row = hop_of_row.ravel()
    used = hops[:, 1].astype(np.int64)
    begin = np.cumsum(used) - used
    within = np.arange(int(used.sum())) - np.repeat(begin, used)
    centre = np.repeat(hops[:, 0], used) + (within + segments.offset) * step
    overlapping = bool(np.any(centre[begin[1:]] - centre[begin[1:] - 1] < 0.5 * step)) if used.size > 1 else False
    cell_of_bin, frequencies = _cells(centre, step, overlapping)
    copied = np.zeros(frequencies.size, dtype=np.bool_)
    copied_at = segments.copied_at[first_row]
    has = copied_at >= 0
    copied[cell_of_bin[begin[has] + copied_at[has]]] = True
    sweep_of_row = _sweeps(hop_of_row)
    shape = (int(sweep_of_row[-1]) + 1, frequencies.size)
    if shape[0] * shape[1] > 4 * int(segments.counts.sum()) + 1_000_000:
        raise InputError(
            f"{shape[0]} sweeps of {shape[1]} bins would hold mostly nothing; expected hops that come again "
            "in every sweep",
            path=name,
        )
    matrix = np.full(shape, np.nan)
    _fill(matrix, parts, segments, cell_of_bin, begin[hop_of_row], sweep_of_row)
    for row in matrix:
        row[np.isinf(row)] = np.nan
    if all(np.isnan(row).all() for row in matrix):
        raise InputError("every level is NaN or infinite, expected a sweep with levels", path=name)
    return SweepGrid(frequencies / 1e3, matrix, step / 1e3, copied, overlapping)


def _cells(centre: FloatArray, step: float, overlapping: bool) -> tuple[IntArray, FloatArray]:
    """For every bin of every hop its column, and the columns' frequencies [Hz], rising."""
    if not overlapping:
        order = np.argsort(centre, kind="stable")
        cell = np.empty(centre.size, dtype=np.int64)
        cell[order] = np.arange(centre.size)
        return cell, centre[order]
    slot = np.rint((centre - centre.min()) / step).astype(np.int64)
    slots, cell = np.unique(slot, return_inverse=True)
    count = np.bincount(cell, minlength=slots.size)
    return cell.astype(np.int64), np.bincount(cell, weights=centre, minlength=slots.size) / count


def _sweeps(hop_of_row: IntArray) -> IntArray:
    """The sweep that each row belongs to: a new one begins where a hop comes again."""
    sweep = np.empty(hop_of_row.size, dtype=np.int64)
    seen: set[int] = set()
    current = 0
    for row, hop in enumerate(hop_of_row.tolist()):
        if hop in seen:
            current += 1
            seen.clear()
        seen.add(hop)
        sweep[row] = current
    return sweep


def _fill(
    matrix: FloatArray,
    parts: list[FloatArray],
    segments: Segments,
    cell_of_bin: IntArray,
    first_bin: IntArray,
    sweep_of_row: IntArray,
) -> None:
    """Put the levels into the matrix, row by row; the higher one where two fall together."""
    apart = np.unique(cell_of_bin).size == cell_of_bin.size  # then each hop is a run of columns of its own
    lengths = (segments.counts, segments.used, first_bin, sweep_of_row)
    rows = zip(*(length.tolist() for length in lengths), strict=True)
    parts.reverse()
    levels, start = np.empty(0), 0
    for count, used, first, sweep in rows:
        if start == levels.size:
            levels, start = parts.pop(), 0
        values = levels[start : start + used]
        start += count
        column, last = int(cell_of_bin[first]), int(cell_of_bin[first + used - 1])
        if apart and last - column == used - 1:
            matrix[sweep, column : last + 1] = values
            continue
        cells = cell_of_bin[first : first + used]
        np.fmax.at(matrix[sweep], cells, np.where(np.isfinite(values), values, np.nan))

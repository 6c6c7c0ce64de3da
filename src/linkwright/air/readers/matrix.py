"""Levels without a frequency column: where the band is comes from the header, or is asked for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linkwright.air.readers.headers import TraceHeader
from linkwright.air.readers.options import ReadOptions
from linkwright.air.readers.table import Table
from linkwright.air.readers.text import levels_in_range
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray


@dataclass(frozen=True)
class BinAxis:
    """Centres of the first and last bin [kHz]; None where only a step is known; and who says so."""

    from_khz: float
    to_khz: float | None
    step_khz: float | None
    said_by: str


def has_no_frequencies(table: Table, known: TraceHeader, options: ReadOptions) -> bool:
    """Whether no column of the table holds frequencies."""
    if options.columns == "bins" or table.values.shape[1] == 1:
        return True
    if options.columns is not None:
        return options.columns == "sweeps" and not _rises(table.values[:, 0])
    first = table.values[:, 0]
    if _rises(first):
        return False
    if table.values.shape[1] > 2 and _rises(table.values[0]) and table.values.shape[0] > 1:
        return True
    stated = options.from_khz is not None or known.from_khz is not None
    return bool(np.nanmin(first, initial=0.0) < 0.0) and (stated or table.values.shape[1] > 2)


def _rises(values: FloatArray) -> bool:
    """Whether these are frequencies of a sweep: positive, large, mostly rising or falling."""
    if values.size < 2 or not np.isfinite(values).all() or values.min() < 0.0 or values.max() < 10.0:
        return False
    return bool(np.mean(np.diff(values) > 0) > 0.5 or np.mean(np.diff(values) < 0) > 0.5)


def arranged(
    table: Table, known: TraceHeader, options: ReadOptions, name: str
) -> tuple[FloatArray, FloatArray, list[str], list[str]]:
    """Frequencies (bins) [kHz], levels (sweeps, bins), what was understood and what was guessed.

    Raises `InputError` where nothing says which band it is.
    """
    values = table.values
    if _rises(values[0]) and values.shape[1] > 2 and values.shape[0] > 1 and options.from_khz is None:
        return _with_frequency_line(table, known, name)
    axis = _axis(known, options)
    if axis is None:
        raise InputError(
            f"found {values.shape[1]} columns of levels without a frequency column; say which band it is: "
            "--from-mhz and --to-mhz (centres of the first and the last bin)",
            path=name,
            line=int(table.lines[0]),
        )
    matrix, notes, guessed = _turned(values, known, options, name)
    if not levels_in_range(matrix):
        raise InputError("found a level that is no level, expected decibels", path=name)
    bins = matrix.shape[1]
    if bins < 2:
        raise InputError(f"found {bins} bin, expected at least two", path=name)
    step = (axis.to_khz - axis.from_khz) / (bins - 1) if axis.to_khz is not None else axis.step_khz
    assert step is not None
    frequencies = axis.from_khz + step * np.arange(bins, dtype=np.float64)
    if not (step > 0.0 and 1e3 <= frequencies[-1] <= 1e8):
        raise InputError(
            f"the band would be {frequencies[0]:g} to {frequencies[-1]:g} kHz; expected one between 1 MHz and "
            "100 GHz",
            path=name,
        )
    notes.append(f"{axis.said_by}: {bins} bins from {axis.from_khz / 1e3:g} MHz, {step:.4g} kHz apart")
    if axis.step_khz is not None and axis.to_khz is not None and abs(step - axis.step_khz) > 0.02 * axis.step_khz:
        guessed.append(f"the step stated, {axis.step_khz:g} kHz, does not fit the band and was not used")
    levels = np.where(np.isfinite(matrix), matrix, np.nan)
    if not np.isfinite(levels).any():
        raise InputError("every level is NaN or infinite, expected a sweep with levels", path=name)
    return frequencies, levels, notes, guessed


def _axis(known: TraceHeader, options: ReadOptions) -> BinAxis | None:
    if options.from_khz is not None and (options.to_khz is not None or options.step_khz is not None):
        return BinAxis(options.from_khz, options.to_khz, options.step_khz, "band as stated by hand")
    if known.from_khz is not None and (known.to_khz is not None or known.step_khz is not None):
        return BinAxis(known.from_khz, known.to_khz, known.step_khz, "band from the header")
    return None


def _turned(
    values: FloatArray, known: TraceHeader, options: ReadOptions, name: str
) -> tuple[FloatArray, list[str], list[str]]:
    """The levels as (sweeps, bins), what was understood and what was guessed about which way they lie."""
    lines, columns = values.shape
    if columns == 1:
        sweeps = options.sweeps or 1
        if lines % sweeps:
            raise InputError(f"{lines} levels are not {sweeps} sweeps of equal length", path=name)
        return values.reshape(sweeps, -1), ["one column of levels without frequencies"], []
    if options.columns == "bins":
        return values, ["each line is a sweep, as stated by hand"], []
    if options.columns == "sweeps" or known.columns_are_sweeps:
        by = "as stated by hand" if options.columns else "as the header says"
        return values.T, [f"each column is a sweep, {by}"], []
    if known.points == lines and known.points != columns:
        return values.T, [f"each column is a sweep of the {lines} points that the header names"], []
    if known.points == columns and known.points != lines:
        return values, [f"each line is a sweep of the {columns} points that the header names"], []
    if lines > columns:
        return values.T, [], ["each column taken as a sweep: there are more lines than columns"]
    return values, [], ["each line taken as a sweep: there are more columns than lines"]


def _with_frequency_line(
    table: Table, known: TraceHeader, name: str
) -> tuple[FloatArray, FloatArray, list[str], list[str]]:
    """A table whose first line holds the frequencies and every other line a sweep."""
    frequency, levels = table.values[0], table.values[1:]
    high = float(frequency.max())
    guessed = []
    unit = known.frequency_unit
    if unit is None:
        unit = "MHz" if high < 1e4 else "kHz" if high < 1e7 else "Hz"
        guessed.append(f"frequencies taken as {unit} by their size: the file does not name the unit")
    scale = {"Hz": 1e-3, "kHz": 1.0, "MHz": 1e3, "GHz": 1e6}[unit]
    rising = np.diff(frequency)
    if not (np.all(rising > 0) or np.all(rising < 0)) or not levels_in_range(levels):
        raise InputError("the first line holds no frequencies that rise or fall, expected a sweep", path=name)
    order = np.argsort(frequency)
    if not np.isfinite(levels).any():
        raise InputError("every level is NaN or infinite, expected a sweep with levels", path=name)
    matrix = np.where(np.isfinite(levels), levels, np.nan)[:, order]
    return frequency[order] * scale, matrix, ["the first line holds the frequencies, every other a sweep"], guessed

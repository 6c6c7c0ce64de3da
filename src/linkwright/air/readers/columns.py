"""Tables of numbers: frequency and level, frequency and several traces or sweeps, or levels alone.

Lines before the first line of numbers are the header; it may name units, resolution, detector and traces. What
it does not name is guessed from the numbers where that is safe (hertz, kilohertz or megahertz), and is not
guessed where it is not (a level without a unit is relative; levels without frequencies are asked for).
"""

from __future__ import annotations

import numpy as np

from linkwright.air.readers import headers, matrix, traces
from linkwright.air.readers.options import ReadOptions
from linkwright.air.readers.table import Table, read_table
from linkwright.air.readers.text import Text, levels_in_range
from linkwright.air.sweep import Sweep
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray

#: Kilohertz in one unit of a frequency column.
KHZ = {"Hz": 1e-3, "kHz": 1.0, "MHz": 1e3, "GHz": 1e6}


def read(text: Text, options: ReadOptions) -> tuple[Sweep, ...]:
    """The sweeps in such a table, one for each trace. Raises `InputError`, with the line where it can be told."""
    table = read_table(text)
    return sweeps_of(table, options, text.name)


def sweeps_of(table: Table, options: ReadOptions, name: str) -> tuple[Sweep, ...]:
    """The sweeps in a table that was read. Raises `InputError` as `read`."""
    known = headers.understood(table.header, options)
    if matrix.has_no_frequencies(table, known, options):
        return (_sweep(*matrix.arranged(table, known, options, name), table, known, options, name),)
    frequency, levels = table.values[:, 0], table.values[:, 1:]
    scale_khz, guessed = _scale(known.frequency_unit, frequency, name)
    _refuse_levels(levels, table, name)
    table_traces = traces.traces(table, known, options)
    guessed += table_traces.guessed
    sweeps = []
    for trace in table_traces.traces:
        axis, matrix_db, notes = _arranged(frequency * scale_khz, levels[:, trace.columns], name)
        if trace.kind is None and matrix_db.shape[0] > 1 and len(trace.columns) > 1:
            notes.append(f"{len(trace.columns)} columns taken as sweeps, one after the other")
        sweeps.append(_sweep(axis, matrix_db, notes, guessed, table, known, options, name, trace))
    if not any(np.isfinite(sweep.levels_db).any() for sweep in sweeps):
        raise InputError("every level is NaN or infinite, expected a sweep with levels", path=name)
    return tuple(sweep for sweep in sweeps if np.isfinite(sweep.levels_db).any())


# wide and long: what was read, what was understood of it, and a line for every field
def _sweep(
    frequencies: FloatArray,
    levels: FloatArray,
    notes: list[str],
    guesses: list[str],
    table: Table,
    known: headers.TraceHeader,
    options: ReadOptions,
    name: str,
    trace: traces.Trace | None = None,
) -> Sweep:
    """One normal form of what was found."""
    step = float(np.median(np.diff(frequencies)))
    understood, guessed = [*notes, *known.notes], list(guesses)
    if known.lower_edges:
        frequencies = frequencies + step / 2.0
        understood.append("the header says that frequencies are lower edges; bins are centred half a step above")
    warnings = list(known.warnings)
    if known.resolution_khz is None:
        guessed.append("noise bandwidth taken as the bin width: the file does not state it")
    elif known.resolution_khz < step / 2.0:
        warnings.append("the resolution is much finer than the step: most of the band was not looked at")
    if known.level_unit is None:
        guessed.append("levels taken as relative: the file does not name their unit")
    columns = f"{table.values.shape[1]} columns" if table.values.shape[1] != 2 else "two columns"
    return Sweep(
        path=name,
        frequencies_khz=frequencies,
        levels_db=levels,
        unit=known.level_unit or "dB",
        step_khz=step,
        resolution_khz=known.resolution_khz or step,
        averages=known.averages,
        detector=known.detector if trace is None else trace.detector,
        started=known.started,
        lasted_s=known.lasted_s,
        format=f"{columns}, {table.layout.says}",
        copied=np.zeros(frequencies.size, dtype=np.bool_),
        understood=tuple(understood + options.stated()),
        guessed=tuple(guessed),
        warnings=tuple(warnings + _copies(levels)),
        trace=None if trace is None else trace.name,
    )


def _copies(levels: FloatArray) -> list[str]:
    """A warning where a sweep repeats another, level by level: it is no second look."""
    seen: dict[bytes, int] = {}
    same = []
    for number, row in enumerate(levels[:1000], start=1):
        first = seen.setdefault(row.tobytes(), number)
        if first != number and np.isfinite(row).any():
            same.append(f"{number} of {first}")
    return [f"sweeps are copies of others and are no look of their own: {', '.join(same[:4])}"] if same else []


def _refuse_levels(levels: FloatArray, table: Table, name: str) -> None:
    if not levels_in_range(levels):
        out = np.abs(np.where(np.isfinite(levels), levels, 0.0)) > 400.0
        at = int(np.argmax(out.any(axis=1)))
        bad = float(levels[at][out[at]][0])
        raise InputError(f"found a level of {bad:g}, expected decibels", path=name, line=int(table.lines[at]))
    if not np.isfinite(levels).any():
        raise InputError("every level is NaN or infinite, expected a sweep with levels", path=name)


def _scale(unit: str | None, frequency: FloatArray, name: str) -> tuple[float, list[str]]:
    """Kilohertz in one unit of the frequency column, and what was guessed about it."""
    if not np.isfinite(frequency).all():
        raise InputError("found a frequency that is NaN or infinite, expected numbers", path=name)
    low, high = float(frequency.min()), float(frequency.max())
    guessed = []
    if unit is None:
        unit = "MHz" if 10.0 <= high < 1e4 else "kHz" if 1e4 <= high < 1e7 else "Hz" if high >= 1e7 else None
        guessed.append(f"frequencies taken as {unit} by their size: the file does not name the unit")
    scale = KHZ.get(unit or "")
    if scale is None or low < 0.0 or not 1e3 <= high * scale <= 1e8:
        raise InputError(
            f"found frequencies from {low:g} to {high:g}{f' {unit}' if unit else ''}, "
            "expected radio frequencies between 1 MHz and 100 GHz in Hz, kHz or MHz; levels without frequencies "
            "need --from-mhz and --to-mhz",
            path=name,
        )
    return scale, guessed


def _arranged(frequency: FloatArray, level: FloatArray, name: str) -> tuple[FloatArray, FloatArray, list[str]]:
    """Rising frequencies (bins) [kHz], levels (sweeps, bins), and what was done to get there.

    `level` (lines, columns): each column is a sweep, or several where the frequencies come again.
    """
    level[~np.isfinite(level)] = np.nan
    if frequency.size > 1 and np.all(np.diff(frequency) > 0.0):
        return frequency, np.ascontiguousarray(level.T), []
    again = _repeats_after(frequency)
    if again is not None:
        times = frequency.size // again
        sweeps = np.ascontiguousarray(level.T).reshape(-1, again)
        return frequency[:again].copy(), sweeps, [f"{times} sweeps, one after the other"]
    axis, column = np.unique(frequency, return_inverse=True)
    if axis.size < 2:
        raise InputError(f"found {axis.size} frequency, expected at least two", path=name)
    if frequency.size % axis.size == 0:
        order = column.reshape(-1, axis.size)
        if np.all(order == order[0]):
            times = order.shape[0]
            levels = np.empty((level.shape[1], times, axis.size))
            levels[:, :, order[0]] = level.T.reshape(level.shape[1], times, axis.size)
            notes = [f"{times} sweeps, one after the other"] if times > 1 else []  # these fall
            if np.mean(np.diff(order[0]) < 0) in (0.0, 1.0):
                return axis, levels.reshape(-1, axis.size), notes
    if np.mean(np.diff(frequency) < 0.0) > 0.2:
        raise InputError(
            "the frequencies neither rise, nor fall, nor come again sweep after sweep; expected a sweep",
            path=name,
        )
    highest = np.full((level.shape[1], axis.size), np.nan)
    for number in range(level.shape[1]):
        np.fmax.at(highest[number], column, level[:, number])
    notes = ["frequencies out of order were sorted; of levels at one, the higher counts"]
    return axis, highest, notes


def _repeats_after(frequency: FloatArray) -> int | None:
    """After how many lines rising frequencies come again, sweep after sweep; None where they do not."""
    falls = np.flatnonzero(np.diff(frequency) < 0.0)
    if falls.size == 0:
        return None
    length = int(falls[0]) + 1
    if length < 2 or frequency.size % length:
        return None
    rows = frequency.reshape(-1, length)
    return length if np.all(np.diff(rows[0]) > 0.0) and all(np.array_equal(row, rows[0]) for row in rows) else None

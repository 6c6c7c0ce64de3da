"""Text in two columns: frequency and level, in any unit, delimiter, decimal mark and encoding.

Lines before the first pair of numbers are the header; it may name units, resolution and detector. What it
does not name is guessed from the numbers where that is safe (hertz, kilohertz or megahertz), and is not
guessed where it is not (a level without a unit is relative).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import islice

import numpy as np

from linkwright.air.readers import headers
from linkwright.air.readers.text import levels_in_range, numbers, shown
from linkwright.air.sweep import Sweep
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray

_EXPECTED = "expected two columns, frequency and level, or rows of a generic SDR sweep utility"
_HEADER_LINES = 400
_POINT = rb"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_COMMA = rb"[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?"
_NOTHING = rb"[+-]?(?:[nN][aA][nN]|[iI][nN][fF](?:inity)?)"
_COMMENT_MARKS = (b"#", b"!", b"%", b"*", b"/")
_COMMENT = re.compile(rb"(?m)^[ \t]*[#!%*/][^\n]*$")
_UNTIDY = re.compile(rb"[ \t,;]+\n\s*|\n\s+")
_THOUSANDS = re.compile(rb"^\s*\"?\d{1,3}(?:([.,' _]|\xc2\xa0|\xe2\x80\xaf)\d{3})(?:\1\d{3})+(?!\d)")
_SEPARATORS = ((b"\t", "tabs"), (b";", "semicolons"), (b",", "commas"), (b" ", "spaces"))


@dataclass(frozen=True)
class Layout:
    """How the columns are written: `separator`, whether decimals have a comma, and the pattern of a line."""

    separator: bytes
    word: str
    decimal_comma: bool
    line: re.Pattern[bytes]


def _layouts() -> tuple[Layout, ...]:
    """Every layout, the least ambiguous first."""
    layouts = []
    for separator, word in _SEPARATORS:
        between = rb"[ \t]+" if separator == b" " else rb"[ ]*" + re.escape(separator) + rb"[ ]*"
        for decimal_comma in (False, True):
            if decimal_comma and separator == b",":
                continue
            number = _COMMA if decimal_comma else _POINT
            line = re.compile(rb"[ \t]*" + number + between + rb"(?:" + number + rb"|" + _NOTHING + rb")[ \t,;]*\Z")
            layouts.append(Layout(separator, word, decimal_comma, line))
    return tuple(layouts)


_LAYOUTS = _layouts()


def read(text: bytes, name: str) -> Sweep:
    """The sweep in such text. Raises `InputError`, with the line where it can be told."""
    text = _without_quotes_and_units(text)
    header, body, first_line, layout = _split(text, name)
    frequency, level = _numbers(body, layout, first_line, name)
    known = headers.understood(header)
    scale_khz, guessed = _scale(known.frequency_unit, frequency, name)
    _refuse_levels(level, body, first_line, name)
    frequencies, levels, notes = _arranged(frequency * scale_khz, level, name)
    step = float(np.median(np.diff(frequencies)))
    if known.lower_edges:
        frequencies = frequencies + step / 2.0
        notes.append("the header says that frequencies are lower edges; bins are centred half a step above")
    warnings = list(known.warnings)
    if known.resolution_khz is None:
        guessed.append("noise bandwidth taken as the bin width: the file does not state it")
    elif known.resolution_khz < step / 2.0:
        warnings.append("the resolution is much finer than the step: most of the band was not looked at")
    if known.level_unit is None:
        guessed.append("levels taken as relative: the file does not name their unit")
    return Sweep(
        path=name,
        frequencies_khz=frequencies,
        levels_db=levels,
        unit=known.level_unit or "dB",
        step_khz=step,
        resolution_khz=known.resolution_khz or step,
        averages=None,
        detector=known.detector,
        started=None,
        lasted_s=None,
        format=f"two columns, separated by {layout.word}{', decimal comma' if layout.decimal_comma else ''}",
        copied=np.zeros(frequencies.size, dtype=np.bool_),
        understood=tuple(notes),
        guessed=tuple(guessed),
        warnings=tuple(warnings),
    )


def _without_quotes_and_units(text: bytes) -> bytes:
    """Quoted fields bare (with a tab between, so that a decimal comma inside stays one), units cut off."""
    if b'"' in text:
        text = re.sub(rb'"[ ]*[,;\t][ ]*"', b"\t", text).replace(b'"', b"")
    if b"Hz" in text:
        text = re.sub(rb"(?m)^([ \t]*[+-]?[\d.,]+)[ ]*(?:[kMG]?Hz)(?=[ \t]*[,; \t])", rb"\1", text)
    return text


def _split(text: bytes, name: str) -> tuple[bytes, bytes, int, Layout]:
    """Header, body, the body's first line (from 1) and its layout."""
    start = 0
    for number in range(1, _HEADER_LINES + 1):
        stop = text.find(b"\n", start)
        line = text[start:] if stop < 0 else text[start:stop]
        bare = line.strip(b" \t")
        if bare and not _COMMENT.match(bare):
            _refuse_other_layouts(line, number, name)
            for layout in _LAYOUTS:
                if layout.line.match(line):
                    return text[:start], text[start:], number, layout
        if stop < 0:
            break
        start = stop + 1
    lines = enumerate(text[:4000].split(b"\n"), start=1)
    number, line = next(((number, line) for number, line in lines if line.strip()), (1, b""))
    raise InputError(f"found {shown(line)}, {_EXPECTED}", path=name, line=number)


def _refuse_other_layouts(line: bytes, number: int, name: str) -> None:
    """Say at once what a line of numbers is, where it is not a pair."""
    if _THOUSANDS.match(line):
        raise InputError(
            f"found {shown(line)} with thousands separators, expected plain numbers such as 470500.25; "
            "write them without the separators",
            path=name,
            line=number,
        )
    for separator in (b"\t", b";", b","):
        parts = line.rstrip(b" \t,;").split(separator)
        pattern = rb"\s*(?:" + _POINT + rb"|" + (_COMMA if separator != b"," else _POINT) + rb"|" + _NOTHING
        if len(parts) > 2 and all(re.fullmatch(pattern + rb")\s*", part) for part in parts):
            if all(re.fullmatch(_NOTHING, part.strip()) for part in parts[1:]):
                raise InputError(f"found {shown(line)} without a level, {_EXPECTED}", path=name, line=number)
            raise InputError(
                f"found {len(parts)} columns of numbers, {_EXPECTED}; keep the frequency and one trace",
                path=name,
                line=number,
            )


def _numbers(body: bytes, layout: Layout, first_line: int, name: str) -> tuple[FloatArray, FloatArray]:
    """Both columns (n). Everything is checked in bulk; only on a failure are the lines gone through."""
    text = body
    if any(mark in text for mark in _COMMENT_MARKS):
        text = _COMMENT.sub(b"", text)
    text = _tidy(text.strip(b" \t\n,;") + b"\n", layout)
    marks = np.frombuffer(text, dtype=np.uint8)
    ends = np.flatnonzero(marks == 10)
    separators = np.flatnonzero(marks == layout.separator[0])
    sound = separators.size == ends.size and bool(np.all(separators < ends) and np.all(separators[1:] > ends[:-1]))
    values = None
    if sound:
        if layout.decimal_comma:
            text = text.replace(b",", b".")
        if layout.separator != b" ":
            text = text.replace(layout.separator, b";").replace(b"\n", b";")
        values = numbers(text, " " if layout.separator == b" " else ";")
    if values is None or values.size != 2 * ends.size or not np.isfinite(values[::2]).all():
        _refuse_line(body, layout, first_line, name)
        raise InputError(f"the two columns could not be read as numbers; {_EXPECTED}", path=name)
    return values[::2], values[1::2]


def _tidy(text: bytes, layout: Layout) -> bytes:
    """Lines without blanks around them, empty lines and delimiters at the end."""
    if layout.separator == b" ":
        text = text.replace(b"\t", b" ")
        while b"  " in text:
            text = text.replace(b"  ", b" ")
    # Plain replacements first: they need no list of pieces, which for millions of lines is large.
    for _ in range(4):
        for end in (b" \n", b"\t\n", b",\n", b";\n", b"\n ", b"\n\t", b"\n\n"):
            if end in text:
                text = text.replace(end, b"\n")
    if _UNTIDY.search(text):
        text = _UNTIDY.sub(b"\n", text)
    return text


def _refuse_line(body: bytes, layout: Layout, first_line: int, name: str) -> None:
    """Raise for the first line of the body that is no pair of numbers in this layout."""
    for number, line in enumerate(body.split(b"\n"), start=first_line):
        if line.strip() and not _COMMENT.match(line) and not layout.line.match(line):
            _refuse_other_layouts(line, number, name)
            mark = "comma" if layout.decimal_comma else "point"
            raise InputError(
                f"found {shown(line)}, expected a frequency and a level separated by {layout.word}, "
                f"with a decimal {mark}, as in the lines before",
                path=name,
                line=number,
            )


def _refuse_levels(level: FloatArray, body: bytes, first_line: int, name: str) -> None:
    if not levels_in_range(level):
        bad = int(np.argmax(np.abs(np.where(np.isfinite(level), level, 0.0)) > 400.0))
        line = _line_of(bad, body, first_line)
        raise InputError(f"found a level of {level[bad]:g}, expected decibels", path=name, line=line)
    if not np.isfinite(level).any():
        raise InputError("every level is NaN or infinite, expected a sweep with levels", path=name)


def _line_of(pair: int, body: bytes, first_line: int) -> int:
    """The line of the file that holds the pair of that number (from 0) of the body."""
    lines = enumerate(body.split(b"\n"), start=first_line)
    held = (number for number, line in lines if line.strip(b" \t,;") and not _COMMENT.match(line))
    return next(islice(held, pair, None), first_line)


def _scale(unit: str | None, frequency: FloatArray, name: str) -> tuple[float, list[str]]:
    """Kilohertz in one unit of the frequency column, and what was guessed about it."""
    low, high = float(frequency.min()), float(frequency.max())
    if unit is None:
        unit = "MHz" if 10.0 <= high < 1e4 else "kHz" if 1e4 <= high < 1e7 else "Hz" if high >= 1e7 else None
        guessed = [f"frequencies taken as {unit} by their size: the file does not name the unit"]
    else:
        guessed = []
    scale = {"Hz": 1e-3, "kHz": 1.0, "MHz": 1e3, "GHz": 1e6}.get(unit or "")
    if scale is None or low < 0.0 or not 1e3 <= high * scale <= 1e8:
        raise InputError(
            f"found frequencies from {low:g} to {high:g}{f' {unit}' if unit else ''}, "
            "expected radio frequencies between 1 MHz and 100 GHz in Hz, kHz or MHz",
            path=name,
        )
    return scale, guessed


def _arranged(frequency: FloatArray, level: FloatArray, name: str) -> tuple[FloatArray, FloatArray, list[str]]:
    """Rising frequencies (bins) [kHz], levels (sweeps, bins), and what was done to get there."""
    level = np.where(np.isfinite(level), level, np.nan)
    if frequency.size > 1 and np.all(np.diff(frequency) > 0.0):
        return frequency, level[None, :], []
    axis, column = np.unique(frequency, return_inverse=True)
    if axis.size < 2:
        raise InputError(f"found {axis.size} frequency, expected at least two", path=name)
    if frequency.size % axis.size == 0:
        order = column.reshape(-1, axis.size)
        if np.all(order == order[0]):
            levels = np.empty(order.shape)
            levels[:, order[0]] = level.reshape(order.shape)
            notes = [f"{order.shape[0]} sweeps, one after the other"] if order.shape[0] > 1 else []
            if np.mean(np.diff(order[0]) < 0) in (0.0, 1.0):
                return axis, levels, notes
    if np.mean(np.diff(frequency) < 0.0) > 0.2:
        raise InputError(
            "the frequencies neither rise, nor fall, nor come again sweep after sweep; expected a sweep",
            path=name,
        )
    highest = np.full(axis.size, np.nan)
    np.fmax.at(highest, column, level)
    return (
        axis,
        highest[None, :],
        ["frequencies out of order were sorted; of levels at one, the higher counts"],
    )

"""The compiled loop of `decimals`: digits to numbers, one pass over the bytes.

A decimal m * 10^-k is exact as a quotient of two floats while m <= 2^53 and k <= 22, and the division then
rounds once, correctly (W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990). Anything
longer is left to Python.
"""

from __future__ import annotations

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.units import FloatArray, IntArray

POWERS = np.array([float(f"1e{n}") for n in range(23)])
MOST_EXACT = 2**53
MOST_DIGITS = 18
OK, BAD, LONG = 0, 1, 2
LINE_FEED, TAB, BLANK, COMMA, SEMICOLON = 10, 9, 32, 44, 59


@kernel
def scan(
    data: np.ndarray,
    separator: int,
    point: int,
    skip: int,
    values: FloatArray,
    counts: IntArray,
    lines: IntArray,
) -> tuple[int, int, int]:
    """Fill `values`, `counts`, `lines`; returns how many values and lines, and the first bad line.

    data : (bytes) uint8, ends with a line feed. The bad line is -1 for none, and -2 where a number has too
    many digits for this loop.
    """
    filled, rows, line, begin = 0, 0, 0, 0
    while begin < data.size:
        end = begin
        while data[end] != LINE_FEED:
            end += 1
        stop = end
        while stop > begin and (is_blank(data[stop - 1]) or data[stop - 1] == COMMA or data[stop - 1] == SEMICOLON):
            stop -= 1
        at = begin
        while at < stop and is_blank(data[at]):
            at += 1
        if at < stop:
            count, status = fields_of_line(data, at, stop, separator, point, skip, values[filled:])
            if status != OK:
                return filled, rows, line if status == BAD else -2
            counts[rows], lines[rows] = count, line
            filled += count
            rows += 1
        line += 1
        begin = end + 1
    return filled, rows, -1


@kernel
def is_blank(byte: int) -> bool:
    """A blank, a tab, or one of the two that nobody types."""
    return byte == BLANK or (TAB <= byte <= 12 and byte != LINE_FEED)


@kernel
def fields_of_line(
    data: np.ndarray, at: int, stop: int, separator: int, point: int, skip: int, values: FloatArray
) -> tuple[int, int]:
    """The numbers between two places, after `skip` fields: how many, and OK, BAD or LONG."""
    for _ in range(skip):
        while at < stop and data[at] != separator:
            at += 1
        at += 1
    count = 0
    while at < stop:
        while at < stop and is_blank(data[at]) and data[at] != separator:
            at += 1
        value, at, status = number(data, at, stop, point)
        if status != OK:
            return count, status
        values[count] = value
        count += 1
        ended = at
        while at < stop and is_blank(data[at]) and (separator == BLANK or data[at] != separator):
            at += 1
        if separator == BLANK:
            if at < stop and at == ended:
                return count, BAD
        elif at < stop:
            if data[at] != separator:
                return count, BAD
            at += 1
            if at == stop:
                return count, BAD
    return count, OK


@kernel
def number(data: np.ndarray, at: int, stop: int, point: int) -> tuple[float, int, int]:
    """The number that begins at a place, where it ends, and OK, BAD or LONG."""
    negative = False
    if at < stop and (data[at] == 45 or data[at] == 43):
        negative = data[at] == 45
        at += 1
    begin, mantissa, exponent = at, 0, 0
    while at < stop and 48 <= data[at] <= 57:
        mantissa = mantissa * 10 + (data[at] - 48)
        at += 1
    digits = at - begin
    if at < stop and data[at] == point:
        at += 1
        begin = at
        while at < stop and 48 <= data[at] <= 57:
            mantissa = mantissa * 10 + (data[at] - 48)
            at += 1
        exponent = begin - at
        digits += at - begin
        if digits == 0:
            return 0.0, at, BAD
    if digits == 0:
        return word(data, at, stop, negative)
    if digits > MOST_DIGITS or mantissa > MOST_EXACT:  # the first first: more digits may have run over
        return 0.0, at, LONG
    if at < stop and (data[at] | 32) == 101:
        power, at, status = number_after_e(data, at + 1, stop)
        if status != OK:
            return 0.0, at, status
        exponent += power
    if exponent < -22 or exponent > 22:
        return 0.0, at, LONG
    value = mantissa / POWERS[-exponent] if exponent < 0 else mantissa * POWERS[exponent]
    return (-value if negative else value), at, OK


@kernel
def number_after_e(data: np.ndarray, at: int, stop: int) -> tuple[int, int, int]:
    """The power of ten after an e, where it ends, and OK, BAD or LONG."""
    down = False
    if at < stop and (data[at] == 45 or data[at] == 43):
        down = data[at] == 45
        at += 1
    power, begin = 0, at
    while at < stop and 48 <= data[at] <= 57:
        power = power * 10 + (data[at] - 48)
        at += 1
        if power > 1000:
            return 0, at, LONG
    if at == begin:
        return 0, at, BAD
    return (-power if down else power), at, OK


@kernel
def word(data: np.ndarray, at: int, stop: int, negative: bool) -> tuple[float, int, int]:
    """nan or inf in any case; a longer word is left to Python."""
    if at + 3 > stop:
        return 0.0, at, BAD
    a, b, c = data[at] | 32, data[at + 1] | 32, data[at + 2] | 32
    if at + 3 < stop and 97 <= (data[at + 3] | 32) <= 122:
        return 0.0, at, LONG
    if a == 110 and b == 97 and c == 110:
        return np.nan, at + 3, OK
    if a == 105 and b == 110 and c == 102:
        return (-np.inf if negative else np.inf), at + 3, OK
    return 0.0, at, BAD

"""Lines of a log into columns: compiled, as a long log has tens of millions of them.

A line that cannot be read is told by its number and a code, and the next is gone on with. Numbers are rounded
to float32 in the end, so a division by a power of ten in double precision is exact enough.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linkwright.physics.compiled import kernel

#: What a column is: nothing of ours, the time, the link, or 2 + its place in `FIELDS`.
SKIP, TIME, LINK, FIRST_VALUE = -1, 0, 1, 2
#: What is wrong with a line, in its lowest byte; the next byte is the column.
BAD_TIME, NO_OFFSET, BAD_NUMBER, OUT_OF_RANGE, FEW_CELLS, NO_LINK, MANY_LINKS, BAD_QUOTES = 1, 2, 3, 4, 5, 6, 7, 8
#: How dates run, where times are no numbers.
YEAR_FIRST, DAY_FIRST, MONTH_FIRST = -1, -2, -3
#: So many faulty lines of a block are told one by one; more are only counted.
MOST_BAD: Final = 8
_POWERS: Final = 10.0 ** np.arange(19)
_OFFSET_BASIS: Final = -3_750_763_034_362_895_579  # FNV-1a, 64 bits, as a signed number
_PRIME: Final = 1_099_511_628_211


@kernel
def days_since_1970(year: int, month: int, day: int) -> int:
    """Days from 1970-01-01 to a day of the Gregorian calendar; -10**9 where there is no such day."""
    if month < 1 or month > 12 or day < 1 or year < 1:
        return -1_000_000_000
    length = 31
    if month == 4 or month == 6 or month == 9 or month == 11:
        length = 30
    elif month == 2:
        length = 29 if year % 4 == 0 and (year % 100 != 0 or year % 400 == 0) else 28
    if day > length:
        return -1_000_000_000
    y = year - 1 if month <= 2 else year
    era = y // 400
    of_era = y - era * 400
    of_year = (153 * (month - 3 if month > 2 else month + 9) + 2) // 5 + day - 1
    return int(era * 146_097 + of_era * 365 + of_era // 4 - of_era // 100 + of_year - 719_468)


@kernel
def digits(data: np.ndarray, at: int, many: int, stop: int) -> int:
    """The whole number of exactly so many digits at a place; -1 where there is none."""
    if at + many > stop:
        return -1
    value = 0
    for n in range(at, at + many):
        if data[n] < 48 or data[n] > 57:
            return -1
        value = value * 10 + (data[n] - 48)
    return value


# long: byte by byte, without calls in between
@kernel
def iso_time(data: np.ndarray, at: int, stop: int, order: int) -> tuple[int, int]:
    """ISO 8601 into nanoseconds since 1970, and 0, BAD_TIME or NO_OFFSET (then the time is local).

    order : YEAR_FIRST, or how the dates run that have the year last, as 14.05.2027 has it.
    """
    year, month, day = digits(data, at, 4, stop), digits(data, at + 5, 2, stop), digits(data, at + 8, 2, stop)
    first_mark, mark = at + 4, 45
    if order != YEAR_FIRST:
        year, month, day = digits(data, at + 6, 4, stop), digits(data, at + 3, 2, stop), digits(data, at, 2, stop)
        if order == MONTH_FIRST:
            month, day = day, month
        first_mark = at + 2
    hour, minute = digits(data, at + 11, 2, stop), digits(data, at + 14, 2, stop)
    if year < 0 or month < 0 or day < 0 or hour < 0 or minute < 0 or hour > 23 or minute > 59:
        return 0, BAD_TIME
    if order != YEAR_FIRST:
        mark = data[first_mark]
        if mark != 45 and mark != 46 and mark != 47:
            return 0, BAD_TIME
    if data[first_mark] != mark or data[first_mark + 3] != mark or data[at + 13] != 58:
        return 0, BAD_TIME
    if data[at + 10] != 84 and data[at + 10] != 116 and data[at + 10] != 32:
        return 0, BAD_TIME
    days = days_since_1970(year, month, day)
    if days < -100_000_000 or year < 1900 or year > 2200:
        return 0, BAD_TIME
    seconds, at = days * 86_400 + hour * 3600 + minute * 60, at + 16
    nanos = 0
    if at < stop and data[at] == 58:
        second = digits(data, at + 1, 2, stop)
        if second < 0 or second > 60:
            return 0, BAD_TIME
        seconds += second
        at += 3
        if at < stop and (data[at] == 46 or data[at] == 44):
            at += 1
            many = 0
            while at < stop and 48 <= data[at] <= 57:
                if many < 9:
                    nanos = nanos * 10 + (data[at] - 48)
                many += 1
                at += 1
            if many == 0:
                return 0, BAD_TIME
            for _ in range(9 - min(many, 9)):
                nanos *= 10
    local = seconds * 1_000_000_000 + nanos
    if at == stop:
        return local, NO_OFFSET
    if (data[at] | 32) == 122 and at + 1 == stop:
        return local, 0
    if data[at] == 32:
        at += 1
    if at >= stop or (data[at] != 43 and data[at] != 45):
        return 0, BAD_TIME
    east = data[at] == 43
    hours = digits(data, at + 1, 2, stop)
    at += 3
    if at < stop and data[at] == 58:
        at += 1
    minutes = digits(data, at, 2, stop) if at < stop else 0
    if at < stop:
        at += 2
    if hours < 0 or minutes < 0 or hours > 23 or minutes > 59 or at != stop:
        return 0, BAD_TIME
    away = (hours * 60 + minutes) * 60_000_000_000
    return (local - away if east else local + away), 0


@kernel
def unit_time(data: np.ndarray, at: int, stop: int, places: int) -> tuple[int, int]:
    """A plain number since 1970 into nanoseconds, `places` decimal places of its unit being one; 0 or BAD_TIME."""
    negative = at < stop and data[at] == 45
    if negative:
        at += 1
    value, many, left = 0, 0, places
    while at < stop and 48 <= data[at] <= 57:
        value = value * 10 + (data[at] - 48)
        many += 1
        at += 1
    if at < stop and (data[at] == 46 or data[at] == 44):
        at += 1
        while at < stop and 48 <= data[at] <= 57:
            if left > 0:
                value = value * 10 + (data[at] - 48)
                left -= 1
                many += 1
            at += 1
    if many == 0 or at != stop or many + left > 19 or float(value) * _POWERS[left] > 9.2e18 or value < 0:
        return 0, BAD_TIME
    for _ in range(left):
        value *= 10
    return (-value if negative else value), 0


# long: byte by byte, without calls in between
@kernel
def value_of(data: np.ndarray, at: int, stop: int, point: int) -> tuple[float, bool]:
    """The number of a cell (NaN for an empty one or a word for nothing), and whether it is one."""
    if at >= stop:
        return np.nan, True
    begin = at
    negative = data[at] == 45
    if negative or data[at] == 43:
        at += 1
    mantissa, many, places = 0, 0, 0
    while at < stop and 48 <= data[at] <= 57:
        if many < 18:
            mantissa = mantissa * 10 + (data[at] - 48)
        else:
            places -= 1
        many += 1
        at += 1
    if at < stop and data[at] == point:
        at += 1
        while at < stop and 48 <= data[at] <= 57:
            if many < 18:
                mantissa = mantissa * 10 + (data[at] - 48)
                places += 1
            many += 1
            at += 1
    if many == 0:
        return word_of(data, begin, stop)
    if at < stop and (data[at] | 32) == 101:
        at += 1
        down = at < stop and data[at] == 45
        if down or (at < stop and data[at] == 43):
            at += 1
        power, first = 0, at
        while at < stop and 48 <= data[at] <= 57 and power < 10_000:
            power = power * 10 + (data[at] - 48)
            at += 1
        if at == first:
            return 0.0, False
        places += power if down else -power
    if at != stop:
        return 0.0, False
    if mantissa == 0 or places > 60:
        return 0.0, True
    if places < -40:
        return (-np.inf if negative else np.inf), True
    value = float(mantissa)
    while places > 0:
        value /= _POWERS[min(places, 18)]
        places -= min(places, 18)
    while places < 0:
        value *= _POWERS[min(-places, 18)]
        places += min(-places, 18)
    return (-value if negative else value), True


@kernel
def word_of(data: np.ndarray, at: int, stop: int) -> tuple[float, bool]:
    """NaN for the usual words for nothing, 1 and 0 for true and false; anything else is no number."""
    size = stop - at
    a = data[at] | 32
    b = data[at + 1] | 32 if size > 1 else 0
    if size == 1 and (data[at] == 45 or data[at] == 63):  # - or ?
        return np.nan, True
    if size == 3 and a == 110 and b == 97 and (data[at + 2] | 32) == 110:  # nan
        return np.nan, True
    if size == 2 and a == 110 and b == 97:  # na
        return np.nan, True
    if size == 4 and a == 110 and ((b == 111 and (data[at + 3] | 32) == 101) or b == 117):  # none, null
        return np.nan, True
    if size == 4 and a == 116 and b == 114:  # true
        return 1.0, True
    if size == 5 and a == 102 and b == 97:  # false
        return 0.0, True
    return 0.0, False


@kernel
def name_of(
    data: np.ndarray, at: int, stop: int, keys: np.ndarray, ids: np.ndarray, places: np.ndarray, known: int
) -> tuple[int, int]:
    """The number of a link's name, and how many are known now; -1 where there are too many."""
    key = _OFFSET_BASIS
    for n in range(at, stop):
        key = (key ^ data[n]) * _PRIME
    slot = key & (keys.size - 1)
    while ids[slot] >= 0:
        if keys[slot] == key:
            return int(ids[slot]), known
        slot = (slot + 1) & (keys.size - 1)
    if known >= places.shape[0]:
        return -1, known
    keys[slot], ids[slot] = key, known
    places[known, 0], places[known, 1] = at, stop
    return known, known + 1


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
@kernel
def scan_lines(
    data: np.ndarray,
    kinds: np.ndarray,
    marks: np.ndarray,
    ranges: np.ndarray,
    keys: np.ndarray,
    ids: np.ndarray,
    places: np.ndarray,
    known: int,
    times: np.ndarray,
    local: np.ndarray,
    links: np.ndarray,
    values: np.ndarray,
    bad: np.ndarray,
) -> tuple[int, int, int, int]:
    """Whole lines into columns: how many rows, lines, faulty lines, and links are known now.

    kinds : what each column is. marks : delimiter, decimal mark, and decimal places of a time's unit (below 0: how
    dates run). ranges (4, f) : scale, offset, least and most of each value. keys, ids, places : the links' names,
    a table with open places. bad (m, 4) : line, code, and the faulty cell's begin and end.
    """
    at, row, line, faulty = 0, 0, 0, 0
    needs_link = False
    for kind in kinds:
        needs_link |= kind == LINK
    while at < data.size:
        end = at
        while data[end] != 10:
            end += 1
        stop = end - 1 if end > at and data[end - 1] == 13 else end
        begin, at = at, end + 1
        line += 1
        if stop == begin or data[begin] == 35:
            continue
        code, column, cell, last = 0, 0, begin, begin
        values[row, :] = np.nan
        local[row] = 0
        times[row] = 0
        links[row] = 0
        seen_time, seen_link = False, not needs_link
        here = begin
        while code == 0 and column < kinds.size and here <= stop:
            if here < stop and data[here] == 34:
                cell = here + 1
                last = cell
                while last < stop and data[last] != 34:
                    last += 1
                here = last + 1
                if last >= stop or (here < stop and data[here] != marks[0]):
                    code = BAD_QUOTES
                    break
            else:
                cell = here
                while here < stop and data[here] != marks[0]:
                    here += 1
                last = here
            here += 1
            kind = kinds[column]
            column += 1
            if kind == SKIP:
                continue
            while cell < last and (data[cell] == 32 or data[cell] == 9):
                cell += 1
            while last > cell and (data[last - 1] == 32 or data[last - 1] == 9):
                last -= 1
            if kind == TIME:
                if marks[2] < 0:
                    time, code = iso_time(data, cell, last, marks[2])
                    if code == NO_OFFSET:
                        local[row], code = 1, 0
                else:
                    time, code = unit_time(data, cell, last, marks[2])
                times[row] = time
                seen_time = True
            elif kind == LINK:
                if cell == last:
                    code = NO_LINK
                else:
                    links[row], known = name_of(data, cell, last, keys, ids, places, known)
                    seen_link = True
                    if links[row] < 0:
                        code = MANY_LINKS
            else:
                field = kind - FIRST_VALUE
                value, fine = value_of(data, cell, last, marks[1])
                if not fine:
                    code = BAD_NUMBER | (field << 8)
                elif value == value:
                    value = value * ranges[0, field] + ranges[1, field]
                    if not ranges[2, field] <= value <= ranges[3, field]:
                        code = OUT_OF_RANGE | (field << 8)
                    values[row, field] = value
        if code == 0 and not (seen_time and seen_link):
            code = FEW_CELLS
        if code == 0:
            row += 1
        else:
            if faulty < bad.shape[0]:
                bad[faulty, 0], bad[faulty, 1], bad[faulty, 2], bad[faulty, 3] = line, code, cell, last
            faulty += 1
    return row, line, faulty, known

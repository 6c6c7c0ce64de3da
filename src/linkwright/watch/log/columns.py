"""The columns of a log, whatever form it has: which is which, names of links, times in UTC, what was amiss."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.units import IntArray
from linkwright.watch.log.mapping import Mapping
from linkwright.watch.log.record import FIELDS, FIRST_NS, LAST_NS, MOST_LINKS, MOST_NAME, RANGES, SECOND_NS

#: Rows that cannot be read are left out and told; from this share on it is no log.
MOST_REFUSED: Final = 0.1


_HOUR_NS: Final = 3600 * SECOND_NS


@dataclass
class Amiss:
    """What was found amiss in a log while it was read; `told` says it in sentences."""

    name: str
    rows: int = 0
    refused: int = 0
    first_refused: str = ""
    told: list[str] = field(default_factory=list)

    def refuse(self, many: int, first: str) -> None:
        """Count rows that cannot be read; the first is told."""
        self.refused += many
        self.first_refused = self.first_refused or first

    def finish(self) -> None:
        """Say what was left out. Raises InputError where that is too much, or nothing is left."""
        if self.refused and self.refused > MOST_REFUSED * (self.rows + self.refused):
            raise InputError(
                f"{self.first_refused} ({self.refused} of {self.rows + self.refused} rows are faulty)",
                path=self.name,
            )
        if not self.rows:
            raise InputError("has no readings; expected a receiver's log", path=self.name)
        if self.refused:
            was = "row was" if self.refused == 1 else "rows were"
            self.told.append(f"{self.refused} {was} left out, the first because {self.first_refused}")


class NameTable:
    """The links' names as they are met: a table for the compiled loop, and what they are called with us."""

    def __init__(self, mapping: Mapping) -> None:
        size = 4 * MOST_LINKS
        self.keys = np.zeros(1 << (size - 1).bit_length(), dtype=np.int64)
        self.ids = np.full(self.keys.size, -1, dtype=np.int32)
        self.places = np.zeros((MOST_LINKS, 2), dtype=np.int64)
        self.mapping = mapping
        self.ours: list[str] = [] if mapping.link is None else [mapping.link]
        self.index = np.zeros(0, dtype=np.int32)

    def met(self, data: bytes, known: int, name: str, line: int) -> None:
        """Take in the names that are new in a block. Raises InputError for one that is none."""
        for n in range(self.index.size, known):
            raw = data[self.places[n, 0] : self.places[n, 1]]
            try:
                text = raw.decode("utf-8")
            except UnicodeDecodeError:
                raise InputError("has a link's name that is not UTF-8 text", path=name, line=line) from None
            ours = self.mapping.rename.get(text, text)
            if len(ours) > MOST_NAME or not ours.isprintable():
                shown = repr(ours[:30])
                raise InputError(f"has the link {shown}; expected a name of 1 to {MOST_NAME} letters", path=name)
            if ours not in self.ours:
                self.ours.append(ours)
            self.index = np.append(self.index, np.int32(self.ours.index(ours)))

    def shift_ns(self) -> IntArray:
        """What is added to the times of each link [ns]."""
        mapping = self.mapping
        return np.array(
            [round((mapping.clock_s + mapping.clock.get(name, 0.0)) * SECOND_NS) for name in self.ours], np.int64
        )


def scale_and_range(mapping: Mapping) -> np.ndarray:
    """Scale, offset, least and most of every value, shape (4, 6)."""
    rows = [[mapping.scale.get(key, 1.0), mapping.offset.get(key, 0.0), *RANGES[n]] for n, key in enumerate(FIELDS)]
    return np.array(rows).T.copy()


def column_index(cells: list[str], key: str, mapping: Mapping, name: str, line: int | None = None) -> int | None:
    """Where one of our columns stands; None where the log has none. Raises InputError where it must have it."""
    wanted = mapping.column_of(key)
    places = [n for n, cell in enumerate(cells) if cell == wanted]
    places = places or [n for n, cell in enumerate(cells) if cell.lower() == wanted.lower()]
    if len(places) > 1:
        raise InputError(f'has {len(places)} columns "{wanted}"; expected one', path=name, line=line)
    if places:
        return None if key == "link" and mapping.link is not None else places[0]
    shown = ", ".join(f'"{cell[:30]}"' for cell in cells[:8])
    if key in mapping.column:
        near = did_you_mean(wanted, cells) or f" (its columns are {shown})"
        raise InputError(f'has no column "{wanted}", which the mapping names for {key}{near}', path=name, line=line)
    if key == "time" or (key == "link" and mapping.link is None):
        near = did_you_mean(key, cells)
        alone = ', or link = "whose it is"' if key == "link" else ""
        raise InputError(
            f'has no column "{key}"{near}; expected a receiver\'s log, or a mapping file (--mapping) that says '
            f'[column] {key} = "{cells[0][:30] if cells else ""}"{alone} (its columns are {shown})',
            path=name,
            line=line,
        )
    if key == FIELDS[-1] and not {mapping.column_of(key_of_field).lower() for key_of_field in FIELDS} & {
        c.lower() for c in cells
    }:
        raise InputError(
            f"has no column of values; expected one of {', '.join(FIELDS)}, or a mapping file (--mapping) with "
            f'[column] {FIELDS[0]} = "{cells[-1][:30]}" (its columns are {shown})',
            path=name,
            line=line,
        )
    return None


def zoned(
    time_ns: IntArray, local: np.ndarray, mapping: Mapping, amiss: Amiss, line: int | None
) -> tuple[IntArray, np.ndarray]:
    """Times in UTC, local ones by the mapping's zone, and which rows are refused for a time out of all range.

    Raises InputError for a time without offset where the mapping names no zone.
    """
    if local.any():
        zone = mapping.tzinfo
        if zone is None:
            raise InputError(
                "has times without an offset; expected ISO 8601 with one, as 2027-05-14T09:00:00+01:00, or the "
                'zone in a mapping file (zone = "Europe/London")',
                path=amiss.name,
                line=line,
            )
        import datetime

        guess = f"times without an offset are taken as those of {mapping.else_zone}"
        if mapping.zone is None and guess not in amiss.told:
            amiss.told.append(guess)
        hours, which = np.unique(time_ns // (_HOUR_NS // 4), return_inverse=True)
        away = []
        for quarter in hours.tolist():
            at = datetime.datetime.fromtimestamp(quarter * 900, datetime.UTC).replace(tzinfo=zone)
            offset = at.utcoffset()
            away.append(0 if offset is None else round(offset.total_seconds() * SECOND_NS))
        time_ns = np.where(local, time_ns - np.array(away, dtype=np.int64)[which], time_ns)
    refused = (time_ns < FIRST_NS) | (time_ns > LAST_NS)
    if refused.any():
        many = int(refused.sum())
        amiss.rows -= many
        amiss.refuse(many, f"a time near line {line} lies before 2000 or after 2200")
    return np.asarray(time_ns, dtype=np.int64), refused

"""The tidy record of a receiver: one reading, a batch of them as columns, and a whole log.

A value that is missing is not known: NaN in the columns, None in a reading, never zero. Times are nanoseconds since
1970 in UTC (int64), so that readings of any zone stand in one order.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, Final, Literal

import numpy as np
from pydantic import AfterValidator, AwareDatetime, Field, ValidationError

from linkwright.shoot.end import whose
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.fields import Frozen, Name
from linkwright.units import CountArray, IntArray, SampleArray, counted

#: The columns of values, in the order in which they are kept; "time" and "link" stand before them.
FIELDS: Final = ("rf_a_dbm", "rf_b_dbm", "audio_dbfs", "quality", "battery", "muted")
RF_A, RF_B, AUDIO, QUALITY, BATTERY, MUTED = range(len(FIELDS))
#: What each column may hold, both ends included; what lies outside is of another unit.
RANGES: Final = ((-200.0, 50.0), (-200.0, 50.0), (-200.0, 20.0), (0.0, 1.0), (0.0, 1.0), (0.0, 1.0))
#: Times lie between 2000 and 2200 [ns since 1970].
FIRST_NS: Final = 946_684_800_000_000_000
LAST_NS: Final = 7_258_118_400_000_000_000
SECOND_NS: Final = 1_000_000_000
#: A log has no more links than a shoot.
MOST_LINKS: Final = 20_000
MOST_NAME: Final = 80
#: No reading for this many usual periods, and for this long at least [s], is a gap.
GAP_PERIODS: Final = 5.0
GAP_S: Final = 1.0


def _in_range(time: datetime.datetime) -> datetime.datetime:
    if not FIRST_NS <= time_ns_of(time) < LAST_NS:
        raise ValueError("not a time of this age")
    return time


#: What a clock can say: columns keep it as 64-bit nanoseconds, and a year 9999 is a fault.
Time = Annotated[AwareDatetime, AfterValidator(_in_range)]
Level = Annotated[float, Field(ge=RANGES[RF_A][0], le=RANGES[RF_A][1])]
AudioLevel = Annotated[float, Field(ge=RANGES[AUDIO][0], le=RANGES[AUDIO][1])]
Share = Annotated[float, Field(ge=0.0, le=1.0)]


class Reading(Frozen):
    """What a receiver shows of one link at one moment; what is left out is not known."""

    time: Time = Field(strict=False, description="when, ISO 8601 with offset")
    link: Name = Field(description="name of the link")
    listener: Name | None = Field(default=None, description="of a link that several listen to, who it is")
    rf_a_dbm: Level | None = Field(default=None, description="level of branch A [dBm]")
    rf_b_dbm: Level | None = Field(default=None, description="level of branch B [dBm]")
    audio_dbfs: AudioLevel | None = Field(default=None, description="level of the audio [dBFS]")
    quality: Share | None = Field(default=None, description="quality of the link, 0 none to 1 unbroken")
    battery: Share | None = Field(default=None, description="what the gauge says is left, 0 to 1")
    muted: Literal[0, 1] | None = Field(default=None, description="1: the receiver gives no audio")

    @property
    def of(self) -> str:
        """Whose reading it is: the link's, or one listener's of it."""
        return whose(self.link, self.listener or "")

    @property
    def time_ns(self) -> int:
        """Nanoseconds since 1970, UTC; exact to the microsecond that a datetime has."""
        return time_ns_of(self.time)


def time_ns_of(time: datetime.datetime) -> int:
    """Nanoseconds since 1970 of a time with offset."""
    since = time - datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)
    return (since.days * 86_400 + since.seconds) * SECOND_NS + since.microseconds * 1000


def iso_of(time_ns: int, zone: datetime.tzinfo = datetime.UTC) -> str:
    """A time as ISO 8601 with offset, in a zone, to the millisecond (cut, not rounded)."""
    seconds, rest = divmod(int(time_ns), SECOND_NS)
    at = datetime.datetime.fromtimestamp(seconds, zone).replace(microsecond=rest // 1_000_000 * 1000)
    return at.isoformat(timespec="milliseconds")


def reading_from(value: Any, where: str = "reading") -> Reading:
    """One reading out of what JSON gave. Raises InputError, one sentence, naming the nearest known key."""
    if not isinstance(value, dict):
        shown = type(value).__name__
        raise InputError(f"{where} is a {shown}; expected an object with time, link and what was read")
    try:
        return Reading.model_validate(_plain(value))
    except ValidationError as error:
        raise InputError(_sentence(error.errors()[0], where)) from None


def _plain(value: dict[Any, Any]) -> dict[str, Any]:
    """The same with whole numbers as floats where levels and shares stand, and true and false as 1 and 0."""
    plain: dict[str, Any] = {}
    for key, inner in value.items():
        if key == "muted" and isinstance(inner, bool):
            inner = int(inner)
        elif key in FIELDS[:MUTED] and isinstance(inner, int) and not isinstance(inner, bool):
            inner = float(inner) if abs(inner) < 1e300 else np.inf
        elif key == "muted" and isinstance(inner, float) and inner in (0.0, 1.0):
            inner = int(inner)
        plain[str(key)] = inner
    if not isinstance(plain.get("time", ""), str | datetime.datetime):
        plain["time"] = str(plain["time"])
    return plain


def _sentence(detail: Any, where: str) -> str:
    """What pydantic found, as a sentence."""
    key = str(detail["loc"][0])[:40] if detail["loc"] else "it"
    given = detail.get("input")
    if detail["type"] == "extra_forbidden":
        return f'{where} has an unknown key "{key}"{did_you_mean(key, Reading.model_fields)}'
    if detail["type"] == "missing":
        return f'{where} has no "{key}"'
    shown = repr(given)[:40]
    if key == "time":
        expected = "ISO 8601 with offset, from 2000 to 2199, as 2027-05-14T09:00:00.000+01:00"
        return f"{where} has the time {shown}; expected {expected}"
    if key in FIELDS:
        low, high = RANGES[FIELDS.index(key)]
        expected = "0 or 1" if key == "muted" else f"a number from {low:g} to {high:g}"
        return f"{where} has {key} {shown}; expected {expected}"
    return f"{where} has {key} {shown}; expected a name of 1 to {MOST_NAME} letters"


@dataclass(frozen=True, eq=False, slots=True)
class Batch:
    """Readings as columns in the order in which they came.

    names : the links' names. link (n,): whose a reading is, as index into `names`. time_ns (n,): UTC.
    values (n, 6): `FIELDS`, NaN for what is not known.
    """

    names: tuple[str, ...]
    link: CountArray
    time_ns: IntArray
    values: SampleArray

    def __len__(self) -> int:
        return int(self.time_ns.size)

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> Batch:
        """The same readings as columns."""
        listed = list(readings)
        names = {name: n for n, name in enumerate(dict.fromkeys(record.of for record in listed))}
        rows = [[np.nan if (v := getattr(record, key)) is None else v for key in FIELDS] for record in listed]
        return cls(
            tuple(names),
            np.array([names[record.of] for record in listed], dtype=np.int32),
            np.array([record.time_ns for record in listed], dtype=np.int64),
            np.array(rows, dtype=np.float32).reshape(-1, len(FIELDS)),
        )

    def part(self, start: int, stop: int) -> Batch:
        """The readings `start` to `stop` (not included)."""
        return Batch(self.names, self.link[start:stop], self.time_ns[start:stop], self.values[start:stop])


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch in which a link has no reading [ns, UTC]: from its last one before to the first after."""

    link: str
    from_ns: int
    to_ns: int


@dataclass(frozen=True, eq=False, slots=True)
class LinkReadings:
    """The readings of one link in the order of time: time_ns (n,), values (n, 6), and what was found amiss.

    duplicates : readings of a moment that had one (the first is kept). unsorted : readings that came late.
    """

    link: str
    time_ns: IntArray
    values: SampleArray
    duplicates: int = 0
    unsorted: int = 0

    @property
    def period_s(self) -> float:
        """The usual time from one reading to the next [s]; 0 for fewer than two."""
        return float(np.median(np.diff(self.time_ns))) / SECOND_NS if self.time_ns.size > 1 else 0.0

    def gaps(self) -> tuple[Gap, ...]:
        """Where readings are missing: nothing for more than a few of the usual periods."""
        least = max(GAP_PERIODS * self.period_s, GAP_S) * SECOND_NS
        at = np.flatnonzero(np.diff(self.time_ns) > least)
        return tuple(Gap(self.link, int(self.time_ns[n]), int(self.time_ns[n + 1])) for n in at)


@dataclass(frozen=True, slots=True)
class Log:
    """A whole log: one track a link, in the order in which the links first appear; `told` is what was amiss."""

    tracks: tuple[LinkReadings, ...]
    told: tuple[str, ...] = field(default=())

    @classmethod
    def of(cls, batches: Iterable[Batch], told: Sequence[str] = ()) -> Log:
        """The log in these batches: sorted, each moment of a link once, everything that was put right told."""
        parts: dict[str, list[tuple[IntArray, SampleArray]]] = {}
        for batch in batches:
            order = np.argsort(batch.link, kind="stable")
            edges = np.searchsorted(batch.link[order], np.arange(len(batch.names) + 1))
            for n, name in enumerate(batch.names):
                rows = order[edges[n] : edges[n + 1]]
                if rows.size:
                    parts.setdefault(name, []).append((batch.time_ns[rows], batch.values[rows]))
        tracks = tuple(_track(name, some) for name, some in parts.items())
        return cls(tracks, (*told, *_told(tracks)))

    @property
    def readings(self) -> int:
        """How many there are."""
        return sum(track.time_ns.size for track in self.tracks)

    def track(self, link: str) -> LinkReadings | None:
        """The track of a link; None where the log has none."""
        return next((track for track in self.tracks if track.link == link), None)

    def in_time(self, most: int = 262_144) -> Iterable[Batch]:
        """All readings in the order of time, those of one moment in the order of the links, `most` a batch."""
        if not self.tracks:
            return
        names = tuple(track.link for track in self.tracks)
        time_ns = np.concatenate([track.time_ns for track in self.tracks])
        sizes = [track.time_ns.size for track in self.tracks]
        link = np.repeat(np.arange(len(names), dtype=np.int32), sizes)
        order = np.argsort(time_ns, kind="stable")
        values = np.concatenate([track.values for track in self.tracks])
        for start in range(0, order.size, most):
            rows = order[start : start + most]
            yield Batch(names, link[rows], time_ns[rows], values[rows])


def _track(name: str, parts: Sequence[tuple[IntArray, SampleArray]]) -> LinkReadings:
    time_ns = np.concatenate([part[0] for part in parts])
    values = np.concatenate([part[1] for part in parts])
    unsorted = int((time_ns < np.maximum.accumulate(time_ns)).sum())
    if unsorted:
        order = np.argsort(time_ns, kind="stable")
        time_ns, values = time_ns[order], values[order]
    once = np.concatenate([[True], np.diff(time_ns) > 0])
    duplicates = int(time_ns.size - once.sum())
    if duplicates:
        time_ns, values = time_ns[once], values[once]
    return LinkReadings(name, time_ns, values, duplicates, unsorted)


def _told(tracks: Sequence[LinkReadings]) -> list[str]:
    told = []
    unsorted, duplicates = sum(t.unsorted for t in tracks), sum(t.duplicates for t in tracks)
    if unsorted:
        told.append(f"{counted(unsorted, 'reading')} came out of order, put in the order of time")
    if duplicates:
        told.append(f"{counted(duplicates, 'reading')} of a moment that their link had already; the first was kept")
    return told

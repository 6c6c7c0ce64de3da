"""A made event of many crews over weeks, from a seed.

Its size is that which the regulator published of London in 2012: 20 000 assignments, 36 venues, seven weeks (as the
issue quotes it; not read in the source). An assignment is one link on the air in one call. Venues lie in a few
clusters, each open on some of the days, with one to three sessions a day; crews stay at a venue for some days or go
from one to the next, come earlier or later than others, have a position of their own, and bring kit of three bands.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from linkwright.shoot.catalogue import as_frozen
from linkwright.shoot.models import Shoot

ASSIGNMENTS: Final = 20_000
VENUES: Final = 36
DAYS: Final = 49
FIRST_DAY: Final = datetime.date(2027, 6, 28)
DEGREE_M: Final = 111_320.0
SURROUNDINGS: Final = ("open", "street", "hall", "residential")
#: When sessions may begin, and how long one lasts [h].
SESSIONS: Final = ((9, 3), (14, 3), (19, 3))
#: Where crews stand at a venue.
POSITIONS: Final = 10
KINDS: Final = ("low", "high", "plug")


@dataclass
class _Made:
    """The document as it grows, and who is where until which day."""

    document: dict[str, Any]
    rng: np.random.Generator
    crews: list[list[str]] = field(default_factory=list)
    names: set[str] = field(default_factory=set)
    at: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    assignments: int = 0


def long_event(assignments: int = ASSIGNMENTS, seed: int = 1, venues: int = VENUES) -> Shoot:
    """A shoot of exactly so many assignments on so many venues, as many days as they take at the usual density."""
    rng = np.random.default_rng(seed)
    made = _Made(_begun(assignments), rng)
    for n in range(venues):
        _add_venue(made, n)
    per_day = ASSIGNMENTS / DAYS
    days = max(1, round(assignments / per_day))
    for day in range(days):
        left = assignments if day == days - 1 else round((day + 1) * per_day)
        _add_day(made, day, venues, left)
    return Shoot.model_validate(as_frozen(made.document))


def repeated(shoot: Shoot, days: int) -> Shoot:
    """The calls of a shoot once more on each of the days after, with the same links: some periods of few links."""
    calls = [
        call.model_copy(
            update={
                "name": f"{call.name}, day {day + 1}",
                "date": (call.date or FIRST_DAY) + datetime.timedelta(day),
            }
        )
        for day in range(days)
        for call in shoot.call
    ]
    return shoot.model_copy(update={"call": tuple(calls)})


def _begun(assignments: int) -> dict[str, Any]:
    return {
        "shoot": {
            "title": f"Games of {assignments} assignments",
            "region": "GB",
            "permits": ["gb-coordinated", "gb-shared"],
            "date": FIRST_DAY,
        },
        "transmitter": {
            "low": {"use": "uhf-body-worn", "tunes_mhz": [[470.0, 606.0]]},
            "high": {"use": "uhf-body-worn", "tunes_mhz": [[614.0, 694.0]]},
            "plug": {"use": "uhf-plug-on"},
        },
        "crew": [],
        "site": [],
        "link": [],
        "other": [],
        "call": [],
    }


def _add_venue(made: _Made, n: int) -> None:
    """A venue in one of nine clusters of four, some hundred metres apart inside, some kilometres between."""
    rng, cluster = made.rng, n // 4
    x = (cluster % 3) * 6_000.0 + (n % 2) * 420.0 + float(rng.uniform(-80, 80))
    y = (cluster // 3) * 5_000.0 + (n % 4 // 2) * 380.0 + float(rng.uniform(-80, 80))
    spots: list[dict[str, Any]] = []
    for k in range(1, POSITIONS + 1):
        x_m, y_m = (float(v) for v in rng.uniform(-60, 60, 2))
        spots.append({"name": f"Position {k}", "x_m": x_m, "y_m": y_m, "z_m": 2.5})
        for side in "ab":
            away_m, turn = float(rng.uniform(3, 9)), float(rng.uniform(0, 6.28))
            spots.append(
                {
                    "name": f"Stand {k}{side}",
                    "x_m": x_m + away_m * float(np.cos(turn)),
                    "y_m": y_m + away_m * float(np.sin(turn)),
                }
            )
    name = f"Venue {n + 1}"
    made.document["site"].append(
        {
            "name": name,
            "latitude": 51.0 + y / DEGREE_M,
            "longitude": -1.0 + x / DEGREE_M / np.cos(np.radians(51.0)),
            "surroundings": SURROUNDINGS[int(rng.integers(len(SURROUNDINGS)))],
            "spots": spots,
            "tv": ["24", "31"],
        }
    )
    for k in range(2):
        made.document["other"].append(
            {
                "name": f"{name}, house radio {k + 1}",
                "carrier_mhz": round(470.0 + 0.025 * int(rng.integers(8000)), 3),
                "radiated_mw": 100.0,
                "bandwidth_khz": 25,
                "site": name,
                "at": {"x_m": float(rng.uniform(30, 80)), "y_m": 0.0},
            }
        )


def _add_crew(made: _Made) -> int:
    """A new crew with two to fourteen links of mostly one kind."""
    rng, number = made.rng, len(made.crews) + 1
    crew = f"Crew {number}"
    made.document["crew"].append({"name": crew})
    mostly, position = int(rng.integers(len(KINDS))), int(rng.integers(1, POSITIONS + 1))
    names = [f"C{number} link {k + 1}" for k in range(int(np.clip(rng.geometric(0.16) + 1, 2, 14)))]
    for name in names:
        kind = KINDS[mostly if rng.random() < 0.7 else int(rng.integers(len(KINDS)))]
        made.document["link"].append(
            {
                "name": name,
                "crew": crew,
                "transmitter": kind,
                "receiver": "uhf-cart-rack",
                "at": f"Position {position}",
                "route": [f"Stand {position}{side}" for side in "ab"],
            }
        )
    made.crews.append(names)
    return len(made.crews) - 1


def _add_day(made: _Made, day: int, venues: int, until: int) -> None:
    """Sessions at the venues that are open, until there are so many assignments in all."""
    rng = made.rng
    while made.assignments < until:
        venue = int(min(rng.integers(venues), rng.integers(venues)))  # some are larger than others
        here = [(crew, last) for crew, last in made.at.get(venue, []) if last >= day]
        wanted = int(rng.integers(1, 2 + (5 * (venues - venue)) // venues))
        while len(here) < wanted:
            known = int(rng.integers(len(made.crews))) if made.crews and rng.random() < 0.35 else -1
            taken = {crew for v, entries in made.at.items() if v != venue for crew, last in entries if last >= day}
            busy = known < 0 or known in taken or known in [crew for crew, _ in here]
            crew = _add_crew(made) if busy else known
            here.append((crew, day + int(rng.integers(1, 12))))
        made.at[venue] = here
        for session in range(int(rng.integers(1, 1 + len(SESSIONS)))):
            for crew, _ in here:
                if rng.random() < 0.8:
                    _add_call(made, day, venue, crew, session, until)


def _add_call(made: _Made, day: int, venue: int, crew: int, session: int, until: int) -> None:
    rng = made.rng
    who = [name for name in made.crews[crew] if rng.random() < 0.9][: until - made.assignments]
    when = FIRST_DAY + datetime.timedelta(days=day)
    name = f"Venue {venue + 1}, {when:%d %b}, session {session + 1}, C{crew + 1}"
    if not who or name in made.names:
        return
    made.names.add(name)
    hour, length = SESSIONS[session]
    starts = datetime.datetime.combine(when, datetime.time(hour)) - datetime.timedelta(
        minutes=15 * int(rng.integers(0, 5))
    )
    ends = starts + datetime.timedelta(hours=length, minutes=15 * int(rng.integers(0, 5)))
    made.assignments += len(who)
    made.document["call"].append(
        {
            "name": name,
            "crew": f"Crew {crew + 1}",
            "site": f"Venue {venue + 1}",
            "date": when,
            "from": starts.time(),
            "to": ends.time(),
            "links": who,
        }
    )

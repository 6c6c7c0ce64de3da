"""Receivers' channels are given out, one a link: which unit and channel each link has in a call, and who has none.

Units of one type stand at one spot, or are worn by one who listens. A link keeps its channel from call to call
where it is free.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from linkwright.shoot.end import End
from linkwright.shoot.equipment import Receiver
from linkwright.shoot.models import Link

#: A type of receiver and the spot at which its units stand.
Stand = tuple[str, str]
#: A link, and which of those who listen to it.
Listening = tuple[str, int]


class Seat(NamedTuple):
    """A channel of a unit, both from 1."""

    unit: int
    channel: int


@dataclass(frozen=True, slots=True)
class Seating:
    """The channels of a call: `seats` by the name of the link; `unseated` are links for which there is none."""

    seats: Mapping[str, Seat]
    unseated: tuple[str, ...]


def seatings(calls: Sequence[tuple[Sequence[Link], str]], receivers: Mapping[str, Receiver]) -> list[Seating]:
    """The channels of every call, in the order of the calls: its links, and the spot where receivers stand of which
    nothing is said; `receivers` are the types by name.

    A type that says how many units there are (`count`) has no more than those; of others as many are taken as it
    needs.
    """
    before: dict[tuple[Stand, Listening], Seat] = {}
    known: dict[tuple[str, str], dict[Listening, Stand]] = {}
    given = []
    for links, spot in calls:
        stands: dict[Listening, Stand] = {}
        for link in links:
            if (link.name, spot) not in known:
                known[link.name, spot] = {
                    (link.name, n): stand_of(link, end, spot) for n, end in enumerate(link.hears)
                }
            stands |= known[link.name, spot]
        seats = _of_call(stands, receivers, before)
        before |= {(stands[who], who): seat for who, seat in seats.items()}
        unseated = tuple(dict.fromkeys(name for name, n in stands if (name, n) not in seats))
        given.append(
            Seating({name: seat for (name, n), seat in seats.items() if n == 0 and name not in unseated}, unseated)
        )
    return given


def stand_of(link: Link, end: End, spot: str) -> Stand:
    """The type of receiver of one who listens and where its units stand, or who wears one; `spot` where nothing is
    said."""
    return (end.kit, end.at or spot) if end.stands else (end.kit, f"on {end.named or link.name}")


def _of_call(
    stands: Mapping[Listening, Stand],
    receivers: Mapping[str, Receiver],
    before: Mapping[tuple[Stand, Listening], Seat],
) -> dict[Listening, Seat]:
    had_by = {place: before.get(place) for place in zip(stands.values(), stands, strict=True)}
    seats: dict[Listening, Seat] = {}
    taken: dict[Stand, set[Seat]] = {}
    units: dict[str, set[tuple[Stand, int]]] = {}
    for (stand, who), had in sorted(had_by.items(), key=lambda place: place[1] is None):
        receiver, used = receivers[stand[0]], taken.setdefault(stand, set())
        mine = units.setdefault(stand[0], set())
        seat = had if had is not None and had not in used else _next(used, receiver.channels)
        if receiver.count is not None and (stand, seat.unit) not in mine and len(mine) >= receiver.count:
            seat_here = _within(used, {unit for where, unit in mine if where == stand}, receiver.channels)
            if seat_here is None:
                continue
            seat = seat_here
        used.add(seat)
        mine.add((stand, seat.unit))
        seats[who] = seat
    return seats


def _next(used: set[Seat], channels: int) -> Seat:
    """The first channel that nobody has."""
    number = 0
    while (seat := Seat(number // channels + 1, number % channels + 1)) in used:
        number += 1
    return seat


def _within(used: set[Seat], units: set[int], channels: int) -> Seat | None:
    """The first free channel of these units; None where all are taken."""
    free = (Seat(unit, channel) for unit in sorted(units) for channel in range(1, channels + 1))
    return next((seat for seat in free if seat not in used), None)

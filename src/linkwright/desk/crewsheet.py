"""What a crew's page shows, out of what its hatch gives: to be done first, then carriers by call, then requests."""

from __future__ import annotations

import contextlib
import datetime
import zoneinfo
from collections.abc import Sequence
from dataclasses import dataclass

from linkwright.shoot.catalogue import called
from linkwright.store.carrier_notices import OFF, ToldCarrier
from linkwright.store.hatch import CrewShare, OwnCall
from linkwright.store.requests import CrewRequest
from linkwright.units import counted, mhz_text, number_word, with_capital


@dataclass(frozen=True, slots=True)
class HeldCarrier:
    """A link of the crew in a call: the carrier that it was told, or none yet."""

    link: str
    link_id: str
    call: str
    call_id: str
    told: ToldCarrier | None

    @property
    def carrier(self) -> str:
        """The carrier as people set it."""
        return "" if self.told is None or self.told.khz == OFF else mhz_text(self.told.khz)

    @property
    def before(self) -> str:
        """The carrier on which it still stands, where that is another."""
        told = self.told
        return (
            "" if told is None or not told.before_khz or told.before_khz == told.khz else mhz_text(told.before_khz)
        )

    @property
    def spares(self) -> str:
        """Its spares, in the order to try them."""
        return "" if self.told is None else ", ".join(mhz_text(khz) for khz in self.told.spares_khz)


@dataclass(frozen=True, slots=True)
class CallHeld:
    """A call of the crew with its links, and when it is, in words."""

    call: OwnCall
    when: str
    held: tuple[HeldCarrier, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """All of a crew's page: its first sentence, what is to be done, the calls that are not over, what was asked."""

    answer: str
    to_do: tuple[HeldCarrier, ...]
    calls: tuple[CallHeld, ...]
    requests: tuple[CrewRequest, ...]


def sheet_of(
    own: CrewShare, carriers: Sequence[ToldCarrier], requests: Sequence[CrewRequest], now: datetime.datetime
) -> Sheet:
    """What a crew's page shows at a moment."""
    zone = zoneinfo.ZoneInfo(own.timezone)
    told = {carrier.key: carrier for carrier in carriers}
    names = {link.id: link.name for link in own.links}
    ids = {link.name: link.id for link in own.links}
    left = sorted(
        (call for call in own.calls if not is_over(call, now, zone)), key=lambda call: (call.date, call.starts)
    )
    over = {call.id for call in own.calls} - {call.id for call in left}
    calls = tuple(
        CallHeld(
            call,
            when_text(call),
            tuple(
                HeldCarrier(name, ids[name], call.name, call.id, told.get((ids[name], call.id)))
                for name in call.links
            ),
        )
        for call in left
    )
    titles = {call.id: call.name for call in own.calls}
    to_do = tuple(
        HeldCarrier(
            names.get(carrier.link, "a link that is gone"),
            carrier.link,
            titles.get(carrier.call, ""),
            carrier.call,
            carrier,
        )
        for carrier in carriers
        if carrier.heard is None and carrier.call not in over
    )
    return Sheet(_answer(to_do, calls, requests), to_do, calls, tuple(reversed(requests)))


def _answer(to_do: Sequence[HeldCarrier], calls: Sequence[CallHeld], requests: Sequence[CrewRequest]) -> str:
    if to_do:
        many = with_capital(number_word(len(to_do)))
        return f"{many} carrier{'' if len(to_do) == 1 else 's'} to be set and heard."
    waiting = sum(request.state == "asked" for request in requests)
    if waiting:
        verb = " of yours waits" if waiting == 1 else "s of yours wait"
        return f"Nothing to be set; {number_word(waiting)} question{verb} for an answer."
    if any(held.told for call in calls for held in call.held):
        return "Every carrier is set and heard."
    return "No carrier yet: ask for what you need."


def _moment(date: str, time: str, zone: datetime.tzinfo) -> datetime.datetime | None:
    with contextlib.suppress(ValueError):
        return datetime.datetime.combine(datetime.date.fromisoformat(date), datetime.time.fromisoformat(time), zone)
    return None


def is_over(call: OwnCall, now: datetime.datetime, zone: datetime.tzinfo) -> bool:
    """Whether a call has ended; one without times ends with its day, one without a day never."""
    starts, ends = _moment(call.date, call.starts, zone), _moment(call.date, call.ends or "23:59", zone)
    if ends is not None and starts is not None and ends <= starts:
        ends += datetime.timedelta(days=1)
    return ends is not None and ends <= now


def when_text(call: OwnCall) -> str:
    """Day and times of a call, in words."""
    day = call.date
    with contextlib.suppress(ValueError):
        day = datetime.date.fromisoformat(call.date).strftime("%a %d %b")
    return ", ".join(part for part in (day, _times(call.starts, call.ends)) if part)


def _times(starts: str, ends: str) -> str:
    return f"{starts[:5]}–{ends[:5]}" if starts and ends else ""


def wanted_text(request: CrewRequest) -> str:
    """What was asked, in a line."""
    wanted = request.wanted
    if request.kind == "trouble":
        return wanted.note
    parts = [f"{counted(wanted.links, 'link')}, {called(wanted.transmitter)}"]
    parts += [f"at {wanted.site}"] if wanted.site else []
    parts += [f"in {wanted.call}"] if wanted.call else []
    parts += [part for part in (wanted.date, _times(wanted.starts, wanted.ends)) if part]
    return ", ".join(parts)

"""The day in words: what is happening, what happened, which call is on."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from linkwright.desk.alarms import Alarm
from linkwright.desk.current import live_calls_at
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.watching import clock_of as on_clock
from linkwright.lengths import age
from linkwright.shoot.end import whose
from linkwright.store import Store
from linkwright.units import number_word
from linkwright.watch.diagnose.causes import words_of

if TYPE_CHECKING:
    from linkwright.desk.desk import Desk

#: Kinds of happening that are listed, and how many.
KINDS: Final = ("take", "cut", "note", "acknowledged", "switched", "changed", "slept", "trouble", "over")
#: What some of them are called in the log.
WORDS: Final = {"changed": "cells changed", "acknowledged": "seen", "slept": "the laptop slept"}
LISTED: Final = 40


def answer(desk: Desk, snapshot: Snapshot) -> str:
    """What is happening, as a sentence: of the readings that come now, and of alarms that are open."""
    watching = desk.watching
    troubles = desk.troubles()
    silent = watching.silent()
    if silent and not troubles:
        return silent
    off = _off(snapshot, watching.now_ns())
    states = {
        link: state
        for link, state in watching.states().items()
        if state != "not on now" and not (state == "no readings" and link in off)
    }
    if troubles and (silent or all(state == "no readings" for state in states.values())):
        more = f"; {number_word(len(troubles) - 1)} more" if len(troubles) > 1 else ""
        return f"{troubles[0].link}: {troubles[0].words}{more}."
    return _said(snapshot, states, [alarm for alarm in watching.shown() if alarm.open])


def _off(snapshot: Snapshot, now_ns: int) -> set[str]:
    """The links, by id, that are in other calls only than those that are on or come next."""
    if snapshot.shoot is None:
        return set()
    on = {link.name for call in live_calls_at(snapshot.shoot, now_ns) for link in call.links}
    return {snapshot.names.id_of("link", link.name) for link in snapshot.shoot.link if link.name not in on}


def _said(snapshot: Snapshot, states: dict[str, str], alarms: Sequence[Alarm]) -> str:
    called = snapshot.names.name_of
    heard = {link: state for link, state in states.items() if state != "no readings"}
    if alarms:
        first = alarms[0].episode
        more = f", and {number_word(len(alarms) - 1)} more" if len(alarms) > 1 else ""
        return f"{called(first.link)}: {words_of(first.cause)}{more}."
    if not heard:
        nobody = f"No readings come in of {_links(len(states))}: tap who is in trouble."
        return nobody if states else "No link yet."
    bad = [called(link) for link, state in heard.items() if state != "holds"]
    silent = len(states) - len(heard)
    rest = f"; {number_word(silent)} {'says' if silent == 1 else 'say'} nothing" if silent else ""
    if not bad:
        hold = {1: "The one link that is heard holds", 2: "Both links that are heard hold"}
        return f"{hold.get(len(heard), f'All {number_word(len(heard))} links that are heard hold')}{rest}."
    return f"{', '.join(bad[:3])} {'is' if len(bad) == 1 else 'are'} thin or breaking up{rest}."


def _links(count: int) -> str:
    return f"{number_word(count)} link{'' if count == 1 else 's'}"


def clock_of(snapshot: Snapshot, time_ns: int) -> str:
    """A time on the clock of the shoot."""
    return on_clock(time_ns, snapshot.zone)


def happened(store: Store, snapshot: Snapshot) -> list[dict[str, str]]:
    """The newest of what happened."""
    names, happenings = snapshot.names, store.happenings(kinds=KINDS, last=LISTED)[::-1]
    return [
        {
            "at": clock_of(snapshot, int(happening.when.timestamp() * 1e9)),
            "what": str(happening.data.get("text") or WORDS.get(happening.kind, happening.kind)),
            "about": whose(
                names.name_of(names.id_of("link", happening.about)), str(happening.data.get("listener") or "")
            ),
            "who": happening.who,
        }
        for happening in happenings
    ]


def next_take(store: Store) -> int:
    """The number of the next take."""
    return 1 + len(store.happenings(kinds=("take",)))


def sweep_age(store: Store, snapshot: Snapshot) -> str:
    """How old the newest sweep is, in words; nothing where there is none."""
    sites = snapshot.shoot.site if snapshot.shoot is not None else ()
    names = {name for site in sites for name in site.sweeps}
    times = [attachment.when for attachment in store.attachment_list() if attachment.name in names]
    return age((datetime.datetime.now(datetime.UTC) - max(times)).total_seconds()) if times else ""

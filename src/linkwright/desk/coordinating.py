"""What whoever coordinates sees of crews: carriers that wait for a tick, by time, and what came of a request."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from linkwright.desk.snapshot import Snapshot
from linkwright.store import CrewRequest, Store, ToldCarrier
from linkwright.store.carrier_notices import OFF
from linkwright.units import mhz_text


@dataclass(frozen=True, slots=True)
class Waiting:
    """A carrier that a crew was told and has not set, or not heard: whose, which link, call, what, whom to call."""

    crew: str
    link: str
    call: str
    what: str
    told: datetime.datetime
    contact: str
    phone: str


def unanswered(store: Store, snapshot: Snapshot, now: datetime.datetime, most: int) -> tuple[int, list[Waiting]]:
    """How many carriers wait for a tick in calls that are not over, and which do so longest, so many at most."""
    names, draft = snapshot.names, snapshot.document.draft
    ends = {} if snapshot.made is None else {call.name: call.ends for call in snapshot.made.scene.calls}
    calls = {
        id_: count
        for id_, count in store.carriers_waiting().items()
        if (end := ends.get(names.name_of(id_))) is None or end > now
    }
    waiting = []
    for carrier in store.carriers_told(calls, unheard=most):
        crew = draft.at("crew", carrier.crew) or {}
        done = "set, not heard" if carrier.set else "not set"
        what = "switch off" if carrier.khz == OFF else f"{mhz_text(carrier.khz)} MHz: {done}"
        whose = str(crew.get("name") or "a crew that is gone")
        link, call = names.name_of(carrier.link), names.name_of(carrier.call)
        contact, phone = str(crew.get("contact") or ""), str(crew.get("phone") or "")
        waiting.append(Waiting(whose, link, call, what, carrier.told, contact, phone))
    return sum(calls.values()), waiting


def links_at(request: CrewRequest, told: Sequence[ToldCarrier], snapshot: Snapshot) -> list[str]:
    """What came of a request: each link that is still in the shoot, with its carriers and how far they are."""
    there = dict(snapshot.document.draft.entries("link"))
    lines = []
    for id_ in request.links:
        if id_ not in there:
            lines.append(f"{snapshot.names.name_of(id_)}: not in the shoot any more")
            continue
        mine = (carrier for carrier in told if carrier.link == id_ and carrier.khz != OFF)
        given = [f"{mhz_text(carrier.khz)} MHz, {carrier.state}" for carrier in mine]
        lines.append(f"{snapshot.names.name_of(id_)}: {'; '.join(given) or 'no carrier yet'}")
    return lines

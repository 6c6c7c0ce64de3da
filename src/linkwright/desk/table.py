"""The newest plan as a table: its links in an order, the answer in a sentence, what differs from another plan."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from linkwright.desk.part import Part, part_of
from linkwright.desk.snapshot import Made, Snapshot
from linkwright.draw.ink import in_page_inks
from linkwright.draw.ledger import LedgerPicture, drawn_ledger
from linkwright.plan.answer import answer_sentence, short_says, worst_says
from linkwright.plan.file import parse_plan
from linkwright.plan.model import Plan, PlannedCall, PlannedLink, Unplaced
from linkwright.shoot.catalogue import called
from linkwright.shoot.errors import InputError
from linkwright.shoot.view import receiver_named
from linkwright.store import Store

#: The order in which links are shown, by what is asked for.
ORDERS: Final = {"call": "call by call", "need": "weakest first", "name": "by name", "carrier": "by carrier"}


GRAVITY: Final = {"fails": 0, "thin": 1, "holds": 2}


#: Under which key a plan is kept to be seen beside the newest.
BESIDE: Final = "plan-beside"


@dataclass(frozen=True, slots=True)
class LinkRow:
    """A link in a call, as a row of the table."""

    call: PlannedCall
    link: PlannedLink
    id: str
    locked: bool
    times: str

    @property
    def key(self) -> str:
        """An id for the page."""
        return f"{self.call.call}-{self.link.link}".replace(" ", "_")

    @property
    def called(self) -> str:
        """All that it can be found by."""
        return f"{_called(self.call, self.link.link)} {self.link.carrier}"

    @property
    def short(self) -> str:
        """What it has in hand, in three words."""
        return short_says(self.link.in_hand_db)

    @property
    def says(self) -> str:
        """Where it decides, how sure it is, never rounded up, and what the worst place would come to."""
        link = self.link
        sure = f"{math.floor(100.0 * link.sure)} % sure"
        deciding = f"{link.worst_place} decides: {short_says(link.in_hand_db)}, {sure}"
        return f"{deciding}, {breaks_told(link.breaks_per_hour)}. {worst_says(link)}."

    @property
    def sum(self) -> tuple[tuple[str, str], ...]:
        """The ledger in six lines: what, and how much."""
        link = self.link
        return (
            (f"Wanted at {link.worst_place}, median", f"{link.wanted_dbm:.1f} dBm"),
            ("Noise and interference", f"{link.noise_and_interference_dbm:.1f} dBm"),
            ("Needed by the receiver", f"{link.required_cnr_db:g} dB"),
            ("Fading", f"{link.fading_db:.1f} dB"),
            ("Doubt: what is not known", f"{link.doubt_db:.1f} dB"),
            ("In hand", f"{link.in_hand_db:.1f} dB"),
        )

    @property
    def chart(self) -> str:
        """The ledger drawn, as SVG."""
        link = self.link
        wanted = [(line.part, line.db or 0.0) for line in link.ledger if line.what == "wanted"]
        against = [(line.part, line.dbm) for line in link.ledger if line.dbm is not None]
        return in_page_inks(drawn_ledger(
            LedgerPicture(
                f"{link.link} on {link.carrier} MHz",
                tuple(wanted), link.wanted_dbm, tuple(against), link.noise_and_interference_dbm,
                link.required_cnr_db, link.margin_db,
                tuple((line.part, line.db or 0.0) for line in link.ledger if line.what in ("fading", "doubt")),
                link.in_hand_db,
            )
        ))  # fmt: skip


def rows(made: Made, order: str) -> list[LinkRow]:
    """The links of all calls in the order asked for."""
    return made.once(f"rows by {order}", lambda: _rows(made, order))


def _rows(made: Made, order: str) -> list[LinkRow]:
    locked = {link.name for link in made.shoot.link if link.locked_mhz is not None}
    times = {
        call.name: f"{call.starts:%H:%M}–{call.ends:%H:%M}" if call.starts and call.ends else ""
        for call in made.scene.calls
    }
    told = [
        LinkRow(call, link, made.names.id_of("link", link.link), link.link in locked, times[call.call])
        for call in made.plan.calls
        for link in call.links
    ]
    if order == "need":
        told.sort(key=lambda row: (GRAVITY[row.link.verdict], row.link.in_hand_db))
    elif order == "name":
        told.sort(key=lambda row: row.link.link)
    elif order == "carrier":
        told.sort(key=lambda row: row.link.carrier_khz)
    return told


@dataclass(frozen=True, slots=True)
class Shown:
    """The part of a table that is looked at: rows, the calls that they are of, those without a carrier."""

    rows: Part[LinkRow]
    calls: tuple[PlannedCall, ...]
    unplaced: tuple[tuple[PlannedCall, Unplaced], ...]


def shown(made: Made | None, order: str, find: str = "", first: int = 0) -> Shown:
    """The rows of a plan whose call, site, link or carrier has every word of `find`, from one of them on."""
    if made is None:
        return Shown(part_of((), str), (), ())
    some = part_of(rows(made, order), lambda row: row.called, find, first)
    calls = {row.call.call: row.call for row in some.some}
    gone = [(call, gone) for call in made.plan.calls for gone in call.unplaced]
    without = part_of(gone, lambda pair: _called(pair[0], pair[1].link), find)
    return Shown(some, tuple(calls.values()), without.some)


def _called(call: PlannedCall, link: str) -> str:
    return f"{call.call} {call.site} {link}"


def channels_taken(made: Made, calls: Iterable[PlannedCall]) -> dict[str, str]:
    """By call, how many of the channels of each type of receiver are taken, of those that there are; where nobody
    says how many units there are, of the units that it takes."""
    links = {link.name: link for link in made.shoot.link}
    taken = {}
    for call in calls:
        seats: dict[str, set[tuple[int, int]]] = {}
        for link in call.links:
            if links[link.link].hears[0].stands:
                seats.setdefault(links[link.link].hears[0].kit, set()).add(
                    (link.receiver_unit, link.receiver_channel)
                )
        kinds = ((name, taken, receiver_named(made.shoot, name)) for name, taken in seats.items())
        taken[call.call] = ", ".join(
            f"{called(name)} {len(taken)} of {receiver.channels * (receiver.count or max(taken)[0])}"
            for name, taken, receiver in kinds
        )
    return taken


def breaks_told(breaks_per_hour: float) -> str:
    """How often it would break in the median case, in words."""
    return "no break in an hour" if breaks_per_hour < 0.5 else f"{breaks_per_hour:.0f} breaks an hour"


def answer(snapshot: Snapshot) -> str:
    """The answer of the page as a sentence."""
    planning = snapshot.planning
    if planning.fault or planning.says:
        return f"No new plan: {planning.fault or planning.says}"
    if snapshot.plan is not None:
        return answer_sentence(snapshot.plan)
    if snapshot.shoot is None:
        return "No plan yet: the shoot lacks something; the page Shoot says what."
    if not snapshot.shoot.link:
        return "No plan yet: the shoot has no links."
    return "The plan is being made." if planning.busy else "The plan will be here in a moment."


@dataclass(frozen=True, slots=True)
class Difference:
    """A link in a call in two plans, where they differ."""

    call: str
    link: str
    before: str
    now: str


def differences(store: Store, plan: Plan | None) -> list[Difference] | None:
    """Where the plan that was set aside differs from the newest; None where none was."""
    data = store.cache_get(BESIDE)
    if data is None or plan is None:
        return None
    try:
        aside = parse_plan(data.decode("utf-8"), "the plan set aside")
    except (InputError, UnicodeDecodeError):
        return None
    before, now = _by_link(aside), _by_link(plan)
    return [
        Difference(*key, _said(before.get(key)), _said(now.get(key)))
        for key in dict.fromkeys([*before, *now])
        if _said(before.get(key)) != _said(now.get(key))
    ]


def _by_link(plan: Plan) -> dict[tuple[str, str], PlannedLink]:
    return {(call.call, link.link): link for call in plan.calls for link in call.links}


def _said(link: PlannedLink | None) -> str:
    if link is None:
        return "not placed"
    return f"{link.carrier} MHz, {link.power_mw:g} mW, {link.in_hand_db:.1f} dB in hand, {link.verdict}"

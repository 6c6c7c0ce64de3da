"""The wall of the day: what stands on each link's tile besides its readings, and what is left of the call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from linkwright.desk.carriers import planned_links
from linkwright.desk.current import live_calls_at
from linkwright.desk.day import since_changed
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.troubles import cells_now
from linkwright.lengths import hours
from linkwright.plan.answer import short_says
from linkwright.plan.model import PlannedLink
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import LiveCall, live_calls
from linkwright.units import number_word

if TYPE_CHECKING:
    from linkwright.desk.desk import Desk


@dataclass(frozen=True, slots=True)
class Tile:
    """A link on the wall: where it is set, its first spare, its cells, and what the plan promised for it.

    carrier : as its display has it. planned : in words. verdict : the plan's. weakest, weakest_dbm : the place of
    the least level in the plan, and its median there. off : when it is on, where it is not now. trouble : what is
    amiss with it as somebody told.
    """

    id: str
    name: str
    carrier: str = ""
    spare: str = ""
    cells: str = ""
    planned: str = ""
    verdict: str = ""
    weakest: str = ""
    weakest_dbm: float | None = None
    off: str = ""
    trouble: str = ""


def tiles(desk: Desk, snapshot: Snapshot) -> list[Tile]:
    """The links that have a tile: those of the calls that are on or come next first, each in the shoot's
    order."""
    now_ns = desk.watching.now_ns()
    shoot = snapshot.shoot
    calls = [] if shoot is None else live_calls_at(shoot, now_ns)
    now = desk.store.now().astimezone(snapshot.zone)
    changed = since_changed(desk.store, snapshot.names)
    cells = {id_: f"cells in for {hours((now - when).total_seconds() / 3600.0)}" for id_, when in changed.items()}
    running = cells_now(desk.store, snapshot, desk.watching.gauges())
    cells |= {pack.id: f"cells {pack.left(now)}" for pack in running}
    names = [(id_, snapshot.names.name_of(id_)) for id_ in desk.watching.states()]
    amiss = {trouble.id: trouble.words for trouble in reversed(desk.troubles()) if trouble.on_carrier}
    planned, later = planned_links(snapshot, now_ns), _later(shoot, calls)
    on = {link.name for call in calls for link in call.links}
    drawn = []
    for id_, name in names:
        off = "" if not calls or name in on else later.get(name, "not in this call")
        tile = Tile(id_, name, cells=cells.get(id_, ""), off=off, trouble=amiss.get(id_, ""))
        drawn.append(_planned(tile, planned[id_]) if id_ in planned else tile)
    return sorted(drawn, key=lambda tile: bool(tile.off))


def _planned(tile: Tile, planned: PlannedLink) -> Tile:
    """A tile with what the plan says of its link."""
    spare = planned.shown(planned.spares_khz[0]) if planned.spares_khz else ""
    says = short_says(planned.in_hand_db)
    return replace(
        tile, carrier=planned.carrier, spare=spare, planned=says, verdict=planned.verdict,
        weakest=planned.worst_place, weakest_dbm=planned.wanted_dbm,
    )  # fmt: skip


def _later(shoot: Shoot | None, now: Sequence[LiveCall]) -> dict[str, str]:
    """When links are on that are not in the calls that are on, by name."""
    starts = [call.starts for call in now if call.starts is not None]
    if shoot is None or not starts:
        return {}
    later: dict[str, str] = {}
    coming = [call for call in live_calls(shoot) if call.starts is not None and call.starts > min(starts)]
    for call in sorted(coming, key=lambda call: call.starts.timestamp() if call.starts else 0.0):
        for link in call.links:
            later.setdefault(link.name, f"on from {call.starts:%H:%M}")
    return later


def call_left(desk: Desk, snapshot: Snapshot) -> str:
    """Which call is on and what is left of it, a sentence; nothing where calls have no times."""
    if snapshot.shoot is None:
        return ""
    now = desk.store.now().astimezone(snapshot.zone)
    calls = live_calls_at(snapshot.shoot, round(now.timestamp() * 1e9))
    call = min(calls, key=lambda call: call.ends or now)
    if call.starts is None or call.ends is None:
        return ""
    many = number_word(len(calls)).capitalize()
    if call.starts <= now < call.ends:
        left = hours((call.ends - now).total_seconds() / 3600.0)
        return (
            f"{call.name if len(calls) == 1 else f'{many} calls, the first'} until {call.ends:%H:%M}, {left} left."
        )
    day = "" if call.starts.date() == now.date() else f" on {call.starts:%d.%m.%Y}"
    begins = f"{call.name} begins" if len(calls) == 1 else f"{many} calls begin"
    return f"{begins} at {call.starts:%H:%M}{day}." if call.starts > now else f"{call.name} is over."

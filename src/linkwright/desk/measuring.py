"""A level that a link's receiver says now, kept in the shoot as measured at a spot."""

from __future__ import annotations

from typing import Any, Final

from linkwright.desk.current import live_call_at
from linkwright.desk.desk import Desk
from linkwright.desk.snapshot import Snapshot
from linkwright.shoot.errors import InputError
from linkwright.store import LoggedChange

#: Over how long a level is taken as measured [s].
MEASURED_S: Final = 10.0


def measure(desk: Desk, snapshot: Snapshot, link: str, spot: str, who: str) -> tuple[str, LoggedChange]:
    """Keep the level of the last seconds as measured at a spot; what is said of it, and the change.

    Raises InputError where no level has come, no plan is made, or the shoot names no site.
    """
    id_, made = snapshot.names.id_of("link", link), snapshot.planned()
    dbm = desk.watching.level_dbm(id_, MEASURED_S)
    if dbm is None:
        raise InputError(
            "no level has come from this link; type the one that its receiver shows on the page Ground"
        )
    then = made.names.name_of(id_)
    call = live_call_at(made.shoot, desk.watching.now_ns(), then)
    planned = [planned_link for there in made.plan.calls if there.call == call.name for planned_link in there.links]
    power_mw = next((planned_link.power_mw for planned_link in planned if planned_link.link == then), None)
    sites = snapshot.document.draft.entries("site")
    site_id = next((key for key, value in sites if value.get("name") == call.site.name), None)
    if site_id is None:
        raise InputError("the shoot names no site yet; add one on the page Shoot")
    name = snapshot.names.name_of(id_)
    value: dict[str, Any] = {"link": name, "spot": spot, "dbm": round(dbm, 1), "seconds": MEASURED_S}
    if power_mw is not None:
        value["power_mw"] = power_mw
    change = desk.store.insert(("site", site_id, "measured_level"), value, who)
    return f"{name} at {spot}: {dbm:.0f} dBm taken as measured; the plan follows.", change

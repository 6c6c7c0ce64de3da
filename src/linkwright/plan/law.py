"""The law of a shoot: whose rules hold on its days, under which permits, and what the crew accepts."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.rules import Territory, check_accepts, check_ids, check_permits, territory, tv_channels
from linkwright.shoot.models import Shoot
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.view import LiveCall
from linkwright.units import IntArray


@dataclass(frozen=True, eq=False, slots=True)
class Law:
    """Whose rules apply, under which permits, on which last day, what the crew accepts, and the licences typed in.

    `tv_edges_khz` (m,) are the edges of all TV channels there, ascending.
    """

    territory: Territory
    permits: frozenset[str]
    on: datetime.date
    accepts: frozenset[str]
    licences: tuple[PermitHeld, ...]
    tv_edges_khz: IntArray


def law_of(shoot: Shoot, calls: Sequence[LiveCall]) -> Law:
    """The law of a shoot, on the last day of its calls: rows that end and ranges that close do so for all of it.

    Raises InputError for a region, a permit, an acceptance or an id that the rules do not know.
    """
    where = territory(shoot.shoot.region)
    permits = tuple(
        shoot_permit for shoot_permit in shoot.permit if shoot_permit.region in (None, shoot.shoot.region)
    )
    for permit in permits:
        check_ids(where, permit.outranks, f'permit "{permit.name}" outranks')
    edges = [edge for channel in tv_channels(where) for edge in (channel.from_khz, channel.to_khz)]
    held = check_permits(where, shoot.shoot.permits)
    on = max([shoot.shoot.date, *(call.ends.date() for call in calls if call.ends is not None)])
    return Law(
        where,
        held,
        on,
        check_accepts(where, shoot.shoot.accepts, held, on),
        permits,
        np.unique(np.array(edges, dtype=np.int64)),
    )

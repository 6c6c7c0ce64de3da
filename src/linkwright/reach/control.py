"""The control link: does remote setting reach the pocket? At 2.4 GHz, with the site's walls, from where one
listens.

A type says how far it can be set from in the open (`control_reach_m`); where it does not, about 9 m (common
practice, no source). That is a loss which may not be exceeded: the path from the receiver's spot to the talent, by
the site's model at the control link's frequency, walls included, is compared with it. The body is in both, so it
counts in neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.pathloss import free_space_db
from linkwright.reach.ends import Ends
from linkwright.reach.path import paths, source_of, xyz
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Spot

#: How far remote setting usually reaches in the open [m] (common practice, no source).
USUAL_REACH_M: Final = 9.0


@dataclass(frozen=True, slots=True)
class Control:
    """Remote setting at one spot: how much loss is left to it [dB], below nothing it does not reach; how known."""

    spot: str
    distance_m: float
    margin_db: float
    evidence: Evidence
    source: str


def control(ends: Ends, route: Sequence[Spot]) -> tuple[Control, ...]:
    """Remote setting from the receiver's spot at each spot of a route; none where the type has no control link."""
    mhz = ends.transmitter.control_mhz
    if mhz is None or not route:
        return ()
    stated = ends.transmitter.control_reach_m
    most_db = float(free_space_db(mhz, USUAL_REACH_M if stated is None else stated))
    # So near, what the ground reflects adds as often as it takes away: both losses leave it out.
    site = ends.site.model_copy(update={"flat_ground": False})
    between = paths(site, np.full(len(route), mhz), xyz(tuple(route)), xyz((ends.at,)))
    known: Evidence = "assumed" if stated is None else "modelled"
    return tuple(
        Control(
            spot.name,
            float(between.distance_m[n, 0]),
            most_db - float(between.loss_db[n, 0]),
            known,
            source_of(site, int(between.choice[n, 0]), mhz, float(between.distance_m[n, 0])),
        )
        for n, spot in enumerate(route)
    )

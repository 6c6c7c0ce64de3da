"""What the body of whoever carries an end costs, by its turn and where the kit is worn; people about it;
vehicles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.shoot.end import Crowd, Facing, Vehicle, Worn
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.learnt import Learnt
from linkwright.units import FloatArray

#: Loss on the body [dB]: assumed, no public number could be read; a transmitter's own figures outrank them, and
#: what a walk test found outranks those.
BODY_FACING_DB: Final = 5.0
BODY_AWAY_DB: Final = 15.0
#: Loss in people about the talent [dB]: assumed, no public number could be read.
CROWD_DB: Final[dict[Crowd, float]] = {"none": 0.0, "thin": 3.0, "dense": 8.0}
#: Median loss into a car with plain and with metal-coated windows [dB], and how it scatters from car to car,
#: standard deviation [dB]: 3GPP TR 38.901 clause 7.4.3.2, stated from 0.6 to 60 GHz; not read there but where it is
#: quoted.
INTO_VEHICLE_DB: Final[dict[Vehicle, float]] = {"car": 9.0, "coated-car": 20.0}
VEHICLE_SPREAD_DB: Final = 5.0
VEHICLE_SOURCE: Final = "3GPP TR 38.901 clause 7.4.3.2, read second hand"
#: Worn so that the body comes between the antennas when the talent turns.
BEHIND_THE_BODY: Final = frozenset({"belt-front", "belt-back", "pocket"})
#: Worn on the back: in the way of whoever the talent looks at.
ON_THE_BACK: Final = frozenset({"belt-back"})
#: How much of the transmitter's side is shown, from -1 (the body is in the way) to 1, by which way the talent
#: looks.
SHOWN: Final[dict[Facing, float]] = {"towards": 1.0, "side": 0.0, "away": -1.0}


@dataclass(frozen=True, slots=True)
class Body:
    """Losses of a talent's body [dB]: the transmitter's side shown, and the body in the way; how each is known."""

    facing_db: float
    away_db: float
    facing_known: Evidence
    away_known: Evidence

    def loss_db(self, shown: FloatArray) -> FloatArray:
        """Loss [dB] with so much of the transmitter's side shown, -1 to 1; even steps between them are assumed."""
        return np.asarray(self.facing_db + (self.away_db - self.facing_db) * (1.0 - shown) / 2.0)


#: No body about the kit.
NOBODY: Final = Body(0.0, 0.0, "stated", "stated")


def body_of(kit: Transmitter | Receiver, learnt: Learnt | None = None) -> Body:
    """The losses on the body of whoever wears a transmitter or a receiver."""
    facing = facing_db(kit)
    facing_known: Evidence = "assumed" if kit.body_facing_db is None else "stated"
    if learnt is not None and learnt.body_db is not None:
        return Body(facing, facing + learnt.body_db, facing_known, "measured")
    away = kit.body_away_db
    if away is None:
        return Body(facing, BODY_AWAY_DB, facing_known, "assumed")
    return Body(facing, away, facing_known, "stated")


def facing_db(kit: Transmitter | Receiver) -> float:
    """Loss on the body when its side with the kit is shown [dB]: what an interferer has at its strongest."""
    facing = kit.body_facing_db
    return BODY_FACING_DB if facing is None else facing


def body_db(transmitter: Transmitter, worn: Worn) -> tuple[float, str]:
    """Loss on the talent's body at the worst turn [dB], and in words."""
    shown, says = worst_turn(worn)
    return float(body_of(transmitter).loss_db(np.asarray(shown))), says


def worst_turn(worn: Worn) -> tuple[float, str]:
    """How much of the transmitter's side is shown at the worst turn, and in words."""
    if worn in BEHIND_THE_BODY:
        return -1.0, "body in the way"
    if worn == "mounted":
        return 1.0, "mounted, no body about it"
    return 1.0, "in the hand or in the open, facing"


def shown_by(worn: Worn, facing: Facing | None, ahead: FloatArray | None) -> tuple[FloatArray, str]:
    """How much of the transmitter's side the receiver sees, and in words.

    ahead : for "walking" the cosine between the way that the talent walks and the way to the receiver; the answer
    has its shape, otherwise it is one number.
    """
    side = -1.0 if worn in ON_THE_BACK else 1.0
    if facing is None:
        shown, says = worst_turn(worn)
        return np.asarray(shown), says
    if facing == "walking":
        if ahead is None:
            shown, says = worst_turn(worn)
            return np.asarray(shown), f"{says}; it does not walk"
        return np.asarray(side * ahead), f"worn {worn}, looking where it walks"
    return np.asarray(side * SHOWN[facing]), f"worn {worn}, looking {_WAYS[facing]}"


_WAYS: Final[dict[Facing, str]] = {"towards": "towards the receiver", "away": "away", "side": "to the side"}

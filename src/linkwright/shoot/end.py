"""The two ends of a link: what stands or walks there, and how it is carried.

A shoot may say them by the older fields of a link (`transmitter`, `receiver`, `at`, `route`, `worn`) or by
`transmit` and `receive`; either way the rest of the house sees one `End` that sends and one for each listener.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from linkwright.shoot.fields import Frozen, Name
from linkwright.shoot.place import Does, LossDb

Worn = Literal["belt-front", "belt-back", "pocket", "hand", "open", "mounted"]
Facing = Literal["towards", "away", "side", "walking"]
Crowd = Literal["none", "thin", "dense"]
Serves = Literal["talent", "boom", "in-ear", "ifb", "camera-hop", "intercom", "playback"]
Vehicle = Literal["car", "coated-car"]
SpeedMS = Annotated[float, Field(gt=0, le=50)]

#: What goes to people who listen: the transmitter stands, those who listen walk.
TO_LISTENERS: Final[frozenset[Serves]] = frozenset({"in-ear", "ifb", "playback"})
#: What ends in the recording, and is lined up with the rest of it.
RECORDED: Final[frozenset[Serves]] = frozenset({"talent", "boom", "camera-hop"})
#: Where somebody speaks into the link's own microphone.
SPOKEN: Final[frozenset[Serves]] = frozenset({"talent", "boom", "intercom"})


class EndTable(Frozen):
    """One end of a link in the file: its kit, and where and how that is."""

    kit: Name = Field(description="type of transmitter or receiver, of this file or of the catalogue")
    at: Name | None = Field(default=None, description="the spot at which it stands")
    route: tuple[Name, ...] = Field(default=(), max_length=200, description="spots through which it is carried")
    worn: Worn | None = Field(default=None, description="how it is carried; default: by the kit and what it serves")
    in_vehicle: Vehicle | None = Field(
        default=None, description="inside a vehicle, with plain or with metal-coated windows"
    )
    vehicle_db: LossDb | None = Field(
        default=None, description="loss into the vehicle, where it is known better [dB]; default: 9, coated 20"
    )
    facing: Facing | None = Field(
        default=None, description="which way whoever carries it looks; default: the link's"
    )
    crowd: Crowd | None = Field(default=None, description="people about whoever carries it; default: the link's")
    does: Does | None = Field(default=None, description="what whoever carries it does; default: the link's")
    speed_m_s: SpeedMS | None = Field(default=None, description="how fast it goes [m/s]; default: the link's")

    @model_validator(mode="after")
    def _stands_or_walks(self) -> Self:
        if self.at is not None and self.route:
            raise ValueError("give either at, where it stands, or route, where it is carried")
        if self.vehicle_db is not None and self.in_vehicle is None:
            raise ValueError("vehicle_db is the loss into a vehicle; say in_vehicle as well")
        return self


class Listener(EndTable):
    """Somebody or something that listens to a link."""

    name: Name | None = Field(default=None, description="who or what listens; default: by number")


@dataclass(frozen=True, slots=True)
class End:
    """One end of a link, however the shoot says it; `worn` None: by kit and what it serves. `goes` : through the
    spots of the site where none is said. `named` : who listens, nothing where a sole listener has no name."""

    kit: str
    goes: bool
    at: str | None = None
    route: tuple[str, ...] = ()
    worn: Worn | None = None
    facing: Facing | None = None
    crowd: Crowd = "none"
    does: Does | None = None
    speed_m_s: float | None = None
    vehicle: Vehicle | None = None
    vehicle_db: float | None = None
    named: str = ""

    @classmethod
    def of(cls, table: EndTable, of_link: End, named: str = "") -> End:
        """The end that a table says; what it does not say of its carrier is as `of_link` has it."""
        return cls(
            table.kit, of_link.goes, table.at, table.route, table.worn,
            of_link.facing if table.facing is None else table.facing,
            of_link.crowd if table.crowd is None else table.crowd,
            of_link.does if table.does is None else table.does,
            of_link.speed_m_s if table.speed_m_s is None else table.speed_m_s,
            table.in_vehicle, table.vehicle_db, named,
        )  # fmt: skip

    @property
    def stands(self) -> bool:
        """Whether it stays at one spot, which it may or may not name."""
        return self.at is not None or not (self.route or self.goes)


def whose(link: str, listener: str) -> str:
    """Whose cells are meant: a link's transmitter by the link, a receiver by who listens to it."""
    return f"{listener} of {link}" if listener else link

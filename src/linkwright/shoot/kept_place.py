"""What was learnt of a place and is kept for the next time: reach, air, batteries; one readable file a place."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from linkwright.shoot.fields import Day, Frozen, Mhz, Name
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.place import Floor, MaterialLoss, Spot, Surroundings, Wall
from linkwright.shoot.times import Run

FileName = Annotated[str, Field(min_length=1, max_length=200)]


class KeptCarrier(Frozen):
    """A carrier of somebody else that was found there."""

    centre_mhz: Mhz = Field(description="its middle [MHz]")
    bandwidth_khz: Annotated[float, Field(gt=0, le=100_000)] = Field(description="how wide it is [kHz]")
    duty: Annotated[float, Field(ge=0, le=1)] = Field(default=1.0, description="share of the sweeps it was seen in")


class KeptPlace(Frozen):
    """One place as it was left."""

    format: Literal["linkwright-place/1"] = Field(default="linkwright-place/1", description="format and version")
    name: Name = Field(description="what the site was called")
    shoot: Annotated[str, Field(max_length=200)] = Field(default="", description="title of the shoot")
    date: Day = Field(description="the day")
    latitude: Annotated[float, Field(ge=-90, le=90)] = Field(description="degrees north, WGS 84")
    longitude: Annotated[float, Field(ge=-180, le=180)] = Field(description="degrees east, WGS 84")
    surroundings: Surroundings = Field(default="open", description="which propagation model applied")
    tv: tuple[Name, ...] = Field(default=(), max_length=200, description="TV channels on the air there")
    carriers: tuple[KeptCarrier, ...] = Field(default=(), max_length=500, description="carriers found there")
    sweeps: tuple[FileName, ...] = Field(default=(), max_length=50, description="sweep files, kept beside this one")
    spots: tuple[Spot, ...] = Field(default=(), max_length=500, description="its spots")
    walls: tuple[Wall, ...] = Field(default=(), max_length=500, description="its walls")
    floors: tuple[Floor, ...] = Field(default=(), max_length=50, description="its floors")
    materials: tuple[MaterialLoss, ...] = Field(default=(), max_length=50, description="what its materials cost")
    notes: tuple[Annotated[str, Field(max_length=500)], ...] = Field(
        default=(), max_length=50, description="in sentences, for whoever comes next"
    )
    learnt: Learnt | None = Field(default=None, description="corrections of its reach")
    causes: dict[Annotated[str, Field(max_length=40)], Annotated[int, Field(ge=0, le=100_000)]] = Field(
        default={}, max_length=50, description="how often each cause of a fault was confirmed there"
    )
    run: tuple[Run, ...] = Field(default=(), max_length=200, description="how long sets of cells lasted")

"""Places: sites with their spots and walls, and the transmitters of others that stand there."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from linkwright.shoot.antennas import Antenna
from linkwright.shoot.fields import Day, Frozen, HeightM, Khz, Metre, Mhz, Milliwatt, Name, RadiatedMw
from linkwright.shoot.learnt import Learnt
from linkwright.units import khz_from_mhz

#: What a talent does at a spot; it decides how fast the fading is.
Does = Literal["standing", "walking", "running"]
Surroundings = Literal["open", "street", "residential", "office", "hall"]
Material = Literal[
    "plasterboard",
    "wood",
    "glass",
    "coated-glass",
    "brick",
    "concrete",
    "metal",
    "outer-wall",
    "insulated-outer-wall",
]
#: A TV channel by its number, which may be written as one.
Channel = Annotated[Name, BeforeValidator(lambda given: str(given) if type(given) is int else given)]
LossDb = Annotated[float, Field(ge=0, le=100)]


class Point(Frozen):
    """A point on a site: x east, y north, z above ground [m]."""

    x_m: Metre = Field(description="east of the site's origin [m]")
    y_m: Metre = Field(description="north of the site's origin [m]")
    z_m: HeightM = Field(default=1.5, description="above ground [m]")


class Spot(Point):
    """A named point on a site."""

    name: Name = Field(description="name of the spot")
    does: Does | None = Field(default=None, description="what the talent does here; default: as the link says")


class Wall(Frozen):
    """A straight wall on the ground plan, from the ground up."""

    from_m: tuple[Metre, Metre] = Field(alias="from", description="one end: x, y [m]")
    to_m: tuple[Metre, Metre] = Field(alias="to", description="the other end: x, y [m]")
    material: Material = Field(description="what it is made of")
    loss_db: LossDb | None = Field(
        default=None, description="loss through it [dB], where it is known better than by its material"
    )
    height_m: HeightM | None = Field(
        default=None, description="its top above ground [m], over which waves bend; default: nothing gets over it"
    )


class Floor(Frozen):
    """A floor or ceiling through the whole site."""

    z_m: HeightM = Field(description="above ground [m]")
    material: Material = Field(default="concrete", description="what it is made of")
    loss_db: LossDb | None = Field(
        default=None, description="loss through it [dB], where it is known better than by its material"
    )


class MaterialLoss(Frozen):
    """What a material costs on this site, instead of the built-in table."""

    material: Material = Field(description="the material")
    loss_db: LossDb = Field(description="loss through one wall of it [dB]")
    source: Annotated[str, Field(min_length=1, max_length=200)] = Field(
        default="as stated", description="how it is known"
    )


class MeasuredLevel(Frozen):
    """A level of a link that was read on the site: it outranks the model there and informs it elsewhere."""

    link: Name = Field(description="the link, or the type of transmitter, that was read")
    spot: Name = Field(description="where the talent was")
    dbm: Annotated[float, Field(ge=-150, le=20)] = Field(
        description="the level at the receiver's input, of the stronger branch [dBm]"
    )
    at: datetime.datetime | None = Field(default=None, description="when")
    power_mw: Milliwatt | None = Field(
        default=None, description="conducted power at that time [mW]; default: the highest step"
    )
    facing: Literal["towards", "away", "side"] | None = Field(
        default=None, description="which way the talent looked; default: not known"
    )
    seconds: Annotated[float, Field(ge=0, le=86_400)] = Field(
        default=0.0, description="how long it was watched, moving a little, and averaged [s]; 0: one look"
    )


class Site(Frozen):
    """A place where links are live."""

    name: Name = Field(description="name of the site")
    latitude: Annotated[float, Field(ge=-90, le=90)] | None = Field(
        default=None, description="degrees north, WGS 84"
    )
    longitude: Annotated[float, Field(ge=-180, le=180)] | None = Field(
        default=None, description="degrees east, WGS 84"
    )
    surroundings: Surroundings = Field(
        default="open", description="which propagation model applies: out of doors or indoors"
    )
    temperature_c: Annotated[float, Field(ge=-60, le=60)] | None = Field(
        default=None, description="temperature at the cells [degrees Celsius]; default: 20"
    )
    spots: tuple[Spot, ...] = Field(default=(), max_length=1000, description="named points")
    walls: tuple[Wall, ...] = Field(default=(), max_length=1000, description="walls that links cross")
    walls_complete: bool | None = Field(
        default=None,
        description="nothing stands in the way but the walls drawn; default: so in the open only",
    )
    floors: tuple[Floor, ...] = Field(default=(), max_length=100, description="floors that links cross")
    materials: tuple[MaterialLoss, ...] = Field(
        default=(), max_length=50, description="what materials cost here, instead of the built-in table"
    )
    flat_ground: bool = Field(
        default=True, description="in the open: count what flat ground reflects (two rays); false: free space"
    )
    rice_db: Annotated[float, Field(ge=-12, le=15)] | None = Field(
        default=None,
        description="Rice factor in sight, straight wave over scattered ones [dB]; default: 6 in the open, else 3",
    )
    antennas: tuple[Antenna, ...] = Field(
        default=(), max_length=200, description="receiving antennas; default: the receiver's own, at the spot"
    )
    measured: Annotated[str, Field(min_length=1, max_length=1000)] | None = Field(
        default=None, description="what a walk test taught, a file that `walk` wrote, relative to the shoot file"
    )
    measured_level: tuple[MeasuredLevel, ...] = Field(
        default=(), max_length=2_000, description="levels of links that were read on the site"
    )
    learnt: Learnt | None = Field(default=None, description="the same, read from that file or given here")
    tv: tuple[Channel, ...] = Field(
        default=(), max_length=200, description="TV channels known to be on the air here, by number"
    )
    sweeps: tuple[Annotated[str, Field(min_length=1, max_length=1000)], ...] = Field(
        default=(), max_length=50, description="sweep files, relative to the shoot file"
    )
    sweep_antenna_dbi: Annotated[float, Field(ge=-30, le=40)] = Field(
        default=0.0, description="gain of the antenna that the sweeps were made with, feeder included [dBi]"
    )
    stations: Annotated[str, Field(min_length=1, max_length=1000)] | None = Field(
        default=None, description="a list of TV stations to predict TV from, relative to the shoot file"
    )

    @model_validator(mode="after")
    def _position_is_whole(self) -> Self:
        if (self.latitude is None) != (self.longitude is None):
            raise ValueError("latitude and longitude stand together or not at all")
        return self


class Other(Frozen):
    """A transmitter that is not ours: narrow (`carrier_mhz`) or wide (`from_mhz` to `to_mhz`)."""

    name: Name = Field(description="whose it is; default: somebody on that carrier")
    carrier_mhz: Mhz | None = Field(default=None, description="carrier of a narrow signal [MHz]")
    from_mhz: Mhz | None = Field(default=None, description="lower edge of a wide signal [MHz]")
    to_mhz: Mhz | None = Field(default=None, description="upper edge of a wide signal [MHz]")
    radiated_mw: RadiatedMw = Field(default=50.0, description="radiated power, EIRP [mW]; where nobody said, 50")
    bandwidth_khz: Khz = Field(default=200, description="occupied bandwidth of a narrow signal [kHz]")
    site: Name | None = Field(default=None, description="the site that it is on; default: the first")
    at: Point | None = Field(
        default=None, description="where it stands; default: 10 m from the receivers, which is told"
    )
    heard_dbm: Annotated[float, Field(ge=-150, le=20)] | None = Field(
        default=None,
        description="its level at the receivers, where it was read there [dBm]: outranks power and place",
    )
    duty: Annotated[float, Field(gt=0, le=1)] | None = Field(
        default=None,
        description="share of the time that it is on the air, where that was measured (0..1); default: always on",
    )
    date: Day | None = Field(default=None, description="the day on which it is on; default: every day")
    on_from: datetime.time | None = Field(default=None, alias="from", description="on from this time")
    on_to: datetime.time | None = Field(default=None, alias="to", description="off from this time")

    @model_validator(mode="before")
    @classmethod
    def _has_a_name(cls, given: Any) -> Any:
        if not isinstance(given, dict) or "name" in given:
            return given
        mhz = [given[key] for key in ("carrier_mhz", "from_mhz", "to_mhz") if key in given]
        told = "-".join(f"{value:g}" for value in mhz if isinstance(value, int | float))
        return {**given, "name": f"Somebody on {told} MHz"} if told else given

    @model_validator(mode="after")
    def _narrow_or_wide(self) -> Self:
        wide = self.from_mhz is not None and self.to_mhz is not None
        if (self.carrier_mhz is not None) == wide or (self.from_mhz is None) != (self.to_mhz is None):
            raise ValueError("give either carrier_mhz, or from_mhz and to_mhz")
        if self.from_mhz is not None and self.to_mhz is not None and self.to_mhz <= self.from_mhz:
            raise ValueError(f"from_mhz {self.from_mhz} is not below to_mhz {self.to_mhz}")
        if (self.on_from is None) != (self.on_to is None):
            raise ValueError("from and to stand together or not at all")
        return self

    @property
    def stands(self) -> Point:
        """Where it stands, which those of `shoot.view` all know."""
        assert self.at is not None, "an other of a site has a place"
        return self.at

    @property
    def band_khz(self) -> tuple[float, float]:
        """Lower and upper edge of what it occupies [kHz]."""
        if self.carrier_mhz is not None:
            carrier_khz = khz_from_mhz(self.carrier_mhz)
            return carrier_khz - self.bandwidth_khz / 2, carrier_khz + self.bandwidth_khz / 2
        assert self.from_mhz is not None
        assert self.to_mhz is not None
        return float(khz_from_mhz(self.from_mhz)), float(khz_from_mhz(self.to_mhz))

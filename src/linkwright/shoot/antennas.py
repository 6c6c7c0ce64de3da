"""Receiving antennas as they stand on a site: where, which way, and what lies between them and the receiver."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from linkwright.physics.feeders import Line
from linkwright.shoot.fields import Frozen, Gain, HeightM, Metre, Name

Pattern = Literal["whip", "dipole", "wide", "narrow"]
Polarisation = Literal["vertical", "horizontal", "slant", "circular"]

#: Patterns that point somewhere.
DIRECTED = ("wide", "narrow")


class Preamplifier(Frozen):
    """An amplifier between an antenna and the receiver."""

    gain_db: Annotated[float, Field(ge=-30, le=60)] = Field(description="gain [dB]")
    noise_figure_db: Annotated[float, Field(ge=0, le=40)] = Field(default=3.0, description="noise figure [dB]")
    oip3_dbm: Annotated[float, Field(ge=-80, le=80)] = Field(
        default=20.0, description="third-order output intercept [dBm]"
    )
    at: Literal["antenna", "receiver"] = Field(
        default="antenna", description="before the feeder, or after it and before the splitter"
    )


class Antenna(Frozen):
    """A receiving antenna on a site, for the links that are received at a spot."""

    name: Name = Field(description="name of the antenna")
    at: Name = Field(description="links that are received at this spot use it")
    branch: Literal["A", "B"] = Field(description="the diversity branch that it feeds")
    x_m: Metre | None = Field(default=None, description="east of the site's origin [m]; default: the spot's")
    y_m: Metre | None = Field(default=None, description="north of the site's origin [m]; default: the spot's")
    z_m: HeightM | None = Field(default=None, description="above ground [m]; default: the spot's")
    pattern: Pattern = Field(
        default="dipole", description="how it hears: a whip, a half-wave dipole, wide or narrow beam"
    )
    gain_dbi: Gain | None = Field(
        default=None, description="gain in its best direction [dBi]; default: its class's"
    )
    towards_deg: Annotated[float, Field(ge=-360, le=360)] | None = Field(
        default=None, description="where a beam points: degrees from north by east"
    )
    polarisation: Polarisation = Field(default="vertical", description="its polarisation; a talent's is vertical")
    feeder: Line | None = Field(default=None, description="type of antenna line; none: right at the receiver")
    feeder_m: Annotated[float, Field(ge=0, le=1_000)] = Field(default=0.0, description="length of the line [m]")
    feeder_db: Annotated[float, Field(ge=0, le=100)] | None = Field(
        default=None, description="loss of the line with its plugs [dB], where it is known better than by its type"
    )
    splitter_ways: Annotated[int, Field(ge=1, le=64)] = Field(
        default=1, description="outputs of the splitter before the receiver; 1: none"
    )
    splitter_db: Annotated[float, Field(ge=0, le=60)] | None = Field(
        default=None, description="loss of the splitter to each output [dB], where it is known"
    )
    preamplifier: Preamplifier | None = Field(default=None, description="an amplifier on the way")

    @model_validator(mode="after")
    def _a_beam_points_somewhere(self) -> Self:
        if self.pattern in DIRECTED and self.towards_deg is None:
            raise ValueError(f'a "{self.pattern}" antenna points somewhere; say towards_deg (0 north, 90 east)')
        if self.feeder is None and self.feeder_m > 0.0 and self.feeder_db is None:
            raise ValueError("a line has a type; say feeder, or feeder_db where its loss is known")
        return self

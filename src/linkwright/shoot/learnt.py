"""What a walk test taught about a site: how far its path loss lies from the model's, and how sure that is."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from linkwright.shoot.fields import Day, Frozen, HeightM, Metre, Mhz, Name

_Db = Annotated[float, Field(ge=-100, le=100)]


class WalkedLevel(Frozen):
    """A level of a walk, averaged over a stretch of it."""

    x_m: Metre = Field(description="east of the site's origin [m]")
    y_m: Metre = Field(description="north of the site's origin [m]")
    z_m: HeightM = Field(description="above ground [m]")
    gain_db: Annotated[float, Field(ge=-250, le=100)] = Field(
        description="level of the better branch over the conducted power [dB]"
    )
    looks: Annotated[float, Field(ge=1, le=1e6)] = Field(description="independent looks that it is made of")
    shown: Annotated[float, Field(ge=-1, le=1)] | None = Field(
        default=None, description="how much of the transmitter's side was shown, -1 to 1; none: not known"
    )


class Learnt(Frozen):
    """Corrections of a site's reach from a walk test, with 90 % intervals; the file that `walk` writes."""

    format: Literal["linkwright-walk/1"] = Field(default="linkwright-walk/1", description="format and version")
    site: Name | None = Field(default=None, description="the site on which it was walked")
    link: Name | None = Field(default=None, description="the link that was walked")
    date: Day | None = Field(default=None, description="the day of the walk")
    readings: Annotated[int, Field(ge=1, le=10_000_000)] = Field(description="how many levels were read")
    carrier_mhz: Mhz | None = Field(default=None, description="the carrier that was walked [MHz]")
    nearest_m: Annotated[float, Field(gt=0, le=1e5)] = Field(description="least distance that was walked [m]")
    farthest_m: Annotated[float, Field(gt=0, le=1e5)] = Field(description="largest distance that was walked [m]")
    reference_m: Annotated[float, Field(gt=0, le=1e5)] = Field(description="distance at which the offset holds [m]")
    offset_db: _Db = Field(description="level over the model's at the reference distance [dB]")
    offset_low_db: _Db = Field(description="lower end of its 90 % interval [dB]")
    offset_high_db: _Db = Field(description="upper end of its 90 % interval [dB]")
    slope_db: _Db = Field(description="further level over the model's for each tenfold distance [dB]")
    slope_low_db: _Db = Field(description="lower end of its 90 % interval [dB]")
    slope_high_db: _Db = Field(description="upper end of its 90 % interval [dB]")
    body_db: Annotated[float, Field(ge=0, le=60)] | None = Field(
        default=None, description="loss with the body in the way over that without [dB]; none: not walked both ways"
    )
    body_low_db: Annotated[float, Field(ge=-20, le=60)] | None = Field(
        default=None, description="lower end of its 90 % interval [dB]"
    )
    body_high_db: Annotated[float, Field(ge=0, le=80)] | None = Field(
        default=None, description="upper end of its 90 % interval [dB]"
    )
    correlation: Annotated[float, Field(ge=-1, le=1)] = Field(
        default=0.0, description="correlation of offset and slope as they are known"
    )
    sigma_db: Annotated[float, Field(gt=0, le=40)] = Field(
        description="how far the local mean scatters about the corrected model, standard deviation [dB]"
    )

    levels: tuple[WalkedLevel, ...] = Field(
        default=(), max_length=1_000, description="the levels of the walk themselves, which plans take"
    )

    @model_validator(mode="after")
    def _intervals_run_upwards(self) -> Self:
        for what in ("offset", "slope", "body"):
            low, high = getattr(self, f"{what}_low_db"), getattr(self, f"{what}_high_db")
            if low is not None and high is not None and high < low:
                raise ValueError(f"the interval of {what}_db runs from {low} down to {high}")
        if self.farthest_m < self.nearest_m:
            raise ValueError("farthest_m is below nearest_m")
        return self

"""What takes how long on the day, and how long cells really lasted."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from linkwright.shoot.fields import Frozen, Milliwatt, Name

Minutes = Annotated[float, Field(ge=0.0, le=1440.0)]


class SetUp(Frozen):
    """How long each part of setting up takes [min]; the defaults are assumed (common practice, no source)."""

    sweep_min: Minutes | None = Field(
        default=None, description="sweep of a site [min]; default: one pass of the receivers over their slots"
    )
    pair_min: Minutes = Field(default=1.0, description="pairing a transmitter, once on the day [min]")
    settings_min: Minutes = Field(default=1.0, description="settings, fresh cells and listening, each link [min]")
    walk_min: Minutes | None = Field(
        default=None, description="walk test of one link [min]; default: its route, there and back"
    )
    change_min: Minutes = Field(
        default=2.0, description="changing cells [min]; shorter breaks do not count as a chance for it"
    )


class Run(Frozen):
    """How long a set of cells lasted: logged run times make the predicted ones those of the kit in the bag."""

    transmitter: Name = Field(description="type of transmitter, of this file or of the catalogue")
    ran_h: Annotated[float, Field(gt=0, le=1000)] = Field(description="from fresh cells to the end [h]")
    power_mw: Milliwatt = Field(description="conducted power step [mW]")
    temperature_c: Annotated[float, Field(ge=-60, le=60)] = Field(
        default=20.0, description="temperature at the cells [degrees Celsius]"
    )
    microphone: Name | None = Field(default=None, description="type of microphone that it fed, if any")
    link: Name | None = Field(default=None, description="whose it was, for the record")

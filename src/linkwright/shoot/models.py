"""The shoot: everything known about one job, as the file `shoot.toml` says it (docs/reference.md)."""

from __future__ import annotations

import datetime
import functools
import zoneinfo
from typing import Annotated, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from linkwright.shoot.end import TO_LISTENERS, Crowd, End, EndTable, Facing, Listener, Serves, SpeedMS, Worn
from linkwright.shoot.equipment import Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.errors import did_you_mean
from linkwright.shoot.fields import Day, Frozen, KhzOrNone, Mhz, Millisecond, Milliwatt, Moment, Name
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.place import Does, Other, Site
from linkwright.shoot.times import Minutes, Run, SetUp
from linkwright.shoot.zones import named

Voice = Literal["casual", "normal", "raised", "loud", "shouted"]
Power = Literal["least", "most"]
BreaksPerHour = Annotated[float, Field(gt=0, le=600)]
SureWanted = Annotated[float, Field(ge=0.5, le=0.99)]
ReserveDb = Annotated[float, Field(ge=0, le=60)]
Phone = Annotated[str, Field(max_length=40)]
Email = Annotated[str, Field(max_length=120)]


@functools.cache
def _time_zones() -> frozenset[str]:
    """The names that the IANA data has; looked up once, as they are files in folders."""
    return frozenset(zoneinfo.available_timezones())


class Guard(Frozen):
    """How near a third-order product may come to a carrier where the plan is kept clean [kHz]."""

    im3_two: KhzOrNone = Field(default=100, description="guard of products 2A-B [kHz]")
    im3_three: KhzOrNone = Field(default=50, description="guard of products A+B-C [kHz]")


class Header(Frozen):
    """The section [shoot]: what, where by law, and when."""

    title: Annotated[str, Field(min_length=1, max_length=200)] = Field(description="what the job is called")
    region: str = Field(description="whose rules apply, ISO 3166-1 alpha-2")
    permits: tuple[str, ...] = Field(
        default=(), max_length=50, description="ids of the permits held; none: exempt use only"
    )
    date: Day = Field(description="the day")
    timezone: str | None = Field(
        default=None, description="IANA time zone of all times; default: that of the region, by the site's position"
    )
    guard_khz: Guard = Field(default=Guard(), description="guards of a clean plan [kHz]")
    breaks_per_hour: BreaksPerHour = Field(
        default=2.0, description="seconds an hour with a break that a link which holds keeps to"
    )
    sure_wanted: SureWanted = Field(default=0.9, description="how sure it must be that it keeps to them")
    target: Annotated[float, Field(gt=0.99, lt=1.0)] | None = Field(
        default=None, description="share of time unbroken that a link which holds keeps to as well"
    )
    power: Power = Field(
        default="least",
        description="least: the lowest powers that hold with a reserve; most: as robust as is lawful",
    )
    reserve_db: ReserveDb = Field(default=3.0, description="what a link is to have in hand beyond holding [dB]")
    stay_db: ReserveDb = Field(
        default=6.0, description="what a link may lose in hand to keep one carrier over all calls [dB]"
    )
    accepts: tuple[str, ...] = Field(
        default=(),
        max_length=200,
        description="ids of assumed rows of the rules, or of warnings, that the person has checked",
    )
    set_up: SetUp = Field(default=SetUp(), description="how long each part of setting up takes")
    cell_reserve: Annotated[float, Field(ge=0, le=0.9)] | None = Field(
        default=None,
        description="share of the predicted run time not relied upon; default: what one set of ten may lack",
    )

    @field_validator("region")
    @classmethod
    def _region_is_a_code(cls, region: str) -> str:
        if len(region) != 2 or not region.isascii() or not region.isalpha() or not region.isupper():
            raise ValueError('expected two capital letters (ISO 3166-1), such as "GB"')
        return region

    @field_validator("timezone")
    @classmethod
    def _zone_is_known(cls, timezone: str | None, info: ValidationInfo) -> str | None:
        region = str(info.data.get("region", ""))
        own, short = named(region), timezone is not None and timezone.isupper() and timezone not in ("UTC", "GMT")
        if timezone is not None and (timezone not in _time_zones() or (own and short)):
            near = did_you_mean(timezone, _time_zones())
            if own and (short or not near):  # an abbreviation means another zone in every region
                raise ValueError(f"expected an IANA time zone; {region} has {own}")
            raise ValueError(f'expected an IANA time zone such as "Europe/London"{near}')
        return timezone


class Link(Frozen):
    """One way of sound by radio: what feeds it, its two ends, and where they are.

    The sending end is `transmitter` with `route` and `worn`, or `transmit`; the other one `receiver` with `at`, or
    `receive` with one entry for each listener.
    """

    name: Name = Field(description="name of the link")
    crew: Name | None = Field(default=None, description="the crew whose link it is; default: the event's own")
    transmitter: Name | None = Field(
        default=None, description="type of transmitter, of this file or of the catalogue; or transmit"
    )
    receiver: Name | None = Field(
        default=None, description="type of receiver, of this file or of the catalogue; or receive"
    )
    serves: Serves = Field(default="talent", description="what the link is for")
    transmit: EndTable | None = Field(default=None, description="the sending end, in place of transmitter")
    receive: tuple[Listener, ...] = Field(
        default=(),
        max_length=100,
        description="who listens, in place of receiver: each is judged, the worst decides",
    )
    block: Name | None = Field(
        default=None,
        description="links of a block share one carrier of a wideband system; default: filled in the file's order",
    )
    microphone: Name | None = Field(default=None, description="type of microphone")
    recorder: Name | None = Field(default=None, description="type of camera or recorder input that it feeds")
    at: Name | None = Field(default=None, description="spot of the receiver's antennas; default: the first spot")
    route: tuple[Name, ...] = Field(
        default=(), max_length=200, description="spots that the talent walks through; default: all others"
    )
    worn: Worn | None = Field(
        default=None, description="where it is worn; default: belt-back, or hand where it is not body-worn"
    )
    facing: Facing | None = Field(
        default=None,
        description="which way the talent looks, from the receiver or as it walks; default: the worst turn",
    )
    crowd: Crowd = Field(default="none", description="people about the talent")
    within_m: Annotated[float, Field(gt=0, le=10_000)] | None = Field(
        default=None,
        description="how far the talent goes from the receiver where no spot is given [m]; default: 30 assumed",
    )
    does: Does | None = Field(
        default=None, description="what the talent does where the spot does not say it; default: walking"
    )
    speed_m_s: SpeedMS | None = Field(
        default=None, description="how fast the talent goes [m/s]; default: by what it does: 0.1, 1.4 or 4"
    )
    breaks_per_hour: BreaksPerHour | None = Field(
        default=None, description="as for the shoot; default: the shoot's"
    )
    sure_wanted: SureWanted | None = Field(default=None, description="as for the shoot; default: the shoot's")
    power: Power | None = Field(default=None, description="as for the shoot; default: the shoot's")
    reserve_db: ReserveDb | None = Field(default=None, description="as for the shoot [dB]; default: the shoot's")
    stay_db: ReserveDb | None = Field(default=None, description="as for the shoot [dB]; default: the shoot's")
    voice: Voice = Field(default="normal", description="how loud the talent speaks")
    mouth_m: Annotated[float, Field(gt=0, le=20)] | None = Field(
        default=None, description="lips to microphone [m]; default: 0.2 body-worn, 0.05 handheld, 0.5 plug-on"
    )
    voice_f0_hz: Annotated[float, Field(ge=40, le=600)] | None = Field(
        default=None, description="low fundamental of this voice, as a test recording tells it [Hz]"
    )
    attenuation_db: Annotated[float, Field(ge=0, le=80)] | None = Field(
        default=None, description="input attenuation that was set [dB]; default: the plan chooses"
    )
    low_cut_hz: Annotated[float, Field(ge=0, le=1000)] | None = Field(
        default=None, description="low cut that was set [Hz]; default: the plan chooses"
    )
    set_delay_ms: Millisecond | None = Field(
        default=None, description="delay that was set on its path [ms]; default: the plan chooses"
    )
    spares: Annotated[int, Field(ge=0, le=20)] = Field(default=1, description="spare carriers to reserve")
    locked_mhz: Mhz | None = Field(default=None, description="this carrier stays [MHz]")
    set_mhz: Mhz | None = Field(default=None, description="the carrier on which both ends stand [MHz]")
    set_at: Moment | None = Field(default=None, description="since when both ends stand there")
    heard_at: Moment | None = Field(default=None, description="when it was listened to there, and was clean")
    locked_mw: Milliwatt | None = Field(default=None, description="this power step stays [mW], conducted")
    encrypted: bool | None = Field(default=None, description="encrypted at both ends, or at neither")

    @model_validator(mode="after")
    def _has_two_ends(self) -> Self:
        for key, other, older in (
            ("transmitter", "transmit", ("route", "worn")),
            ("receiver", "receive", ("at",)),
        ):
            said, table = getattr(self, key), getattr(self, other)
            if said is None and not table:
                raise PydanticCustomError("lacks", "lacks {key}", {"key": key})
            mixed = [name for name in (key, *older) if getattr(self, name)]
            if table and mixed:
                raise ValueError(f"has {other} and {mixed[0]}, which is in {other} then; leave {mixed[0]} out")
        return self

    @functools.cached_property
    def sends(self) -> End:
        """The end that sends."""
        if self.transmit is None:
            return self._talent(self.transmitter or "", self.route, self.worn)
        return End.of(self.transmit, End("", False) if self.serves in TO_LISTENERS else self._talent())

    @functools.cached_property
    def hears(self) -> tuple[End, ...]:
        """The ends that listen, at least one."""
        if not self.receive:
            return (End(self.receiver or "", False, self.at),)
        mine = self._talent() if self.serves in TO_LISTENERS else End("", False)
        many = len(self.receive) > 1
        return tuple(
            End.of(receiving, mine, receiving.name or (f"listener {n}" if many else ""))
            for n, receiving in enumerate(self.receive, start=1)
        )

    def _talent(self, kit: str = "", route: tuple[str, ...] = (), worn: Worn | None = None) -> End:
        """An end that is carried, with the link's own words on its talent."""
        return End(kit, True, None, route, worn, self.facing, self.crowd, self.does, self.speed_m_s)


class Break(Frozen):
    """A break in a call."""

    starts: datetime.time = Field(alias="from", description="when it begins")
    ends: datetime.time = Field(alias="to", description="when it ends")


class Call(Frozen):
    """A stretch of the day with its own site and its own live links."""

    name: Name = Field(description="name of the call")
    crew: Name | None = Field(default=None, description="the crew whose call it is; default: the event's own")
    site: Name | None = Field(default=None, description="its site; default: the first")
    starts: datetime.time | None = Field(default=None, alias="from", description="when it begins")
    ends: datetime.time | None = Field(default=None, alias="to", description="when it ends")
    links: tuple[Name, ...] = Field(
        default=(), max_length=10_000, description="the links that are live; default: all"
    )
    breaks: tuple[Break, ...] = Field(default=(), max_length=100, description="breaks in it")
    date: Day | None = Field(default=None, description="its day; default: the shoot's")
    next_day: bool = Field(default=False, description="`to` lies after midnight")
    travel_min: Minutes = Field(default=0.0, description="travel before it [min]")
    set_up_min: Minutes | None = Field(
        default=None, description="setting up before it, all in all [min]; default: from the kit and the links"
    )

    @model_validator(mode="after")
    def _ends_after_it_begins(self) -> Self:
        if (self.starts is None) != (self.ends is None):
            raise ValueError("from and to stand together or not at all")
        if self.starts and self.ends and not self.next_day and self.ends <= self.starts:
            raise ValueError(
                f"the call ends at {self.ends} and begins at {self.starts}; "
                "say next_day = true where it runs past midnight"
            )
        return self


class Contact(Frozen):
    """Somebody to call: production, whoever coordinates carriers, the site."""

    name: Name = Field(description="who")
    role: Annotated[str, Field(max_length=80)] | None = Field(default=None, description="for what")
    phone: Phone | None = Field(default=None, description="telephone")
    email: Email | None = Field(default=None, description="mail")


class Crew(Frozen):
    """A crew of an event: whose links and calls bear its name (docs/event.md)."""

    name: Name = Field(description="name of the crew")
    contact: Name | None = Field(default=None, description="who answers for it")
    phone: Phone | None = Field(default=None, description="telephone")
    email: Email | None = Field(default=None, description="mail")


class Shoot(Frozen):
    """Everything known about one job."""

    shoot: Header = Field(description="what, where by law, and when")
    crew: tuple[Crew, ...] = Field(default=(), max_length=1_000, description="crews of an event")
    site: tuple[Site, ...] = Field(default=(), max_length=1_000, description="sites")
    transmitter: dict[Name, Transmitter] = Field(default={}, description="types of transmitter, by name")
    receiver: dict[Name, Receiver] = Field(default={}, description="types of receiver, by name")
    microphone: dict[Name, Microphone] = Field(default={}, description="types of microphone, by name")
    recorder: dict[Name, Recorder] = Field(default={}, description="types of camera or recorder input, by name")
    link: tuple[Link, ...] = Field(default=(), max_length=20_000, description="links")
    other: tuple[Other, ...] = Field(default=(), max_length=20_000, description="transmitters that are not ours")
    call: tuple[Call, ...] = Field(default=(), max_length=20_000, description="calls")
    permit: tuple[PermitHeld, ...] = Field(default=(), max_length=2_000, description="licences that are held")
    contact: tuple[Contact, ...] = Field(default=(), max_length=2_000, description="whom to call")
    run: tuple[Run, ...] = Field(default=(), max_length=2_000, description="run times that were logged")

    def link_named(self, name: str) -> Link:
        """The link of that name."""
        return next(link for link in self.link if link.name == name)

    def read_link(self, name: str) -> Link | None:
        """Whom a reading is of: the link of that name, else the first with a transmitter of that type."""
        named = (link for link in self.link if link.name == name)
        typed = (link for link in self.link if link.sends.kit == name)
        return next(named, None) or next(typed, None)

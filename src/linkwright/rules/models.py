"""What a territory's data file holds: rows, closed ranges, permits, rasters, places, each with its source.

Frequencies are whole kilohertz, powers milliwatts, positions degrees north and east. A file that does not
fit these models does not load: the validators are the data's first test.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, StrictInt, model_validator

#: How a fact was come by. seen: read in the instrument itself; seen_secondary: read in a page that reports
#: it; memory: not read; computed: arithmetic from stated constants.
Basis: TypeAlias = Literal["seen", "seen_secondary", "memory", "computed"]

#: stated: the instrument says so; assumed: to be read there before anybody relies on it.
Evidence: TypeAlias = Literal["stated", "assumed"]

PowerReference: TypeAlias = Literal["conducted", "erp", "eirp"]

#: Which equipment a row is for; a row decides for its own kind only.
Kind: TypeAlias = Literal["microphone", "wideband", "data"]

Severity: TypeAlias = Literal["stop", "warn", "note"]

Khz = Annotated[StrictInt, Field(gt=0, le=10_000_000)]
Milliwatt = Annotated[float, Field(gt=0.0, le=10_000.0)]
Kilometre = Annotated[float, Field(gt=0.0, le=1_000.0)]
Latitude = Annotated[float, Field(ge=-90.0, le=90.0)]
Longitude = Annotated[float, Field(ge=-180.0, le=180.0)]
Text = Annotated[str, Field(min_length=1)]
Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]


class CheckedFact(BaseModel):
    """A checked value that never changes; an unknown key is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)


class Fact(CheckedFact):
    """Something that a document says, and how well that is known."""

    source: Text = Field(description="document, edition and section")
    basis: Basis = Field(description="how the fact was come by")
    evidence: Evidence = Field(description="stated, or assumed until the source is read")
    as_of: datetime.date = Field(
        description="date of the edition that was read; of what is remembered, when it was written down"
    )
    read_on: datetime.date | None = Field(None, description="when a person corrected it from the document itself")

    @model_validator(mode="after")
    def _only_what_was_read_is_stated(self) -> Fact:
        if self.evidence == "stated" and self.basis not in ("seen", "computed"):
            raise ValueError(f"evidence stated with basis {self.basis}")
        return self


class Span(Fact):
    """A fact about the frequencies from `from_khz` to `to_khz` [kHz]."""

    from_khz: Khz
    to_khz: Khz

    @model_validator(mode="after")
    def _upwards(self) -> Span:
        if self.from_khz >= self.to_khz:
            raise ValueError(f"from {self.from_khz} kHz to {self.to_khz} kHz is no range")
        return self


class Step(CheckedFact):
    """A part of a row [kHz] with a lower limit [mW] of its own, at the row's reference."""

    from_khz: Khz
    to_khz: Khz
    max_mw: Milliwatt
    max_body_worn_mw: Milliwatt | None = None

    def limit_mw(self, form: str) -> float:
        """Its limit for equipment of `form` [mW]."""
        worn = self.max_body_worn_mw if form == "body-worn" else None
        return self.max_mw if worn is None else worn


#: Who has the first right to frequencies that a row lends.
Service: TypeAlias = Literal["aeronautical", "land mobile", "radio astronomy", "flight test", "radar"]


class Row(Span):
    """One thing that may be transmitted: range [kHz], power [mW], width [kHz] and the conditions."""

    id: Id
    use: Text = Field(description="what it is for, as the source puts it")
    kind: Kind = "microphone"
    permit: Id | None = Field(None, description="the permit that opens it; none: licence-exempt")
    max_mw: Milliwatt | None = Field(None, description="at `power_reference`; none: the facts give no limit")
    max_body_worn_mw: Milliwatt | None = Field(None, description="instead of max_mw for a body-worn form")
    power_reference: PowerReference | None = None
    bandwidth_khz: Khz | None = Field(None, description="widest occupied bandwidth; none: not given")
    raster_khz: Khz | None = Field(None, description="carriers lie at from_khz + n * raster_khz")
    carriers_from_khz: Khz | None = Field(None, description="lowest carrier, where the source names one")
    carriers_to_khz: Khz | None = Field(None, description="highest carrier, where the source names one")
    carriers_khz: tuple[Khz, ...] = Field((), description="the only carriers, where the source lists them")
    steps: tuple[Step, ...] = Field((), alias="step", description="parts with lower limits, at the edges")
    inside_channel: bool = Field(False, description="the whole occupied bandwidth inside one TV channel")
    indoor: bool = Field(False, description="inside buildings only")
    service: Service | None = Field(None, description="whose it is first: closed until the row is accepted by name")
    is_licence: bool = Field(False, description="made from a permit that the crew typed in")
    until: datetime.date | None = Field(None, description="last day on which the row decides")
    listed_only: bool = Field(False, description="shown but never decides: the facts are too coarse")
    tv_separation_km: Kilometre | None = Field(
        None, description="least distance outside the protected contour of TV on the same channel [km]"
    )
    table_row: str | None = Field(None, description="row of the CEPT implementation table")
    conditions: tuple[Text, ...] = ()
    doubt: Text | None = Field(None, description="why a row that was read is assumed all the same")

    @model_validator(mode="after")
    def _consistent(self) -> Row:
        if (self.max_mw is None) != (self.power_reference is None):
            raise ValueError(f"{self.id}: a power and its reference belong together")
        if (self.max_body_worn_mw is not None or self.steps) and self.max_mw is None:
            raise ValueError(f"{self.id}: a body-worn power or a step without the general one")
        if self.evidence == "stated" and (self.max_mw is None or self.doubt is not None):
            raise ValueError(f"{self.id}: a row without a known limit, or in doubt, is assumed")
        if self.basis == "seen" and self.evidence == "assumed" and self.doubt is None:
            raise ValueError(f"{self.id}: read and yet assumed, without the doubt")
        return self

    @property
    def outdoors_id(self) -> str:
        """What a shoot accepts to use a row for indoors in the open all the same."""
        return f"{self.id}/outdoors"

    def ended(self, on: datetime.date) -> bool:
        """Whether the row's last day lies before the day `on`."""
        return self.until is not None and on > self.until


class Closed(Span):
    """A range [kHz] in which nothing of ours may transmit, whatever a row or a permit says."""

    id: Id
    why: Text
    since: datetime.date | None = Field(None, description="first day on which it is closed; none: always")

    def holds(self, on: datetime.date) -> bool:
        """Whether the range is closed on the day `on`."""
        return self.since is None or on >= self.since


class Note(Span):
    """Something to say about a range [kHz] that no row opens."""

    says: Text


class Permit(CheckedFact):
    """A licence, class licence or general authorisation that a crew may hold."""

    id: Id
    name: Text
    also: tuple[Id, ...] = Field((), description="other ids that a shoot may use for it")
    note: Text


class WarningText(Span):
    """A hard warning for whoever transmits in the range [kHz]; in `area` only, where one is given."""

    id: Id
    about: Text
    severity: Severity
    settled_by: tuple[Id, ...] = Field((), description="permits that settle it when held, rows when accepted")
    says: Text
    do: Text
    area: tuple[Latitude, Latitude, Longitude, Longitude] | None = Field(
        None, description="south, north, west, east [degrees]"
    )


class City(Fact):
    """A city [degrees] whose land-mobile radio uses TV channels."""

    name: Text
    channels: tuple[StrictInt, ...]
    latitude: Latitude
    longitude: Longitude
    note: Text | None = None

    def id_on(self, code: str, channel: int) -> str:
        """The id of its warning on a TV channel."""
        return f"{code.lower()}-land-mobile-{_slug(self.name)}-{channel}"


class LandMobile(Fact):
    """Land-mobile radio on TV channels: base stations stand within `base_radius_km` of a city's centre."""

    base_radius_km: Kilometre
    protection_radius_km: Kilometre
    first_channel: StrictInt
    last_channel: StrictInt
    note: Text
    city: tuple[City, ...]


class RuleSite(CheckedFact):
    """A place [degrees]."""

    name: Text
    latitude: Latitude
    longitude: Longitude

    def id_in(self, code: str) -> str:
        """The id of its warning."""
        return f"{code.lower()}-observatory-{_slug(self.name)}"


def _slug(name: str) -> str:
    return "-".join("".join(c if c.isascii() and c.isalnum() else " " for c in name.lower()).split())


class RadioAstronomy(Fact):
    """Observatories, and the distance [km] at which others are kept away from them."""

    exclusion_km: Kilometre
    note: Text
    site: tuple[RuleSite, ...]


class Segment(CheckedFact):
    """Neighbouring TV channels, `width_khz` wide, upwards from `from_khz`: `first` to `last`, or `names`."""

    from_khz: Khz
    width_khz: Khz
    first: StrictInt | None = None
    last: StrictInt | None = None
    names: tuple[Text, ...] = ()

    @model_validator(mode="after")
    def _one_naming(self) -> Segment:
        numbered = self.first is not None and self.last is not None and self.first <= self.last
        if numbered == bool(self.names):
            raise ValueError("a segment has either first and last, or names")
        return self

    def channels(self) -> tuple[str, ...]:
        """The channels' names, from the lowest upwards."""
        if self.first is None or self.last is None:
            return self.names
        return tuple(str(number) for number in range(self.first, self.last + 1))


class Raster(Fact):
    """The TV channels of a territory."""

    title: Text
    note: Text
    segment: tuple[Segment, ...]


class Contour(CheckedFact):
    """Field [dB(uV/m)] at the protected contour of TV channels `first` to `last`."""

    first: StrictInt
    last: StrictInt
    field_dbuv_m: float


class TvProtection(Fact):
    """How far TV is protected: the contour's curve and field, and the distance [km] kept outside it."""

    curve: Text
    extra_separation_km: Kilometre
    indoor_scan_dbm: float = Field(description="TV level below which an indoor site counts as free [dBm]")
    note: Text
    contour: tuple[Contour, ...]


class Territory(CheckedFact):
    """Everything known about one territory, as its data file says it."""

    code: Annotated[str, Field(pattern=r"^([A-Z]{2}|CEPT)$")]
    name: Text
    regulator: Text
    about: Text
    permits: tuple[Permit, ...] = Field((), alias="permit")
    rows: tuple[Row, ...] = Field(alias="row")
    closed: tuple[Closed, ...] = ()
    notes: tuple[Note, ...] = Field((), alias="note")
    warnings: tuple[WarningText, ...] = Field((), alias="warning")
    tv_raster: Raster | None = None
    tv_protection: TvProtection | None = None
    land_mobile: LandMobile | None = None
    radio_astronomy: RadioAstronomy | None = None
    cautions: tuple[Text, ...] = ()

    @property
    def ids(self) -> frozenset[str]:
        """The ids of its rows, closed ranges and warnings."""
        return frozenset(self._own_ids()) | self.place_ids

    def _own_ids(self) -> list[str]:
        return [
            *(row.id for row in self.rows),
            *(closed_range.id for closed_range in self.closed),
            *(warning.id for warning in self.warnings),
        ]

    @property
    def place_ids(self) -> frozenset[str]:
        """The ids of the warnings that hang on a place."""
        mobile = () if self.land_mobile is None else self.land_mobile.city
        sites = () if self.radio_astronomy is None else self.radio_astronomy.site
        return frozenset(
            [city.id_on(self.code, channel) for city in mobile for channel in city.channels]
            + [site.id_in(self.code) for site in sites]
        )

    @model_validator(mode="after")
    def _ids(self) -> Territory:
        ids = self._own_ids()
        names = [name for permit in self.permits for name in (permit.id, *permit.also)]
        for what, named in (("row", ids), ("permit", names)):
            twice = sorted({name for name in named if named.count(name) > 1})
            if twice:
                raise ValueError(f"{self.code}: {what} {twice[0]} stands twice")
        known = {permit.id for permit in self.permits}
        for row in self.rows:
            if row.permit is not None and row.permit not in known:
                raise ValueError(f"{self.code}: {row.id} asks for the unknown permit {row.permit}")
        return self

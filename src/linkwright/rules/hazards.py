"""Hard warnings: other people's safety or science at stake, by range and by place."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from linkwright.physics.geodesy import great_circle_km
from linkwright.rules.models import City, Closed, Evidence, LandMobile, RadioAstronomy, Severity, Territory
from linkwright.rules.terms import Position
from linkwright.rules.tv import TvChannel, tv_channel

#: The finding code of all of them.
CODE = "hard-warning"

#: A warning for a place is worked out anew each time: its fact's own date stands in the data.
UNDATED = datetime.date.min
#: Every frequency that a row may name [kHz].
WHOLE_SPECTRUM_KHZ = (1, 10_000_000)


@dataclass(frozen=True)
class HardWarning:
    """One hard warning; `distance_km` [km] where it hangs on a place, else None.

    id : by which a shoot accepts it; settled_by : permits or rows that settle it, held or accepted.
    """

    id: str
    from_khz: int
    to_khz: int
    settled_by: tuple[str, ...]
    code: str
    severity: Severity
    about: str
    says: str
    do: str
    source: str
    evidence: Evidence
    distance_km: float | None

    @property
    def closes(self) -> bool:
        """Whether carriers in its range are closed until somebody opens them."""
        return self.severity != "note"

    def opened_by(self, settled: frozenset[str]) -> str | None:
        """The permit held, or the acceptance, that opens what it closes; a `stop` is opened by no acceptance."""
        own = () if self.severity == "stop" else (self.id,)
        return next((way for way in (*own, *self.settled_by) if way in settled), None)


def hard_warnings(
    territory: Territory,
    latitude: float | None,
    longitude: float | None,
    ranges_khz: Iterable[tuple[int, int]],
) -> tuple[HardWarning, ...]:
    """The hard warnings for transmitting in `ranges_khz` (from, to) [kHz] at a position [degrees].

    Without a position, those that hang on a place are told once, in general.
    """
    ranges = tuple(ranges_khz)
    position = None if latitude is None or longitude is None else (latitude, longitude)
    warnings = list(_by_range(territory, position, ranges))
    if territory.land_mobile is not None:
        warnings += _land_mobile(territory, territory.land_mobile, position, ranges)
    if territory.radio_astronomy is not None and ranges:
        warnings += _radio_astronomy(territory, territory.radio_astronomy, position)
    return tuple(warnings)


def closing_warnings(territory: Territory, position: Position, settled: frozenset[str]) -> tuple[Closed, ...]:
    """What the program warns of at a position, as closed ranges, less what `settled` opens."""
    latitude, longitude = position or (None, None)
    return tuple(
        Closed(
            id=hard_warning.id,
            from_khz=hard_warning.from_khz,
            to_khz=hard_warning.to_khz,
            why=hard_warning.says,
            source=hard_warning.source,
            basis="seen" if hard_warning.evidence == "stated" else "memory",
            evidence=hard_warning.evidence,
            as_of=UNDATED,
        )
        for hard_warning in hard_warnings(territory, latitude, longitude, [WHOLE_SPECTRUM_KHZ])
        if hard_warning.closes and hard_warning.opened_by(settled) is None
    )


def _overlaps(ranges_khz: Iterable[tuple[int, int]], from_khz: int, to_khz: int) -> bool:
    return any(low < to_khz and high > from_khz for low, high in ranges_khz)


def _by_range(
    territory: Territory, position: Position, ranges_khz: tuple[tuple[int, int], ...]
) -> Iterator[HardWarning]:
    for warning in territory.warnings:
        away = False
        if warning.area is not None and position is not None:
            south, north, west, east = warning.area
            away = not (south <= position[0] <= north and west <= position[1] <= east)
        if not away and _overlaps(ranges_khz, warning.from_khz, warning.to_khz):
            unsure = warning.area is not None and position is None
            do = f"{warning.do}; give the site's position to have it checked" if unsure else warning.do
            severity: Severity = "note" if unsure else warning.severity
            yield HardWarning(
                warning.id,
                warning.from_khz,
                warning.to_khz,
                warning.settled_by,
                CODE,
                severity,
                warning.about,
                warning.says,
                do,
                warning.source,
                warning.evidence,
                None,
            )


def _land_mobile(
    territory: Territory, facts: LandMobile, position: Position, ranges_khz: tuple[tuple[int, int], ...]
) -> Iterator[HardWarning]:
    first = tv_channel(territory, str(facts.first_channel))
    last = tv_channel(territory, str(facts.last_channel))
    if position is None:
        if _overlaps(ranges_khz, first.from_khz, last.to_khz):
            yield _land_mobile_anywhere(territory, facts, first, last)
        return
    for city in facts.city:
        km = great_circle_km(*position, city.latitude, city.longitude)
        if km > facts.protection_radius_km:
            continue
        for number in city.channels:
            channel = tv_channel(territory, str(number))
            if _overlaps(ranges_khz, channel.from_khz, channel.to_khz):
                yield _land_mobile_near(territory, facts, city, channel, km)


def _land_mobile_anywhere(
    territory: Territory, facts: LandMobile, first: TvChannel, last: TvChannel
) -> HardWarning:
    names = ", ".join(dict.fromkeys(city.name for city in facts.city))
    return HardWarning(
        f"{territory.code.lower()}-land-mobile",
        first.from_khz,
        last.to_khz,
        (),
        CODE,
        "note",
        f"land mobile on TV channels {first.number} to {last.number}",
        f"{first.from_khz / 1000:g}-{last.to_khz / 1000:g} MHz carries land mobile radio about {names}",
        "Give the site's position to have its distance checked",
        facts.source,
        facts.evidence,
        None,
    )


def _land_mobile_near(
    territory: Territory, facts: LandMobile, city: City, channel: TvChannel, km: float
) -> HardWarning:
    is_near = km <= facts.base_radius_km
    radius = (
        f"base stations may stand within {facts.base_radius_km:g} km of the centre"
        if is_near
        else f"it is protected to {facts.protection_radius_km:g} km from the centre"
    )
    note = f" ({city.note})" if city.note else ""
    return HardWarning(
        city.id_on(territory.code, int(channel.number)),
        channel.from_khz,
        channel.to_khz,
        (),
        CODE,
        "warn" if is_near else "note",
        f"land mobile on channel {channel.number}, {city.name}",
        f"{channel.from_khz / 1000:g}-{channel.to_khz / 1000:g} MHz carries land mobile radio in {city.name}"
        f", {km:.0f} km away; {radius}{note}",
        "Choose another channel, or make sure of not interfering: microphones are secondary",
        f"{city.source}; {facts.source}",
        city.evidence,
        km,
    )


def _radio_astronomy(territory: Territory, facts: RadioAstronomy, position: Position) -> Iterator[HardWarning]:
    do = "Ask the observatory before anything is switched on"
    if position is None:
        names = ", ".join(site.name for site in facts.site)
        says = f"keep {facts.exclusion_km:g} km away from the observatories: {names}"
        id_ = f"{territory.code.lower()}-observatory"
        yield HardWarning(
            id_, *WHOLE_SPECTRUM_KHZ, (), CODE, "note", "radio astronomy", says, do, facts.source, facts.evidence,
            None,
        )  # fmt: skip
        return
    for site in facts.site:
        km = great_circle_km(*position, site.latitude, site.longitude)
        if km <= facts.exclusion_km:
            yield HardWarning(
                site.id_in(territory.code),
                *WHOLE_SPECTRUM_KHZ,
                (),
                CODE,
                "warn",
                f"radio astronomy, {site.name}",
                f"the observatory {site.name} is {km:.1f} km away, nearer than {facts.exclusion_km:g} km; "
                f"{facts.note}",
                do,
                facts.source,
                facts.evidence,
                km,
            )

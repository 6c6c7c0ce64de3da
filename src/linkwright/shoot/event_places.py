"""How the sites of crews lie to each other: what is one place, and what is one spot there."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from linkwright.physics.geodesy import great_circle_km
from linkwright.shoot.place import Site

#: A spot is the same as another site's when it is so near [m].
ONE_SPOT_M: Final = 1.0


def _position(site: Site) -> tuple[float, float] | None:
    return None if site.latitude is None or site.longitude is None else (site.latitude, site.longitude)


def away_m(a: Site, b: Site) -> float | None:
    """How far two sites are from each other [m]; None where either has no position."""
    here, there = _position(a), _position(b)
    return None if here is None or there is None else 1000.0 * great_circle_km(*here, *there)


def offset_m(origin: Site, site: Site) -> tuple[float, float]:
    """How far east and north of a site's origin another's lies [m]; nothing where either has no position."""
    here, there = _position(origin), _position(site)
    if here is None or there is None:
        return 0.0, 0.0
    east = 1000.0 * great_circle_km(here[0], here[1], here[0], there[1])
    north = 1000.0 * great_circle_km(here[0], here[1], there[0], here[1])
    sign: Callable[[float, float], float] = lambda a, b: 1.0 if b >= a else -1.0  # noqa: E731
    return round(sign(here[1], there[1]) * east, 2), round(sign(here[0], there[0]) * north, 2)


def same_spot(mine: Site, place: Site | None, name: str) -> bool:
    """Whether the event's site has a crew's spot, where the crew has it."""
    if place is None:
        return False
    east_m, north_m = offset_m(place, mine)
    spot = next(spot for spot in mine.spots if spot.name == name)
    theirs = next((spot for spot in place.spots if spot.name == name), None)
    return theirs is not None and (
        abs(theirs.x_m - spot.x_m - east_m) <= ONE_SPOT_M
        and abs(theirs.y_m - spot.y_m - north_m) <= ONE_SPOT_M
        and abs(theirs.z_m - spot.z_m) <= ONE_SPOT_M
    )

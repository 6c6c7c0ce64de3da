"""The shoot as the planner sees it: defaults filled in, names looked up, times on the time line."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from linkwright.shoot.catalogue import catalogue_entry
from linkwright.shoot.clock import zone_of
from linkwright.shoot.equipment import Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.models import Call, Link, Shoot, Worn
from linkwright.shoot.place import Other, Point, Site, Spot
from linkwright.shoot.seats import Seat, seatings

#: Where nothing says where the talent goes: this far from the receiver [m] (assumed, common practice).
ASSUMED_DISTANCE_M = 30.0
#: No point of a site is farther east than this [m].
MOST_M = 100_000.0


@dataclass(frozen=True, slots=True)
class LiveCall:
    """A call with its site, its live links and its time; `starts` and `ends` are None where none was given.

    `breaks` (from, to) are in the order of the file. `travel_min` and `set_up_min` as the call says them. `seats`
    are the links' receiver channels; `unseated` the links of the call for which there is none, which are not live.
    """

    name: str
    site: Site
    links: tuple[Link, ...]
    starts: datetime.datetime | None
    ends: datetime.datetime | None
    breaks: tuple[tuple[datetime.datetime, datetime.datetime], ...] = ()
    travel_min: float = 0.0
    set_up_min: float | None = None
    seats: Mapping[str, Seat] = field(default_factory=dict, compare=False)
    unseated: tuple[str, ...] = ()


def default_site() -> Site:
    """The site of a shoot that names none: open ground."""
    return Site(name="Site")


def sites(shoot: Shoot) -> tuple[Site, ...]:
    """The sites of the shoot; one on open ground where it names none."""
    return shoot.site or (default_site(),)


def site_named(shoot: Shoot, name: str | None) -> Site:
    """The site of that name; the first for None."""
    return next((site for site in sites(shoot) if site.name == name), sites(shoot)[0])


def live_calls(shoot: Shoot) -> tuple[LiveCall, ...]:
    """The calls in the order of the file; one over all links on the first site where there is none."""
    calls = _calls(shoot)
    receivers = {link.receiver: receiver_of(shoot, link) for link in shoot.link}
    return tuple(
        replace(
            call,
            links=tuple(link for link in call.links if link.name in seating.seats),
            seats=seating.seats,
            unseated=seating.unseated,
        )
        for call, seating in zip(
            calls, seatings([(call.links, _first_spot(call.site)) for call in calls], receivers), strict=True
        )
    )


def _first_spot(site: Site) -> str:
    return site.spots[0].name if site.spots else ""


def _calls(shoot: Shoot) -> tuple[LiveCall, ...]:
    if not shoot.call:
        return (LiveCall("Whole shoot", sites(shoot)[0], shoot.link, None, None),)
    by_name = {link.name: link for link in shoot.link}
    zone = zone_of(shoot)
    calls = []
    for call in shoot.call:
        day = call.date or shoot.shoot.date
        last_day = day + datetime.timedelta(days=1) if call.next_day else day
        starts = datetime.datetime.combine(day, call.starts, zone) if call.starts else None
        ends = datetime.datetime.combine(last_day, call.ends, zone) if call.ends else None
        links = tuple(by_name[name] for name in call.links) or shoot.link
        breaks = tuple(
            (_in_call(call, day, p.starts, zone), _in_call(call, day, p.ends, zone)) for p in call.breaks
        )
        site = site_named(shoot, call.site)
        calls.append(LiveCall(call.name, site, links, starts, ends, breaks, call.travel_min, call.set_up_min))
    return tuple(calls)


def _in_call(call: Call, day: datetime.date, at: datetime.time, zone: zoneinfo.ZoneInfo) -> datetime.datetime:
    """A time in a call that begins on `day`: after midnight where it lies before the call's begin."""
    later = call.next_day and call.starts is not None and at < call.starts
    return datetime.datetime.combine(day + datetime.timedelta(days=1) if later else day, at, zone)


def others_by_site(shoot: Shoot) -> dict[str, tuple[Other, ...]]:
    """The others on each site, by its name; those whose place nobody told stand near the receivers."""
    found: dict[str, list[Other]] = {site.name: [] for site in sites(shoot)}
    for other in shoot.other:
        site = site_named(shoot, other.site)
        found[site.name].append(
            other if other.at is not None else other.model_copy(update={"at": _near(shoot, site)})
        )
    return {name: tuple(others) for name, others in found.items()}


#: How far somebody stands from the receivers where nobody said where [m]: near, the least kind of places.
UNKNOWN_M = 10.0


def _near(shoot: Shoot, site: Site) -> Point:
    """A point beside the first spot of the site at which there are receivers."""
    named = {spot.name: spot for spot in site.spots}
    at = next((named[link.at] for link in shoot.link if link.at in named), site.spots[0] if site.spots else None)
    return Point(x_m=0.0, y_m=UNKNOWN_M) if at is None else Point(x_m=at.x_m, y_m=at.y_m + UNKNOWN_M, z_m=at.z_m)


def others_during(others: Iterable[Other], call: LiveCall) -> tuple[Other, ...]:
    """Those of the others on the call's site that may be on while it runs, those without times always."""
    return tuple(other for other in others if _overlaps(other, call))


def _overlaps(other: Other, call: LiveCall) -> bool:
    """Whether a daily on-time meets the call; one that ends at or before its begin runs past midnight."""
    if other.on_from is None or other.on_to is None or call.starts is None or call.ends is None:
        return True
    day = call.starts.date() - datetime.timedelta(days=1)
    while day <= call.ends.date():
        on = datetime.datetime.combine(day, other.on_from, call.starts.tzinfo)
        days = 0 if other.on_to > other.on_from else 1
        off = datetime.datetime.combine(day + datetime.timedelta(days=days), other.on_to, call.starts.tzinfo)
        if on < call.ends and call.starts < off:
            return True
        day += datetime.timedelta(days=1)
    return False


def transmitter_of(shoot: Shoot, link: Link) -> Transmitter:
    """The link's type of transmitter: the shoot's own, else the catalogue's; with one step where that is locked."""
    own = transmitter_named(shoot, link.transmitter)
    return own if link.locked_mw is None else own.model_copy(update={"powers_mw": (link.locked_mw,)})


def transmitter_named(shoot: Shoot, name: str) -> Transmitter:
    """A type of transmitter with all its steps: the shoot's own, else the catalogue's."""
    return shoot.transmitter.get(name) or Transmitter.model_validate(catalogue_entry("transmitter", name))


def receiver_of(shoot: Shoot, link: Link) -> Receiver:
    """The link's type of receiver: the shoot's own, else the catalogue's."""
    own = shoot.receiver.get(link.receiver)
    return own or Receiver.model_validate(catalogue_entry("receiver", link.receiver))


def microphone_of(shoot: Shoot, link: Link) -> Microphone | None:
    """The link's type of microphone: the shoot's own, else the catalogue's; None where it names none."""
    return None if link.microphone is None else microphone_named(shoot, link.microphone)


def microphone_named(shoot: Shoot, name: str) -> Microphone:
    """A type of microphone: the shoot's own, else the catalogue's."""
    return shoot.microphone.get(name) or Microphone.model_validate(catalogue_entry("microphone", name))


def recorder_of(shoot: Shoot, link: Link) -> Recorder | None:
    """The input that the link feeds: the shoot's own, else the catalogue's; None where it names none."""
    if link.recorder is None:
        return None
    own = shoot.recorder.get(link.recorder)
    return own or Recorder.model_validate(catalogue_entry("recorder", link.recorder))


def worn_of(shoot: Shoot, link: Link) -> Worn:
    """Where the transmitter is worn: as the link says, else by its form."""
    if link.worn is not None:
        return link.worn
    by_form: dict[str, Worn] = {"body-worn": "belt-back", "mounted": "open"}
    return by_form.get(transmitter_of(shoot, link).form, "hand")


def receiving_point(site: Site, link: Link) -> Spot:
    """Where the receiver's antennas stand: the spot that the link names, else the site's first."""
    found = [spot for spot in site.spots if spot.name == link.at] or list(site.spots[:1])
    return found[0] if found else Spot(name="Receiver", x_m=0.0, y_m=0.0, z_m=1.6)


def route_points(site: Site, link: Link) -> tuple[Spot, ...]:
    """The spots that the talent walks through here, in the order of the route.

    Where the link's route names no spot of this site: all spots but the receiver's; and where there is none,
    one spot as far from it as the talent goes, `ASSUMED_DISTANCE_M` where that is not said.
    """
    by_name = {spot.name: spot for spot in site.spots}
    on_route = tuple(by_name[name] for name in link.route if name in by_name)
    receiver = receiving_point(site, link)
    spots = on_route or tuple(spot for spot in site.spots if spot.name != receiver.name)
    away_m = link.within_m or ASSUMED_DISTANCE_M
    inwards = -1.0 if receiver.x_m > 0.0 and receiver.x_m + away_m > MOST_M else 1.0
    assumed = Spot(
        name=f"{away_m:g} m away",
        x_m=receiver.x_m + inwards * away_m,
        y_m=receiver.y_m,
        z_m=1.3,
    )
    return spots or (assumed,)


def distance_m(a: Point, b: Point) -> float:
    """Straight distance of two points [m]."""
    return float(((a.x_m - b.x_m) ** 2 + (a.y_m - b.y_m) ** 2 + (a.z_m - b.z_m) ** 2) ** 0.5)

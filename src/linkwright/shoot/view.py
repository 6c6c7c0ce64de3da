"""The shoot as the planner sees it: defaults filled in, names looked up, times on the time line."""

from __future__ import annotations

import datetime
import functools
import math
import zoneinfo
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, TypeVar

from linkwright.latest import latest
from linkwright.shoot.catalogue import catalogue_entry
from linkwright.shoot.clock import zone_of
from linkwright.shoot.end import TO_LISTENERS, End, Worn
from linkwright.shoot.equipment import Equipment, Form, Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.models import Call, Link, Shoot
from linkwright.shoot.place import Other, Point, Site, Spot
from linkwright.shoot.seats import Seat, Seating, seatings
from linkwright.units import khz_from_mhz, mhz_text

T = TypeVar("T", bound=Equipment)
#: Where nothing says where the talent goes: this far from the receiver [m] (assumed, common practice).
ASSUMED_DISTANCE_M = 30.0
#: The microphone that is assumed where none is named: a class of the catalogue by the transmitter's form.
USUAL_MICROPHONE: Final[Mapping[Form, str]] = {
    "body-worn": "lapel",
    "handheld": "handheld-dynamic",
    "plug-on": "short-gun",
    "mounted": "handheld-dynamic",
}
#: No point of a site is farther east than this [m].
MOST_M = 100_000.0


@dataclass(frozen=True)
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

    @functools.cached_property
    def span_s(self) -> tuple[float, float]:
        """When it begins and ends [s, POSIX]; one that lacks a time runs always."""
        if self.starts is None or self.ends is None:
            return -math.inf, math.inf
        return self.starts.timestamp(), self.ends.timestamp()


def default_site() -> Site:
    """The site of a shoot that names none: open ground."""
    return Site(name="Site")


def sites(shoot: Shoot) -> tuple[Site, ...]:
    """The sites of the shoot; one on open ground where it names none."""
    return shoot.site or (default_site(),)


def site_named(shoot: Shoot, name: str | None) -> Site:
    """The site of that name; the first for None."""
    return next((site for site in sites(shoot) if site.name == name), sites(shoot)[0])


@latest
def live_calls(shoot: Shoot) -> tuple[LiveCall, ...]:
    """The calls in the order of the file; one over all links on the first site where there is none."""
    calls = _calls(shoot)
    receivers = {end.kit: receiver_named(shoot, end.kit) for link in shoot.link for end in link.hears}
    given = seatings([(call.links, _first_spot(call.site)) for call in calls], receivers)
    return tuple(_seated(call, seating) for call, seating in zip(calls, given, strict=True))


def _seated(call: LiveCall, seating: Seating) -> LiveCall:
    """A call with its channels, and those of its links that have one."""
    links = call.links
    if seating.unseated:
        links = tuple(link for link in links if link.name in seating.seats)
    return LiveCall(
        call.name, call.site, links, call.starts, call.ends, call.breaks, call.travel_min, call.set_up_min,
        seating.seats, seating.unseated,
    )  # fmt: skip


def _first_spot(site: Site) -> str:
    return site.spots[0].name if site.spots else ""


def _calls(shoot: Shoot) -> tuple[LiveCall, ...]:
    if not shoot.call:
        return (LiveCall("Whole shoot", sites(shoot)[0], shoot.link, None, None),)
    by_name = {link.name: link for link in shoot.link}
    zone, site_of = zone_of(shoot), {site.name: site for site in reversed(sites(shoot))}
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
        site = site_of.get(call.site or "", sites(shoot)[0])
        calls.append(LiveCall(call.name, site, links, starts, ends, breaks, call.travel_min, call.set_up_min))
    return tuple(calls)


def _in_call(call: Call, day: datetime.date, at: datetime.time, zone: zoneinfo.ZoneInfo) -> datetime.datetime:
    """A time in a call that begins on `day`: after midnight where it lies before the call's begin."""
    later = call.next_day and call.starts is not None and at < call.starts
    return datetime.datetime.combine(day + datetime.timedelta(days=1) if later else day, at, zone)


def others_by_site(shoot: Shoot) -> dict[str, tuple[Other, ...]]:
    """The others on each site, by its name; those whose place nobody told stand near the receivers.

    A link that is to leave a carrier counts among them until it has left (`_still_sending`).
    """
    by_site: dict[str, list[Other]] = {site.name: [] for site in sites(shoot)}
    for other in shoot.other:
        site = site_named(shoot, other.site)
        by_site[site.name].append(
            other if other.at is not None else other.model_copy(update={"at": _near(shoot, site)})
        )
    for call, link in _leaving(shoot):
        by_site[call.site.name].append(_still_sending(shoot, call, link))
    return {name: tuple(others) for name, others in by_site.items()}


def _leaving(shoot: Shoot) -> Iterator[tuple[LiveCall, Link]]:
    """The links that are to have another carrier than both ends are set to, in each of their calls."""
    leaving = [link for link in shoot.link if link.set_mhz and link.locked_mhz not in (None, link.set_mhz)]
    for call in _calls(shoot) if leaving else ():
        yield from ((call, link) for link in leaving if link in call.links)


def _still_sending(shoot: Shoot, call: LiveCall, link: Link) -> Other:
    """A link's transmitter on the carrier to which it is set: nobody else is given that until somebody has set both
    ends to the new one, or the call is over, and what it makes with others counts."""
    assert link.set_mhz is not None
    kit, begin = transmitter_named(shoot, link.sends.kit), route_points(call.site, link)[0]
    given: dict[str, object] = {
        "name": f"{link.name}, still on {mhz_text(khz_from_mhz(link.set_mhz))} MHz",
        "carrier_mhz": link.set_mhz,
        "bandwidth_khz": kit.bandwidth_khz,
        "radiated_mw": link.locked_mw or max(kit.powers_mw),
        "at": Point(x_m=begin.x_m, y_m=begin.y_m, z_m=begin.z_m),
        "site": call.site.name,
    }
    if call.starts is not None and call.ends is not None:
        given |= {"from": call.starts.time(), "to": call.ends.time()}
    return Other.model_validate(given)


#: How far somebody stands from the receivers where nobody said where [m]: near, the least kind of places.
UNKNOWN_M = 10.0


def _near(shoot: Shoot, site: Site) -> Point:
    """A point beside the first spot of the site at which there are receivers."""
    named = {spot.name: spot for spot in site.spots}
    stand = (end.at for link in shoot.link for end in link.hears if end.at in named)
    at = next((named[spot] for spot in stand if spot), site.spots[0] if site.spots else None)
    return Point(x_m=0.0, y_m=UNKNOWN_M) if at is None else Point(x_m=at.x_m, y_m=at.y_m + UNKNOWN_M, z_m=at.z_m)


def others_during(others: Iterable[Other], call: LiveCall) -> tuple[Other, ...]:
    """Those of the others on the call's site that may be on while it runs, those without times always."""
    return tuple(other for other in others if _overlaps(other, call))


def _overlaps(other: Other, call: LiveCall) -> bool:
    """Whether an on-time, of every day or of its own, meets the call; one that ends at or before its begin runs
    past midnight."""
    if call.starts is None or call.ends is None or (other.date is None and other.on_from is None):
        return True
    begins, ends = other.on_from or datetime.time(), other.on_to or datetime.time()
    day, last = call.starts.date() - datetime.timedelta(days=1), call.ends.date()
    if other.date is not None:
        day, last = max(day, other.date), min(last, other.date)
    while day <= last:
        on = datetime.datetime.combine(day, begins, call.starts.tzinfo)
        days = 0 if ends > begins else 1
        off = datetime.datetime.combine(day + datetime.timedelta(days=days), ends, call.starts.tzinfo)
        if on < call.ends and call.starts < off:
            return True
        day += datetime.timedelta(days=1)
    return False


def transmitter_of(shoot: Shoot, link: Link) -> Transmitter:
    """The link's type of transmitter: the shoot's own, else the catalogue's; with one step where that is locked."""
    own = transmitter_named(shoot, link.sends.kit)
    return own if link.locked_mw is None else own.model_copy(update={"powers_mw": (link.locked_mw,)})


def transmitter_named(shoot: Shoot, name: str) -> Transmitter:
    """A type of transmitter with all its steps: the shoot's own, else the catalogue's."""
    return shoot.transmitter.get(name) or _of_class(Transmitter, name)


def receiver_of(shoot: Shoot, link: Link) -> Receiver:
    """The type of receiver of the first who listens to the link: the shoot's own, else the catalogue's."""
    return receiver_named(shoot, link.hears[0].kit)


def receiver_named(shoot: Shoot, name: str) -> Receiver:
    """A type of receiver: the shoot's own, else the catalogue's."""
    return shoot.receiver.get(name) or _of_class(Receiver, name)


@functools.cache
def _of_class(kind: type[T], name: str) -> T:
    """A class of the catalogue as equipment, checked once; an event asks for it thousands of times."""
    return kind.model_validate(catalogue_entry(kind.kind(), name))


def microphone_of(shoot: Shoot, link: Link) -> Microphone | None:
    """The link's type of microphone: the shoot's own, else the catalogue's; None where it names none."""
    return None if link.microphone is None else microphone_named(shoot, link.microphone)


def usual_microphone(form: Form) -> tuple[str, Microphone]:
    """The class of the catalogue that is assumed where no microphone is named, by the transmitter's form."""
    return USUAL_MICROPHONE[form], _of_class(Microphone, USUAL_MICROPHONE[form])


def microphone_named(shoot: Shoot, name: str) -> Microphone:
    """A type of microphone: the shoot's own, else the catalogue's."""
    return shoot.microphone.get(name) or _of_class(Microphone, name)


def recorder_of(shoot: Shoot, link: Link) -> Recorder | None:
    """The input that the link feeds: the shoot's own, else the catalogue's; None where it names none."""
    if link.recorder is None:
        return None
    return shoot.recorder.get(link.recorder) or _of_class(Recorder, link.recorder)


def worn_of(shoot: Shoot, link: Link) -> Worn:
    """How the sending end is carried: as the link says, else by its form."""
    if link.sends.worn is not None:
        return link.sends.worn
    return SENT_FROM.get(transmitter_of(shoot, link).form, "hand")


#: How a transmitter is carried where nothing is said, by its form; in the hand otherwise.
SENT_FROM: Final[dict[str, Worn]] = {"body-worn": "belt-back", "mounted": "mounted"}


def heard_worn(link: Link, end: End) -> Worn:
    """How a listening end is carried: as the link says, else on the belt where it goes to people who listen."""
    return end.worn or ("belt-back" if link.receive and link.serves in TO_LISTENERS else "mounted")


def receiving_point(site: Site, link: Link) -> Spot:
    """Where the first receiver's antennas stand, or where its way begins."""
    return receiving_points(site, link, link.hears[0])[0]


def receiving_points(site: Site, link: Link, end: End) -> tuple[Spot, ...]:
    """Where one who listens stands, or the spots of its way: as `route_points` has them."""
    if end.stands:
        return (_standing(site, end, "Receiver"),)
    away_from = _standing(site, link.sends, "Transmitter") if link.sends.stands else None
    return _way(site, end, link, away_from)


def route_points(site: Site, link: Link) -> tuple[Spot, ...]:
    """Where the link is sent from: the spots that the talent walks through here, in the order of the route, or the
    one at which its transmitter stands.

    Where the route names no spot of this site: all spots but that of a receiver that stands; and where there is
    none, one spot as far from it as the talent goes, `ASSUMED_DISTANCE_M` where that is not said.
    """
    if link.sends.stands:
        return (_standing(site, link.sends, "Transmitter"),)
    heard = link.hears[0]
    return _way(site, link.sends, link, _standing(site, heard, "Receiver") if heard.stands else None)


def walked_points(site: Site, link: Link) -> tuple[Spot, tuple[Spot, ...]]:
    """Where the end stands that does not go, or where the receiver's way begins; and the spots through which
    whoever goes does: the talent, or all who listen to a transmitter that stands."""
    if not link.sends.stands:
        return receiving_point(site, link), route_points(site, link)
    every = (spot for end in link.hears for spot in receiving_points(site, link, end))
    return route_points(site, link)[0], tuple(dict.fromkeys(every))


def _standing(site: Site, end: End, otherwise: str) -> Spot:
    """The spot that an end names, else the site's first."""
    spots = [spot for spot in site.spots if spot.name == end.at] or list(site.spots[:1])
    return spots[0] if spots else Spot(name=otherwise, x_m=0.0, y_m=0.0, z_m=1.6)


def _way(site: Site, end: End, link: Link, other: Spot | None) -> tuple[Spot, ...]:
    """The spots of an end that goes, `other` being where the other end stands, if it does."""
    by_name = {spot.name: spot for spot in site.spots} if end.route else {}
    on_route = tuple(by_name[name] for name in end.route if name in by_name)
    spots = on_route or tuple(spot for spot in site.spots if other is None or spot.name != other.name)
    if spots:
        return spots
    begin = other or Spot(name="Begin", x_m=0.0, y_m=0.0, z_m=1.6)
    away_m = link.within_m or ASSUMED_DISTANCE_M
    inwards = -1.0 if begin.x_m > 0.0 and begin.x_m + away_m > MOST_M else 1.0
    return (Spot(name=f"{away_m:g} m away", x_m=begin.x_m + inwards * away_m, y_m=begin.y_m, z_m=1.3),)


def distance_m(a: Point, b: Point) -> float:
    """Straight distance of two points [m]."""
    return float(((a.x_m - b.x_m) ** 2 + (a.y_m - b.y_m) ** 2 + (a.z_m - b.z_m) ** 2) ** 0.5)

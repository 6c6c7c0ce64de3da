"""Crews' shoots as one: the event's own file first, if there is one, and what each crew brings (docs/event.md).

What a crew brings has the crew's name before its own, so that nothing collides; sites that are one place become
one; equipment that is alike keeps its name. What cannot be both true is an error, what gives way is told.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any, Final

from linkwright.shoot.bag import KINDS
from linkwright.shoot.catalogue import catalogue
from linkwright.shoot.errors import InputError, raise_all
from linkwright.shoot.event_places import away_m, offset_m, same_spot
from linkwright.shoot.models import Header, Link, Shoot
from linkwright.shoot.place import Site
from linkwright.shoot.view import default_site
from linkwright.units import together

#: Sites this near to each other are one [m]; of one name, they are told apart from here on.
ONE_PLACE_M: Final = 30.0
TWO_PLACES_M: Final = 1_000.0
#: Longest name that a shoot may hold.
LONGEST: Final = 80
#: What a link takes along of its own file's header, where the event's says something else.
WISHES: Final = ("breaks_per_hour", "sure_wanted", "power", "reserve_db", "stay_db")
#: What of a header holds for the event as a whole, and is the event's own.
OF_THE_EVENT: Final = ("guard_khz", "target", "set_up", "cell_reserve")
#: What of a site is a picture of the place: the first file that has any of it is believed.
OF_THE_PLACE: Final = ("walls", "floors", "materials", "antennas", "measured", "learnt")


@dataclass(frozen=True, slots=True)
class CrewFile:
    """A file of an event: what it is called, where it lies, and the shoot in it."""

    name: str
    folder: str
    shoot: Shoot


@dataclass(frozen=True, slots=True)
class Merged:
    """The event as one shoot; its crews in the order of the files; sentences on what gave way."""

    shoot: Shoot
    crews: tuple[str, ...]
    told: tuple[str, ...]


def merged(files: Sequence[CrewFile]) -> Merged:
    """The event of some files. Raises InputError(s) that name the file."""
    first = files[0]
    event = _Event(first.shoot.shoot, first.name, is_own(first.shoot))
    errors = []
    for file in files:
        try:
            event.add(file)
        except InputError as error:
            errors.append(error if error.path is not None else InputError(error.says, path=file.name))
    raise_all(errors)
    if not event.lists["link"]:
        raise InputError("no file brings a link; expected the shoot files of crews", path=first.name)
    return Merged(Shoot.model_validate(event.document()), tuple(event.crews), tuple(event.told))


def is_own(shoot: Shoot) -> bool:
    """Whether a file is the event's own: it has no links, or names several crews."""
    return not shoot.link or len(shoot.crew) > 1


def crew_of(shoot: Shoot) -> str:
    """The name of the crew whose file it is."""
    return shoot.crew[0].name if shoot.crew else shoot.shoot.title[:LONGEST]


@dataclass
class _Event:
    """The event as it grows, by models; types by kind and name."""

    header: Header
    first: str
    own: bool
    lists: dict[str, list[Any]] = field(
        default_factory=lambda: {
            key: [] for key in ("crew", "site", "link", "other", "call", "permit", "contact", "run")
        }
    )
    types: dict[str, dict[str, Any]] = field(default_factory=lambda: {kind: {} for kind in KINDS})
    crews: dict[str, str] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)

    def document(self) -> dict[str, Any]:
        """What the shoot is made of."""
        return {"shoot": self.header, **{key: tuple(entries) for key, entries in self.lists.items()}, **self.types}

    def add(self, file: CrewFile) -> None:
        """Bring in a file. Raises InputError."""
        shoot = file.shoot
        if file.name == self.first and self.own:
            self._add_own(file)
            return
        self._check_header(file)
        crew = crew_of(shoot)
        if crew in self.crews:
            raise InputError(f'is of the crew "{crew}", as {self.crews[crew]} is; expected one file a crew')
        self.crews[crew] = file.name
        known = shoot.crew[0] if shoot.crew else None
        self.lists["crew"].append(known or _crew(crew, shoot))
        _Crew(self, file, crew).bring()

    def _add_own(self, file: CrewFile) -> None:
        """The event's own file: as it is."""
        shoot = file.shoot
        for key, entries in self.lists.items():
            entries += getattr(shoot, key)
        self.lists["site"] = [_with_paths(site, file.folder) for site in self.lists["site"]]
        for kind in KINDS:
            self.types[kind].update(getattr(shoot, kind))
        self.crews |= {crew.name: file.name for crew in shoot.crew if any(link.crew for link in shoot.link)}
        if any(crew.name not in self.crews for crew in shoot.crew):  # named in advance: their files are to come
            self.lists["crew"] = [crew for crew in shoot.crew if crew.name in self.crews]

    def _check_header(self, file: CrewFile) -> None:
        """Whether a crew's file can be of this event, and what of its header gives way. Raises InputError."""
        theirs, ours = file.shoot.shoot, self.header
        if theirs.region != ours.region:
            raise InputError(f'has the region "{theirs.region}"; {self.first} has "{ours.region}"')
        if theirs.timezone not in (None, ours.timezone):
            zone = ours.timezone or "the region's own"
            raise InputError(f'has the time zone "{theirs.timezone}"; {self.first} has {zone}: write times in one')
        if file.name == self.first:
            return
        more = [permit for permit in theirs.permits if permit not in ours.permits]
        if more:
            self.told.append(
                f"{file.name}: permits {together(more)} are not those of {self.first} and count for nobody; "
                "if the event holds them, add them there"
            )
        other = [key for key in OF_THE_EVENT if key in theirs.model_fields_set and _differ(theirs, ours, key)]
        if other:
            self.told.append(f"{file.name}: {together(other)} as in {self.first}, not as here")


@dataclass
class _Crew:
    """What one crew brings: new names by kind."""

    event: _Event
    file: CrewFile
    crew: str
    names: dict[str, dict[str, str]] = field(default_factory=dict)

    def bring(self) -> None:
        """Everything of the file, under its new names. Raises InputError."""
        shoot, lists = self.file.shoot, self.event.lists
        for kind in KINDS:
            self._types(kind)
        self.names["link"] = {link.name: self._called(link.name) for link in shoot.link}
        self._sites()
        lists["link"] += [self._link(link) for link in shoot.link]
        lists["call"] += self._calls()
        lists["other"] += self._others()
        lists["permit"] += [self._permit(permit) for permit in shoot.permit]
        lists["run"] += [self._run(run) for run in shoot.run]
        lists["contact"] += [
            contact.model_copy(update={"role": ": ".join(filter(None, (self.crew, contact.role)))[:LONGEST]})
            for contact in shoot.contact
        ]

    def _called(self, name: str) -> str:
        """A name with the crew's before it. Raises InputError where that is too long."""
        called = f"{self.crew}: {name}"
        if len(called) > LONGEST:
            raise InputError(f'"{called[:60]}..." is too long a name for the event; expected {LONGEST} characters')
        return called

    def _of(self, kind: str, name: str) -> str:
        return self.names.get(kind, {}).get(name, name)

    def _types(self, kind: str) -> None:
        """Types keep their name where it is free or means the same."""
        there, mine = self.event.types[kind], getattr(self.file.shoot, kind)
        names = self.names.setdefault(kind, {})
        for name, model in mine.items():
            taken = name in catalogue()[kind] or (name in there and there[name] != model)
            names[name] = self._called(name) if taken else name
            there[names[name]] = model

    def _sites(self) -> None:
        """The file's sites: those that are a place of the event become it, with the crew's spots beside its own."""
        sites, names = self.event.lists["site"], self.names.setdefault("site", {})
        mine = self.file.shoot.site or (default_site(),)
        there = {site.name: self._one_place(site) for site in mine}
        spots = self._spots(mine, there)
        self.names["spot"] = spots
        for site in mine:
            place = there[site.name]
            moved = self._moved(_with_paths(site, self.file.folder), place, spots)
            if place is None:
                taken = any(shoot_site.name == site.name for shoot_site in sites)
                names[site.name] = self._called(site.name) if taken else site.name
                sites.append(moved.model_copy(update={"name": names[site.name]}))
            else:
                names[site.name] = place.name
                sites[next(n for n, own in enumerate(sites) if own.name == place.name)] = self._joined(place, moved)

    def _one_place(self, site: Site) -> Site | None:
        """The site of the event that a crew's is. Raises InputError where its name is elsewhere."""
        named: list[Site] = [
            own_site for own_site in self.event.lists["site"] if own_site.name.casefold() == site.name.casefold()
        ]
        near: list[Site] = [
            own_site
            for own_site in self.event.lists["site"]
            if (away := away_m(own_site, site)) is not None and away <= ONE_PLACE_M
        ]
        if named:
            away = away_m(named[0], site)
            if away is not None and away > TWO_PLACES_M:
                raise InputError(
                    f'site "{site.name}" lies {away / 1000:.1f} km from the one of that name in the files before; '
                    "give one of them another name"
                )
            return named[0]
        return min(near, key=lambda listed: away_m(listed, site) or 0.0) if near else None

    def _spots(self, mine: Sequence[Site], there: Mapping[str, Site | None]) -> dict[str, str]:
        """Spots keep their name where the event has the same spot wherever the crew has it, or has none of them."""
        names: dict[str, str] = {}
        for name in dict.fromkeys(spot.name for site in mine for spot in site.spots):
            same = all(
                same_spot(site, there[site.name], name)
                for site in mine
                if any(spot.name == name for spot in site.spots)
            )
            names[name] = name if same else self._called(name)
        return names

    def _moved(self, site: Site, place: Site | None, spots: Mapping[str, str]) -> Site:
        """A crew's site with its spots where the event's site has its origin, and all names new."""
        east_m, north_m = (0.0, 0.0) if place is None else offset_m(place, site)
        moved = tuple(
            spot.model_copy(update={"name": spots[spot.name], "x_m": spot.x_m + east_m, "y_m": spot.y_m + north_m})
            for spot in site.spots
        )
        levels = tuple(
            level.model_copy(
                update={
                    "link": self._of("link", self._of("transmitter", level.link)),
                    "spot": spots.get(level.spot, level.spot),
                }
            )
            for level in site.measured_level
        )
        antennas = tuple(
            antenna.model_copy(update={"at": spots.get(antenna.at, antenna.at)}) for antenna in site.antennas
        )
        return _set(site, spots=moved, measured_level=levels, antennas=antennas)

    def _joined(self, place: Site, mine: Site) -> Site:
        """The event's site with what a crew knows of it."""
        known = {spot.name for spot in place.spots}
        joined: dict[str, Any] = {
            "spots": (*place.spots, *(spot for spot in mine.spots if spot.name not in known)),
            "measured_level": (*place.measured_level, *mine.measured_level),
            "tv": tuple(dict.fromkeys((*place.tv, *mine.tv))),
            "sweeps": tuple(dict.fromkeys((*place.sweeps, *mine.sweeps))),
        }
        given_up = [
            key
            for key in (*OF_THE_PLACE, "surroundings")
            if key in mine.model_fields_set and _differ(mine, place, key)
        ]
        if given_up:
            self.event.told.append(
                f"{self.file.name}: {together(given_up)} of {place.name} as the files before have it, not as here"
            )
        return _set(place, **joined)

    def _end(self, end: Any) -> Any:
        """One end of a link under new names."""
        kind = "transmitter" if type(end).__name__ == "EndTable" else "receiver"
        new: dict[str, Any] = {"kit": self._of(kind, end.kit)} if end.kit is not None else {}
        new |= {"at": self._of("spot", end.at)} if end.at is not None else {}
        new |= {"route": tuple(self._of("spot", spot) for spot in end.route)} if end.route else {}
        return end.model_copy(update=new)

    def _link(self, link: Link) -> Link:
        header, ours = self.file.shoot.shoot, self.event.header
        new: dict[str, Any] = {"name": self._of("link", link.name), "crew": self.crew}
        for kind in KINDS:
            if getattr(link, kind) is not None:
                new[kind] = self._of(kind, getattr(link, kind))
        if link.at is not None:
            new["at"] = self._of("spot", link.at)
        if link.route:
            new["route"] = tuple(self._of("spot", spot) for spot in link.route)
        if link.transmit is not None:
            new["transmit"] = self._end(link.transmit)
        if link.receive:
            new["receive"] = tuple(self._end(end) for end in link.receive)
        if link.block is not None:
            new["block"] = self._called(link.block)
        for wish in WISHES:
            if getattr(link, wish) is None and _differ(header, ours, wish):
                new[wish] = getattr(header, wish)
        return _renamed(link, new)

    def _calls(self) -> Iterator[Any]:
        """The crew's calls, each with its site, its day and its links told."""
        shoot = self.file.shoot
        every = tuple(self.names["link"].values())
        first = (shoot.site or (default_site(),))[0].name
        day: dict[str, datetime.date] = (
            {"date": shoot.shoot.date} if shoot.shoot.date != self.event.header.date else {}
        )
        if not shoot.call and every:
            whole = {"name": self._called("whole shoot"), "crew": self.crew, "links": every, **day}
            yield _call({**whole, "site": self._of("site", first)})
        for call in shoot.call:
            new = {
                "name": self._called(call.name),
                "crew": self.crew,
                "site": self._of("site", call.site or first),
                "links": tuple(self._of("link", name) for name in call.links) or every,
                **(day if call.date is None else {}),
            }
            yield call.model_copy(update=new)

    def _others(self) -> Iterator[Any]:
        """Others that nobody told of before: of one carrier on one site at one time there is one."""
        first = (self.file.shoot.site or (default_site(),))[0].name
        known = {_heard(other, other.site) for other in self.event.lists["other"]}
        for other in self.file.shoot.other:
            site = self._of("site", other.site or first)
            if _heard(other, site) not in known:
                yield other.model_copy(update={"name": self._called(other.name), "site": site})

    def _permit(self, permit: Any) -> Any:
        """A licence of the crew, for the crew's links alone."""
        mine = tuple(self._of("link", name) for name in permit.links) or tuple(self.names["link"].values())
        return permit.model_copy(update={"name": self._called(permit.name), "links": mine})

    def _run(self, run: Any) -> Any:
        new = {"transmitter": self._of("transmitter", run.transmitter)}
        new |= {"microphone": self._of("microphone", run.microphone)} if run.microphone is not None else {}
        new |= {"link": self._of("link", run.link)} if run.link is not None else {}
        return run.model_copy(update=new)


def _renamed(link: Link, new: Mapping[str, Any]) -> Link:
    """The link with some fields new: checked again, as what it has worked out of the old ones goes."""
    return Link.model_validate({**{key: getattr(link, key) for key in link.model_fields_set}, **new})


def _crew(name: str, shoot: Shoot) -> Any:
    """A crew that its file does not name, with whom it says to call first."""
    from linkwright.shoot.models import Crew

    contact = next(iter(shoot.contact), None)
    said = {} if contact is None else {"contact": contact.name, "phone": contact.phone, "email": contact.email}
    return Crew.model_validate({"name": name, **{key: value for key, value in said.items() if value is not None}})


def _call(given: Mapping[str, Any]) -> Any:
    from linkwright.shoot.models import Call

    return Call.model_validate(given)


def _set(site: Site, **values: Any) -> Site:
    """The site with those of the values that say something, or that it said before."""
    return site.model_copy(update={key: v for key, v in values.items() if v or getattr(site, key)})


def _differ(theirs: Any, ours: Any, key: str) -> bool:
    return bool(getattr(theirs, key) != getattr(ours, key))


def _heard(other: Any, site: str | None) -> tuple[object, ...]:
    """What makes two others one."""
    return other.band_khz, site, other.date, other.on_from, other.on_to


def _with_paths(site: Site, folder: str) -> Site:
    """A site whose files are named from where the command runs."""

    def moved(path: str) -> str:
        return str(PurePath(folder) / path)

    new: dict[str, Any] = {"sweeps": tuple(map(moved, site.sweeps))} if site.sweeps else {}
    for key in ("measured", "stations"):
        if getattr(site, key) is not None:
            new[key] = moved(getattr(site, key))
    return site.model_copy(update=new)

"""A shoot is begun: where, when, who, with what, as a commented file that plans."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from linkwright.desk.bag import Outfit, class_item, class_named, outfits, tune_together
from linkwright.desk.form.fields import inline
from linkwright.plan.tuning import slots_khz
from linkwright.rules import allowance, check_ids, check_permits, licence_text, misfit, place_of, territory
from linkwright.shoot.bag import Bag, Item, section
from linkwright.shoot.catalogue import called, catalogue_names
from linkwright.shoot.clock import Chosen, chosen
from linkwright.shoot.equipment import Transmitter
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.place import Surroundings
from linkwright.shoot.reading import judge
from linkwright.shoot.zones import named
from linkwright.units import together

#: How zones are known, for the file.
KNOWN: Final = {
    "said": "as you said",
    "region": "the one that the region has",
    "place": "of those of the region the nearest to the place",
}
#: From this hour on, what is begun is for tomorrow.
EVENING: Final = 18
#: Remarks begin in this column.
REMARKS_AT: Final = 40
#: A class serves where so much of what it tunes may be used.
SERVES: Final = 0.9


@dataclass(frozen=True, slots=True)
class Outset:
    """What is asked before the first plan; `kit` are items of the bag or classes in words, none: all of the bag."""

    title: str
    where: str
    region: str
    date: datetime.date
    who: tuple[str, ...]
    kit: tuple[str, ...] = ()
    permits: tuple[str, ...] = ()
    at: tuple[float, float] | None = None
    surroundings: Surroundings = "open"
    within_m: float | None = None
    hours: tuple[datetime.time, datetime.time] | None = None
    timezone: str | None = None


@dataclass(frozen=True, slots=True)
class Begun:
    """The text of the shoot, its zone, who has what, and sentences on those who have nothing."""

    text: str
    zone: Chosen
    outfits: tuple[Outfit, ...]
    lacking: tuple[str, ...]


def usual_day(now: datetime.datetime) -> datetime.date:
    """Today, in the evening tomorrow."""
    return now.date() + datetime.timedelta(days=now.hour >= EVENING)


def begin(outset: Outset, bag: Bag) -> Begun:
    """A shoot for what was asked, with what the bag has. Raises InputError."""
    check_permits(territory(outset.region), outset.permits)
    zone = zone_of(outset)
    given, lacking = outfits(outset.who, _pool(outset, bag))
    if not given:
        raise InputError(f"nobody gets anything: {' '.join(lacking) or 'no name was given'}")
    licences, told = permits_for(outset, bag, zone)
    lacking += told
    text = _text(replace(outset, timezone=str(zone.zone)), zone, given, lacking, bag)
    return Begun("\n".join([text, *map(section, licences)]), zone, tuple(given), tuple(lacking))


def permits_for(outset: Outset, bag: Bag, zone: Chosen, of: str = "the bag") -> tuple[list[PermitHeld], list[str]]:
    """The licences of the bag that hold there and then, and sentences on those that do not, or perhaps do not.

    Of one whose place cannot be compared nobody knows: it comes along, and holds once the site has its position.
    """
    permits, told = [], []
    for permit in bag.permit:
        why = misfit(permit, outset.region, outset.at, outset.date, zone.zone)
        mine = tuple(name for name in permit.links if name in outset.who)
        if permit.links and not mine:
            why = f"it is for {together(permit.links)} alone"
        try:
            check_ids(territory(outset.region), permit.outranks, "it outranks")
        except InputError as error:
            why = error.says
        if why:
            told.append(f"{licence_text(permit)} of {of} is left out: {why}.")
            continue
        if permit.place is not None and outset.at is None:
            told.append(
                f"{licence_text(permit)} may not hold here: {place_of(permit)}, and where this is was not said."
            )
        permits.append(permit.model_copy(update={"links": mine}) if permit.links else permit)
    return permits, told


def zone_of(outset: Outset) -> Chosen:
    """The time zone of a place. Raises InputError where the region has several and nothing says which."""
    site = {"name": outset.where} | (
        {} if outset.at is None else dict(zip(("latitude", "longitude"), outset.at, strict=True))
    )
    header = {"title": outset.title, "region": outset.region, "date": outset.date}
    if outset.timezone is not None:
        header["timezone"] = outset.timezone
    stand_in = {
        "name": "-",
        "transmitter": catalogue_names("transmitter")[0],
        "receiver": catalogue_names("receiver")[0],
    }
    shoot, problems = judge({"shoot": header, "site": [site], "link": [stand_in]})
    if not isinstance(shoot, Shoot) or problems:
        raise InputError("; ".join(problem.says for problem in problems))
    zone = chosen(shoot)
    if zone.how == "unknown":
        several = named(outset.region)
        which = f"{outset.region} has {several}" if several else f"none is known of {outset.region}"
        raise InputError(f"say which time zone it is in, or where the place is: {which}")
    return zone


def _pool(outset: Outset, bag: Bag) -> Bag:
    """What the links may be given: what was named, else all of the bag; what it lacks comes from the catalogue."""
    everybody = len(outset.who)
    picked = [bag.named(words) or class_item(class_named(words)) for words in outset.kit] or list(bag.item)
    if not any(item.kind == "transmitter" for item in picked):
        picked.append(class_item(fitting(outset)))
    items = [_as_many(item, everybody, bag) for item in picked]
    if not any(item.kind == "receiver" for item in items):
        items += bag.of("receiver")
    sends = [item for item in items if item.kind == "transmitter"]
    for pack in sends:
        if not any(tune_together(pack, item) for item in items):
            ears = (class_item(name) for name in catalogue_names("receiver"))
            items += [_as_many(item, everybody, bag) for item in ears if tune_together(pack, item)][:1]
    return Bag(item=tuple(items))


def _as_many(item: Item, count: int, bag: Bag) -> Item:
    """As many of a class as there are names; of an item of the bag no more than it has."""
    return item if bag.named(item.name) else item.model_copy(update={"count": count})


def fitting(outset: Outset) -> str:
    """The class of body-worn transmitter most of whose carriers may be used there. Raises InputError."""
    region = territory(outset.region)
    held = check_permits(region, outset.permits)
    usable: dict[str, int] = {}
    for name in catalogue_names("transmitter"):
        of = Transmitter.model_validate({"use": name})
        if of.form != "body-worn" or of.coordinates_itself:
            continue
        carriers = slots_khz(of.tunes_khz, of.raster_khz)
        allowed = allowance(
            region, held, carriers, of.bandwidth_khz, of.form, of.antenna_gain_dbi, outset.date
        ).most_mw >= min(of.powers_mw)
        if allowed.mean() >= SERVES:
            usable[name] = int(allowed.sum())
    if not usable:
        permits = "; ".join(f"{permit.id}: {permit.name}" for permit in region.permits)
        raise InputError(
            f"no class of the catalogue may be used there without a permit; {region.name} knows {permits}"
        )
    return max(usable, key=lambda name: usable[name])


def reference(item: Item, bag: Bag) -> str:
    """What a link calls an item: its name in the bag, or its class in words."""
    return item.name if bag.named(item.name) or item.equipment.use is None else called(item.equipment.use)


def _text(outset: Outset, zone: Chosen, given: Sequence[Outfit], lacking: Sequence[str], bag: Bag) -> str:
    parts = [_header(outset, zone, lacking), _site(outset)]
    items = [item for outfit in given for item in (outfit.transmitter, outfit.receiver, outfit.microphone) if item]
    of_the_bag = list(dict.fromkeys(item.name for item in items if bag.named(item.name)))
    if of_the_bag:
        about = "# What of the bag is used, as it is on this day: the file stays whole by itself."
        written = (item for item in bag.item if item.name in of_the_bag)
        parts.append("\n".join([about, *(section(item) for item in written)]).rstrip() + "\n")
    parts += [_link(outset, outfit, bag) for outfit in given]
    if outset.hours is not None:
        parts.append(_call(outset.hours, given))
    return "\n".join(parts)


def _header(outset: Outset, zone: Chosen, lacking: Iterable[str]) -> str:
    return "\n".join(
        [
            "# Begun by `linkwright new`. `linkwright plan` plans it, `linkwright check` judges it without.",
            "# Every key is in docs/reference.md. What stands behind a # is not used: take the # away to use it.",
            *(f"# {says}" for says in lacking),
            "",
            "[shoot]",
            f"title = {inline(outset.title)}",
            _remarked(f"region = {inline(outset.region)}", "whose rules apply"),
            _remarked(f"permits = {inline(list(outset.permits))}", "those that you hold; none: exempt use only"),
            f"date = {outset.date.isoformat()}",
            _remarked(f"timezone = {inline(str(zone.zone))}", KNOWN[zone.how]),
            "",
        ]
    )


def _remarked(line: str, remark: str) -> str:
    return f"{line:<{REMARKS_AT}} # {remark}"


def _site(outset: Outset) -> str:
    latitude, longitude = outset.at or (0.0, 0.0)
    off = "# " if outset.at is None else ""
    known = "degrees north, WGS 84: TV, protected places and the time zone go by it"
    return "\n".join(
        [
            "[[site]]",
            f"name = {inline(outset.where)}",
            _remarked(f"{off}latitude = {latitude}", known),
            f"{off}longitude = {longitude}",
            _remarked(f"surroundings = {inline(outset.surroundings)}", "open, street, residential, office or hall"),
            _remarked('# tv = ["21", "24"]', "TV channels that are on the air there"),
            _remarked('# sweeps = ["sweep.csv"]', "what your receiver or analyzer swept there"),
            "# spots = [   # metres; without them people go as far as the links say",
            '#   { name = "Camera", x_m = 0, y_m = 0 },',
            '#   { name = "Door", x_m = 20, y_m = 5 },',
            "# ]",
            "",
        ]
    )


def _link(outset: Outset, outfit: Outfit, bag: Bag) -> str:
    away = "# within_m = 30" if outset.within_m is None else f"within_m = {outset.within_m:g}"
    sends, hears, picks = outfit.transmitter, outfit.receiver, outfit.microphone
    lines = [
        "[[link]]",
        f"name = {inline(outfit.name)}",
        f"transmitter = {inline(reference(sends, bag))}",
        f"receiver = {inline(reference(hears, bag))}",
        *([] if picks is None else [f"microphone = {inline(reference(picks, bag))}"]),
        _remarked(away, "how far the talent goes from the receiver, in metres"),
        "",
    ]
    return "\n".join(lines)


def _call(hours: tuple[datetime.time, datetime.time], given: Sequence[Outfit]) -> str:
    lines = [
        "[[call]]",
        'name = "Day"',
        f"from = {hours[0]:%H:%M:%S}",
        f"to = {hours[1]:%H:%M:%S}",
        f"links = {inline([outfit.name for outfit in given])}",
        _remarked("# breaks = [{ from = 13:00:00, to = 13:45:00 }]", "cells are changed in them"),
        "",
    ]
    return "\n".join(lines)

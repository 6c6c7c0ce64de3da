"""What was learnt of a place: put together out of the day, kept when somebody asks for it, offered near there."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeGuard

import numpy as np

from linkwright.desk.answers import answers_of
from linkwright.desk.day import CHANGED, planned_day
from linkwright.desk.files import MOST_UPLOAD
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.wrap_run import site_spans
from linkwright.lengths import hours
from linkwright.plan.chain import Scene
from linkwright.reach.day_levels import DayLevels, learn_from_day
from linkwright.reach.ground import along_route
from linkwright.reach.path import xyz
from linkwright.shoot.catalogue import called
from linkwright.shoot.errors import InputError
from linkwright.shoot.kept_place import KeptCarrier, KeptPlace
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Site
from linkwright.shoot.times import Run
from linkwright.store import Draft, LoggedChange, Store
from linkwright.store.placebook import NearPlace, PlaceBook
from linkwright.watch.diagnose.answers import counted
from linkwright.watch.diagnose.causes import words_of
from linkwright.watch.figures.statistics import LinkFigures

#: Steps of a route that levels are compared along.
STEPS: Final = 120
#: A run of cells that is logged lasted at least so long and at most so long [h].
SHORTEST_H, LONGEST_H = 0.1, 48.0
#: A link tells something of a site from so many readings on.
LEAST_READINGS: Final = 100
MOST_CARRIERS: Final = 500


@dataclass(frozen=True, slots=True)
class Learning:
    """What was learnt of a site: in sentences, as it would be kept, and why it cannot be, if so."""

    site: str
    says: tuple[str, ...]
    place: KeptPlace | None
    because: str = ""


def learnings(store: Store, snapshot: Snapshot, by_site: Mapping[str, Sequence[LinkFigures]]) -> list[Learning]:
    """What was learnt of each site of the shoot; nothing while there is none that can be worked with."""
    shoot, scene = snapshot.shoot, snapshot.scene
    if shoot is None or scene is None:
        return []
    lessons = []
    runs, spans = runs_of(store, snapshot, shoot), site_spans(snapshot)
    for site in scene.used_sites:
        learnt, how = _reach(snapshot, site, by_site.get(site.name, ()), shoot)
        tv, carriers = _air(scene, site)
        mine = tuple(run for run in runs if run.link is None or run.link in _links_on(scene, site))
        causes = _confirmed(store, spans, site)
        says = [
            *_reach_says(site, learnt, how),
            *_air_says(site, tv, carriers),
            *_run_says(mine),
            *_causes_say(site, causes),
        ]
        if not says:
            continue
        if site.latitude is None or site.longitude is None:
            because = f"give {site.name} its position on the page Shoot, and it can be kept"
            lessons.append(Learning(site.name, tuple(says), None, because))
            continue
        place = KeptPlace(
            name=site.name, shoot=shoot.shoot.title[:200], date=shoot.shoot.date, latitude=site.latitude,
            longitude=site.longitude, surroundings=site.surroundings, tv=tv, carriers=carriers,
            spots=site.spots, walls=site.walls, floors=site.floors, materials=site.materials,
            notes=tuple(say[:500] for say in says), learnt=learnt, run=mine[:200], causes=causes,
        )  # fmt: skip
        lessons.append(Learning(site.name, tuple(says), place))
    return lessons


def _links_on(scene: Scene, site: Site) -> set[str]:
    return {link.name for call in scene.calls_on(site) for link in call.links}


def _reach(
    snapshot: Snapshot, site: Site, figures: Sequence[LinkFigures], shoot: Shoot
) -> tuple[Learnt | None, str]:
    """What is known of a site's reach, and from what: a walk test if there is one, else the day's levels."""
    if site.learnt is not None:
        return site.learnt, "from a walk test" if site.learnt.link else "from an earlier day"
    by_link = {figure.link: figure for figure in figures if figure.readings >= LEAST_READINGS}
    made = snapshot.made
    if made is None or not by_link:
        return None, ""
    from linkwright.plan.coverage import reaching

    links: dict[str, DayLevels] = {}
    then = made.names.name_of(snapshot.names.id_of("site", site.name))
    for call in (planned for planned in made.plan.calls if planned.site == then):
        for reached in reaching(made.scene, call):
            seen = by_link.get(snapshot.names.name_of(made.names.id_of("link", reached.planned.link)))
            levels = [] if seen is None else [seen.a.median_dbm, seen.b.median_dbm]
            best = max((level for level in levels if level is not None), default=None)
            if seen is None or best is None:
                continue
            work = reached.at_work
            way = along_route(work, STEPS)
            at = xyz((reached.chain.at,))[0]
            away = np.hypot(way.x_m - at[0], way.y_m - at[1])
            links[work.name] = DayLevels(
                work.name, way.level_dbm, np.maximum(away, 1.0), best, seen.readings, work.mhz
            )
    return learn_from_day(
        site.name, list(links.values()), shoot.shoot.date
    ), f"from the day's levels of {len(links)}"


def _reach_says(site: Site, learnt: Learnt | None, how: str) -> list[str]:
    if learnt is None:
        return []
    where = "better" if learnt.offset_db >= 0 else "worse"
    links = " link" + ("" if how.endswith(" 1") else "s") if how.startswith("from the day") else ""
    return [
        f"{site.name} reaches {abs(learnt.offset_db):.1f} dB {where} than its model "
        f"(90 %: {_signed(learnt.offset_low_db)} to {_signed(learnt.offset_high_db)} dB), {how}{links}."
    ]


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "\N{MINUS SIGN}")


def _air(scene: Scene, site: Site) -> tuple[tuple[str, ...], tuple[KeptCarrier, ...]]:
    """TV channels and carriers that the site's sweeps found, and TV that was typed."""
    survey = None if site.name not in scene.air else scene.air[site.name].survey
    tv = dict.fromkeys(site.tv)
    carriers: list[KeptCarrier] = []
    if survey is not None:
        tv |= dict.fromkeys(channel.channel for channel in survey.tv)
        carriers = [
            KeptCarrier(
                centre_mhz=round(carrier.centre_khz) / 1000.0,
                bandwidth_khz=round(max(1.0, min(1e5, carrier.bandwidth_khz)), 1),
                duty=round(min(1.0, max(0.0, carrier.duty)), 3),
            )
            for carrier in survey.carriers[:MOST_CARRIERS]
        ]
    return tuple(tv), tuple(carriers)


def _air_says(site: Site, tv: Sequence[str], carriers: Sequence[KeptCarrier]) -> list[str]:
    sweeps = len(site.sweeps)
    if not sweeps:
        return []
    shown = f"TV on {', '.join(tv)}" if tv else "no TV"
    many = f"{sweeps} sweeps" if sweeps > 1 else "one sweep"
    others = f"{len(carriers) or 'no'} other carrier{'' if len(carriers) == 1 else 's'}"
    return [f"The air at {site.name}, by {many}: {shown}, {others}."]


def _run_says(runs: Sequence[Run]) -> list[str]:
    return [
        f"A set of {run.link or called(run.transmitter)} lasted {hours(run.ran_h)} at {run.power_mw:g} mW."
        for run in runs
    ]


def _confirmed(store: Store, spans: Sequence[tuple[str, int, int]], site: Site) -> dict[str, int]:
    """How often each cause was confirmed while a site was worked at; of a job with one site all of them."""
    answers = answers_of(store)
    if len({name for name, _, _ in spans}) > 1:
        mine = [(a, b) for name, a, b in spans if name == site.name]
        answers = tuple(answer for answer in answers if any(a <= answer.from_ns // 1_000_000 <= b for a, b in mine))
    return dict(sorted(counted(answers).items()))


def _causes_say(site: Site, causes: Mapping[str, int]) -> list[str]:
    told = ", ".join(
        f"{words_of(cause)} ({many})" for cause, many in sorted(causes.items(), key=lambda pair: -pair[1])
    )
    return [f"Confirmed at {site.name}: {told}; the watch takes them for likelier there."] if told else []


def confirmed_near(draft: Draft, book: PlaceBook) -> Counter[str]:
    """How often each cause was confirmed on other days near the sites of the shoot."""
    kept = {offer.known.id: offer.known.place.causes for offer in offers(draft, book)}
    return sum((Counter(causes) for causes in kept.values()), Counter())


def runs_of(store: Store, snapshot: Snapshot, shoot: Shoot) -> tuple[Run, ...]:
    """How long sets of cells lasted: those of the shoot, and those that were changed because they had run out."""
    known = planned_day(snapshot, shoot).transmitters
    links = {link.name: link for link in shoot.link}
    runs = list(shoot.run)
    since: dict[str, datetime.datetime] = {}
    for happening in store.happenings(kinds=[CHANGED]):
        if happening.data.get("listener"):
            continue
        name = snapshot.names.name_of(snapshot.names.id_of("link", happening.about))
        before, since[name] = since.get(name), happening.when
        if before is None or not happening.data.get("empty") or name not in links or name not in known:
            continue
        ran_h = round((happening.when - before).total_seconds() / 3600.0, 2)
        if SHORTEST_H <= ran_h <= LONGEST_H:
            link, day = links[name], known[name]
            run = Run(
                transmitter=link.sends.kit, ran_h=ran_h, power_mw=day.power_mw, temperature_c=day.temperature_c,
                microphone=link.microphone, link=link.name,
            )  # fmt: skip
            if run not in runs:
                runs.append(run)
    return tuple(runs)


def keep(store: Store, snapshot: Snapshot, book: PlaceBook, learning: Learning) -> str:
    """Keep what was learnt of a site, with its sweeps; in a sentence where. Raises InputError."""
    shoot = snapshot.shoot
    if learning.place is None or shoot is None:
        raise InputError(learning.because or "nothing was learnt of this site yet")
    site = next(site for site in shoot.site if site.name == learning.site)
    by_name = {attachment.name: attachment for attachment in store.attachment_list()}
    sweeps = {name: store.attachment(by_name[name].id) for name in site.sweeps if name in by_name}
    id_ = book.keep(learning.place, sweeps)
    return (
        f"What was learnt of {learning.site} is kept in {book.folder / id_}.toml; it is offered when you are near."
    )


@dataclass(frozen=True, slots=True)
class Offer:
    """A kept place near a site of the shoot: the site's id and name, the place, and the sentence."""

    site_id: str
    site: str
    known: NearPlace
    says: str


def offers(draft: Draft, book: PlaceBook) -> list[Offer]:
    """Kept places near the sites of the shoot, those of other days."""
    header = draft.document.get("shoot")
    own = (header.get("title"), str(header.get("date"))) if isinstance(header, dict) else (None, "")
    places = []
    for id_, site in draft.entries("site"):
        latitude, longitude = site.get("latitude"), site.get("longitude")
        if not (_is_degrees(latitude, 90.0) and _is_degrees(longitude, 180.0)):
            continue
        for known in book.near(float(latitude), float(longitude)):
            place = known.place
            if (place.shoot, place.date.isoformat()) == own:
                continue
            parts = (
                ("reach", place.learnt),
                ("sweeps", place.sweeps),
                ("run times", place.run),
                ("causes", place.causes),
            )
            holds = [word for word, there in parts if there]
            name = site.get("name") or "the site"
            says = (
                f"{name} is {_metres(known.away_km)} from {place.name}, where you were on {place.date:%-d %B %Y}: "
                f"{_and(holds) or 'notes'} can be taken over."
            )
            places.append(Offer(id_, str(name), known, says))
    return places


def take_over(
    store: Store, snapshot: Snapshot, book: PlaceBook, site_id: str, place_id: str, who: str
) -> LoggedChange | None:
    """A kept place into a site of the job: one edit, to be undone. Raises InputError."""
    document = snapshot.document
    ids = [id_ for id_, _ in document.draft.entries("site")]
    if site_id not in ids:
        raise InputError("this site is not in the shoot any more; load the page again")
    whole = document.draft.copied().document
    bring(store, book, place_id, whole, ids.index(site_id), who)
    return store.replace(whole, who, seen_revision=document.revision)


def bring(store: Store, book: PlaceBook, place_id: str, whole: dict[str, Any], number: int, who: str) -> None:
    """A kept place's reach, sweeps, TV and run times into a site of a document; its position, spots and walls where
    the site has none. Its sweeps are attached to the job. Raises InputError."""
    place = book.place(place_id)
    there = {attachment.name for attachment in store.attachment_list()}
    names = []
    for kept in place.sweeps:
        name = f"{place.date.isoformat()} {kept}"
        if name not in there:
            store.attach(name, book.sweep(place_id, kept), who, most_bytes=MOST_UPLOAD, kind="sweeps")
        names.append(name)
    site, outline = whole["site"][number], place.model_dump(mode="json", exclude_none=True, by_alias=True)
    if "latitude" not in site and "longitude" not in site:
        site |= {"latitude": place.latitude, "longitude": place.longitude}
    for key in ("spots", "walls", "floors", "materials"):
        if outline[key] and not site.get(key):
            site[key] = outline[key]
    if place.learnt is not None:
        site["learnt"] = place.learnt.model_dump(mode="json", exclude_none=True)
    for key, values in (("sweeps", names), ("tv", list(place.tv))):
        merged = list(dict.fromkeys([*(site.get(key) or []), *values]))
        if merged:
            site[key] = merged
    runs = [run.model_dump(mode="json", exclude_none=True, exclude_defaults=True) for run in place.run]
    types = set(whole.get("transmitter") or {})
    fresh = [run for run in runs if run not in (whole.get("run") or []) and run["transmitter"] in types]
    if fresh:
        whole["run"] = [*(whole.get("run") or []), *fresh]


def _is_degrees(value: Any, most: float) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and -most <= value <= most


def _metres(away_km: float) -> str:
    return f"{round(1000 * away_km, -1):.0f} m" if away_km < 0.995 else f"{away_km:.1f} km"


def _and(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)

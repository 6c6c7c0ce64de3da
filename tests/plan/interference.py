"""Cases of interference on a simulated event, planted from a seed: what is really on, what receivers hear of it.

Its own world: positions from the shoot, levels by a path loss with two slopes and shadowing of its own, products
from the power series of a receiver. With what looks for the culprit it shares the shoot and the plan alone.
"""

from __future__ import annotations

import datetime
import itertools
import math
from dataclasses import dataclass, field

import numpy as np

from linkwright.plan.model import Plan
from linkwright.shoot.models import Call, Shoot
from linkwright.shoot.place import Site

KINDS = ("distant", "hour", "product", "tv", "stranger", "near", "spare")
NOISE_DBM = -115.0
IIP3_DBM = -5.0
WIDTH_KHZ = 200
BROKEN_DBM = -101.0
HEARS_DBM = -106.0


@dataclass(frozen=True)
class On:
    """A transmitter that is really on."""

    name: str
    carrier_khz: int
    east_m: float
    north_m: float
    dbm: float


@dataclass
class World:
    """What is on at the moment, where the broken receiver is, and who is really to blame."""

    kind: str
    site: str
    carrier_khz: int
    since: datetime.datetime
    culprit: tuple[str, ...]
    on: list[On]
    victim: str
    at: tuple[float, float]
    places: dict[str, tuple[float, float]]
    rng_seed: int
    tv: dict[str, float] = field(default_factory=dict)

    def loss_db(self, name: str, a: tuple[float, float], b: tuple[float, float]) -> float:
        """Two slopes, 2 to 40 m and 3.2 beyond, and shadowing that belongs to the pair."""
        d = max(math.dist(a, b), 1.0)
        mean = 28.0 + 20.0 * math.log10(min(d, 40.0)) + 32.0 * math.log10(max(d, 40.0) / 40.0)
        draw = np.random.default_rng([self.rng_seed, *name.encode(), int(abs(b[0])), int(abs(b[1]))])
        return mean + 4.0 + float(draw.normal(0.0, 5.0))

    def heard(self, at: tuple[float, float], off: frozenset[str] = frozenset()) -> dict[str, float]:
        """What everybody who is on brings at a place [dBm], the victim's own left out."""
        return {
            one.name: one.dbm - self.loss_db(one.name, (one.east_m, one.north_m), at)
            for one in self.on
            if one.name not in off and one.name != self.victim
        }

    def in_filter_dbm(self, at: tuple[float, float], off: frozenset[str] = frozenset()) -> float:
        """What falls into the broken link's channel at a place: carriers, products of the strongest, blocking."""
        heard, khz = self.heard(at, off), {one.name: one.carrier_khz for one in self.on}
        total = 10 ** (NOISE_DBM / 10)
        for name, dbm in heard.items():
            if abs(khz[name] - self.carrier_khz) < WIDTH_KHZ:
                total += 10 ** (dbm / 10)
        strong = sorted(heard, key=lambda name: -heard[name])[:30]
        limited = {name: min(heard[name], IIP3_DBM - 3.0) for name in strong}
        for a, b in itertools.permutations(strong, 2):
            if abs(2 * khz[a] - khz[b] - self.carrier_khz) < WIDTH_KHZ:
                total += 10 ** ((2 * limited[a] + limited[b] - 2 * IIP3_DBM - 5.0) / 10)
        for a, b in itertools.combinations(strong, 2):
            for c in strong:
                if c not in (a, b) and abs(khz[a] + khz[b] - khz[c] - self.carrier_khz) < WIDTH_KHZ:
                    total += 10 ** ((limited[a] + limited[b] + limited[c] - 2 * IIP3_DBM + 1.0) / 10)
        for dbm in heard.values():
            if dbm > -28.0:  # desensitised
                total += 10 ** ((dbm - 70.0) / 10)
        return 10 * math.log10(total)

    def broken(self, off: frozenset[str] = frozenset()) -> bool:
        """Whether the link is broken, with some transmitters off."""
        level = self.in_filter_dbm(self.at, off)
        return max(level, self.tv.get(self.site, -200.0)) > BROKEN_DBM

    def readings_dbm(self) -> dict[str, float | None]:
        """What receivers read on the carrier here and at the two nearest sites."""
        order = sorted(self.places, key=lambda name: math.dist(self.places[name], self.at))
        found: dict[str, float | None] = {}
        for name in order[:3]:
            at = self.at if name == self.site else self.places[name]
            dbm = max(self.in_filter_dbm(at), self.tv.get(name, -200.0))
            found[name] = round(dbm, 0) if dbm > HEARS_DBM else None
        return found


def origin_of(site: Site) -> tuple[float, float]:
    """Where a site lies on a plane [m]."""
    assert site.latitude is not None
    assert site.longitude is not None
    return (site.longitude + 1.0) * 111_320.0 * math.cos(math.radians(51.0)), (site.latitude - 51.0) * 111_320.0


def planted(shoot: Shoot, plan: Plan, seed: int) -> World:
    """A case in which something is broken because of one thing, of a kind by the seed."""
    kind = KINDS[(seed // 2) % len(KINDS)]
    for attempt in range(400):
        world = _tried(shoot, plan, kind, np.random.default_rng([seed, attempt]), seed)
        if world is not None and world.broken():
            blame = frozenset(world.culprit)
            if kind in ("tv", "stranger") or not world.broken(blame):
                return world
    raise AssertionError(f"no case of kind {kind} for seed {seed}")


def _tried(shoot: Shoot, plan: Plan, kind: str, rng: np.random.Generator, seed: int) -> World | None:
    links, sites = {link.name: link for link in shoot.link}, {site.name: site for site in shoot.site}
    planned = {call.call: call for call in plan.calls}
    call = shoot.call[int(rng.integers(len(shoot.call)))]
    assert call.starts is not None
    assert call.date is not None
    since = datetime.datetime.combine(call.date, call.starts, ZONE) + datetime.timedelta(minutes=70)

    def on_now(one: Call) -> bool:
        assert one.date is not None and one.starts is not None and one.ends is not None  # noqa: PT018
        begins, ends = (datetime.datetime.combine(one.date, at, ZONE) for at in (one.starts, one.ends))
        return begins <= since < ends

    def stands(one: Call, link: str, khz: int, mw: float) -> On:
        site = sites[one.site or ""]
        spot = next(spot for spot in site.spots if spot.name == links[link].route[0])
        x, y = origin_of(site)
        return On(link, khz, x + spot.x_m, y + spot.y_m, 10 * math.log10(mw) - 6.0)

    now = [one for one in shoot.call if on_now(one)]
    on = [stands(one, p.link, p.carrier_khz, p.power_mw) for one in now for p in planned[one.name].links]
    mine = planned[call.name].links
    if call not in now or not mine:
        return None
    victim = mine[int(rng.integers(len(mine)))]
    site = sites[call.site or ""]
    spot = next(spot for spot in site.spots if spot.name == links[victim.link].at)
    x, y = origin_of(site)
    places = {one.name: origin_of(one) for one in shoot.site if any(c.site == one.name for c in now)}
    world = World(
        kind, site.name, victim.carrier_khz, since, (), on, victim.link, (x + spot.x_m, y + spot.y_m), places, seed
    )
    if world.broken():
        return None
    others = [one for one in now if one.site != site.name]
    away = [one for one in shoot.call if not on_now(one) and one.date == call.date]
    if kind == "distant" and others:
        pick = others[int(rng.integers(len(others)))]
        wrong = planned[pick.name].links[0]
        if links[wrong.link].transmitter != links[victim.link].transmitter:
            return None
        world.on = [one for one in on if one.name != wrong.link]
        world.on.append(stands(pick, wrong.link, victim.carrier_khz, 50.0))
        world.culprit = (wrong.link,)
    elif kind == "hour" and away:
        busy = {one.name for one in on}
        same = [
            (one, p) for one in away for p in planned[one.name].links
            if p.link not in busy and abs(p.carrier_khz - victim.carrier_khz) < 150
        ]  # fmt: skip
        if not same:
            return None
        late, p = same[int(rng.integers(len(same)))]
        world.on.append(stands(late, p.link, p.carrier_khz, p.power_mw))
        world.culprit = (p.link,)
    elif kind == "product":
        return _on_a_product(world, rng)
    elif kind == "tv":
        world.carrier_khz = 498_000 if rng.random() < 0.5 else 554_000
        world.tv = dict.fromkeys(places, float(rng.normal(-78.0, 4.0)))
        world.on = [one for one in on if one.name != victim.link]
    elif kind == "stranger":
        angle, away_m = float(rng.uniform(0, 6.28)), float(rng.uniform(20, 120))
        at = world.at[0] + away_m * math.cos(angle), world.at[1] + away_m * math.sin(angle)
        world.on.append(On("a stranger", victim.carrier_khz, *at, 17.0))
        world.culprit = ("a stranger",)
    elif kind == "near":
        near = [
            one for one in on if one.name != victim.link and math.dist((one.east_m, one.north_m), world.at) < 14
        ]
        if not near:
            return None
        pick_on = near[int(rng.integers(len(near)))]
        world.on = [one for one in on if one is not pick_on]
        world.on.append(On(pick_on.name, pick_on.carrier_khz, world.at[0] + 0.5, world.at[1], 17.0))
        world.culprit = (pick_on.name,)
    elif kind == "spare" and others:
        every = [(one, p) for one in others for p in planned[one.name].links]
        on_spare = [
            (one, p, khz) for one, p in every for khz in p.spares_khz if abs(khz - victim.carrier_khz) < 150
        ]
        if not on_spare:
            return None
        one, p, khz = on_spare[int(rng.integers(len(on_spare)))]
        world.on = [other for other in on if other.name != p.link]
        world.on.append(stands(one, p.link, khz, 50.0))
        world.culprit = (p.link,)
    else:
        return None
    return world


def _on_a_product(world: World, rng: np.random.Generator) -> World | None:
    """The link was put on a carrier of its own choice, where a product of two or three who are on falls."""
    heard = world.heard(world.at)
    strong = sorted(heard, key=lambda name: -heard[name])[:10]
    khz = {one.name: one.carrier_khz for one in world.on}
    makers = [tuple(m) for m in itertools.permutations(strong, 2)]
    makers += [(a, b, c) for a, b in itertools.combinations(strong, 2) for c in strong if c not in (a, b)]
    pick = makers[int(rng.integers(len(makers)))]
    at = 2 * khz[pick[0]] - khz[pick[1]] if len(pick) == 2 else khz[pick[0]] + khz[pick[1]] - khz[pick[2]]
    if not 470_000 < at < 694_000:
        return None
    world.on = [
        one if one.name != world.victim else On(one.name, at, one.east_m, one.north_m, one.dbm) for one in world.on
    ]
    world.carrier_khz, world.culprit = at, tuple(pick)
    return world


ZONE = datetime.timezone(datetime.timedelta(hours=1))

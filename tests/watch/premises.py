"""A player of floor plans and rays: a day of digital wireless microphones as their receivers would log it.

Premises are rooms with walls and doors of some material. A pack hangs on a wearer, an absorbing cylinder who walks
from spot to spot through the doors. The field at an antenna is a sum of rays (direct, by the ground, the ceiling,
the walls' images, scatterers, the edges of doors) and of plane waves (the reverberant field); amplitude, phase and
Doppler all come from the way that was walked. A fault is a deed: somebody goes somewhere, something is put, pulled
or switched or runs out, and the field is worked out anew. Rays are summed 20 times a second, their losses worked
out twice a second, readings taken 10 times a second and thinned for lower rates.

Its author had read neither the watch's rules nor another player. All sources are from memory: Rappaport (free
space, ground ray), Balanis (Fresnel's reflection), ITU-R P.526 (edges) and P.2040 (walls), Born & Wolf (a person as
a screen), Keller (creeping waves), Skolnik (scatterers), Hill (reverberant field), Pozar (intermodulation,
compression). The makes of receiver, how people behave and how often things go wrong: invented, no source.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal, special
from tests.watch.independent import SEVERITIES, Fault, Player, Recorded

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Rng = np.random.Generator
Span = tuple[float, float]
PI = np.pi
LIGHT = 299792.458  # wavelength in m = this / kHz
HZ = 20  # moments a second; every second one is read
HALL, BACK, CORRIDOR, SIDE, STORE, FOYER, YARD = range(7)


class Material(NamedTuple):
    """Loss of one crossing at normal incidence, and the amplitude that is reflected; near 600 MHz."""

    loss_db: float
    reflected: float


MATERIALS = {
    "open": Material(0, 0), "plaster": Material(2.5, 0.3), "glass": Material(2.5, 0.4), "brick": Material(7, 0.5),
    "coated": Material(19, 0.85), "concrete": Material(15, 0.6), "stone": Material(20, 0.65),
    "metal": Material(26, 0.95), "timber": Material(3, 0.2), "steel": Material(16, 0.9),
}  # fmt: skip


class Kind(NamedTuple):
    """Width, depth and height of the hall in m (height 0: open air), its absorption, and the materials."""

    sizes: tuple[Span, Span, Span, Span]
    materials: str  # the hall's sides, back and front; inner walls, outer walls, doors


KINDS = {
    "theatre": Kind(((14, 26), (22, 40), (9, 16), (0.55, 0.8)), "brick concrete plaster brick concrete steel"),
    "conference": Kind(((15, 35), (20, 45), (4, 7), (0.5, 0.75)), "plaster plaster glass plaster coated timber"),
    "studio": Kind(((12, 25), (15, 30), (7, 11), (0.4, 0.65)), "concrete metal concrete brick metal steel"),
    "church": Kind(((12, 22), (25, 50), (10, 20), (0.4, 0.6)), "stone stone stone brick stone timber"),
    "sports": Kind(((25, 45), (35, 60), (8, 14), (0.45, 0.7)), "concrete concrete glass brick concrete steel"),
    "street": Kind(((12, 40), (50, 120), (0, 0), (0.8, 0.9)), "brick open open plaster open timber"),
}


class Cause(NamedTuple):
    """How often; how long in s (0: as long as the walk, or the amount itself); the amount by severity."""

    weight: float
    hold_s: Span
    amounts: tuple[Span, Span, Span]


# The amounts: level over the need (dB) for range, wall and multipath; the pack pressed to the body (dB); C/I over
# what is needed (dB); metres from the antennas (intermodulation); strange level over the third-order intercept
# (dB, overload); loss (dB) for the antennas; how long (s) for the rest.
CAUSES = {
    "range": Cause(1, (0, 0), ((3, 12), (-3, 4), (-15, -3))),
    "wall": Cause(1.1, (0, 0), ((3, 11), (-4, 3), (-16, -4))),
    "multipath": Cause(1.1, (0, 0), ((8, 15), (5, 10), (2, 7))),
    "body": Cause(1.2, (12, 100), ((3, 10), (9, 19), (16, 30))),
    "interference": Cause(1, (6, 100), ((4, 14), (-3, 5), (-18, -4))),
    "intermodulation": Cause(2.2, (25, 90), ((2, 4), (1, 2), (0.5, 1))),
    "overload": Cause(0.4, (8, 70), ((-6, 1), (0, 8), (8, 18))),
    "antenna": Cause(0.8, (50, 240), ((9, 20), (22, 36), (34, 55))),
    "antennas": Cause(0.24, (12, 120), ((8, 16), (16, 28), (26, 45))),
    "receiver": Cause(0.15, (0, 0), ((3, 10), (10, 30), (30, 100))),
    "switched-off": Cause(1, (0, 0), ((1.5, 5), (5, 25), (25, 100))),
    "battery": Cause(1, (60, 300), ((0, 5), (15, 60), (40, 150))),
    "audio-path": Cause(1, (4, 90), ((0, 1), (0, 1), (0, 1))),
}
PLACES = {  # where somebody goes who walks into trouble
    "range": (CORRIDOR, STORE, FOYER, YARD, YARD, YARD),
    "wall": (BACK, CORRIDOR, SIDE, STORE),
    "multipath": (HALL, HALL, HALL, BACK, FOYER),
}


def play(seed: int, *, rate_hz: float = 10.0, faults: bool = True) -> Recorded:
    """The readings of one seeded day at `rate_hz` a link, and the truth about it."""
    day, rng = Day(seed), np.random.default_rng([seed, 4])
    calm = day.receive(day.calm)
    values, done = calm, list[Fault]()
    if faults:
        troubles = Troubles(day)
        values, done = day.receive(troubles.air), troubles.done
    bad, bad_anyway = ((v[..., 5] > 0.5) | (v[..., 3] < 0.5) | (v[..., 2] < -80) for v in (values, calm))
    links, n = bad.shape
    time_s = np.arange(n) / 10 + 0.05 + rng.uniform(0, 0.04, (links, 1)) + rng.uniform(0, 0.008, (links, n))
    told = (np.arange(n) % round(10 / rate_hz) == 0) & (rng.random((links, n)) > rng.uniform(0, 0.003))
    for fault in done:  # it broke the link where that is bad while the calm day is good at the same reading
        k = day.names.index(fault.link)
        during = (time_s[k] >= fault.start_s) & (time_s[k] <= fault.end_s + 1)
        hit = time_s[k][bad[k] & ~bad_anyway[k] & told[k] & during]
        fault.breaks_at_s = float(hit[0]) if len(hit) else None
    link, row = np.nonzero(told)
    order = np.argsort(time_s[link, row], kind="stable")
    link, row = link[order], row[order]
    players = [
        Player(name, pack.carrier_khz, pack.rack.need_dbm, pack.rack.noise_dbm, pack.worst_dbm, pack.spans)
        for name, pack in zip(day.names, day.packs, strict=True)
    ]
    shown, done = values[link, row].astype(np.float32), sorted(done, key=lambda fault: fault.start_s)
    return Recorded(day.names, link.astype(np.int32), time_s[link, row], shown, done, players)


class Premises:
    """A hall with its back room, corridor, two side rooms, foyer and yard, drawn; the audience is at low y."""

    def __init__(self, rng: Rng) -> None:
        kind = KINDS[str(rng.choice(list(KINDS)))]
        side, back, front, inner, outer, leaf = kind.materials.split()
        self.width, self.depth, self.height, self.absorption = (rng.uniform(*size) for size in kind.sizes)
        width, depth = self.width, self.depth
        top = depth + rng.uniform(4, 9)
        right = width + rng.uniform(1.8, 3)
        end = right + rng.uniform(4, 9)
        street, yard = -rng.uniform(4, 12), rng.uniform(60, 260)
        middle = depth * rng.uniform(0.3, 0.7)
        self.rooms = np.array([
            (0, 0, width, depth), (0, depth, width, top), (width, 0, right, top), (right, 0, end, middle),
            (right, middle, end, top), (0, street, right, 0), (-20, street - yard, right + 20, street),
        ])  # fmt: skip
        walls = [  # from, to, material, how many doors
            (0, 0, 0, depth, side, 0), (width, 0, width, depth, side, 2), (0, depth, width, depth, back, 2),
            (0, 0, width, 0, front, 2), (width, depth, width, top, inner, 1), (right, 0, right, middle, inner, 1),
            (right, middle, right, top, inner, 1), (right, middle, end, middle, inner, 0),
            (width, 0, right, 0, inner, 1), (0, street, right, street, outer, 2), (0, top, end, top, outer, 0),
            (right, 0, end, 0, outer, 0), (end, 0, end, top, outer, 0), (0, depth, 0, top, outer, 0),
            (0, street, 0, 0, outer, 0), (right, street, right, 0, outer, 0),
        ]  # fmt: skip
        pieces = list[list[float]]()  # x0, y0, x1, y1, dB, 1 for a door
        for x0, y0, x1, y1, material, doors in walls:
            origin, along, half_m = np.array([x0, y0]), np.array([x1 - x0, y1 - y0]), rng.uniform(0.45, 1.0)
            loss_db = MATERIALS[material].loss_db * rng.uniform(0.8, 1.25)
            middles, half = (np.arange(doors) + rng.uniform(0.3, 0.7, doors)) / max(doors, 1), half_m / _size(along)
            cuts = np.r_[0, np.ravel(np.stack([middles - half, middles + half], 1)), 1]
            for i, (begin, finish) in enumerate(pairwise(cuts)):
                is_door, here_db = i % 2, loss_db
                if is_door:
                    here_db = MATERIALS["open" if rng.random() < 0.4 else leaf].loss_db
                pieces.append([*(origin + begin * along), *(origin + finish * along), here_db, is_door])
        self.walls = np.array(pieces)
        self.reflected = [MATERIALS[name].reflected for name in (side, side, back, front)]
        self.doors = np.flatnonzero(self.walls[:, 5])
        self.gates = self.walls[self.doors, :4].reshape(-1, 2, 2).mean(1)
        self.joins = [{self.room_of(gate + 0.3 * _unit(i * PI / 2)) for i in range(4)} for gate in self.gates]

    def room_of(self, place: Floats) -> int:
        """The room that a place is in, or is nearest to."""
        return int(np.argmin(np.maximum(self.rooms[:, :2] - place, place - self.rooms[:, 2:]).max(1).clip(0)))

    def inside(self, rng: Rng, rooms: tuple[int, ...], n: int = 1) -> Floats:
        """Places in some of the rooms, drawn; (n, 2)."""
        chosen = self.rooms[rng.choice(rooms, n)]
        return np.asarray(rng.uniform(chosen[:, :2] + 0.4, chosen[:, 2:] - 0.4))

    def route(self, start: Floats, goal: Floats) -> Floats:
        """The corners of a way through doors, found breadth first over the rooms."""
        todo, last = [self.room_of(start)], self.room_of(goal)
        found: dict[int, list[Floats]] = {todo[0]: []}
        while todo and last not in found:
            room = todo.pop(0)
            for gate, join in zip(self.gates, self.joins, strict=True):
                for beyond in join - set(found) if room in join else ():
                    found[beyond] = [*found[room], gate]
                    todo.append(beyond)
        return np.array([start, *found.get(last, []), goal])


@dataclass
class Antenna:
    """Where it stands, where it looks at each moment, its pattern (a power of a cardioid) and its tilt."""

    position: Floats
    azimuth: Floats
    gain_dbi: float
    sharpness: float
    least: float
    tilt: float
    in_bag: bool

    def gain(self, azimuth: Floats, moments: NDArray[np.int64]) -> Floats:
        """Amplitude towards an azimuth; in a bag, a whip beside the body of its bearer."""
        off = _off_axis(azimuth - self.azimuth[moments])
        cardioid = np.maximum(((1 + np.cos(off)) / 2) ** self.sharpness, self.least)
        pattern = _mw(-4 * np.maximum(off - 1.3, 0)) if self.in_bag else cardioid
        return np.asarray(10 ** (self.gain_dbi / 20) * pattern)


class Make:
    """One make of receiver, drawn: its demodulator, meters, mute and gauges."""

    def __init__(self, rng: Rng) -> None:
        u = rng.uniform
        self.noise_figure_db, self.cn_db, self.slope_db = u(5, 11), u(9, 18), u(0.35, 0.9)
        self.combines = _pick(rng, 0, 0, 1) == 1  # adds the branches up; else takes the better
        self.lock_s = u(0.4, 5)
        self.meters_after_gain_control = u() < 0.5
        self.step_db, self.lag_s = _pick(rng, 0.1, 0.5, 1, 1, 2, 3, 5), u(0.02, 0.5)
        self.refresh = int(_pick(rng, 1, 1, 1, 2, 3, 5))  # readings
        self.low_dbm, self.high_dbm, self.error_db = u(-120, -106), u(-35, -10), rng.normal(0, 1.5)
        self.quality_window, self.quality_slope = _pick(rng, 2, 4, 10, 20), _pick(rng, 1, 1.5, 2.5)  # in moments
        self.tells_quality = u() < 0.92
        self.quality_step = _pick(rng, 0.01, 0.05, 0.1, 0.2, 0.25)
        self.mute_window, self.mute_at, self.hold_s = _pick(rng, 1, 2, 3, 5), u(0.3, 0.7), u(0.1, 1.2)
        has_squelch = u() < 0.35
        self.squelch_db = u(-2, 4) if has_squelch else -99.0
        self.gauge_step, self.gauge_wait = _pick(rng, 0.01, 0.05, 0.1, 0.2, 0.25), int(_pick(rng, 10, 50, 300))
        self.tells_gauge, self.holds_gauge = u() < 0.94, u() < 0.4
        self.muted_dbfs, self.audio_step_db = _pick(rng, -120, -100), _pick(rng, 0.1, 0.5, 1, 3)
        self.tells_nothing_when_down = u() < 0.6


class Rack:
    """Receivers of one make on two shared antennas, drawn."""

    def __init__(self, rng: Rng, house: Premises, n: int, in_bag: bool) -> None:
        u, width, depth = rng.uniform, house.width, house.depth
        patterns = [(2.15, 0.0, 1.0), (5.0, 0.8, 0.2), (9.0, 3.0, 0.12)]
        gain_dbi, sharpness, least = patterns[int(_pick(rng, 0, 0, 1, 1, 2))]
        mounts = [  # place, metres between the two, where they look
            (width * u(0.2, 0.8), depth * u(0.05, 0.4), u(1, 4), PI / 2),  # at front of house
            (width / 2, depth * u(0.55, 0.8), width - 1.2, PI / 2),  # at both sides of the stage
            (width - 1.5, depth * u(0.4, 0.9), u(0.5, 2), PI),  # at one side
            (*house.inside(rng, (BACK,))[0], u(0.4, 1.5), -PI / 2),  # in the back room
        ]
        *place, gap, azimuth = mounts[int(u() // 0.3)]
        at, height, turn, tilt = np.array(place), u(1.6, 3.5), np.zeros(n), u(0, 0.5)
        if in_bag:  # on a bearer who turns
            at, gap, height, gain_dbi = house.inside(rng, (HALL,))[0], u(0.15, 0.4), 1.1, -2.0
            turn = _wander(rng, n, 40, 0.8)
        self.antennas = [
            Antenna(
                np.array([*(at + side * gap * _unit(azimuth - PI / 2)), height]), azimuth + turn + u(-0.3, 0.3),
                gain_dbi, sharpness, least, tilt * _pick(rng, -1, 1), in_bag,
            )
            for side in (-0.5, 0.5)
        ]  # fmt: skip
        self.loss_db, self.iip3_dbm, self.blocking_db = u(0.5, 2, 2), u(-18, 2), u(74, 88)
        self.make = Make(rng)
        self.noise_dbm = -121 + self.make.noise_figure_db  # -121: kT in 200 kHz
        self.need_dbm = self.noise_dbm + self.make.cn_db


@dataclass
class Pack:
    """A transmitter and how it is worn: facing `worn` off the wearer's face, `press_db` into the body."""

    rack: Rack
    carrier_khz: int
    spots: Floats
    spans: list[Span]
    power_dbm: float
    worn: float
    press_db: float
    shadow_db: float
    height: float
    tilt: float
    site_db: float  # noise of the site over that of the receiver
    waves: Floats  # (3, 12): direction at the pack, at the antenna, phase
    worst_dbm: float = 0.0

    def body(self, azimuth: Floats, face: Floats | float) -> Floats:
        """Amplitude towards an azimuth: `shadow_db` a radian into the shadow (creeping waves)."""
        shadow = np.maximum(_off_axis(azimuth - face - self.worn) - 1.2, 0)
        return np.asarray(10 ** (-(self.press_db + self.shadow_db * shadow) / 20))


@dataclass
class Air:
    """What is on the air, moment by moment; mW, of a link or of a rack at its branches."""

    wanted: Floats
    strange: Floats
    on: Bools
    charge: Floats
    blocker: Floats  # of a rack
    down: Bools  # of a rack: no power
    silence: NDArray[np.int64]  # of a link's readings: 1 dead, 2 only weak
    apart_m: Floats  # between the two whose product falls on the link


@dataclass(frozen=True)
class Change:
    """What a deed changes of the way from a pack to its antennas."""

    extra_db: Floats | float = 0.0
    is_worn: bool = True
    height: float | None = None
    people: Floats | None = None  # (people, moments, 2)
    panels: Floats = field(default_factory=lambda: np.empty((0, 6)))  # more walls
    shut_db: Floats | float = 0.0  # least loss of the doors
    antennas: list[Antenna] | None = None


AS_PLANNED = Change()


class Ray(NamedTuple):
    """The point that it seems to run to, the amplitude left, from where the antenna sees it, m beyond the point."""

    point: Floats
    gain: Floats
    seen: Floats
    beyond: float


class Sight:
    """A pack at some places (n, 2) and moments (n,): the rays from there to an antenna."""

    def __init__(
        self, day: Day, pack: Pack, places: Floats, face: Floats, moments: NDArray[np.int64], change: Change
    ) -> None:
        self.day, self.pack, self.places, self.face, self.moments = day, pack, places, face, moments
        self.is_worn, self.wave_m, house = change.is_worn, LIGHT / pack.carrier_khz, day.house
        self.height = pack.height if change.height is None else change.height
        power_dbm = pack.power_dbm - np.broadcast_to(change.extra_db, len(places))
        self.base = np.sqrt(_mw(power_dbm)) * self.wave_m / 4 / PI
        mean_body = float(np.mean(pack.body(np.linspace(0, 6.28, 24), 0.0) ** 2)) if change.is_worn else 1.0
        self.people = day.movers[:, moments]
        if change.people is not None:
            self.people = np.concatenate([self.people, change.people])
        walls, doors = house.walls.copy(), house.doors
        walls[doors, 4] = np.maximum(change.shut_db, walls[doors, 4])
        self.walls = np.vstack([walls, change.panels])
        # round by the scatterers and by seven doors, those of the hall and the one behind it
        self.via = np.vstack([day.scatterers, np.c_[house.gates[:7], np.full(7, 1.2)]])
        self.to_via_db = np.array([_wall_db(places, point[None, :2], self.walls) for point in self.via])
        self.to_via_db[len(day.scatterers) :] += self.walls[doors[:7], 4][:, None]
        width, depth = house.width, house.depth
        self.outside = _size(np.maximum(np.maximum(-places, places - [width, depth]), 0))
        surface = width * depth + (width + depth) * (house.height or 8.0)
        self.room = 4 * PI * (1 - house.absorption) / (house.absorption * surface)
        self.scattered = self.base**2 * mean_body

    def to(self, antenna: Antenna) -> tuple[list[Ray], list[Floats], Floats]:
        """The rays, the amplitudes in which they arrive, and the power of the reverberant field, mW."""
        at, few = antenna.position[None, :2], len(self.day.scatterers)
        wall_db = _wall_db(self.places, at, self.walls)
        back_db = _wall_db(self.via[:, :2], at, self.walls)
        rays = [*self._straight(antenna, wall_db), *self._images(antenna), *self._round(antenna, wall_db, back_db)]
        leak = np.minimum(0.5 * _mw(-wall_db) + 0.004 * _mw(-self.to_via_db[few:]).sum(0), 1)
        leak = np.where(self.outside > 0, leak / (1 + (self.outside / 3) ** 2), 1.0)
        diffuse = self.scattered * leak * self.room * _mw(antenna.gain_dbi / 2 - 0.5 * back_db[:few].min())
        amplitudes = list[Floats]()
        for point, gain, seen, beyond in rays:
            away = point[:2] - self.places
            body = self.pack.body(_angle(away), self.face) if self.is_worn else 1.0
            way = np.maximum(np.hypot(_size(away), point[2] - self.height) + beyond, 0.15)
            amplitudes.append(self.base * gain * body * antenna.gain(_angle(seen), self.moments) / way)
        return rays, amplitudes, diffuse

    def _straight(self, antenna: Antenna, wall_db: Floats) -> list[Ray]:
        """Direct, by the ground (relative permittivity 5; Balanis) and by the ceiling."""
        at, ceiling = antenna.position, self.day.house.height
        seen, both = self.places - at[:2], self.height + at[2]
        through = _mw(-wall_db / 2) * max(abs(np.cos(self.pack.tilt - antenna.tilt)), 0.2)
        shade = through * _people_gain(self.places, self.height, at, self.people, self.wave_m)
        sine = both / np.hypot(_size(seen), both)
        root = np.sqrt(4 + sine**2)
        ground = shade * (5 * sine - root) / (5 * sine + root)
        above, over = np.array([*at[:2], 2 * ceiling - at[2]]), 0.45 * through * (ceiling > 0)
        return [Ray(at, shade, seen, 0.0), Ray(at * [1, 1, -1], ground, seen, 0.0), Ray(above, over, seen, 0.0)]

    def _images(self, antenna: Antenna) -> list[Ray]:
        """By the four walls of the hall."""
        house, places, at, rays = self.day.house, self.places, antenna.position, list[Ray]()
        planes = zip((0, 0, 1, 1), (0.0, house.width, house.depth, 0.0), house.reflected, strict=True)
        for axis, plane, reflected in planes:
            image = np.where(np.arange(3) == axis, 2 * plane - at, at)
            part = (plane - places[:, axis]) / (image[axis] - places[:, axis] + 1e-6)
            hit = places + part[:, None] * (image[:2] - places)
            across = hit[:, 1 - axis]
            is_hit = (part > 0) & (part < 1) & (across > 0) & (across < (house.depth, house.width)[axis])
            wall_db = _wall_db(places, places + (hit - places) * 0.99, self.walls)
            rays.append(Ray(image, -reflected * is_hit * _mw(wall_db / -2), hit - at[:2], 0.0))
        return rays

    def _round(self, antenna: Antenna, wall_db: Floats, back_db: Floats) -> list[Ray]:
        """By the scatterers (bistatic radar equation) and round the edges of doors (P.526)."""
        places, at, rays = self.places, antenna.position, list[Ray]()
        for i, point in enumerate(self.via):
            here = np.hypot(_size(places - point[:2]), point[2] - self.height) + 0.5
            there = float(_size(at - point)) + 0.5
            if i < len(self.day.scatterers):
                section = np.sqrt(self.day.sections[i] / 4 / PI)
                gain = 0.7 * section * (here + there) / (here * there)
            else:
                turn = ((point[:2] - places) * (at - point)[:2]).sum(1) / (here * there)
                bend = np.arccos(np.clip(turn, -1, 1))
                v = np.maximum(bend * np.sqrt(2 * here * there / (self.wave_m * (here + there))) - 1, -0.78)
                gain = 0.8 * (1 - 10 ** (-wall_db / 30)) * 10 ** (-0.345) / (np.hypot(v - 0.1, 1) + v - 0.1)
            gain = _mw((self.to_via_db[i] + back_db[i]) / -2) * gain
            rays.append(Ray(point, gain, (point - at)[:2], there))
        return rays


class Day:
    """The day without its faults: premises, racks, packs and the ways of their wearers, drawn."""

    def __init__(self, seed: int) -> None:
        self.seed, rng = seed, np.random.default_rng([seed, 1])
        self.seconds, self.house = float(rng.integers(2400, 3601)), Premises(rng)
        links, house, n = int(rng.integers(4, 9)), self.house, int(self.seconds * HZ)
        self.names, self.t = [f"Mic {k + 1}" for k in range(links)], np.arange(n) / HZ
        self.scatterers = rng.uniform([0, 0, 0.5], [house.width, house.depth, max(house.height, 3.0)], (5, 3))
        self.sections = 10 ** rng.uniform(-0.3, 1.3, 5)  # m2
        self.movers = np.stack([self._stroll(rng, house.inside(rng, (HALL,), 5), 25.0)[0] for _ in range(3)])
        in_bag = rng.random() < (0.15 if house.height else 0.8)
        stage, pace_s = rng.uniform(0.45, 0.7), rng.uniform(12, 70)
        self.racks = [Rack(rng, house, n, in_bag) for _ in range(rng.integers(1, 3))]
        racks = [self.racks[k * len(self.racks) // links] for k in range(links)]
        carriers = self._carriers(rng, racks)
        self.packs = [self._pack(rng, *each, stage) for each in zip(racks, carriers, strict=True)]
        self._plan(rng)
        self.calm = Air(
            np.zeros((links, 2, n)), np.zeros((links, 2, n)), np.ones((links, n), bool), np.ones((links, n)),
            np.zeros((2, 2, n)), np.zeros((2, n), bool), np.zeros((links, n // 2), int), np.full((links, n), 1e3),
        )  # fmt: skip
        self.ways = [self._stroll(rng, pack.spots, pace_s) for pack in self.packs]
        for k, pack in enumerate(self.packs):
            self.calm.wanted[k] = self.field(pack, 0, *self.ways[k])
            self.calm.on[k] = np.any([(self.t >= a) & (self.t < b) for a, b in pack.spans], 0)
            self.calm.charge[k] = rng.uniform(0.85, 1) - self.t / 3600 / rng.uniform(4.5, 10)
        need = np.array([[pack.rack.need_dbm] for pack in self.packs])
        self.spare_db = _db(_smooth(self.calm.wanted.transpose(2, 0, 1), 4 * HZ)) - need  # (n, links, 2)

    def _pack(self, rng: Rng, rack: Rack, carrier_khz: int, stage: float) -> Pack:
        house = self.house
        spots = rng.uniform([0.6, stage * house.depth], [house.width - 0.6, house.depth - 0.3], (5, 2))
        more = house.inside(rng, (HALL, HALL, BACK, CORRIDOR, FOYER), int(rng.integers(2)))
        is_all_day = rng.random() < 0.7
        on = (0.0, self.seconds + 1) if is_all_day else (rng.uniform(0, 500), self.seconds - rng.uniform(0, 500))
        power_dbm, worn = _pick(rng, 7, 10, 13, 17), _pick(rng, PI, PI / 2, -PI / 2, 0)
        press_db, shadow_db, height, tilt = rng.uniform([4, 5, 0.95, 0], [13, 10, 1.3, 0.7])
        return Pack(
            rack, carrier_khz, np.vstack([spots, more]), [on], power_dbm, worn, press_db, shadow_db, height, tilt,
            rng.gamma(1.5, 1.6), rng.uniform(0, 6.3, (3, 12)),
        )  # fmt: skip

    def _carriers(self, rng: Rng, racks: list[Rack]) -> list[int]:
        """A plan on a raster of 25 kHz; then, mostly, late additions that third-order products hit."""
        links, base, found = range(len(racks)), int(rng.integers(470, 660)) * 1000, list[int]()
        while len(found) < len(racks):
            carrier = base + 25 * int(rng.integers(0, 1100))
            if all(abs(carrier - other) >= 400 for other in found):
                found.append(carrier)
        for a, b, v in [rng.permutation(len(racks))[:3] for _ in range(int(rng.choice([0, 4, 8])))]:
            late, others = 2 * found[a] - found[b] + 25 * int(rng.integers(-2, 3)), np.delete(found, v)
            is_one_rack, is_in_band = racks[a] is racks[b] is racks[v], 470e3 < late < 690e3
            if is_one_rack and is_in_band and np.abs(late - others).min() >= 350:
                found[v] = late
        self.triples = [
            (a, b, v)
            for a in links for b in links for v in links
            if len({a, b, v}) == 3 and racks[a] is racks[b] is racks[v]
            and abs(2 * found[a] - found[b] - found[v]) <= 125
        ]  # fmt: skip
        return found

    def _stroll(self, rng: Rng, spots: Floats, stay_s: float) -> tuple[Floats, Floats]:
        """From spot to spot, standing in between, mostly facing the audience (-y): way and facing."""
        now, here, knots = 0.0, spots[0], [(0.0, *spots[0])]
        while now < self.seconds:
            now += rng.exponential(stay_s)
            knots.append((now, *here))
            for corner in self.house.route(here, spots[rng.integers(len(spots))] + rng.normal(0, 0.3, 2))[1:]:
                now, here = now + float(_size(corner - here)) / rng.uniform(0.7, 1.4) + 0.05, corner
                knots.append((now, *here))
        at, *line = np.array(knots).T
        look = _wander(rng, len(self.t), 30, 0.4) - 1.57
        return _sway(rng, np.stack([np.interp(self.t, at, part) for part in line], 1), look)

    def field(self, pack: Pack, start: int, xy: Floats, face: Floats, change: Change = AS_PLANNED) -> Floats:
        """Power in mW at the receiver's branches on the way xy from moment `start` on, with phases; (2, n)."""
        n, power, number = len(xy), np.zeros((2, len(xy))), 2 * PI / (LIGHT / pack.carrier_khz)
        chosen = np.unique(np.r_[np.arange(0, n, 10), n - 1])
        people = None if change.people is None else change.people[:, chosen]
        there = replace(change, extra_db=np.broadcast_to(change.extra_db, n)[chosen], people=people)
        sight, since = Sight(self, pack, xy[chosen], face[chosen], start + chosen, there), start + np.arange(n)
        single = xy.astype(np.float32)
        for branch, antenna in enumerate(change.antennas or pack.rack.antennas):
            rays, amplitudes, diffuse = sight.to(antenna)
            ways = [
                np.sqrt(
                    ((single - ray.point[:2].astype(np.float32)) ** 2).sum(1)
                    + np.float32((ray.point[2] - sight.height) ** 2)
                ) + np.float32(ray.beyond)
                for ray in rays
            ]  # fmt: skip
            for i, (leaves, arrives, phase) in enumerate(pack.waves.T):  # plane waves; a third of them drift
                drift = 0.15 / number * (i % 3 == 0) * np.cos(phase) * since / HZ
                fixed = antenna.position @ [*_unit(arrives), 0.5] + phase / number + drift
                ways.append(single @ _unit(leaves).astype(np.float32) + fixed.astype(np.float32))
            total = np.zeros((2, n), np.float32)
            for amplitude, way in zip(amplitudes + [np.sqrt(diffuse / 12)] * 12, ways, strict=True):
                gain = np.interp(np.arange(n), chosen, amplitude).astype(np.float32)
                turn = np.float32(number) * way
                total[0] += gain * np.cos(turn)
                total[1] += gain * np.sin(turn)
            power[branch] = (total.astype(float) ** 2).sum(0) * _mw(-pack.rack.loss_db[branch])
        return power

    def mean_power(self, pack: Pack, xy: Floats, face: Floats, change: Change = AS_PLANNED) -> Floats:
        """Power in mW at the receiver's branches from places at the start of the day, without phases; (2, n)."""
        sight, power = Sight(self, pack, xy, face, np.zeros(len(xy), np.int64), change), np.zeros((2, len(xy)))
        for branch, antenna in enumerate(pack.rack.antennas):
            _, amplitudes, diffuse = sight.to(antenna)
            power[branch] = (np.square(amplitudes).sum(0) + diffuse) * _mw(-pack.rack.loss_db[branch])
        return power

    def _plan(self, rng: Rng) -> None:
        """What a planner does: margins by feeder, pad, booster or power; spots that will not do are dropped."""
        over = list[Floats]()
        for pack in self.packs:
            turned = np.tile(np.arange(4) * PI / 2, len(pack.spots))
            power = self.mean_power(pack, np.repeat(pack.spots, 4, 0), turned).max(0).reshape(-1, 4).mean(1)
            over.append(_db(power) - 1.5 - (pack.rack.need_dbm + pack.site_db))
        for rack in self.racks:
            mine = [(spare, pack) for spare, pack in zip(over, self.packs, strict=True) if pack.rack is rack]
            cut = np.percentile([spare.min() for spare, _ in mine], 35) - rng.uniform(12, 25)
            rack.loss_db += np.clip(cut, -12, 25)
            for before, pack in mine:
                spare = before - np.clip(cut, -12, 25)
                lift = float(np.clip(15 - np.sort(spare)[-3], 0, 17 - pack.power_dbm))
                spare = spare + lift
                keep = spare >= min(np.sort(spare)[-2], 13 if rng.random() > 0.1 else 8)
                low = pack.rack.need_dbm + pack.site_db
                pack.spots, pack.power_dbm = pack.spots[keep], pack.power_dbm + lift
                pack.worst_dbm = float(spare[keep].min() + low + rng.normal(0, 2))

    def receive(self, air: Air) -> Floats:
        """What the racks show 10 times a second; (links, readings, 6)."""
        powers = air.wanted * air.on[:, None]
        return np.stack([self._show(air, powers, k) for k in range(len(self.packs))])

    def _ratio(self, air: Air, powers: Floats, k: int) -> tuple[Floats, Floats]:
        """At the branches of a link: carrier to all else; power at the meters, mW."""
        pack, rack = self.packs[k], self.packs[k].rack
        down, blocker = air.down[self.racks.index(rack)], air.blocker[self.racks.index(rack)]
        own = powers[k] * np.where(down, 1e-5, 1.0)
        mates = (powers[j] for j, mate in enumerate(self.packs) if mate.rack is rack and j != k)
        others = sum(mates, np.zeros_like(own))
        other = air.strange[k] + others * _mw(-rack.blocking_db) + blocker * _mw(12 - rack.blocking_db)
        for a, b in [(a, b) for a, b, v in self.triples if v == k]:  # third order: front end; from pack to pack
            coupling = _mw(-20) / (4 * PI * air.apart_m[k] * pack.carrier_khz / LIGHT) ** 2
            other = other + powers[a] ** 2 * powers[b] * _mw(-2 * rack.iip3_dbm) + powers[a] * air.on[b] * coupling
        squeeze = 1 / (1 + (others + own + blocker) / _mw(rack.iip3_dbm - 9)) ** 2
        wanted, noise = own * squeeze, _mw(rack.noise_dbm + pack.site_db)
        ratio = wanted / (noise + other * squeeze + own**3 * _mw(-2 * rack.iip3_dbm))
        return ratio, (wanted if rack.make.meters_after_gain_control else own) + noise + other

    def _show(self, air: Air, powers: Floats, k: int) -> Floats:
        """Demodulator, mute and meters of one link; (readings, 6)."""
        rng, rack = np.random.default_rng([self.seed, 3, k]), self.packs[k].rack
        make, down, n = rack.make, air.down[self.racks.index(rack)], len(self.t)
        readings = np.arange(n // 2)
        ratio, metered = self._ratio(air, powers, k)
        over = _db(ratio.sum(0) if make.combines else ratio.max(0)) - make.cn_db
        errors = 1 / (1 + np.exp(np.clip(over / make.slope_db, -40, 40)))
        lost = np.clip(errors + np.sqrt(errors * (1 - errors) / 12) * rng.normal(size=n), 0, 1)
        lost = np.where(_held(~air.on[k] | down, int(make.lock_s * HZ)), 1.0, lost)
        mean, slow = (
            signal.lfilter(np.ones(int(window)) / window, [1], lost)
            for window in (make.mute_window, make.quality_window)
        )
        level, keep = _db(metered), np.exp(-1 / (HZ * make.lag_s))
        is_weak = level.max(0) < rack.need_dbm + make.squelch_db
        muted = _held((mean > make.mute_at) | is_weak, int(make.hold_s * HZ))[1::2]
        shown = np.full((len(readings), 6), np.nan)
        for b in (0, 1):
            meter = signal.lfilter([1 - keep], [1, -keep], level[b], zi=[keep * level[b, 0]])[0][1::2]
            meter = meter[readings - readings % make.refresh] + make.error_db
            shown[:, b] = np.clip(np.round(meter / make.step_db) * make.step_db, make.low_dbm, make.high_dbm)
        audio = np.where(muted, make.muted_dbfs, np.clip(_speech(rng, air.silence[k]), -120, -0.5))
        shown[:, 2] = np.round(audio / make.audio_step_db) * make.audio_step_db
        quality = np.clip(1 - make.quality_slope * slow[1::2], 0, 1) / make.quality_step
        shown[:, 3] = np.round(quality) * make.quality_step if make.tells_quality else np.nan
        has_link = air.on[k][1::2] & (mean[1::2] < 0.9)  # without a link the gauge holds, or tells nothing
        last = np.maximum.accumulate(np.where(has_link, readings, 0))
        gauge = air.charge[k][1::2][readings - readings % make.gauge_wait][last]
        is_told = make.tells_gauge & (has_link | make.holds_gauge)
        shown[:, 4] = np.where(is_told, np.round(gauge / make.gauge_step) * make.gauge_step, np.nan)
        shown[:, 5] = muted
        if make.tells_nothing_when_down:  # the device does not answer; the host shows it muted
            shown[down[1::2]] = [np.nan] * 5 + [1.0]
        return shown


@dataclass
class Deed:
    """One deed: its cause, to which link and how bad, in which of two ways (`odd`), and when."""

    cause: str
    link: int
    also: list[int]  # the two whose product falls on the link
    grade: int
    amount: float
    odd: bool
    hold_s: float
    links: list[int]  # all that it is done to
    weak_db: Floats
    tries: int
    branch: int = 0
    dies: int = 0  # moments from the start until the cells are empty
    start: int = 0
    n: int = 0
    change: Change = AS_PLANNED
    spot: Floats = field(default_factory=lambda: np.zeros(2))
    mast: Floats = field(default_factory=lambda: np.zeros(2))
    aside: Floats = field(default_factory=lambda: np.zeros((80, 2)))  # directions, drawn

    @property
    def window(self) -> slice:
        """The moments of the deed."""
        return slice(self.start, self.start + self.n)


class Troubles:
    """The day's faults as deeds: `air` is that of the calm day, changed where something was done."""

    def __init__(self, day: Day) -> None:
        self.day, self.rng, self.air = day, np.random.default_rng([day.seed, 2]), deepcopy(day.calm)
        self.busy, self.done, links = [list[Span]() for _ in day.packs], list[Fault](), len(day.packs)
        odds = np.array([cause.weight for cause in CAUSES.values()]) * self.rng.uniform(0.4, 1.6, len(CAUSES))
        want = self.rng.uniform(3, 4.3) * day.seconds / 3600 * links
        odds[list(CAUSES).index("intermodulation")] *= bool(day.triples)
        for _ in range(300):
            few = np.array([len(spans) for spans in self.busy]) + self.rng.uniform(0, 1.5, links)
            if len(self.done) < want:
                cause = str(self.rng.choice(list(CAUSES), p=odds / odds.sum()))
                self._try(cause, int(few.argmin()), int(self.rng.choice(3, p=[0.3, 0.4, 0.3])))

    def _try(self, cause: str, link: int, grade: int) -> None:
        """Do it, unless there is no time for it."""
        deed, day, rng = self._draw(cause, link, grade), self.day, self.rng
        if cause in PLACES:
            self._choose_spot(deed)
        deed.start, deed.n = self._slot(deed), int(deed.hold_s * HZ)
        is_used_up = cause == "battery" and self.air.charge[deed.link].min() < 0.4
        if deed.start < 0 or deed.hold_s > 420 or is_used_up:
            return
        deed.mast = day.packs[deed.link].rack.antennas[rng.integers(2)].position[:2]
        deed.aside = _unit(rng.uniform(0, 6.3, 80))
        if cause in PLACES:
            self._walk_off(deed)
        elif cause == "body":
            self._turn_away(deed)
        elif cause == "interference":
            self._disturb(deed)
        elif deed.also or (cause == "overload" and deed.odd):
            self._come_close(deed)
        elif cause == "overload":
            self._block(deed)
        elif cause in ("antenna", "antennas"):
            self._harm_antennas(deed)
        else:
            self._fail(deed)
        span = (deed.start / HZ, (deed.start + deed.n) / HZ)
        for k in deed.links + deed.also:
            self.busy[k].append(span)
        self.done += [Fault(day.names[k], cause, *span, SEVERITIES[grade], None) for k in deed.links]

    def _draw(self, cause: str, link: int, grade: int) -> Deed:
        """The deed without its time and place."""
        day, rng, kind = self.day, self.rng, CAUSES[cause]
        is_product = cause == "intermodulation"
        *also, link = day.triples[rng.integers(len(day.triples))] if is_product else (link,)
        amount, hold_s, odd = rng.uniform(*kind.amounts[grade]), rng.uniform(*kind.hold_s), rng.uniform() < 0.3
        hold_s, weak_db, tries = hold_s or amount, day.spare_db[:, link].max(1), int(rng.integers(1, 20))
        deed = Deed(cause, link, also, grade, amount, odd, hold_s, [link], weak_db, tries)
        is_for_all = cause in ("receiver", "antennas") or (cause == "overload" and not odd)
        if is_for_all or rng.uniform() < 0.2 * (cause == "antenna"):
            deed.links = [k for k, pack in enumerate(day.packs) if pack.rack is day.packs[link].rack]
        if cause == "antenna":  # the better one, while the other is weak
            deed.branch, deed.tries = int(day.spare_db[:, link].mean(0).argmax()), 50
            deed.weak_db = day.spare_db[:, link, 1 - deed.branch]
        if cause == "battery":
            deed.dies, deed.hold_s = int(hold_s * HZ), hold_s + amount * bool(grade or odd)
        return deed

    def _places(self, deed: Deed, rooms: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Places in the rooms, and the level there over the need, dB, by the rays."""
        pack, xy = self.day.packs[deed.link], self.day.house.inside(self.rng, rooms, 80)
        power = self.day.mean_power(pack, xy, self.rng.uniform(0, 6.3, 80), deed.change).max(0)
        return xy, _db(power) - pack.rack.need_dbm - pack.site_db

    def _choose_spot(self, deed: Deed) -> None:
        """Where the level is what it shall be, and how long the walk there takes."""
        rng, house = self.rng, self.day.house
        if deed.cause == "wall" and not deed.odd:  # doors fall shut
            deed.change = Change(shut_db=rng.choice([3, 16], len(house.doors)))
        if deed.cause == "multipath":  # metal set pieces, cases or a lorry put in between
            drawn = rng.uniform([0, 2, 1], [house.width, house.depth, 5], (3, 3))
            deed.change = Change(panels=np.array([[x - half, y, x + half, y, 25, 0] for x, y, half in drawn]))
        xy, level = self._places(deed, PLACES[deed.cause])
        deed.spot = xy[np.argmin(np.abs(level - deed.amount))]
        way_m = float(_size(deed.spot - self.day.packs[deed.link].spots[0]))
        deed.hold_s, deed.tries = 1.7 * way_m + rng.uniform(10, 50), 1

    def _slot(self, deed: Deed) -> int:
        """Moment of a free time of all its links, or -1: of some tries, the one where the link is weakest."""
        found, hold_s = list[tuple[float, int]](), deed.hold_s
        for start in self.rng.uniform(30, self.day.seconds - hold_s - 20, 60):
            end = start + hold_s
            window = slice(int(start * HZ), int(end * HZ))
            if all(
                self.day.calm.on[k, window].all() and all(end + 26 < a or b + 26 < start for a, b in self.busy[k])
                for k in deed.links + deed.also
            ):
                found.append((float(np.percentile(deed.weak_db[window], 10)), window.start))
        return min(found[: deed.tries])[1] if found else -1

    def _go(
        self, deed: Deed, link: int, spot: Floats, look: float, drift: Floats | float = 0.0
    ) -> tuple[Floats, Floats, Bools]:
        """Out to a spot, there with a slow drift, back to where the calm day has the wearer then; when there."""
        house, xy, n, length_s = self.day.house, self.day.ways[link][0], deed.n, deed.n / HZ
        t, last = np.arange(n) / HZ, xy[deed.start + n - 1]
        out, home = house.route(xy[deed.start], spot), house.route(spot, last)
        out_m, home_m = (np.cumsum(np.r_[0, _size(np.diff(line, axis=0))]) for line in (out, home))
        speed = max(self.rng.uniform(0.9, 1.6), (out_m[-1] + home_m[-1]) / (0.6 * n / HZ))
        at = np.r_[out_m / speed, length_s + (home_m - home_m[-1]) / speed]
        stays = (t > out_m[-1] / speed) & (t < length_s - home_m[-1] / speed)
        way = np.stack([np.interp(t, at, part) for part in np.vstack([out, home]).T], 1) + stays[:, None] * drift
        return *_sway(self.rng, way, look), stays

    def _walk_off(self, deed: Deed) -> None:
        """Go out of range, behind walls, or to a spot of many paths."""
        rng, day, pack, is_odd_spot = self.rng, self.day, self.day.packs[deed.link], deed.cause == "multipath"
        swing = 0.8 * np.sin(self.day.t[: deed.n] * rng.uniform(0.1, 0.5) / 0.8)[:, None]
        drift = swing * deed.aside[0] * (deed.odd and is_odd_spot)
        spot = deed.spot
        if is_odd_spot and not deed.odd:  # stands in a hole of the field
            grid, middle = spot + rng.uniform(-0.5, 0.5, (60, 2)), deed.start + deed.n // 2
            powers = [day.field(pack, middle, place[None], np.ones(1), deed.change).max() for place in grid]
            spot = grid[np.argmin(powers)]
        way, face, _ = self._go(deed, deed.link, spot, 1.0, drift)
        self.air.wanted[deed.link][:, deed.window] = day.field(pack, deed.start, way, face, deed.change)

    def _turn_away(self, deed: Deed) -> None:
        """The back is turned and people come up; some lean, sit or lie on the pack."""
        rng, pack, t = self.rng, self.day.packs[deed.link], self.day.t[: deed.n]
        here, inner = self.day.ways[deed.link][0][deed.start], np.clip(np.minimum(t, t[::-1]) / 4, 0, 1)
        crowd = int(rng.integers(1 + 2 * deed.grade, 4 + 4 * deed.grade))
        azimuth = float(_angle(np.mean([antenna.position[:2] for antenna in pack.rack.antennas], 0) - here))
        way, face, _ = self._go(deed, deed.link, here, azimuth - pack.worn + PI)
        distance = rng.uniform(0.35, 1.2 + 0.1 * crowd, (crowd, 1)) + 6 * (1 - inner)
        ring = distance[..., None] * _unit(azimuth + rng.normal(0, 0.9, crowd))[:, None]
        height = 0.3 if deed.grade > 1 and deed.odd else pack.height
        change = Change(extra_db=deed.amount * inner, height=height, people=ring + way)
        self.air.wanted[deed.link][:, deed.window] = self.day.field(pack, deed.start, way, face, change)

    def _disturb(self, deed: Deed) -> None:
        """Somebody else's pack that wanders or, odd, the emission of lamps (in 200 kHz)."""
        rng, pack, t, odd = self.rng, self.day.packs[deed.link], self.day.t[: deed.n], deed.odd
        xy, over = self._places(deed, (HALL, SIDE, STORE, FOYER, YARD, YARD))
        power_dbm = rng.uniform(-45, -5, 80) if odd else rng.uniform(5, 20, 80)
        ratio = np.median(deed.weak_db[deed.window]) - (over + power_dbm - pack.power_dbm + 5)
        best = int(np.argmin(np.abs(ratio - pack.rack.make.cn_db - deed.amount)))
        way = xy[best] + (not odd) * rng.uniform(0, 6) * np.sin(t * 0.1)[:, None] * deed.aside[0]
        show = rng.uniform(0, 6) * odd * np.sign(np.sin(t * rng.uniform(0.3, 3)))  # pictures on a wall of lamps
        change = Change(extra_db=pack.power_dbm - power_dbm[best] - show, is_worn=False)
        self.air.strange[deed.link][:, deed.window] += self.day.field(pack, deed.start, way, t, change)

    def _come_close(self, deed: Deed) -> None:
        """The two of a product, or the wearer, come to the antennas, perhaps with packs that are not worn."""
        rng, is_off_body = self.rng, self.rng.uniform() < 0.3 + 0.2 * deed.grade or not deed.also
        near_m = deed.amount if deed.also else (0.8, 0.4, 0.15)[deed.grade]
        spot, stays = deed.mast + deed.aside[0] * near_m, np.zeros(deed.n, bool)
        for k in deed.also or [deed.link]:
            pack, place = self.day.packs[k], spot + rng.normal(0, 0.1, 2)
            way, face, stays = self._go(deed, k, place, rng.uniform(0, 6.3))
            change = Change(extra_db=np.where(stays, -pack.press_db * is_off_body, 0.0))
            self.air.wanted[k][:, deed.window] = self.day.field(pack, deed.start, way, face, change)
        if deed.also:
            apart_m = rng.uniform(0.1, 0.3) if is_off_body else rng.uniform(0.3, 0.8)
            self.air.apart_m[deed.link, deed.window] = np.where(stays, apart_m, 1e3)

    def _block(self, deed: Deed) -> None:
        """A strong strange transmitter beside the antennas; some are keyed."""
        rng, day, pack, n = self.rng, self.day, self.day.packs[deed.link], deed.n
        places, power_dbm = deed.mast + rng.uniform(0.3, 8, (80, 1)) * deed.aside, rng.uniform(17, 37, 80)
        change = Change(extra_db=pack.power_dbm - power_dbm, is_worn=False)
        level = _db(day.mean_power(pack, places, np.zeros(80), change).min(0))
        best = int(np.argmin(np.abs(level - pack.rack.iip3_dbm - deed.amount)))
        change = Change(extra_db=pack.power_dbm - power_dbm[best], is_worn=False)
        power = day.field(pack, deed.start, np.repeat(places[best : best + 1], n, 0), np.zeros(n), change)
        is_keyed = _wander(rng, n, 6.0, 1.0) > rng.choice([-0.6, -9])
        self.air.blocker[day.racks.index(pack.rack)][:, deed.window] = power * is_keyed

    def _harm_antennas(self, deed: Deed) -> None:
        """One is pulled, crushed or loose; or both: the mast falls (odd), or feeders or splitter fail."""
        wanted, window, loss_db = self.air.wanted, deed.window, deed.amount
        fallen = [
            replace(one, position=one.position * [1, 1, 0.05], azimuth=one.azimuth + loss_db, tilt=one.tilt + 1.4)
            for one in self.day.packs[deed.link].rack.antennas
        ]
        for k in deed.links:
            if deed.cause == "antenna":
                is_out = _wander(self.rng, deed.n, 2.0, 1.0) > (-0.5 if deed.odd else -9)
                wanted[k][deed.branch, window] *= _mw(np.where(is_out, -loss_db, 0.0))
            elif deed.odd:
                way, face = self.day.ways[k]
                change = Change(extra_db=0.4 * loss_db, antennas=fallen)
                power = self.day.field(self.day.packs[k], deed.start, way[window], face[window], change)
                wanted[k][:, window] = power
            else:
                wanted[k][:, window] *= _mw(-loss_db)

    def _fail(self, deed: Deed) -> None:
        """Power, switches, cells and cables."""
        rng, air, k, start, n, grade = self.rng, self.air, deed.link, deed.start, deed.n, deed.grade
        if deed.cause == "receiver":
            air.down[self.day.racks.index(self.day.packs[k].rack), deed.window] = True
        elif deed.cause == "switched-off":
            air.on[k, deed.window] = False
        elif deed.cause == "audio-path":  # dead, on and off, or only weak
            is_bad = np.ones(n // 2, bool)
            if grade < 2 and not deed.odd:
                is_bad = _wander(rng, n // 2, 0.4, 1.0) > (0.9, 0.2)[grade]
            air.silence[k, start // 2 : start // 2 + n // 2] = is_bad if grade or rng.uniform() < 0.6 else 2
        else:  # half-empty or aged cells: down the knee, then (unless changed in time) dead
            left, charge, dies = rng.uniform(0.08, 0.35), air.charge[k], start + deed.dies
            charge[start + n :] += rng.uniform(0.9, 1.0) - charge[min(start + n, len(charge) - 1)]
            charge[:start] -= (charge[start] - left) * (rng.uniform() < 0.6)  # not changed before the day
            used = np.minimum(self.day.t[:n] * HZ / deed.dies, 1) ** rng.uniform(1, 3)
            charge[deed.window] = np.maximum(left * (1 - used), 0.05 * (deed.dies >= n - 1))
            air.wanted[k][:, dies - 20 * HZ : dies] *= _mw(-rng.uniform(0, 4))  # the regulator gives way
            air.on[k, dies : start + n] = False


def _speech(rng: Rng, silence: NDArray[np.int64]) -> Floats:
    """Level of somebody who speaks and pauses, dBFS, with what an audio path that fails leaves of it."""
    n = len(silence)
    talks = _held(_wander(rng, n, 2.0, 1.0) > rng.uniform(-0.3, 1.2), int(rng.uniform(3, 20)))
    voice = rng.uniform(-30, -16) + 5 * _wander(rng, n, 0.15, 1.0)
    level = np.where(talks, voice, rng.normal(rng.uniform(-66, -48), 1.0, n))
    return np.where(silence == 1, rng.normal(rng.uniform(-104, -88), 0.5, n), level - 9.0 * silence)


def _people_gain(places: Floats, height: float, at: Floats, people: Floats, wave_m: float) -> Floats:
    """Amplitude left of the rays to `at` behind people (k, n, 2): screens 0.44 m wide, 1.72 m high (Babinet)."""
    ray, off = at[:2] - places, people - places
    long = np.maximum(_size(ray), 0.3)
    along, aside = (off * ray).sum(-1) / long, _cross(off, ray) / long
    inner = np.clip(along, 0.1, long - 0.1)
    scale, foot = np.sqrt(2 * long / (wave_m * inner * (long - inner))), height + (at[2] - height) * inner / long
    across = _strip((aside - 0.22) * scale, (aside + 0.22) * scale)
    left = np.abs(1 - across * _strip(-foot * scale, (1.72 - foot) * scale))
    return np.asarray(np.where(inner == along, np.clip(left, 0.03, 1.2), 1.0).prod(0))


def _strip(low: Floats, high: Floats) -> NDArray[np.complex128]:
    """The field through a strip, of that through everything; Born & Wolf."""
    (sine_low, cosine_low), (sine_high, cosine_high) = special.fresnel(low), special.fresnel(high)
    return np.asarray((1 + 1j) / 2 * (cosine_high - cosine_low - 1j * (sine_high - sine_low)))


def _wall_db(start: Floats, end: Floats, walls: Floats) -> Floats:
    """Loss of the walls that lines cross; slanting ones count up to double."""
    line, wall = (end - start)[:, None], walls[None, :, 2:4] - walls[None, :, :2]
    to_wall, turn = walls[None, :, :2] - start[:, None], _cross(line, wall) + 1e-9
    on_line, on_wall = _cross(to_wall, wall) / turn, _cross(to_wall, line) / turn
    is_hit = (on_line > 1e-4) & (on_line < 0.9999) & (on_wall >= 0) & (on_wall <= 1)
    upright = np.abs(turn) / np.maximum(_size(line) * _size(wall), 1e-9)
    return np.asarray((is_hit * walls[:, 4] / np.maximum(upright, 0.5)).sum(1))


def _sway(rng: Rng, way: Floats, look: Floats | float) -> tuple[Floats, Floats]:
    """The way with a body's sway, and the facing: ahead or, standing, where `look` says."""
    v = np.gradient(_smooth(way, HZ), axis=0) * HZ
    face = np.where(_size(v) > 0.25, _angle(v), look + _wander(rng, len(way), 3.0, 0.2))
    sway = np.stack([_wander(rng, len(way), 1.5, 0.015) for _ in "xy"], 1)
    return way + sway, _smooth(np.unwrap(face), HZ)


def _wander(rng: Rng, n: int, tau_s: float, sigma: float) -> Floats:
    """A random line of Ornstein and Uhlenbeck."""
    keep = float(np.exp(-1 / (HZ * tau_s)))
    return np.asarray(signal.lfilter([sigma * np.sqrt(1 - keep * keep)], [1, -keep], rng.normal(size=n)))


def _held(bad: Bools, n: int) -> Bools:
    """True while any of the last n steps was bad."""
    i = np.arange(len(bad))
    return np.asarray(i - np.maximum.accumulate(np.where(bad, i, -(10**7))) <= n)


def _smooth(x: Floats, n: int) -> Floats:
    return np.asarray(ndimage.uniform_filter1d(x, n, axis=0, mode="nearest"))


def _pick(rng: Rng, *choices: float) -> float:
    return float(rng.choice(choices))


def _db(power: Floats) -> Floats:
    return np.asarray(10 * np.log10(np.maximum(power, 1e-30)))


def _mw(level: Floats | float) -> Floats:
    return np.asarray(10 ** (np.asarray(level) / 10))


def _size(v: Floats) -> Floats:
    return np.asarray(np.sqrt((v * v).sum(-1)))


def _unit(azimuth: Floats | float) -> Floats:
    return np.stack([np.cos(azimuth), np.sin(azimuth)], -1)


def _angle(v: Floats) -> Floats:
    return np.asarray(np.arctan2(v[..., 1], v[..., 0]))


def _cross(x: Floats, y: Floats) -> Floats:
    return np.asarray(x[..., 0] * y[..., 1] - x[..., 1] * y[..., 0])


def _off_axis(angle: Floats) -> Floats:
    return np.abs((angle + PI) % (2 * PI) - PI)

"""Air of the day as a receiver that sweeps would hear it, by textbook alone: no code of what it tests.

Noise is averaged exponentials; multiplexes fade by two rays that move and by a slow log-normal part; carriers fade
by Rice; our own have skirts, an image and third-order products, and come and go; strangers come as they are told.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from linkwright.air.sweep import Sweep

STEP = 25.0
LOW, HIGH = 470_000.0, 606_000.0


@dataclass
class Stranger:
    """Somebody: where, how wide, how strong over the floor in 200 kHz [dB], from when to when [s]."""

    khz: float
    wide: float
    over_db: float
    from_s: float
    to_s: float
    on: str = ""
    told_s: float = float("nan")


@dataclass
class Air:
    """A day of one seed. averages : looks in each level. every_s : one pass takes so long."""

    seed: int
    averages: int = 4
    every_s: float = 8.0
    step: float = STEP
    carriers: tuple[int, ...] = ()
    strangers: list[Stranger] = field(default_factory=list)
    hours: float = 1.0
    gain_steps: bool = True
    image_db: float = -55.0
    spares: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)
        self.f = np.arange(LOW, HIGH, self.step)
        rng = self.rng
        raster = np.arange(LOW, HIGH, 8000.0)
        free = [lo for lo in raster if not any(lo - 1500 < c < lo + 9500 for c in self.carriers)]
        self.tv = [(lo, float(rng.uniform(6, 35)), rng.uniform(0, 6.28), rng.uniform(60, 900)) for lo in
                   rng.choice(free, min(5, len(free)), replace=False)]  # fmt: skip
        self.tv_slow = {lo: 0.0 for lo, *_ in self.tv}
        self.steady = [(float(rng.uniform(LOW, HIGH)), float(rng.uniform(12, 40))) for _ in range(6)]
        self.steady = [
            one for one in self.steady if all(abs(one[0] - c) > 900 for c in self.carriers + self.spares)
        ]
        self.phase = rng.uniform(0, 6.28, 8)
        self.own_on = dict.fromkeys(self.carriers, False)
        self.next = {c: float(rng.uniform(60, 3600)) for c in self.carriers}
        self.slow = dict.fromkeys(self.carriers, 0.0)
        self.body = {c: float(rng.uniform(30, 60)) for c in self.carriers}
        self.gain = 0.0
        self.intercept = float(rng.uniform(78, 100))
        self.silent: set[int] = set()

    def shape(self, khz: float, wide: float, over_db: float, wander: float = 0.0) -> np.ndarray:
        """Power in each bin over the floor's, of a signal `over_db` over the floor in 200 kHz."""
        centre = khz + wander
        low, high = (
            np.maximum(self.f - self.step / 2, centre - wide / 2),
            np.minimum(self.f + self.step / 2, centre + wide / 2),
        )
        share = np.clip(high - low, 0.0, None) / wide
        return np.asarray(10 ** (over_db / 10) * share * 200.0 / self.step)

    def at(self, t: float) -> Sweep:
        """The pass that ends at t [s]."""
        rng, f = self.rng, self.f
        power = np.ones(f.size)
        for lo, db, phase, period in self.tv:
            self.tv_slow[lo] += -0.04 * self.tv_slow[lo] + rng.normal(0, 0.6)
            inside = (f > lo + 200) & (f < lo + 7800)
            delay = 0.25e-3 * (1 + 0.3 * np.sin(2 * np.pi * t / 1700 + phase))
            ray = (
                np.abs(1 + 0.6 * np.exp(1j * (2 * np.pi * (f - lo) * delay + 2 * np.pi * t / period + phase))) ** 2
            )
            power = power + np.where(inside, 10 ** ((db + self.tv_slow[lo]) / 10) * ray, 0.0)
        for khz, db in self.steady:
            power = power + self.shape(khz, 150, db + rng.normal(0, 1.5))
        on = []
        for c in self.carriers:
            if t > self.next[c]:
                self.own_on[c] = not self.own_on[c]
                self.next[c] = t + float(rng.uniform(300, 5400))
            if self.own_on[c] and c not in self.silent:
                self.slow[c] += -0.1 * self.slow[c] + rng.normal(0, 1.5)
                rice = abs(1 + 0.35 * (rng.normal() + 1j * rng.normal())) ** 2
                level = self.body[c] + self.slow[c] + 10 * np.log10(max(rice, 1e-3))
                on.append((c, level))
                power = power + self.shape(c, 180, level, float(rng.normal(0, 12)))
                power = (
                    power + self.shape(c, 900, level - 60) + self.shape(LOW + HIGH - c, 180, level + self.image_db)
                )
        for a, la in on:
            for b, lb in on:
                if a != b:
                    power = power + self.shape(2 * a - b, 350, 2 * la + lb - 2 * self.intercept)
        for stranger in self.strangers:
            if stranger.from_s <= t < stranger.to_s:
                power = power + self.shape(stranger.khz, stranger.wide, stranger.over_db + rng.normal(0, 1.0))
        looks = rng.gamma(self.averages, 1.0 / self.averages, f.size)
        if self.gain_steps and rng.random() < 0.002:
            self.gain += float(rng.choice([-4, -2, 2, 4]))
        drift = 1.2 * np.sin(2 * np.pi * t / 7000 + self.phase[0]) + 0.8 * np.sin(
            2 * np.pi * t / 1500 + self.phase[1]
        )
        tilt = 3.0 * (f - LOW) / (HIGH - LOW) + np.sin(f / 9000.0 + self.phase[2])
        db = -105.0 + self.gain + drift + tilt + 10 * np.log10(power * looks)
        return Sweep("simulated", f, db[None, :], "dBm", self.step, self.step, self.averages, "rms", None, None,
                     "simulated", np.zeros(f.size, dtype=np.bool_))  # fmt: skip


def placed(rng: np.random.Generator, carriers: int = 8, spares: int = 8) -> tuple[tuple[int, ...], list[int]]:
    """Carriers and spares that no third-order product of the carriers comes nearer to than 100 kHz."""
    while True:
        found: list[int] = []
        offered = [int(khz) for khz in 518_000 + rng.permutation(np.arange(0, 24_000, 25))[:600]]
        for khz in offered:
            more = [*found, khz]
            if len(found) < carriers and all(abs(khz - other) >= 600 for other in found):
                apart = [abs(one - product) for one in more for product in _products(more)]
                found = more if min(apart, default=999) >= 100 else found
        if len(found) == carriers:
            break
    taken = list(found)
    products = _products(found)
    for khz in offered:
        clean = all(abs(khz - other) >= 600 for other in taken)
        if clean and min(abs(khz - product) for product in products) >= 100 and len(taken) < carriers + spares:
            taken.append(khz)
    return tuple(sorted(found)), taken[carriers:]


def _products(carriers: list[int]) -> set[int]:
    """Third-order products of two and of three carriers."""
    two = {2 * a - b for a in carriers for b in carriers if a != b}
    three = {a + b - c for a in carriers for b in carriers for c in carriers if len({a, b, c}) == 3}
    return two | three


@dataclass
class Told:
    """What became of a day: who was told how long after they came [s], who was not, what was told that was nobody.

    invented : (time [s], kHz, kHz wide, over the floor [dB], kind) on ours or within their guard; elsewhere : how
    many besides.
    """

    after_s: list[float]
    missed: list[Stranger]
    invented: list[tuple[float, float, float, float, str]]
    elsewhere: int


def day(
    seed: int, averages: int, every_s: float, hours: float, arrivals: int, image_db: float = -75.0,
    least_db: float = 20.0, step: float = STEP,
) -> Told:  # fmt: skip
    """A day of a crew of eight with eight spares: ours come and go as the receivers tell, strangers come to spares
    and, while ours is off, to carriers, up to 75 kHz beside their middle."""
    from linkwright.air.arrivals import Arrivals
    from linkwright.air.fresh import FreshAir
    from linkwright.air.ours import Mine

    rng = np.random.default_rng(seed + 1000)
    carriers, spares = placed(rng)
    strangers, places = [], {}
    for n in range(arrivals):
        at = 600 + n * (hours * 3600 - 1200) / arrivals
        place = int(rng.choice(carriers if n % 2 else spares))
        off = 0 if rng.random() < 0.5 else float(rng.choice([-75, -50, -25, 25, 50, 75]))
        lasts = float(rng.uniform(3 * every_s, 25 * every_s))
        strangers.append(
            Stranger(
                place + off, float(rng.choice([12.5, 100, 180])), float(rng.uniform(least_db, 50)), at, at + lasts
            )
        )
        places[n] = place
    air = Air(seed, averages, every_s, step, carriers, strangers, hours, image_db=image_db, spares=tuple(spares))
    mine = tuple(Mine(khz, 200, 200, str(khz)) for khz in carriers)
    mine += tuple(Mine(khz, 200, 200, f"spare {khz}", spare=True) for khz in spares)
    fresh = FreshAir()
    new = Arrivals(fresh)
    new.expect(mine)
    told = Told([], [], [], 0)
    seen: set[tuple[int, int]] = set()
    met: dict[int, float] = {}

    def is_on(link: str) -> bool | None:
        return bool(air.own_on[int(link)]) and int(link) not in air.silent

    for n in range(1, int(hours * 3600 / every_s) + 1):
        t = n * every_s
        air.silent = {
            places[k] for k, one in enumerate(strangers)
            if one.from_s - 3 * every_s - 10 <= t < one.to_s + 3 * every_s
        }  # fmt: skip
        fresh.add(air.at(t), t)
        new.look(t, is_on)
        new.tick(t + 1.6, is_on)
        for somebody in new.somebodies:
            if somebody.kind not in ("somebody", "wide") or somebody.first:
                continue
            there = [
                k
                for k, who in enumerate(strangers)
                if who.from_s <= t < who.to_s + every_s and abs(who.khz - somebody.centre_khz) < 200
            ]
            for k in there:
                if somebody.on and somebody.last_s == t:
                    met.setdefault(k, t)  # told now, or told still of another at the same place
            if (somebody.number, somebody.times) in seen:
                continue
            seen.add((somebody.number, somebody.times))
            if there or any(abs(khz - somebody.centre_khz) < 250 for khz, _ in air.steady):
                continue
            if any(each.touches(somebody.centre_khz, somebody.width_khz) for each in mine):
                told.invented.append((t, somebody.centre_khz, somebody.width_khz, somebody.over_db, somebody.kind))
            else:
                told.elsewhere += 1
    told.after_s = [at - strangers[k].from_s for k, at in met.items()]
    told.missed = [one for k, one in enumerate(strangers) if k not in met]
    return told

"""Air of the day as a receiver that sweeps would hear it, by textbook alone: no code of what it tests.

Noise is averaged exponentials; multiplexes fade by two rays that move and by a slow log-normal part; carriers fade by
Rice; our own have skirts, an image and third-order products, and come and go; strangers come as they are told to.
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
        self.steady = [one for one in self.steady if all(abs(one[0] - c) > 900 for c in self.carriers)]
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
        return 10 ** (over_db / 10) * share * 200.0 / self.step

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
        for one in self.strangers:
            if one.from_s <= t < one.to_s:
                power = power + self.shape(one.khz, one.wide, one.over_db + rng.normal(0, 1.0))
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

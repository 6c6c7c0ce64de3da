"""A second simulator, from the words of the diagnosis's rules alone: it shares no code with the first.

Fading is a pair of filtered noises (a Gauss-Markov process in the complex plane), shadowing another one; levels,
quality, audio and faults are drawn here anew. Plain arrays come out; what reads them is the tests' business.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

NEED_DBM = -92.0
FLOOR_DBM = -112.0
TOP_DBM = -25.0
BEGIN_NS = 1_810_000_000_000_000_000


@dataclass
class Truth:
    """What was played: whose, what, from and to [s]; whether anybody could see it in the readings."""

    link: str
    cause: str
    start_s: float
    end_s: float


@dataclass
class Played:
    """A log as columns, (n,) each, in the order of time, with what is true of it."""

    names: list[str]
    link: np.ndarray
    time_s: np.ndarray
    values: np.ndarray
    truth: list[Truth]
    on: dict[str, list[tuple[float, float]]] = field(default_factory=dict)


def wandering(rng: np.random.Generator, count: int, step_s: float, lasts_s: float) -> np.ndarray:
    """Noise of mean power one that forgets itself after `lasts_s`, complex."""
    keep = math.exp(-step_s / lasts_s)
    white = (rng.normal(size=count) + 1j * rng.normal(size=count)) / math.sqrt(2.0)
    out = np.empty(count, dtype=complex)
    now = white[0]
    gain = math.sqrt(1.0 - keep * keep)
    for n in range(count):
        now = keep * now + gain * white[n]
        out[n] = now
    return out


class Link:
    """One link's curves before they are read: two branches [dBm], unwanted power [dBm], gauge, dead audio."""

    def __init__(self, rng: np.random.Generator, count: int, step_s: float, steady: float) -> None:
        self.rng, self.count, self.step_s = rng, count, step_s
        self.mean = rng.uniform(-74.0, -62.0) + 1.5 * wandering(rng, count, step_s, 12.0).real * math.sqrt(2.0)
        self.loss = np.zeros((2, count))
        self.fade = np.empty((2, count))
        for branch in range(2):
            scattered = wandering(rng, count, step_s, 0.12) * math.sqrt(1.0 / (steady + 1.0))
            self.fade[branch] = 20.0 * np.log10(np.abs(scattered + math.sqrt(steady / (steady + 1.0))) + 1e-4)
        self.unwanted = np.full(count, FLOOR_DBM)
        self.squeeze = np.zeros(count, dtype=bool)
        self.dead = np.zeros(count, dtype=bool)
        self.gauge = 0.95 - rng.uniform(0.0, 0.4) - 0.1 * np.arange(count) / count
        self.off = np.zeros(count, dtype=bool)

    def at(self, start_s: float, end_s: float) -> slice:
        return slice(round(start_s / self.step_s), round(end_s / self.step_s))

    def read(self, meter_db: float) -> np.ndarray:
        """The readings (n, 6): both levels, audio, quality, gauge, mute."""
        rng = self.rng
        branch = self.mean + self.fade - self.loss
        branch[:, self.off] = -200.0
        total = 10.0 * np.log10(10.0 ** (branch / 10.0) + 10.0 ** (self.unwanted / 10.0))
        cnr = branch.max(axis=0) - self.unwanted - (NEED_DBM - FLOOR_DBM)
        cnr[self.squeeze] = -6.0
        quality = 1.0 / (1.0 + np.exp(-np.clip(cnr, -40.0, 40.0) * 1.3))
        muted = quality < 0.3
        speech = np.where(
            np.sin(np.arange(self.count) * self.step_s * 0.9 + rng.uniform(0, 6)) > -0.3, -26.0, -57.0
        )
        audio = speech + rng.normal(0.0, 5.0, self.count)
        audio[self.dead | muted] = -97.0
        levels = np.minimum(total + rng.normal(0.0, meter_db, total.shape), TOP_DBM)
        columns = [levels[0], levels[1], audio, np.round(quality, 2), np.round(self.gauge, 2), muted * 1.0]
        return np.stack(columns, axis=1)


def hit(link: Link, cause: str, start: float, rng: np.random.Generator, hard: float) -> float:
    """Play one fault from `start` [s]; when it ends [s]. `hard` from 0 to 1 places its severity."""
    level = float(link.mean[link.at(start, start + 1.0)].mean())
    margin = level - NEED_DBM
    if cause == "range":
        down, stay = rng.uniform(14.0, 40.0), rng.uniform(6.0, 25.0)
        depth = margin + 3.0 + 9.0 * hard
        end = start + 2.0 * down + stay
        way = np.interp(np.arange(link.count) * link.step_s, [start, start + down, end - down, end], [0, 1, 1, 0])
        link.loss += depth * way**1.3
    elif cause == "body":
        end = start + rng.uniform(1.5, 9.0)
        span = link.at(start, end)
        drop = 11.0 + 13.0 * hard
        # the talent is where a body in the way is heard: slowly gone there and back, the drop is the body's
        weak = max(0.0, margin - drop + 4.0)
        time = np.arange(link.count) * link.step_s
        link.loss += weak * np.interp(time, [start - 45.0, start - 8.0, end + 8.0, end + 45.0], [0, 1, 1, 0])
        link.loss[:, span] += drop
    elif cause == "antenna":
        end = start + rng.uniform(35.0, 90.0)
        link.loss[int(rng.integers(2)), link.at(start, end)] += 15.0 + 22.0 * hard
    elif cause == "multipath":
        end = start + rng.uniform(6.0, 16.0)
        at = start
        while at < end:
            length = rng.uniform(0.15, 0.4)
            span = link.at(at, at + max(length, link.step_s))
            link.loss[0, span] += margin + rng.uniform(2.0, 12.0)
            link.loss[1, link.at(at - 0.1, at + length)] += margin + rng.uniform(2.0, 12.0)
            lone = at + length + rng.uniform(0.2, 0.5)
            link.loss[int(rng.integers(2)), link.at(lone, lone + 0.2)] += rng.uniform(8.0, 25.0)
            at = lone + rng.uniform(0.2, 0.7)
    elif cause in ("interference", "intermodulation"):
        end = start + rng.uniform(5.0, 45.0)
        need = NEED_DBM - FLOOR_DBM
        link.unwanted[link.at(start, end)] = level - need + 8.0 + 9.0 * hard
    elif cause == "overload":
        end = start + rng.uniform(3.0, 15.0)
        span = link.at(start, end)
        link.mean[span] = TOP_DBM + 5.0 + 8.0 * hard
        link.squeeze[span] = True
    elif cause == "battery":
        end = start + rng.uniform(20.0, 80.0)
        before = link.at(max(0.0, start - 240.0), start)
        link.gauge[before] = np.minimum(link.gauge[before], np.linspace(0.12, 0.02, link.gauge[before].size))
        link.gauge[link.at(start, end)] = rng.uniform(0.0, 0.03)
        link.off[link.at(start, end)] = True
    elif cause == "switched-off":
        end = start + rng.uniform(4.0, 60.0)
        link.off[link.at(start, end)] = True
    else:
        end = start + rng.uniform(3.0, 30.0)
        link.dead[link.at(start, end)] = True
    return end


CAUSES = (
    "range", "antenna", "body", "multipath", "interference", "intermodulation", "overload", "battery",
    "switched-off", "audio-path",
)  # fmt: skip


def play(
    seed: int,
    *,
    links: int = 6,
    minutes: float = 30.0,
    step_s: float = 0.1,
    meter_db: float = 2.0,
    faults: bool = True,
) -> Played:
    """A log of `links` and two more that come and go; each link has every cause in turn, in an order of its own."""
    rng = np.random.default_rng([seed, 99])
    count = round(minutes * 60.0 / step_s)
    names = [f"Talent {n + 1}" for n in range(links)] + ["Guest", "Host"]
    made = [Link(rng, count, step_s, float(rng.uniform(1.0, 6.0))) for _ in names]
    truth: list[Truth] = []
    on: list[tuple[float, float]] = []
    if faults:
        for n in range(links):
            at = rng.uniform(60.0, 120.0)
            order = [CAUSES[i] for i in rng.permutation(len(CAUSES))]
            for cause in order:
                if at > minutes * 60.0 - 180.0:
                    break
                if cause == "intermodulation" and on and at < on[-1][1] + 40.0:
                    continue
                end = hit(made[n], cause, at, rng, float(rng.uniform()))
                truth.append(Truth(names[n], cause, at, end))
                if cause == "intermodulation":
                    on.append((at, end))
                at = end + rng.uniform(60.0, 110.0)
    for one in (made[-2], made[-1]):
        one.off[:] = True
    for start, end in on:
        made[-2].off[made[-2].at(start - rng.uniform(-0.5, 0.5), end)] = False
        made[-1].off[made[-1].at(start - rng.uniform(3.0, 20.0), end + rng.uniform(3.0, 20.0))] = False
    values = np.stack([one.read(meter_db) for one in made], axis=1).reshape(-1, 6)
    return Played(
        names, np.tile(np.arange(len(names)), count), np.repeat(np.arange(count) * step_s, len(names)), values,
        truth, {"Guest": on, "Host": on},
    )  # fmt: skip

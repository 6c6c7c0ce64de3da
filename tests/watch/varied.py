"""Receiver logs to learn from and never to measure on: everything about them is drawn from far wider than one
receiver, one crew or one place has it, so that what is learnt holds of a receiver that nobody has seen.

Its author had read the other players. Fading is a sum of rays (Clarke 1968) with Rice's steady part, shadowing
has Gudmundson's correlation; every range is assumed. Seeded; reads no clock and no file.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import lfilter
from tests.watch.independent import Fault, Player, Recorded

F = NDArray[np.float64]
B = NDArray[np.bool_]
Rng = np.random.Generator
FINE_HZ = 50.0
WAVE_M = 0.5
OFF_DB = 150.0
#: Shortest and longest [s]; "shared" ones take a rack.
LENGTHS_S: dict[str, tuple[float, float]] = {
    "range": (25, 300), "antenna": (15, 240), "antennas": (8, 200), "body": (0.8, 30), "wall": (6, 240),
    "multipath": (5, 150), "interference": (1, 150), "overload": (3, 90), "battery": (20, 300),
    "switched-off": (3, 250), "audio-path": (2, 180), "receiver": (3, 120),
}  # fmt: skip
SHARED = ("antennas", "receiver")


def line(rng: Rng, n: int, steps: float, sigma: float) -> F:
    """A Gaussian line of exponential correlation over `steps`; (n,)."""
    a = float(np.exp(-1.0 / max(steps, 1e-6)))
    noise = rng.normal(0.0, sigma * np.sqrt(1.0 - a * a), n)
    noise[0] = rng.normal(0.0, sigma)
    return np.asarray(lfilter([1.0], [1.0, -a], noise))


def scattered(rng: Rng, waves: F, rays: int = 12) -> NDArray[np.complex128]:
    """A Rayleigh field along a way in waves: rays from anywhere, mean power 1."""
    total = np.zeros(len(waves), complex)
    for angle, phase in rng.uniform(0.0, 2.0 * np.pi, (rays, 2)):
        total += np.exp(1j * (2.0 * np.pi * np.cos(angle) * waves + phase))
    return np.asarray(total / np.sqrt(rays))


def edged(t: F, start: float, end: float, rise: float, fall: float, soft: bool = True) -> F:
    """0 outside, 1 inside, with edges of `rise` and `fall` seconds, straight or soft; (n,)."""
    part = np.clip(np.minimum((t - start) / max(rise, 0.02), (end - t) / max(fall, 0.02)), 0.0, 1.0)
    return np.asarray(part * part * (3.0 - 2.0 * part) if soft else part)


def turns(rng: Rng, t: F, on_s: float, off_s: float) -> B:
    """On and off by turns of exponential length [s], on first; (n,)."""
    count = int(2.0 * (t[-1] - t[0]) / (on_s + off_s)) + 20
    return np.asarray(np.searchsorted(t[0] + np.cumsum(rng.exponential(np.tile([on_s, off_s], count))), t) % 2 == 0)


def mean_over(values: F, seconds: float) -> F:
    """A mean over the last `seconds`, along the last axis."""
    width = max(1, round(seconds * FINE_HZ))
    total = np.cumsum(np.concatenate([np.repeat(values[..., :1], width, -1), values], -1), -1)
    return np.asarray((total[..., width:] - total[..., :-width]) / width)


def late(values: F, seconds: float) -> F:
    """The same so many seconds later, along the last axis."""
    shift = round(seconds * FINE_HZ)
    return (
        values if not shift else np.concatenate([np.repeat(values[..., :1], shift, -1), values[..., :-shift]], -1)
    )


class Rack:
    """Receivers of one make on shared antennas: how they receive, and how they show it."""

    def __init__(self, rng: Rng) -> None:
        u, choice = rng.uniform, rng.choice
        self.noise, self.cnr = u(-115, -96), u(7, 22)
        self.combines = rng.random() < 0.3
        self.low, self.top = u(-124, -88), u(-60, -12)
        kind = choice(["step", "step", "segments"])
        self.step = (
            float(choice([0.0, 0.1, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0], p=[0.1, 0.15, 0.15, 0.2, 0.15, 0.1, 0.1, 0.05]))
            if kind == "step"
            else 0.0
        )
        self.segments: F | None = None
        if kind == "segments":
            # the first lamp lights anywhere, or somewhere about what is needed
            first = u(-103, -88) if rng.random() < 0.5 else self.noise + self.cnr + u(-12, 14)
            uneven = rng.random() < 0.7
            widths = u(4, 12, int(rng.integers(2, 10))) if uneven else np.full(int(rng.integers(2, 7)), u(5, 14))
            self.segments = first + np.cumsum(np.concatenate([[0.0], widths]))
        self.in_db, self.mean_s, self.late_s = rng.random() < 0.4, 0.02 * 25 ** rng.random(), max(0.0, u(-0.3, 0.4))
        self.offset, self.scatter = rng.normal(0, 2.5), float(choice([0.0, 0.3, 1.0, 2.0]))
        self.quality = str(choice(["share", "soft", "margin", "count", "none"], p=[0.3, 0.3, 0.15, 0.15, 0.1]))
        self.q_step = float(choice([0.0, 0.01, 0.1, 0.2, 0.25, 0.5]))
        self.q_late_s, self.q_mean_s = max(0.0, u(-0.3, 0.5)), u(0.05, 0.6)
        self.q_wide, self.q_middle = u(1, 7), u(-1, 4)
        self.mutes_from, self.mutes_in_s = u(0.2, 0.7), u(0.02, 0.25)
        self.opens_over_db = u(1, 6) if rng.random() < 0.15 else 0.0  # muted until it is so much better again
        self.hold_s = 0.0 if rng.random() < 0.25 else u(0.05, 1.5)
        self.flags, self.audio = rng.random() < 0.75, rng.random() < 0.85
        self.muted_dbfs = float(choice([-120.0, -100.0, -90.0, np.nan]))
        self.bars = float(choice([0.01, 0.05, 0.25, np.nan]))
        self.gone_gauge = str(choice(["hold", "none", "zero"]))
        # without power: as with nothing received; a mute without levels; nothing; the last readings; no reading
        self.dark = str(choice(["lowest", "lowest", "muted", "untold", "stale", "gone"]))

    def shown(self, rng: Rng, power_mw: F, rows: slice) -> F:
        """Levels as the meters show them, (2, readings) [dBm]."""
        power = 10.0 * np.log10(power_mw) if self.in_db else power_mw
        power = late(mean_over(power, self.mean_s), self.late_s)[:, rows]
        level = power if self.in_db else 10.0 * np.log10(np.maximum(power, 1e-18))
        level = level + self.offset + rng.normal(0.0, self.scatter, level.shape)
        if self.segments is not None:
            lit = np.searchsorted(self.segments, level)
            return np.concatenate([self.segments[:1] - 8.0, self.segments])[lit]
        if self.step:
            level = np.round(level / self.step) * self.step
        return np.clip(level, self.low, self.top)

    def judged(self, over_db: F, bad: F, every: int) -> F:
        """The quality, (n,); NaN where these receivers tell none."""
        if self.quality == "none":
            return np.full(len(bad), np.nan)
        if self.quality == "soft":
            found = 1.0 / (1.0 + np.exp(-4.4 * np.clip((over_db - self.q_middle) / self.q_wide, -9, 9)))
        elif self.quality == "margin":
            found = np.clip(over_db / 20.0, 0.0, 1.0) * (1.0 - 0.8 * bad)
        else:
            found = 1.0 - bad
        found = mean_over(found, 1.0 if self.quality == "count" else max(self.q_mean_s, every / FINE_HZ))
        found = late(found, self.q_late_s)
        return np.round(found / self.q_step) * self.q_step if self.q_step else found


class Talent:
    """A link: where it goes, what is lost on the way, and what is done to it."""

    def __init__(self, rng: Rng, rack: Rack, name: str, khz: int, t: F) -> None:
        u, n = rng.uniform, len(t)
        self.name, self.khz, self.t, self.rack, self.busy = name, khz, t, rack, list[tuple[float, float]]()
        self.need = rack.noise + rack.cnr
        knots, reach, rests = [(0.0, float(u(3, 40)))], u(8, 80), 5.0 * 24 ** rng.random()
        while knots[-1][0] < t[-1]:
            (now, was), far = knots[-1], float(u(2.0, reach))
            now += rng.exponential(rests) + 0.2
            knots += [(now, was), (now + abs(far - was) / u(0.3, 2.0), far)]
        far_m = np.interp(t, [when for when, _ in knots], [where for _, where in knots])
        self.way = np.concatenate([[0.0], np.abs(np.diff(far_m)).cumsum()])
        mean: F = -10.0 * u(2, 4.5) * np.log10(np.maximum(far_m, 1.0))
        grid = line(rng, int(self.way[-1] / 0.1) + 2, u(1, 12) / 0.1, u(1, 6))
        mean = mean - np.interp(self.way, np.arange(len(grid)) * 0.1, grid)
        mean = mean - u(1, 5) * (1.0 - np.cos(line(rng, n, u(5, 40) * FINE_HZ, 1.5)))
        mean = mean - np.quantile(mean, 0.1) + self.need + u(5, 38)
        self.mean = np.minimum(mean, rack.top + u(-12, 6))
        self.sway = np.abs(line(rng, n, 8 * FINE_HZ, u(0.01, 0.3)))
        self.rice = 10.0 ** (np.clip(u(-1, 13) + line(rng, n, 30 * FINE_HZ, 1.5), -4, 14) / 10.0)
        self.alike = np.full(n, u(0, 0.8))
        self.skew = np.clip(rng.normal(0, 1.5, 2), -4, 4)
        self.loss = np.zeros((2, n))
        for start in np.cumsum(rng.exponential(u(20, 120), int(t[-1] / 20))):
            self.lose(u(2, 8), edged(t, start, start + u(0.6, 10), 0.4, 0.4))
        self.hit_mw, self.squeezed = np.full((2, n), 0.0), np.zeros(n)
        self.off, self.silent, self.dark = np.zeros(n, bool), np.zeros(n, bool), np.zeros(n, bool)
        self.gauge = u(0.3, 1.0) - t / u(3, 10) / 3600.0
        self.breaks: B = np.zeros(n, bool)

    def lose(self, db: float | F, share: F) -> None:
        """Take so much from both branches, by shares of it (n,)."""
        self.loss += db * share

    def free(self, start: float, end: float) -> bool:
        return all(end + 15 < a or start - 15 > b for a, b in self.busy)

    def over(self, inside: B) -> float:
        """How far the local mean lies over the need, the median of a time [dB]."""
        return float(np.median((self.mean - self.loss.mean(axis=0))[inside])) - self.need

    def stand_weak(
        self, rng: Rng, start: float, end: float, margin_db: float, come_s: tuple[float, float] = (6, 45)
    ) -> None:
        """Come, slowly, to where no more than so much is over the need, for the time of a fault."""
        come = come_s[0] * (come_s[1] / come_s[0]) ** rng.random()
        inside = (self.t >= start) & (self.t < end)
        share = edged(self.t, start - come - rng.uniform(0, 20), end + come, come, come)
        self.lose(max(self.over(inside) - margin_db, 0.0), share)

    def powers(self, rng: Rng) -> tuple[F, F]:
        """Wanted and unwanted power at the two antennas [mW], (2, n) each."""
        waves = (self.way + np.cumsum(self.sway) / FINE_HZ) / WAVE_M
        one, two = scattered(rng, waves), scattered(rng, waves)
        fields = np.stack([one, self.alike * one + np.sqrt(1.0 - self.alike**2) * two])
        steady = np.exp(2j * np.pi * (waves * rng.uniform(-1, 1) + rng.random((2, 1))))
        field = np.sqrt(self.rice / (self.rice + 1)) * steady + fields / np.sqrt(self.rice + 1)
        level = self.mean - self.loss + self.skew[:, None] - OFF_DB * self.off
        return 10.0 ** (level / 10.0) * np.abs(field) ** 2, 10.0 ** (self.rack.noise / 10.0) + self.hit_mw


def harm(rng: Rng, one: Talent, cause: str, start: float, end: float) -> None:
    """Do a fault to a link: mild ones and hard ones, in good places and in weak ones."""
    u, t = rng.uniform, one.t
    inside, length = (t >= start) & (t < end), end - start
    one.busy.append((start, end))
    if cause == "range":
        goes, comes = u(0.2, 0.5) * length, u(0.1, 0.4) * length
        walk = edged(t, start, end, goes, comes, soft=rng.random() < 0.5) ** u(0.6, 1.5)
        if rng.random() < 0.3:  # past things that shadow, at the pace of a walk
            walk = np.maximum(walk * (1.0 + line(rng, len(t), u(1, 12) * FINE_HZ, u(0.03, 0.2))), 0.0)
        one.lose(max(one.over(inside) - u(-20, 5), 8.0), walk)
        if rng.random() < 0.6:  # far away, less of it comes straight
            one.rice = one.rice * 10.0 ** (-u(0, 12) * walk / 10)
        goes_on = (walk > 0.02) & ((walk < 0.98) | (rng.random() < 0.5))
        one.sway = np.where(goes_on, u(0.3, 1.6), one.sway)
    elif cause in ("body", "wall"):
        body = cause == "body"
        drop, edges = (float(u(8, 28)), (0.15, u(1, 2))) if body else (float(u(6, 26)), (0.4, u(4, 6)))
        one.stand_weak(rng, start, end, max(drop + u(-14, 4), 3.0))
        share = edged(t, start, end, u(*edges), u(*edges), soft=rng.random() < 0.6)
        if rng.random() < 0.15:  # by halves: turned, and turned on; a door, and round a corner
            cut = start + u(0.1, 0.9) * length
            share *= np.where((t < cut) == (rng.random() < 0.5), u(0.3, 0.8), 1.0)
            share = mean_over(share, u(*edges))
        one.lose(drop + line(rng, len(t), u(0.5, 4) * FINE_HZ, u(0, 2)), share)
        one.loss[0] += rng.normal(0, 2.0) * share
        if rng.random() < (0.4 if body else 0.8):
            one.rice = np.where(inside, 10.0 ** (u(-6, 4) / 10), one.rice)
    elif cause == "multipath":
        if rng.random() < 0.3:  # a hall of metal: notches, now on one branch and now on both
            deep = max(one.over(inside), 0.0) + u(2, 14)
            for branch, also in ((0, True), (1, True), (0, False), (1, False)):
                dips = inside & turns(rng, t + u(0, 50), 0.05 + 0.5 * rng.random(), u(0.3, 3))
                one.loss[branch] += (deep if also else 0.6 * deep) * mean_over(dips.astype(float), 0.04)
                if also and branch == 0:
                    one.loss[1] += deep * mean_over(late(dips.astype(float), u(0, 0.15)), 0.04)
            return
        one.stand_weak(rng, start, end, u(1, 14), (u(1.5, 6), 45))
        one.rice = np.where(inside, 10.0 ** (u(-12, 1) / 10), one.rice)
        one.alike = np.where(inside, u(0, 0.3), one.alike)
        one.sway = np.where(inside, 0.02 * 60 ** rng.random(), one.sway)
    elif cause == "antenna":
        if rng.random() < 0.7:
            one.stand_weak(rng, start, end, u(-3, 15))
        edge, shaky = 0.02 * 50 ** rng.random(), rng.random() < 0.3
        on = turns(rng, t, u(0.3, 6), u(0.05, 1.5)) if shaky else np.ones(len(t))
        one.loss[int(rng.integers(2))] += u(9, 45) * edged(t, start, end, edge, edge) * on
    elif cause == "interference":
        short = u(-2, 22)
        level = float(np.median((one.mean - one.loss.mean(axis=0))[inside])) - one.rack.cnr + short
        keyed = turns(rng, t, u(0.03, 2), u(0.03, 4)) if rng.random() < 0.35 else np.ones(len(t))
        came = (
            edged(t, start, end, 0.02, 0.02) if rng.random() < 0.6 else edged(t, start, end, u(0.1, 15), u(0.1, 15))
        )
        fading = np.abs(np.sqrt(0.7) + np.sqrt(0.3) * scattered(rng, t * u(0.01, 2.5))) ** 2
        for branch in range(2):
            shown = level + rng.normal(0, 3) - 30.0 * (1.0 - came)
            one.hit_mw[branch] += 10.0 ** (shown / 10.0) * fading * inside * keyed
    elif cause == "overload":
        near = edged(t, start, end, u(0.3, 4), u(0.3, 4))
        one.mean = one.mean * (1 - near) + (one.rack.top + u(-6, 12)) * near
        beyond = u(-3, 14) + line(rng, len(t), u(0.2, 3) * FINE_HZ, u(0.5, 5))
        one.squeezed = np.where(near > 0.9, np.maximum(one.mean - one.need + beyond, 0.0), one.squeezed)
    elif cause == "battery":
        low, runs = u(0.0, 0.08), u(0.05, 0.5)
        dies = start + min(u(0.0, 20.0), 0.5 * length) * (rng.random() < 0.5)
        falls = low + runs * (1.0 - np.exp(-np.maximum(dies - t, 0.0) / u(100, 2000)))
        one.gauge = np.where(t < end, np.minimum(falls, 1.0), u(0.9, 1.0) - (t - end) / 20000.0)
        one.off |= (t >= dies) & (t < end)
        if dies > start and rng.random() < 0.5:
            one.lose(u(2, 10), edged(t, start, end, 0.5, 0.5))
    elif cause == "switched-off":
        one.off |= inside
    else:
        loose = turns(rng, t, 0.2 * 25 ** rng.random(), 0.1 * 20 ** rng.random())
        one.silent |= inside & (loose if rng.random() < 0.35 else True)


def deafened(rng: Rng, near: Talent, rack: list[Talent], start: float, end: float) -> list[Talent]:
    """Who else of a rack hears less while somebody stands at its antennas: their noise rises with the level of who
    stands there, and some of their gain is lost."""
    inside = (near.t >= start) & (near.t < end)
    others = [one for one in rack if one is not near and one.free(start, end)]
    short, lost = rng.uniform(-8, 14), rng.uniform(0, 22) * rng.integers(2)
    most = max((one.over(inside) for one in others), default=0.0)
    level = near.rack.noise + (most + short if rng.random() < 0.5 else rng.uniform(3, 35))
    for one in others:
        one.busy.append((start, end))
        rise = 10.0 ** ((near.mean - np.max(near.mean[inside]) + level) / 10.0)
        one.hit_mw += rise * ((near.t > start - 20) & (near.t < end + 20))
        one.lose(lost, edged(near.t, start, end, 1.0, 1.0))
    return others


def harm_rack(rng: Rng, rack: list[Talent], cause: str, start: float, end: float) -> None:
    """What takes every link of a rack: its antennas, its power, or a strong stranger beside the antennas."""
    t, inside = rack[0].t, (rack[0].t >= start) & (rack[0].t < end)
    overs = [one.over(inside) for one in rack]
    deep = max(rng.uniform(10, 26), float(np.quantile(overs, rng.uniform(0.1, 0.7))) + rng.uniform(-4, 12))
    dead, edge = cause == "receiver" and rng.random() < 0.85, 0.04 * 30 ** rng.random()
    keyed = turns(rng, t, rng.uniform(0.5, 20), rng.uniform(0.3, 5)) if rng.random() < 0.4 else True
    lost, wide = rng.uniform(0, 22) * rng.integers(2), float(np.median(overs)) + rng.uniform(-6, 16)
    for one in rack:
        one.busy.append((start, end))
        if cause == "overload":
            share = edged(t, start, end, 20 * edge, 20 * edge) * keyed
            one.hit_mw += 10.0 ** ((rack[0].rack.noise + wide - lost + rng.normal(0, 3)) / 10.0) * share
            one.lose(lost, share)
        elif dead:
            one.lose(OFF_DB, inside.astype(float))
            one.dark |= inside
        else:
            share = edged(t, start, end, edge, edge)
            one.loss += (min(deep, 45.0) + rng.normal(0, 3, (2, 1))) * share


def readings(rng: Rng, one: Talent, every: int) -> tuple[F, B]:
    """What the receiver shows, (readings, 6), and where somebody would have heard it."""
    rack, t, rows = one.rack, one.t, slice(every - 1, None, every)
    wanted, unwanted = one.powers(rng)
    ratio = wanted / unwanted
    over = 10.0 * np.log10(np.maximum(ratio.sum(0) if rack.combines else ratio.max(0), 1e-18)) - rack.cnr
    over = over - one.squeezed + rng.normal(0, 0.4, len(t))
    bad = (over < 0).astype(float)
    mute = mean_over(bad, rack.mutes_in_s) > rack.mutes_from
    if rack.opens_over_db:
        when, opens = np.arange(len(t)), ~mute & (mean_over(over, 0.1) >= rack.opens_over_db)
        mute = np.maximum.accumulate(np.where(mute, when, -1)) > np.maximum.accumulate(np.where(opens, when, -1))
    held = round(rack.hold_s * FINE_HZ) | 1
    mute = maximum_filter1d(mute.astype(np.uint8), held, origin=held // 2) > 0
    talks = turns(rng, t, rng.uniform(1.5, 8), rng.uniform(0.5, 5))
    voice = rng.uniform(-35, -18) + line(rng, len(t), 0.3 * FINE_HZ, 4.0)
    room = rng.uniform(-70, -48) + line(rng, len(t), 20 * FINE_HZ, 1.0) + rng.normal(0, 0.8, len(t))
    audio = np.where(talks, np.maximum(voice, room), room)
    dead = rng.uniform(-115, -82) if rng.random() < 0.6 else float(np.min(room)) - rng.uniform(8, 25)
    audio = np.where(one.silent, dead + rng.normal(0, 0.5, len(t)), audio)
    audio = np.where(mute, rack.muted_dbfs, audio) if rack.audio else np.full(len(t), np.nan)
    a, b = rack.shown(rng, wanted + unwanted, rows)
    gauge = np.clip(one.gauge, 0, 1)
    gauge = np.round(gauge / rack.bars) * rack.bars
    last = np.maximum.accumulate(np.where(one.off, 0, np.arange(len(t))))
    gone = {"hold": gauge[last], "none": np.nan * gauge, "zero": 0.0 * gauge}[rack.gone_gauge]
    gauge = np.where(one.off, gone, gauge)
    flag = mute.astype(float) if rack.flags else np.full(len(t), np.nan)
    columns = [audio, rack.judged(over, bad, every), gauge, flag]
    heard = (mean_over(bad, every / FINE_HZ) > 0.1) | mute | (one.silent & talks)
    told, dark = np.column_stack([a, b, *(column[rows] for column in columns)]), one.dark[rows]
    if rack.dark in ("muted", "untold"):
        told[dark] = [np.nan] * 5 + [1.0 if rack.dark == "muted" else np.nan]
    elif rack.dark == "stale":
        told = told[np.maximum.accumulate(np.where(dark, 0, np.arange(len(told))))]
    return told, heard[rows]


def play(seed: int, minutes: float = 20.0) -> Recorded:
    """A log, the same for the same seed: its rate, its racks and their links are drawn too."""
    rng = np.random.default_rng([seed, 4141])
    every = int(rng.choice([2, 3, 5, 5, 5, 10, 10, 25, 50, 50]))
    n = int(minutes * 60.0 * FINE_HZ / every)
    t = (np.arange(n * every) + 1) / FINE_HZ
    racks, cast = [Rack(rng) for _ in range(int(rng.integers(1, 4)))], list[list[Talent]]()
    for rack in racks:
        first = sum(map(len, cast))
        count = int(rng.integers(1, 5))
        cast.append(
            [Talent(rng, rack, f"Link {first + k}", 500_000 + 700 * (first + k) ** 2, t) for k in range(count)]
        )
    faults: list[Fault] = []
    everybody = [one for half in cast for one in half]
    for cause in [one for _ in range(3) for one in map(str, rng.permutation(list(LENGTHS_S)))]:
        low, high = LENGTHS_S[cause]
        for _ in range(30):
            length = low * (high / low) ** rng.random()
            start = rng.uniform(45, max(46.0, t[-1] - length - 10))
            end = min(start + length, t[-1] - 8)
            rack_of = cast[int(rng.integers(len(cast)))]
            shared = cause in SHARED or (cause == "overload" and rng.random() < 0.35)
            whom = rack_of if shared else [rack_of[int(rng.integers(len(rack_of)))]]
            if end - start < low or not all(one.free(start, end) for one in whom):
                continue
            if cause in SHARED and len(whom) < 2:
                break
            if shared:
                harm_rack(rng, whom, cause, start, end)
            else:
                harm(rng, whom[0], cause, start, end)
            if cause == "overload" and not shared and rng.random() < 0.6:
                whom = [*whom, *deafened(rng, whom[0], rack_of, start, end)]
            faults += [Fault(one.name, cause, start, end, "-", None) for one in whom]
            break
    players, rows = list[Player](), list[F]()
    for k, one in enumerate(everybody):
        table, heard = readings(rng, one, every)
        at = t[every - 1 :: every] + 0.2 * every / FINE_HZ * k / len(everybody)
        for fault in (fault for fault in faults if fault.link == one.name):
            hits = at[heard & (at >= fault.start_s) & (at <= fault.end_s)]
            fault.breaks_at_s = float(hits[0]) if len(hits) else None
        noise = one.rack.noise + rng.normal(0, 1.5)
        worst = float(np.quantile((one.mean - one.loss.mean(0))[~one.off], 0.05)) + rng.normal(0, 4)
        players.append(Player(one.name, one.khz, noise + one.rack.cnr + rng.normal(0, 1.5), noise, worst, []))
        kept = rng.random(n) >= rng.choice([0.0, 0.0, 0.01])
        if one.rack.dark == "gone":
            kept &= ~one.dark[every - 1 :: every]
        rows.append(np.column_stack([at, np.full(n, k), table])[kept])
    table = np.concatenate(rows)
    table = table[np.argsort(table[:, 0], kind="stable")]
    link, values = table[:, 1].astype(np.int32), table[:, 2:].astype(np.float32)
    faults.sort(key=lambda fault: fault.start_s)
    return Recorded([one.name for one in everybody], link, table[:, 0].copy(), values, faults, players)


def read_by_another(played: Recorded, seed: int) -> Recorded:
    """The same log as receivers of another make would have told it: fewer steps or segments, slower, with another
    quality, or none, fewer columns. Levels are those that the first meter showed."""
    rng = np.random.default_rng([seed, 99])
    values, time_s, link = played.values.astype(np.float64), played.time_s, played.link
    keep, lowest = np.zeros(len(link), bool), float(np.nanmin(values[:, :2]))
    every, segmented = int(rng.choice([1, 1, 2, 5, 10])), rng.random() < 0.6
    edges = (
        lowest
        + rng.uniform(2, 12)
        + np.cumsum(np.concatenate([[0.0], rng.uniform(4, 13, int(rng.integers(3, 7)))]))
    )
    step, shift = float(rng.choice([0.5, 1.0, 2.0, 3.0, 5.0])), rng.normal(0, 2)
    power, q_step, lag = 0.4 * 6 ** rng.random(), float(rng.choice([0.0, 0.1, 0.2, 0.25, 0.34])), rng.random() * 0.6
    lacks = [column for column, share in ((2, 0.1), (3, 0.1), (4, 0.2), (5, 0.25)) if rng.random() < share]
    lacks = lacks if not {3, 5} <= set(lacks) else lacks[:-1]
    for k in range(len(played.links)):
        mine = np.flatnonzero(link == k)
        keep[mine[every - 1 :: every]] = True
        if every > 1:  # what broke between two readings broke the second
            for column, how in ((3, np.fmin), (5, np.fmax)):
                for back in range(1, min(every, 5)):
                    values[mine[back:], column] = how(values[mine[back:], column], values[mine[:-back], column])
        quality = values[mine, 3] ** power
        if lag > 0.1 and len(mine):
            quality = lfilter([1.0 - lag], [1.0, -lag], quality, zi=[lag * quality[0]])[0]
        values[mine, 3] = np.round(quality / q_step) * q_step if q_step else quality
        if rng.random() < 0.5:
            values[mine, 4] = np.ceil(values[mine, 4] * 4) / 4
    level = values[:, :2] + shift
    if segmented:
        shown = np.concatenate([edges[:1] - 8.0, edges])[np.searchsorted(edges, level)]
    else:
        shown = np.round(level / step) * step
    values[:, :2] = np.where(np.isnan(level), np.nan, shown)
    values[:, lacks] = np.nan
    return Recorded(
        played.links, link[keep], time_s[keep], values[keep].astype(np.float32), played.faults, played.players
    )  # fmt: skip

"""Receiver logs from textbooks alone, by somebody who had read no rule that will read them and no other player.

Fading: sums of sinusoids after Clarke, with Rice's steady part; site losses ITU-R P.1238; shadowing with
Gudmundson's distance; doorways by the knife edge of ITU-R P.526; discharge of cells by Shepherd's curve; kTB and a
noise figure. Habits (who walks, how long, how a meter steps) are from memory. What is shared (a mast, the feed of
a rack) harms every link of its rack at once. Seeded; reads no clock and no file.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from tests.watch.independent import Fault, Player, Recorded

F = NDArray[np.float64]
Rng = np.random.Generator
FINE_HZ = 50.0
WAVE_M = 0.5
#: What is played, and for how long [s]; "shared" ones take every link of a rack.
LENGTHS_S: dict[str, tuple[float, float]] = {
    "range": (50, 180), "antenna": (30, 200), "antennas": (20, 150), "body": (2, 12), "wall": (15, 90),
    "multipath": (12, 80), "interference": (2, 120), "intermodulation": (10, 120), "overload": (6, 60),
    "battery": (60, 200), "switched-off": (6, 150), "audio-path": (4, 120), "receiver": (5, 60),
}  # fmt: skip
SHARED = ("antennas", "receiver")
#: What may be said of what was played: the names of it that lead to the same next step.
ACCEPTED: dict[str, set[str]] = {
    "antennas": {"antennas", "antenna"}, "wall": {"wall", "body"}, "receiver": {"receiver", "feed"},
}  # fmt: skip


def wander(rng: Rng, t: F, scale: float, sigma: float, tones: int = 24) -> F:
    """A Gaussian line of exponential correlation: sinusoids with the Lorentzian spectrum of it; (n,)."""
    rates = np.tan(np.pi / 2 * (np.arange(tones) + rng.random(tones)) / tones * 0.96) / scale
    line = sum(
        np.cos(rate * t + phase) for rate, phase in zip(rates, rng.uniform(0, 2 * np.pi, tones), strict=True)
    )
    return np.asarray(sigma * np.sqrt(2 / tones) * line)


def clarke(rng: Rng, waves: F, rays: int = 14) -> NDArray[np.complex128]:
    """Rayleigh's fading along a way in waves: rays from all round (Clarke 1968, Rice 1944); mean power 1."""
    angles, phases = 2 * np.pi * (np.arange(rays) + rng.random()) / rays, rng.uniform(0, 2 * np.pi, rays)
    total = np.zeros(len(waves), complex)
    for angle, phase in zip(angles, phases, strict=True):
        total += np.exp(1j * (2 * np.pi * waves * np.cos(angle) + phase))
    return np.asarray(total / np.sqrt(rays))


def knife_edge_db(v: F) -> F:
    """ITU-R P.526 section 4.1, J(v) [dB]; none far in the clear."""
    loss = 6.9 + 20 * np.log10(np.sqrt((v - 0.1) ** 2 + 1) + v - 0.1)
    return np.asarray(np.where(v > -0.78, loss, 0.0))


def ramp(t: F, start: float, end: float, rise: float) -> F:
    """0 outside, 1 inside, with edges of `rise` seconds."""
    return np.asarray(np.clip(np.minimum((t - start) / rise, (end - t) / rise), 0.0, 1.0))


def shepherd(used: F, flat: bool) -> F:
    """The gauge of a cell, from its voltage under load (Shepherd 1965): a long plateau, and a knee at its end."""
    left = np.clip(1 - used, 0.004, 1)
    volts = 1.5 - (0.05 if flat else 0.35) * (1 - left) - 0.008 / left
    return np.asarray(np.clip((volts - 0.9) / (1.492 - 0.9), 0, 1))


class Kit:
    """A rack of receivers on shared antennas, and how its meters show what they see."""

    def __init__(self, rng: Rng, meter: str) -> None:
        self.noise = -173.98 + 10 * np.log10(2e5) + rng.uniform(4, 9)
        self.cnr = rng.uniform(12, 19)
        self.better = rng.random() < 0.7
        self.step = {"fine": 0.1, "five": 10.0}.get(meter, float(rng.choice([0.5, 1.0, 3.0])))
        self.top = -25.0 if meter != "five" else -55.0
        self.low = float(rng.uniform(-115, -100)) if meter != "five" else -95.0
        self.offset = rng.normal(0, 2.0)
        self.slow_s = rng.uniform(0.02, 0.3)
        self.snr_quality = rng.random() < 0.3
        self.quality_step = float(rng.choice([0.0, 0.01, 0.2, 0.25]))
        self.hang_s = rng.uniform(0.0, 0.6)
        self.flags = rng.random() < 0.8
        self.bars = float(rng.choice([0.01, 0.05, 0.25]))
        self.keeps_gauge = rng.random() < 0.5
        self.far_in = rng.random() < 0.5

    def mean(self, line: F, seconds: float) -> F:
        """A moving mean over the last `seconds` [s]."""
        width = max(1, round(seconds * FINE_HZ))
        total = np.cumsum(np.concatenate([np.repeat(line[:1], width), line]))
        return np.asarray((total[width:] - total[:-width]) / width)


class Talent:
    """One link: where it goes, what is lost on the way, and what is done to it."""

    def __init__(self, rng: Rng, name: str, t: F, khz: int) -> None:
        self.name, self.khz, self.t, n = name, khz, t, len(t)
        self.way, self.far = self._walk(rng, t)
        indoors = rng.random() < 0.6
        alpha, beta, gamma = (2.31, 24.52, 2.06) if indoors else (2.0, 32.45, 2.0)
        self.slope, self.one_m = 10 * alpha, beta + 10 * gamma * np.log10(khz / 1e6) + rng.uniform(0, 22)
        self.power = float(rng.choice([10.0, 13.0, 17.0])) - rng.uniform(6, 12)
        self.shadow = wander(rng, self.way, 5.0, rng.uniform(1.5, 3.5))
        turn = wander(rng, t, 20.0, 1.5)
        self.turned = 3.0 * (1 - np.cos(turn))
        self.rice = np.full(n, 10 ** (rng.uniform(3, 9) / 10))
        waves = self.way / WAVE_M + np.abs(wander(rng, t, 30.0, 0.1)).cumsum() / FINE_HZ * 0.5
        self.rays = [(clarke(rng, waves), np.exp(1j * (2 * np.pi * waves * rng.uniform(-1, 1)))) for _ in range(2)]
        self.skew = rng.normal(0, 1.2, 2)
        self.loss = np.zeros((2, n))
        self.hit_mw = np.zeros((2, n))
        self.off, self.silent, self.deaf = np.zeros(n, bool), np.zeros(n, bool), np.zeros(n, bool)
        self.rate = rng.uniform(0.3, 0.8) / 36000
        self.used = rng.uniform(0, 0.5) + self.rate * t
        self.flat = bool(rng.random() < 0.5)
        self.near = np.zeros(n)
        self.busy: list[tuple[float, float]] = []

    @staticmethod
    def _walk(rng: Rng, t: F) -> tuple[F, F]:
        """Way gone [m] and distance [m]: walks of 0.7 to 1.5 m/s between spots, and stands on each."""
        at, far, times, spots = 0.0, rng.uniform(4, 30), [0.0], []
        spots.append(far)
        reach = rng.uniform(15, 45)
        while at < t[-1]:
            at += rng.uniform(5, 90)
            times.append(at)
            spots.append(far)
            new = rng.uniform(2.5, reach)
            at += abs(new - far) / rng.uniform(0.7, 1.5) + 0.5
            far = new
            times.append(at)
            spots.append(far)
        line = np.interp(t, times, spots)
        return np.concatenate([[0.0], np.abs(np.diff(line)).cumsum()]), line

    def free(self, start: float, end: float) -> bool:
        return all(end + 12 < a or start - 12 > b for a, b in self.busy)

    def wanted(self) -> tuple[F, F]:
        """Local mean at the antennas and with fading [dBm]; (n,) and (2, n)."""
        mean = (
            self.power - self.one_m - self.slope * np.log10(np.maximum(self.far, 1.0)) - self.shadow - self.turned
        )
        mean = np.where(self.near > 0, mean * (1 - self.near) - 17.0 * self.near, mean)
        lines = []
        for branch, (scattered, steady) in enumerate(self.rays):
            k = self.rice
            field = np.sqrt(k / (k + 1)) * steady + scattered / np.sqrt(k + 1)
            lines.append(mean - self.loss[branch] + self.skew[branch] + 20 * np.log10(np.abs(field) + 1e-6))
        return mean, np.where(self.off, -180.0, np.stack(lines))


def harm(rng: Rng, kit: Kit, one: Talent, cause: str, start: float, end: float) -> None:
    """Do a fault to a link; margins are taken from its own level, so that most of them are heard."""
    t, need = one.t, kit.noise + kit.cnr
    inside = (t >= start) & (t < end)
    mean = one.wanted()[0]
    over = float(np.median(mean[inside])) - need
    if cause == "range":
        deep = max(over + rng.uniform(-4, 6), 8.0)
        one.loss += deep * ramp(t, start, end, (end - start) / rng.uniform(2.2, 3.5)) ** 0.7
    elif cause == "antenna":
        one.loss[rng.integers(0, 2)] += rng.uniform(14, 35) * ramp(t, start, end, rng.uniform(0.02, 0.3))
        one.loss += max(over - rng.uniform(2, 8), 0.0) * ramp(t, start - 20, end + 20, 15.0)
    elif cause == "body":
        one.loss += rng.uniform(10, 24) * ramp(t, start, end, rng.uniform(0.3, 0.9))
        one.loss += max(over - rng.uniform(6, 14), 0.0) * ramp(t, start - 30, end + 30, 20.0)
    elif cause == "wall":
        along = ramp(t, start, end, rng.uniform(1.0, 3.0))
        deep = rng.uniform(1.5, 4.0)
        one.loss += knife_edge_db(-1.0 + (deep + 1.0) * along) + rng.uniform(3, 8) * along
        one.loss += max(over - rng.uniform(8, 16), 0.0) * ramp(t, start - 30, end + 30, 20.0)
        one.rice = np.where(inside, 1.0, one.rice)
    elif cause == "multipath":
        one.rice = np.where(inside, 0.05, one.rice)
        one.loss += np.maximum(over - rng.uniform(6, 10), 3.0) * ramp(t, start, end, 3.0)
        extra = np.cumsum(inside * rng.uniform(0.4, 1.6)) / FINE_HZ
        for branch in range(2):
            one.rays[branch] = (np.where(inside, clarke(rng, extra), one.rays[branch][0]), one.rays[branch][1])
    elif cause in ("interference", "intermodulation"):
        level = float(np.median(mean[inside])) - kit.cnr + rng.uniform(-1, 12)
        keyed = np.ones(len(t))
        if cause == "interference" and rng.random() < 0.3:
            keyed = (np.sin(2 * np.pi * t / rng.uniform(0.7, 6)) > rng.uniform(-0.6, 0.3)).astype(float)
        for branch in range(2):
            fading = np.abs(np.sqrt(0.85) + np.sqrt(0.15) * clarke(rng, 0.05 * t + one.way * 0.0)) ** 2
            one.hit_mw[branch] += 10 ** ((level + rng.normal(0, 2)) / 10) * fading * inside * keyed
    elif cause == "overload":
        one.near = np.maximum(one.near, ramp(t, start, end, rng.uniform(1, 3)))
        one.deaf |= inside & (one.near > 0.93) & (wander(rng, t, 1.0, 1.0) > -0.6)
    elif cause == "battery":
        dies = start + (end - start) * rng.uniform(0.35, 0.6)
        left = np.interp(t, [t[0], start, dies], [0.35, 0.05, 0.0])
        one.used, one.off = (
            np.where(t < end, 1 - left, 0.02 + one.rate * (t - end)),
            one.off | (inside & (t >= dies)),
        )
    elif cause == "switched-off":
        one.off |= inside
    elif cause == "audio-path":
        one.silent |= inside
    one.busy.append((start, end))


def shared(rng: Rng, kit: Kit, rack: list[Talent], cause: str, start: float, end: float) -> None:
    """What falls on a whole rack: its mast is knocked over, its feeders hang loose, or its power fails."""
    t = rack[0].t
    inside = (t >= start) & (t < end)
    over = [float(np.median(one.wanted()[0][inside])) - kit.noise - kit.cnr for one in rack]
    deep = min(max(rng.uniform(12, 28), float(np.quantile(over, 0.4)) - rng.uniform(-6, 6)), 38.0)
    for one in rack:
        if cause == "antennas":
            one.loss += (deep + rng.normal(0, 2.5, (2, 1))) * ramp(t, start, end, rng.uniform(0.1, 0.6))
        else:
            one.loss += 150.0 * ((t >= start) & (t < end))
        one.busy.append((start, end))


def readings(rng: Rng, kit: Kit, one: Talent, every: int) -> tuple[F, NDArray[np.bool_]]:
    """What the receiver shows, (readings, 6), and where somebody would have heard it."""
    t = one.t
    noise_mw = 10 ** (kit.noise / 10) + one.hit_mw
    branches = 10 ** (one.wanted()[1] / 10)
    ratio = branches / noise_mw
    cnr = 10 * np.log10(ratio.max(0) if kit.better else ratio.sum(0))
    bad = (cnr - kit.cnr + rng.normal(0, 0.5, len(t)) < 0) | one.deaf
    lost = kit.mean(bad.astype(float), every / FINE_HZ)
    good = 1 - kit.mean(bad.astype(float), max(0.1, every / FINE_HZ))
    margin = kit.mean(np.clip((cnr - kit.cnr) / 20, 0, 1), 0.2)
    quality = np.where(good > 0.98, margin, np.minimum(margin, 0.3 * good)) if kit.snr_quality else good
    if kit.quality_step:
        quality = np.round(quality / kit.quality_step) * kit.quality_step
    mute = kit.mean((kit.mean(bad.astype(float), 0.08) > 0.5).astype(float), 0.04 + kit.hang_s) > 0
    speaking = wander(rng, t, 6.0, 1.0) > -0.2
    speech = rng.uniform(-30, -18) + 4 * np.sin(2 * np.pi * t * 3.3) + wander(rng, t, 0.3, 4.0)
    room = rng.uniform(-62, -48)
    audio = np.where(speaking, np.maximum(speech, room), room + rng.normal(0, 1, len(t)))
    hush = float(rng.choice([-90.0, -75.0])) + rng.normal(0, 0.5, len(t))
    audio = np.where(one.silent, hush, audio)
    audio = np.where(mute, -120.0, audio)
    rows = slice(every - 1, None, every)
    shown = []
    for branch in range(2):
        level = 10 * np.log10(kit.mean(branches[branch] + noise_mw[branch], kit.slow_s))[rows] + kit.offset
        level = np.round(level / kit.step) * kit.step if kit.step < 10 else np.floor((level + 5) / 10) * 10 - 5.0
        shown.append(np.clip(level, kit.low, kit.top))
    gauge = shepherd(one.used, one.flat)
    gauge = np.round(gauge / kit.bars) * kit.bars
    last = np.where(one.off, np.nan, gauge)
    held = gauge.copy()
    for k in np.flatnonzero(one.off):
        held[k] = held[k - 1]
    flag = mute[rows].astype(float) if kit.flags else np.full(len(shown[0]), np.nan)
    table = np.column_stack([*shown, audio[rows], quality[rows], (held if kit.keeps_gauge else last)[rows], flag])
    heard = (lost[rows] > 0.1) | mute[rows] | (one.silent & speaking)[rows]
    return table, heard


def carriers(rng: Rng, count: int) -> list[int]:
    """Carriers without products of the third order on one another: marks of a Golomb ruler."""
    marks = (0, 1, 4, 9, 15, 22, 32, 34)[:count]
    return [int(rng.integers(4700, 6500)) * 100 + 400 * mark for mark in marks]


def play(
    seed: int, links: int = 6, minutes: float = 30.0, rate_hz: float = 10.0, faults: bool = True,
    meter: str = "any", worst_db: float = 0.0,
) -> Recorded:  # fmt: skip
    """A log, the same for the same arguments. worst_db : how far the plan's worst stands over thermal noise."""
    rng = np.random.default_rng([seed, 77])
    every, n = max(1, round(FINE_HZ / rate_hz)), int(minutes * 60 * rate_hz)
    t = (np.arange(n * every) + 1) / FINE_HZ
    base = carriers(rng, links)
    base = [base[0] + 400 * mark for mark in (0, 1, 4, 9, 15, 22, 32, 34)[:links]]
    cast = [Talent(rng, f"Mic {k + 1}", t, khz) for k, khz in enumerate(base)]
    halves = [cast] if links < 5 else [cast[: links // 2], cast[links // 2 :]]
    kits = [Kit(rng, meter) for _ in halves]
    found: list[Fault] = []
    players: list[Player] = []
    order = [cause for _ in range(4) for cause in map(str, rng.permutation(list(LENGTHS_S)))]
    for cause in order[: round(links * minutes * 60 / 480)] if faults else []:
        for _ in range(60):
            low, high = LENGTHS_S[cause]
            start = rng.uniform(40, t[-1] - 60)
            end = min(start + low * (high / low) ** rng.random(), t[-1] - 20)
            which = int(rng.integers(0, len(halves)))
            one = halves[which][int(rng.integers(0, len(halves[which])))]
            whom = halves[which] if cause in SHARED else [one]
            if all(each.free(start, end) for each in whom):
                if cause in SHARED:
                    shared(rng, kits[which], whom, cause, start, end)
                else:
                    harm(rng, kits[which], one, cause, start, end)
                if cause == "intermodulation":
                    gap = int(rng.integers(9, 30)) * 100 + 50
                    for m, khz in ((1, one.khz + gap), (2, one.khz + 2 * gap)):
                        spans = [
                            (start, end) if m == 2 else (start - rng.uniform(0, 200), end + rng.uniform(0, 300))
                        ]
                        players.append(Player(f"Guest {start:.0f} {m}", khz, -95.0, -112.0, -70.0, spans))
                found += [Fault(each.name, cause, start, end, "-", None) for each in whom]
                break
    rows = []
    for k, one in enumerate(cast):
        kit = kits[next(i for i, half in enumerate(halves) if one in half)]
        if rng.random() < 0.4:  # somebody works at the bag: close, and nothing wrong with it
            start = rng.uniform(0, 0.8) * t[-1]
            if one.free(start, start + 90):
                one.near = np.maximum(one.near, 0.9 * ramp(t, start, start + rng.uniform(20, 90), 3.0))
        table, heard = readings(rng, kit, one, every)
        at = t[every - 1 :: every] + 0.2 / rate_hz * k / links
        for fault in (fault for fault in found if fault.link == one.name):
            hits = at[heard & (at >= fault.start_s) & (at <= fault.end_s)]
            fault.breaks_at_s = float(hits[0]) if len(hits) else None
        worst = float(np.quantile(one.wanted()[0][~one.off], 0.03)) + rng.normal(0, 2)
        noise = kit.noise + rng.normal(0, 1) + worst_db
        players.append(Player(one.name, one.khz, noise + kit.cnr + rng.normal(0, 1), noise, worst, []))
        rows.append(np.column_stack([at, np.full(n, k), table]))
    table = np.concatenate(rows)
    table = table[np.argsort(table[:, 0], kind="stable")]
    link, values = table[:, 1].astype(np.int32), table[:, 2:].astype(np.float32)
    found.sort(key=lambda fault: fault.start_s)
    return Recorded([one.name for one in cast], link, table[:, 0].copy(), values, found, players)

"""A player from the receiver's side: what receivers of digital wireless microphones would log in a day, and why.

Its author had read neither the watch's rules nor another player. Formulas are from textbooks and from memory, with
no page at hand; all other constants are from memory or common practice, no source; the day itself is invented.

Channel: people walk between places, sway, turn and pass by; log-distance loss (Rappaport) from the loss at 1 m
(Friis), shadowing that goes with the place (Gudmundson), Rice fading by sinusoids over the way walked (Clarke,
Jakes). Receiver: a pad before the front end, compression, selectivity, third-order products (Razavi), diversity,
bit errors of four modulations (Proakis) behind a block code, a mute with hysteresis, five sorts of quality, meters,
gauges, and a logger that stalls. Faults: a loss, way, switch, power or gain laid over the calm day. Both days run
through the same receivers with the same noise: a break is a fault's own only where the calm day has none.
The log is read 10 times a second; a lower rate thins it out, so that one seed is one day at any rate.
"""

from functools import partial
from itertools import pairwise, permutations, product
from typing import Any, NamedTuple

import numpy as np
from numpy.random import Generator, default_rng
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d
from scipy.signal import lfilter
from scipy.special import bdtrc, erfc
from tests.watch.independent import SEVERITIES, Fault, Player, Recorded

Floats = NDArray[np.floating[Any]]
Bools = NDArray[np.bool_]
Trip = tuple[int, ...]  # victim, and the two whose product falls on it; or empty
Product = tuple[int, int, int, slice, float, bool]  # victim, first, second; moments; dB; made in the first's pack
PER_S = 20.0  # simulated moments a second
TURN = 6.28  # as good as a whole one, for phases
RATIOS_DB = np.arange(-20, 60, 0.1)  # at which a make's errors are tabled
#: Shortest and longest, s; odds for a link; chance for a receiver in a day.
KINDS: dict[str, tuple[float, float, float, float]] = {
    "range": (40, 150, 1.0, 0), "body": (15, 120, 1.1, 0), "wall": (15, 150, 1.0, 0),
    "multipath": (30, 150, 1.1, 0), "interference": (20, 200, 0.9, 0.13),
    "intermodulation": (30, 180, 1.2, 0), "overload": (15, 90, 0, 0.28), "battery": (90, 420, 0.9, 0),
    "switched-off": (5, 120, 0.9, 0), "antenna": (60, 400, 0.9, 0.08), "antennas": (20, 180, 0, 0.3),
    "receiver": (15, 100, 0, 0.3), "audio-path": (10, 150, 1.1, 0),
}  # fmt: skip
#: True charge, and what the pack makes of it: by voltage, with the knees of the cells, or counted and wrong.
CELLS: dict[str, tuple[list[float], list[float]]] = {
    "alkaline": ([0, 0.1, 0.5, 1], [0, 0.12, 0.5, 1]), "nimh": ([0, 0.1, 0.9, 1], [0, 0.5, 0.8, 1]),
    "lithium": ([0, 0.08, 0.3, 1], [0, 0.15, 0.4, 1]), "counted": ([0, 1], [0.12, 1]),
}  # fmt: skip


def play(seed: int, *, rate_hz: float = 10.0, faults: bool = True) -> Recorded:
    """One seeded day at `rate_hz` (of 10) readings a second, and the truth, whether the log tells it or not."""
    day = Day(default_rng([seed, 1]), seed)
    calm = real = _run(day)
    if faults:
        _go_wrong(default_rng([seed, 4]), day, [seen.margin_db for seen in calm])
        real = _run(day)
    rng, polls = default_rng([seed, 5]), int(day.end_s * 10) - 12
    jitter_s, loss, stalled = rng.uniform(0.001, 0.03), rng.choice([0, 0, 0.001, 0.01]), np.zeros(polls, bool)
    stalls = rng.integers(0, polls, rng.poisson(2))
    stalled[np.add.outer(stalls, np.arange(rng.integers(5, 35))) % polls] = True
    rows, players = list[tuple[NDArray[Any], ...]](), list[Player]()
    for number, (link, seen) in enumerate(zip(day.links, real, strict=True)):
        make, need_dbm = link.make, link.make.noise_dbm + link.make.cn_db
        time_s = np.arange(polls) / 10 + 0.1 + number * 0.008 + rng.uniform(0, jitter_s, polls)
        at = (time_s * PER_S).astype(int) // make.refresh * make.refresh
        kept = ~stalled & (rng.random(polls) >= loss)
        kept &= ~((day.power[link.receiver, at] == 1) & (make.when_dark == "gone"))
        kept &= np.arange(polls) % max(1, round(10 / rate_hz)) == 0
        time_s, at = np.round(time_s[kept], 3), at[kept]
        own = time_s[seen.broken[at] & ~calm[number].broken[at] & link.on[at]]
        for fault in (fault for fault in day.faults if fault.link == link.name):
            hits = own[(own >= fault.start_s) & (own <= fault.end_s + 3)]
            fault.breaks_at_s = float(hits[0]) if len(hits) else None
        rows.append((np.full(len(at), number, np.int32), time_s, seen.told[:, at].T))
        players.append(Player(link.name, link.khz, need_dbm, make.noise_dbm, link.worst_dbm, link.spans))
    which, time_s, values = (np.concatenate(each) for each in zip(*rows, strict=True))
    order, found = np.argsort(time_s, kind="stable"), sorted(day.faults, key=lambda one: (one.start_s, one.link))
    return Recorded([one.link for one in players], which[order], time_s[order], values[order], found, players)


class Make:
    """How one make of receiver works and tells, and where it stands; windows are in moments."""

    def __init__(self, rng: Generator, bag: bool) -> None:
        uni, pick = rng.uniform, rng.choice
        self.bag = bag  # follows its talent, instead of a rack with antennas that stand
        self.modulation = str(pick(["dqpsk", "8psk", "16qam", "4fsk"]))
        self.noise_dbm = float(-174 + 10 * np.log10(1e3 * pick([125.0, 180.0, 200.0])) + uni(4, 9))  # kTB + NF
        self.diversity = str(pick(["switch", "select", "combine"], p=[0.16, 0.42, 0.42]))
        self.site_db, self.dwell, self.by_level = uni(0, 5), int(rng.integers(1, 3)), rng.random() < 0.6
        self.compresses_dbm, self.pad_db = uni(-28, -12), pick([6.0, 10.0, 20.0])
        self.rejects_near_db, self.rejects_far_db = uni(50, 64), uni(68, 85)
        self.spoils = uni(0.01, 0.08) if self.modulation != "4fsk" else 0.004  # its own signal, when compressed
        bits, errors = int(pick([128, 256, 512])), _bit_errors(self.modulation, RATIOS_DB - uni(1, 3.5))  # as built
        blocks = bdtrc(int(bits * pick([0.006, 0.015, 0.03])), bits, errors)  # of which some bits are mended
        self.block_errors, self.log_errors = np.maximum(blocks, 1e-7), np.log10(np.maximum(errors, 1e-9))
        self.cn_db = float(np.ceil(RATIOS_DB[np.argmax(blocks < 0.01)]))  # as the data sheet has it
        self.blocks, self.mute_hold = int(pick([10, 16, 25, 50])), int(PER_S * pick([0.1, 0.2, 0.5, 1.0, 2.0]))
        self.mutes_at, self.opens_at, self.mute_s = uni(0.12, 0.45), uni(0.01, 0.06), uni(0.03, 0.3)
        self.squelch_db = uni(-9, -1) - 90 * (uni() > 0.35)  # over the need; most have none
        self.quality = str(pick(["fer", "snr", "ber", "bars", "worst"]))
        self.quality_s, self.quality_slope = uni(0.05, 1.2), uni(1.2, 4)  # what an error costs
        self.half_db, self.span_db = uni(-1, 2), uni(6, 22)  # where quality is a half, and its reach
        self.quality_window, self.quality_lost = int(PER_S * uni(0.5, 4)), np.nan if rng.random() < 0.2 else 0.0
        self.quality_step = 0.2 if self.quality == "bars" else pick([0.01, 0.01, 0.05, 0.1, 0.25])
        self._draw_meters(rng)

    def _draw_meters(self, rng: Generator) -> None:
        uni, pick = rng.uniform, rng.choice
        self.segments_dbm = np.sort(uni(-105, -40, int(rng.integers(6, 10)))).round() if uni() < 0.12 else None
        self.step_db, self.floor_dbm = pick([0.1, 0.5, 1, 1, 2, 3]), pick([-130.0, -120, -110, -100, -95])
        self.ceiling_dbm = pick([-10.0, -20.0, -35.0, -45.0, -55.0], p=[0.3, 0.3, 0.2, 0.1, 0.1])
        self.slope, self.error_db = uni(0.92, 1.05), rng.normal(0, 1.8, 2)
        self.meter_s = pick([0.02, 0.1, 0.3, 0.8])
        self.held, self.held_for = str(pick(["none", "peak", "min"], p=[0.7, 0.2, 0.1])), int(PER_S * uni(0.1, 0.8))
        self.before_pad, self.single = uni() < 0.6, self.diversity == "switch" and uni() < 0.5  # one meter for both
        self.tells = rng.random(6) > np.array([0, 0.08, 0.05, 0.1, 0.1, 0.1])
        self.tells[5] |= not self.tells[3]
        self.audio_s, self.audio_step_db = pick([0.1, 0.4, 1.2]), pick([0.1, 1, 3])
        self.gauge_step, self.gauge_lost = pick([0.01, 0.05, 0.2, 0.25]), str(pick(["hold", "hold", "nan", "zero"]))
        self.when_dark = str(pick(["nan", "stale", "gone", "zero"]))
        self.audio_lost = str(pick(["floor", "hold", "nan", "pre"]))  # "pre": metered before the mute
        self.gauge_wait_s, self.gauge_every = uni(1, 10), int(PER_S * pick([1, 5, 20]))
        self.audio_floor_dbfs = -pick([60, 90, 100, 120])
        self.refresh, self.lag = int(pick([1, 2, 2, 4, 5, 10])), rng.integers(0, 7, 4)

    def stand(self, rng: Generator) -> None:
        """Draws the place: its size and the antennas, m; how else the second is shaded by bodies, rad, and dB."""
        uni = rng.uniform
        self.width, self.depth, self.antenna_x, self.antenna_y = uni(6, 25), uni(4, 15), uni(-3, 20), uni(4, 35)
        self.gap = uni(0.3, 0.8) if self.bag else np.exp(uni(-0.5, 2.5))  # between the antennas
        self.turned, self.weaker_db, self.split = uni(0, 0.8), uni(-6, 6), uni(0.2, 1.4)

    def rejection_db(self, off_khz: int) -> float:
        """Of a carrier that far off; reciprocal mixing limits it."""
        return float(np.clip(self.rejects_near_db + 10 * np.log2(abs(off_khz) / 350), 30, self.rejects_far_db))


class Link:
    """One pack and who wears it: all dice of the calm day."""

    def __init__(self, rng: Generator, name: str, receiver: int, make: Make, khz: int, t: Floats) -> None:
        self.name, self.receiver, self.make, self.khz, self.wave_m = name, receiver, make, khz, 3e5 / khz
        uni, size = rng.uniform, len(t)
        self._plan(rng, t)
        face = self._place(rng, t, *self._walk(rng, t))
        self.rice_db = (uni(1, 10) + 2 * _rough(rng, t, 90, 10) - 1.5 * (1 - np.cos(face))).astype(np.float32)
        angles, drift = np.cos(uni(0, TURN, 11)), rng.normal(0, uni(0.01, 0.12), 11)
        phases, apart = uni(0, TURN, 11), 2 * np.pi * make.gap / self.wave_m * np.sin(uni(0, TURN, 11))
        self.waves = np.array([angles, drift, phases, apart], np.float32)
        talk = _flip(rng, size, uni(20, 200), uni(10, 120))  # in turns, and in phrases
        talk = talk * _flip(rng, size, uni(1.5, 6), uni(0.3, 1.5))
        level = uni(-26, -9) + 2.5 * _rough(rng, t, 300, 20) - np.abs(rng.normal(0, 4, size)) - 45 * (1 - talk)
        self.audio_dbfs = np.clip(level, uni(-66, -46) + rng.normal(0, 1.5, size), 0).astype(np.float32)
        self.hours, self.cells = uni(3, 10), str(rng.choice(list(CELLS)))
        self.charge = (uni(0.65, 1) - t / 3600 / self.hours).astype(np.float32)
        self.chance = rng.normal(0, 1, size).astype(np.float32)  # of the errors
        self.hiss_db = rng.normal(0, 0.5, (2, size)).astype(np.float32)  # of the meters

    def _plan(self, rng: Generator, t: Floats) -> None:
        """When it is planned to be on; in truth it is on a little early and off a little late."""
        uni, end = rng.uniform, float(t[-1])
        edges = [uni(0, 100), *(np.sort(uni(0.15, 0.85, int(rng.choice([0, 0, 1, 2])))) * end), end - uni(0, 100)]
        spans = [(round(x + uni(60, 300) * (x != edges[0]), 1), round(y, 1)) for x, y in pairwise(edges)]
        self.spans = [(float(x), float(y)) for x, y in spans if y - x > 240] or [(30.0, end - 30.0)]
        self.on = np.zeros(len(t), bool)
        for on, off in self.spans:
            self.on |= (t >= on - uni(1, 25)) & (t <= off + uni(1, 40))

    def _walk(self, rng: Generator, t: Floats) -> tuple[Floats, Floats]:
        """Where its wearer is, m, between places and rests; keeps the length of the way."""
        uni, rest_s = rng.uniform, rng.choice([3.0, 15.0, 60.0, 200.0])
        size = np.array([self.make.width * uni(0.2, 1), self.make.depth * uni(0.3, 1)])
        speed, places, times = uni(0.4, 1.5), [uni(0, 1, 2) * size], [0.0]
        while times[-1] < float(t[-1]) + 60:
            places += [uni(0, 1, 2) * size] * 2
            there = times[-1] + (np.hypot(*(places[-1] - places[-3])) / speed + 0.2)
            times += [there, there + rng.exponential(rest_s) + 1]
        x, y = (np.interp(t, times, line) for line in np.array(places).T)
        way = np.interp(t, times, np.r_[0, np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
        self.way_m = (way + uni(0.02, 0.2) * _rough(rng, t, 12, 2)).astype(np.float32)
        return x, y

    def _place(self, rng: Generator, t: Floats, x: Floats, y: Floats) -> Floats:
        """Draws the local mean level at both antennas, dBm; returns where the wearer faces, rad."""
        uni, end, make, mean, far = rng.uniform, float(t[-1]), self.make, list[Floats](), list[Floats]()
        law, sigma, body, face = uni(1.9, 2.9), uni(1.5, 4.5), uni(3, 10), 1.2 * _rough(rng, t, 60, 4) + uni(-1, 1)
        hills = rng.standard_cauchy((2, 16)).clip(-4, 4) / uni(4, 15)
        near, phases = 2 + 5 * np.abs(_rough(rng, t, 200, 15)), uni(0, TURN, 16)
        for side in (0, 1):
            stand = np.hypot(x - make.antenna_x - side * make.gap, y + make.antenna_y).clip(1)
            far.append(near if make.bag else stand)
            waves = np.outer(x, hills[0]) + np.outer(y, hills[1]) + phases + uni(-1, 1, 16) * make.split
            loss = body * (1 - np.cos(face - side * make.turned)) / 2 + max(0, make.weaker_db * (2 * side - 1))
            shadow = sigma * np.sqrt(1 / 8) * np.cos(waves).sum(1)
            mean.append(shadow - 28 - 10 * law * np.log10(far[side]) - loss)  # 28 dB at 1 m, 600 MHz
        for start, length, deep in zip(uni(0, end, 15), uni(1, 6, 15), uni(-6, 9, 15).clip(0), strict=True):
            dip = deep * _trap(t, start, start + length, length / 3, length / 3)  # somebody passes by
            mean = [mean[0] - dip, mean[1] - dip * uni(0.2, 1)]
        # the planner places the antennas for a margin at the worst planned spot, and errs a little
        margin = uni(15, 20) if rng.random() < 0.08 else uni(21, 35)
        worst = -28 - 10 * law * np.log10(np.percentile(np.minimum(*far), 98)) - body / 2
        shift = make.noise_dbm + make.cn_db + margin - worst
        self.mean_dbm = (np.array(mean) + shift).astype(np.float32)
        self.worst_dbm = float(worst + shift + rng.normal(0, 2.5))
        return face

    def fade(self, away_m: Floats, rice_db: Floats, t: Floats) -> Floats:
        """Power gain of both branches, that much way further on; (2, moments)."""
        angles, drift, phases, apart = self.waves
        turn = np.float32(2 * np.pi / self.wave_m) * (self.way_m + away_m)
        waves = np.exp(1j * (turn[:, None] * angles + (2 * np.pi * t)[:, None] * drift + phases))
        rice, ring = 10 ** (rice_db / 10), np.r_[0, np.full(10, 10**-0.5)]
        scatter = waves @ (np.exp(1j * np.outer(apart, [0, 1])) * ring[:, None]).astype(np.complex64)
        field = scatter.T * np.sqrt(1 / (rice + 1)) + waves[:, 0] * np.sqrt(rice / (rice + 1))
        return np.asarray((np.abs(field) ** 2).astype(np.float32))


class Day:
    """Receivers and links, drawn, and what the faults add to the calm day: nothing when new."""

    def __init__(self, rng: Generator, seed: int) -> None:
        self.end_s, links, makes = rng.uniform(2400, 3600), int(rng.integers(4, 9)), int(rng.integers(1, 3))
        self.t = t = (np.arange(int(self.end_s * PER_S)) / PER_S).astype(np.float32)
        self.makes = [Make(default_rng([seed, 2, at]), rng.random() < 0.25) for at in range(makes)]
        khz, second = _carriers(rng, links), int(rng.integers(2, links - 1)) if makes == 2 else links
        for make in self.makes:
            make.stand(rng)
        self.links = list[Link]()
        for number in range(links):
            dice, name, at = default_rng([seed, 3, number]), f"mic {number + 1}", int(number >= second)
            self.links.append(Link(dice, name, at, self.makes[at], khz[number], t))
        size, self.charge = len(t), [link.charge for link in self.links]
        self.loss_db = np.zeros((links, 2, size), np.float32)
        self.away_m, self.rice_db, self.gain_db = (np.zeros((links, size), np.float32) for _ in range(3))
        self.off, self.hum_dbfs = np.zeros((links, size), bool), np.full((links, size), -150, np.float32)
        self.jam_mw, self.block_mw = (np.zeros((each, 2, size), np.float32) for each in (links, makes))
        self.power, self.deaf = np.zeros((makes, size), np.int8), np.zeros((makes, size), bool)  # 1 dark, 2 boots
        self.products, self.faults = list[Product](), list[Fault]()


class Seen(NamedTuple):
    """Of a link: what is told (6, moments), where its audio is broken, and C/(N+I) above need."""

    told: Floats
    broken: Bools
    margin_db: Floats


def _run(day: Day) -> list[Seen]:
    """The whole day of each link."""
    air = list[Floats]()  # mW
    for number, link in enumerate(day.links):
        on = link.on & ~day.off[number] & (day.charge[number] > 0)
        fading = link.fade(day.away_m[number], link.rice_db - day.rice_db[number], day.t)
        air.append(fading * on * 10 ** (np.minimum(link.mean_dbm - day.loss_db[number], 12) / 10))
    return [_receive(day, air, number) for number in range(len(air))]


def _receive(day: Day, air: list[Floats], number: int) -> Seen:
    """One link through its receiver."""
    link, signal = day.links[number], air[number]
    make, block = link.make, day.block_mw[link.receiver]
    total, other = signal + block, block * _mw(-make.rejects_far_db) + day.jam_mw[number]
    for near, power in zip(day.links, air, strict=True):
        if near.receiver == link.receiver and near is not link:
            total, other = total + power, other + power * _mw(-make.rejection_db(near.khz - link.khz))
    for _, one, two, at, db, in_pack in (each for each in day.products if each[0] == number):  # 2 Pa + Pb - 2 IIP3
        first, second = air[one][:, at], air[two][:, at]
        other[:, at] += _mw(db) * first * (second > 0 if in_pack else first * second)
    loud = _ema(total.max(0), 0.05) > _mw(make.compresses_dbm - 8)
    pad = np.where(loud, _mw(make.pad_db), np.float32(1))
    drive = total / pad / _mw(make.compresses_dbm)  # behind the pad, against the 1 dB point
    noise = np.where(day.deaf[link.receiver], _mw(make.noise_dbm - 3), _mw(make.noise_dbm + make.site_db))
    ratio = signal / (noise * pad * (1 + drive) + other + signal * make.spoils * np.minimum(drive * drive, 8))
    level = 10 * np.log10((signal + noise + other) / (1 + drive) / (1 if make.before_pad else pad))
    level, ratio_db = _diversity(make, level, ratio)
    return Seen(*_tell(day, number, level, ratio_db, signal), _ema(ratio_db - make.cn_db, 2.0))


def _diversity(make: Make, level: Floats, ratio: Floats) -> tuple[Floats, Floats]:
    """The levels as the meters see them, and C/(N+I) after the branches are combined or chosen, dB."""
    one, two = 10 * np.log10(np.maximum(ratio, 1e-3))
    if make.diversity == "combine":
        return level, 10 * np.log10(np.maximum(ratio.sum(0), 1e-3)) - 0.5
    if make.diversity == "select":
        return level, np.where(_ema(level[1] - level[0], 0.03) > 0 if make.by_level else two > one, two, one)
    low, active, wait, path = (level < make.noise_dbm + make.cn_db + 6).tolist(), 0, 0, list[int]()
    for moment in range(level.shape[1]):  # blind: leaves a weak branch, then must stay a while
        leaves = wait <= 1 and low[active][moment]
        active, wait = (1 - active, make.dwell) if leaves else (active, wait - 1)
        path.append(active)
    used = np.where(path, level[1], level[0])
    return np.array([used, level[1]]) if make.single else level, np.where(path, two, one)


def _tell(day: Day, number: int, level: Floats, ratio_db: Floats, signal: Floats) -> tuple[Floats, Bools]:
    """What is told (6, moments) and where the audio is broken."""
    link = day.links[number]
    make, power, gain = link.make, day.power[link.receiver], day.gain_db[number]
    at, share = np.arange(len(ratio_db)), np.interp(ratio_db, RATIOS_DB, make.block_errors)
    counted = (share + link.chance * np.sqrt(share * (1 - share) / make.blocks)) * make.blocks
    errors = np.clip(np.round(counted) / make.blocks, 0, 1)
    best_db = level.max(0) - make.noise_dbm - make.cn_db
    mute = _mute(make, power, errors, best_db)
    lost = ~(signal.max(0) > 0) | (ratio_db < make.cn_db - 9)
    stood = np.maximum.accumulate(np.where(~(mute | lost), at, 0))  # when the link last stood
    sound = np.maximum(link.audio_dbfs + gain, day.hum_dbfs[number])
    quality = np.where(lost, make.quality_lost, _quality(link, errors, best_db, ratio_db))
    audio, gauge = _audio(make, sound, mute, lost, stood), _gauge(link, day.charge[number], at, stood)
    told = np.array([*_meters(link, level), audio, quality, gauge, mute], np.float32)
    for column, lag in zip((0, 1, 2, 3, 5), make.lag[[0, 0, 1, 2, 3]], strict=True):
        told[column] = told[column, np.maximum(at - lag, 0)]
    silent = [make.floor_dbm, make.floor_dbm, make.audio_floor_dbfs, make.quality_lost, np.nan, 1]
    told[:, power == 2] = boot = np.array(silent, np.float32)[:, None]
    told[:, power == 1] = np.nan_to_num(boot) if make.when_dark == "zero" else np.nan
    told = told[:, np.maximum.accumulate(np.where((power == 1) & (make.when_dark == "stale"), 0, at))]
    broken = (np.nan_to_num(told[5]) > 0) | (power > 0) | ((link.audio_dbfs > -50) & (gain < -20))
    broken |= (mute & ~make.tells[5]) | ((told[3] < 0.5) & make.tells[3])
    told[~make.tells] = np.nan
    return told, broken


def _mute(make: Make, power: NDArray[np.int8], errors: Floats, best_db: Floats) -> Bools:
    soft = _ema(errors, make.mute_s)
    bad = (soft > make.mutes_at) | (best_db < make.squelch_db) | (power > 0)
    fine = (soft < make.opens_at) & (best_db > make.squelch_db + 3) & (power == 0)  # must stay so for a while
    fine = minimum_filter1d(fine.astype(np.int8), make.mute_hold + 1, origin=make.mute_hold // 2) > 0
    spoke = np.maximum.accumulate(np.where(bad | fine, np.arange(len(bad)), 0))  # the last rule that did
    return np.asarray(bad[spoke])


def _quality(link: Link, errors: Floats, best_db: Floats, ratio_db: Floats) -> Floats:
    make, window = link.make, link.make.quality_window
    quality = 1 - np.minimum(1, make.quality_slope * _ema(errors, make.quality_s))
    if make.quality == "snr":
        over_db = _ema(ratio_db + link.hiss_db[0], make.quality_s) - make.cn_db
        quality = 0.5 + (over_db - make.half_db) / make.span_db
    elif make.quality == "ber":
        half = np.interp(make.cn_db + make.half_db - 0.5, RATIOS_DB, make.log_errors)
        log_errors = np.interp(ratio_db, RATIOS_DB, make.log_errors) + 0.15 * link.chance
        quality = 0.5 + 0.3 * (half - _ema(log_errors, make.quality_s))
    elif make.quality == "worst":
        quality = minimum_filter1d(quality, window, origin=(window - 1) // 2)
    elif make.quality == "bars":
        quality = np.minimum(quality, 0.65 + _ema(best_db, 0.2) / (2 * make.span_db))
    return np.asarray(np.clip(np.round(np.clip(quality, 0, 1) / make.quality_step) * make.quality_step, 0, 1))


def _meters(link: Link, level: Floats) -> Floats:
    """The levels that are shown, dBm; (2, moments)."""
    make, shown = link.make, np.empty_like(level)
    for side in (0, 1):
        line = _ema(level[side] + link.hiss_db[side], make.meter_s)
        if hold := {"peak": maximum_filter1d, "min": minimum_filter1d}.get(make.held):
            line = hold(line, make.held_for, origin=(make.held_for - 1) // 2)
        line = np.clip(-70 + make.slope * (line + 70) + make.error_db[side], make.floor_dbm, make.ceiling_dbm)
        if make.segments_dbm is not None:
            line = make.segments_dbm[np.searchsorted(make.segments_dbm[1:], line)]
        shown[side] = np.round(line / make.step_db) * make.step_db if not (make.single and side) else np.nan
    return shown


def _audio(make: Make, sound: Floats, mute: Bools, lost: Bools, stood: NDArray[np.int64]) -> Floats:
    """The audio level that is shown, dBFS."""
    floor, step, gone = make.audio_floor_dbfs, make.audio_step_db, mute | lost
    raw = _ema(np.where(lost if make.audio_lost == "pre" else gone, floor, sound).clip(floor, 0), 0.03)
    peak = np.maximum(raw, _ema(maximum_filter1d(raw, 5), make.audio_s)) if make.audio_s < 1 else _ema(raw, 0.3)
    shown = np.clip(np.round(peak / step) * step, floor, 0)
    return np.asarray(np.where(gone, {"hold": shown[stood], "nan": np.nan}.get(make.audio_lost, shown), shown))


def _gauge(link: Link, charge: Floats, at: NDArray[np.int64], stood: NDArray[np.int64]) -> Floats:
    """The battery that is shown; telemetry comes now and then, and only while the link stands."""
    make, (true, made) = link.make, CELLS[link.cells]
    pack = np.interp(np.clip(charge, 0, 1), true, made).astype(np.float32)
    shown = np.clip(np.round(pack / make.gauge_step) * make.gauge_step, 0, 1)
    shown = shown[stood // make.gauge_every * make.gauge_every]
    lost = {"hold": shown, "nan": np.nan, "zero": 0.0}[make.gauge_lost]
    return np.asarray(np.where(at - stood > make.gauge_wait_s * PER_S, lost, shown))


class Deed:
    """One incident as it is laid into the day; `left` is dB above need of the links that it is done to."""

    def __init__(
        self, rng: Generator, day: Day, left: dict[int, Any], start: float, end: float, grade: int, trip: Trip
    ) -> None:
        uni, self.rng, self.day, self.grade, self.trip = rng.uniform, rng, day, grade, trip
        self.start, self.end, self.lasts = start, end, end - start
        self.at, self.hit = slice(int(start * PER_S), int(end * PER_S)), list(left)
        self.t, self.first, self.link = day.t[self.at], self.hit[0], day.links[self.hit[0]]
        self.size, self.make, self.loss_db = len(self.t), self.link.make, day.loss_db[self.first][:, self.at]
        self.ramp, self.rough = partial(_trap, self.t, start, end), partial(_rough, rng, self.t)
        self.flip, self.left_db = partial(_flip, rng, self.size), float(np.median(list(left.values())))
        self.bump = self.ramp(uni(0.4, 3), uni(0.4, 3))
        self.edge_dbm = {who: self.make.noise_dbm + self.make.site_db + db for who, db in left.items()}
        self.above_db = self.by_grade((-20, -2), (-10, 4), (-3, 14))  # how far over that edge, where it breaks
        # loss: partly by the kind of thing, partly by the margin (what nobody noticed, nobody reported)
        part, by_margin = uni(0.2, 1), self.by_grade((0.35, 0.85), (0.65, 1.1), (0.9, 1.4))
        by_kind = self.by_grade((5, 15), (12, 25), (20, 40))
        self.deep_db = np.clip(part * by_margin * max(self.left_db, 6) + (1 - part) * by_kind, 4, 60)

    def do(self, cause: str) -> None:
        if cause in ("range", "body", "wall", "multipath"):
            self.around_the_wearer(cause)
        elif cause in ("interference", "intermodulation", "overload"):
            self.in_the_air(cause)
        elif cause == "battery":
            self.battery()
        else:
            self.equipment(cause)

    def by_grade(self, *spans: tuple[float, float]) -> float:
        return self.rng.uniform(*spans[self.grade])

    def around_the_wearer(self, cause: str) -> None:
        uni, rng, bump, first, at = self.rng.uniform, self.rng, self.bump, self.first, self.at
        away_m, deep_db = self.day.away_m[first], self.deep_db
        if cause == "range":  # out and back at a walk: 10 n log10(1 + x / d)
            rise = self.lasts * uni(0.3, 0.48)
            x, far = self.ramp(rise, rise), uni(1.5, 8)
            out = np.log1p(x * far) / np.log1p(far)
            self.loss_db += [out * (deep_db + 3 + uni(-2, 2) + 2 * self.rough(30, 3)) for _ in (0, 1)]
            away_m[at], rice_db = x * rise * uni(0.8, 1.5), out * uni(2, 9)
        elif cause == "body":  # a turned back, a crowd, a pack sat on
            bump = bump * (0.45 + 0.55 * _ema(self.flip(4, 4), 0.6)) if uni() < 0.35 else bump
            bump = bump * (1 + rng.choice([0.04, 0.16]) * self.rough(12, 1.5)) * min(deep_db + 2, 36)
            self.loss_db += bump * rng.permutation([1, uni(0.75, 1)])[:, None]
            rice_db = np.minimum(bump / 4, uni(1, 8))
        elif cause == "wall":  # out through a door, which may swing
            bump = bump * (0.6 + 0.4 * _ema(self.flip(20, 5 if uni() < 0.4 else 0.05), 0.3))
            self.loss_db += np.minimum(deep_db, 50) * bump * uni(0.9, 1, (2, 1))
            away_m[at], rice_db = np.sin(np.pi * (self.t - self.start) / self.lasts) * uni(2, 15), uni(5, 14) * bump
        else:  # multipath: two rays of nearly one strength, for somebody who stands or walks slowly
            second, stands = self.by_grade((0.8, 0.93), (0.9, 0.98), (0.96, 0.998)), 0.03 * self.rough(15, 2)
            walks = np.cumsum(uni(0.03, 0.2) * (1 + 0.5 * self.rough(20, 3))) / PER_S
            x = (walks if uni() < 0.6 else stands) + np.array([[0], [uni(0, 0.03)]])
            rays = np.abs(1 - second * np.exp(2j * np.pi / self.link.wave_m * x))
            self.loss_db += bump * (np.clip(0.45 * deep_db, 2, 12) - 20 * np.log10(rays))
            away_m[at], rice_db = bump * uni(0.2, 1.5), bump * uni(6, 14)
        self.day.rice_db[first, at] = rice_db

    def in_the_air(self, cause: str) -> None:
        uni, day, links, make, hit, at = self.rng.uniform, self.day, self.day.links, self.make, self.hit, self.at
        if cause == "interference":  # a rack hears the hiss of lights or television, a link anything
            form, kinds = self.bump, ["carrier", "bursts", "crew", "hiss"]
            kind = str(self.rng.choice(kinds)) if len(hit) == 1 else "hiss"
            if kind == "crew":
                form = 10 ** (3 * self.ramp(self.lasts * 0.45, self.lasts * 0.3) - 3)
            elif kind == "bursts":
                form = self.flip(uni(0.15, 3), uni(0.3, 6))
            for who, side in product(hit, (0, 1)):
                course = uni(1, 4) * self.rough(20, 0.7) if kind != "hiss" else uni(-2, 2) * np.ones(self.size)
                dbm = self.edge_dbm[who] + self.above_db + course + (len(hit) > 1) * uni(-5, 3)
                day.jam_mw[who, side, at] += form * 10 ** (dbm / 10)
        elif cause == "intermodulation":  # a hug (mixed in a pack), or both by the antennas
            in_pack, (victim, one, two) = uni() < 0.4, self.trip
            dbm = [float(np.median(links[who].mean_dbm[:, at])) for who in self.trip]
            up = [np.clip(uni(3, 20), 0, max(0.0, -50 - level)) for level in dbm]
            day.loss_db[[one, two], :, at] -= np.outer(up[1:], self.bump)[:, None]
            made = dbm[1] + up[1] if in_pack else 2 * (dbm[1] + up[1]) + dbm[2] + up[2]
            day.products.append((victim, one, two, at, self.edge_dbm[victim] + self.above_db - made, in_pack))
        else:  # overload: a visiting transmitter, or one of ours, at the antennas
            goal, other = (int(who) for who in self.rng.choice(hit, 2))
            shape = self.bump * (0.8 + 0.2 * _ema(self.flip(6, 4 if uni() < 0.5 else 0.05), 0.5))
            ours = goal != other and uni() < 0.6
            rejected = make.rejection_db(links[other].khz - links[goal].khz) if ours else make.rejects_far_db
            dbm = self.edge_dbm[goal] + rejected + self.above_db + 3
            if ours:
                nearer = np.clip(dbm, make.compresses_dbm - 8, 6) - np.median(links[other].mean_dbm[:, at])
                day.loss_db[other][:, at] -= max(12, nearer) * shape
            else:
                dbm = np.clip(dbm, make.compresses_dbm - 4, 10) - 60 * (1 - shape)
                dbm = dbm + uni(-3, 0, (2, 1)) + self.rough(15, 1)
                day.block_mw[self.link.receiver][:, at] += 10 ** (dbm / 10)

    def battery(self) -> None:
        """Low, dead (it may try again), replaced."""
        uni, t, stop = self.rng.uniform, self.day.t, self.at.stop
        dead_s = self.end - (uni(5, 20) if self.grade == 0 else min(self.lasts * 0.5, uni(15, 90)))
        low, dead = uni(0.06, 0.18), int(dead_s * PER_S)
        charge = np.interp(t, [0, self.start, dead_s], [low + uni(0.1, 0.6), low, 0.01]).astype(np.float32)
        charge[dead:stop] = 0.01 * _flip(self.rng, stop - dead, 2, 9) * (uni() < 0.3)
        charge[stop:] = uni(0.85, 1) - (t[stop:] - self.end) / 3600 / self.link.hours
        self.day.charge[self.first] = charge
        self.loss_db += _trap(self.t, self.start + 0.6 * self.lasts, self.end + 60, self.lasts * 0.2, 1) * uni(0, 7)

    def equipment(self, cause: str) -> None:
        uni, day, hit, first, at = self.rng.uniform, self.day, self.hit, self.first, self.at
        if cause == "switched-off":
            day.off[first, at] = self.flip(uni(3, 30), uni(2, 5)) > 0 if uni() < 0.2 else True
        elif cause == "antenna":  # pulled or half pulled; mostly the branch that was better
            one, two = (side.mean() for side in self.link.mean_dbm[:, at])
            side = int(two > one) ^ int(uni() < 0.1)
            loose = (uni() < 0.4) * uni(0.3, 1) * (1 - self.flip(uni(0.3, 9), uni(0.1, 4)))
            form = self.ramp(0.3, 0.3) * (1 - loose)
            day.loss_db[hit, side, at] += self.by_grade((10, 24), (20, 38), (30, 55)) * form
        elif cause == "antennas":  # both feeders, or the mast sags and falls
            form = self.bump if uni() < 0.7 else self.ramp(min(self.lasts / 2, uni(5, 25)), uni(0.3, 5))
            day.loss_db[hit, :, at] += form * (self.deep_db + 1 + uni(-3, 3, (len(hit), 2, 1)))
        elif cause == "receiver" and uni() < 0.3:  # the supply of the antennas' amplifier
            day.deaf[self.link.receiver, at] = True
            loss_db = max(self.by_grade((12, 30), (20, 40), (40, 70)), self.left_db * uni(0.6, 1.2))
            day.loss_db[hit, :, at] += loss_db
        elif cause == "receiver":  # dark, then boots
            power, boots = day.power[self.link.receiver], at.stop - int(min(0.7 * self.lasts, uni(6, 40)) * PER_S)
            power[at.start : boots], power[boots : at.stop] = 1, 2
        else:  # the audio path: cut, the crackle of a loose plug, hum, sweat
            kind = str(self.rng.choice(["cut", "crackle", "hum", "weak"]))
            n, crackle = self.size, kind == "crackle"
            form = self.flip((0.4, 1.5, 6)[self.grade], 1.5) if crackle or self.grade == 0 else np.ones(n)
            day.gain_db[first, at] = -form * {"weak": uni(14, 45)}.get(kind, uni(60, 110))
            noise = np.where(uni(0, 1, n) < 0.06, uni(-30, -1, n), -75) if crackle else uni(-45, -12, 1)
            day.hum_dbfs[first, at] = np.where((form > 0) & (crackle or kind == "hum"), noise, -150)


def _go_wrong(rng: Generator, day: Day, margins_db: list[Floats]) -> None:
    """What happens when and to whom; 22 s and more between two faults of one link."""
    odds, receivers = np.array([odds for _, _, odds, _ in KINDS.values()]), range(len(day.makes))
    wanted = rng.uniform(3, 4.5) * float(day.t[-1]) / 3600 * len(day.links)
    shared = [(cause, at) for at in receivers for cause, kind in KINDS.items() if rng.random() < kind[3]]
    for cause, receiver in shared:  # all are drawn before the first is laid
        _put(rng, day, margins_db, cause, receiver)
    for _ in range(200):
        if len(day.faults) < wanted:
            _put(rng, day, margins_db, str(rng.choice(list(KINDS), p=odds / odds.sum())), None)


def _put(rng: Generator, day: Day, margins_db: list[Floats], cause: str, receiver: int | None) -> None:
    """Lays one incident into the day, at a time and on links that are free, if such are found."""
    links, trips = day.links, list[Trip]()
    for trip in permutations(range(len(links)), 3):
        victim, one, two = (links[who] for who in trip)
        near = abs(2 * one.khz - two.khz - victim.khz) <= 75
        trips += [trip] if near and victim.receiver == one.receiver == two.receiver else []
    grade = SEVERITIES.index(str(rng.choice(SEVERITIES, p=[0.27, 0.43, 0.3])))
    for _ in range(25 if cause != "intermodulation" or trips else 0):
        lasts = float(np.exp(rng.uniform(*np.log(KINDS[cause][:2]))))
        start = round(float(rng.uniform(30, float(day.t[-1]) - lasts - 10)), 1)
        end, at = round(start + lasts, 1), slice(int(start * PER_S), int((start + lasts) * PER_S))
        meet = trips[int(rng.integers(len(trips)))] if cause == "intermodulation" else ()
        if receiver is None:
            hit = [meet[0] if meet else int(rng.integers(len(links)))]
        else:
            hit = [who for who, link in enumerate(links) if link.receiver == receiver and link.on[at].any()]
        taken = [links[who] for who in meet or hit]
        on = [any(start > since + 25 and end < until - 4 for since, until in link.spans) for link in taken]
        theirs = [fault for fault in day.faults if fault.link in [link.name for link in taken]]
        busy = any(end + 22 > fault.start_s and start < fault.end_s + 22 for fault in theirs)
        again = cause == "battery" and any(fault.cause == cause for fault in theirs)
        if hit and not (busy or again) and (all(on) if receiver is None else any(on)):
            left = {who: np.median(margins_db[who][at]) for who in hit}
            Deed(rng, day, left, start, end, grade, meet).do(cause)
            day.faults += [Fault(links[who].name, cause, start, end, SEVERITIES[grade], None) for who in hit]
            return


def _carriers(rng: Generator, n: int) -> list[int]:
    """Equal steps (products fall on neighbours), or a search free of products, at times with one left; kHz."""
    base, found = 25 * int(rng.integers(470_000 // 25, 655_000 // 25)), list[int]()
    if rng.random() < 0.45:
        step = int(rng.choice([350, 400, 500, 600, 800, 1200]))
        return [base + step * int(x) for x in rng.permutation(int(n * 1.3))[:n]]
    while len(found) < n:
        x = base + 25 * int(rng.integers(0, 1000))
        if len(found) == 2 and rng.random() < 0.6:
            x = 2 * found[0] - found[1] + int(rng.choice([-50, -25, 0, 25, 50]))
        else:
            pairs = [(one, two) for one in found for two in found if one != two]
            if any(abs(2 * one - two - x) <= 150 or abs(2 * x - one - two) <= 150 for one, two in pairs):
                continue
        if 470_000 < x < 690_000 and all(abs(x - y) >= 350 for y in found):
            found.append(x)
    return found


def _bit_errors(modulation: str, db: Floats) -> Floats:
    """Against C/N in the symbol rate's bandwidth."""
    ratio = 10 ** (db / 10)
    errors = {
        "dqpsk": 0.5 * erfc(np.sqrt(0.293 * ratio)), "8psk": erfc(np.sqrt(0.146 * ratio)) / 3,
        "16qam": 0.375 * erfc(np.sqrt(ratio / 10)), "4fsk": np.exp(-ratio / 2),
    }  # fmt: skip
    return np.asarray(np.minimum(0.5, errors[modulation]))


def _mw(db: float) -> np.float32:
    return np.float32(10 ** (db / 10))


def _ema(x: Floats, time_s: float) -> Floats:
    """Exponential mean over the past."""
    new = 1 - np.exp(-1 / (PER_S * max(time_s, 0.01)))
    return np.asarray(lfilter([new], [1, new - 1], x, zi=[(1 - new) * float(x[0])])[0].astype(np.float32))


def _trap(t: Floats, start: float, end: float, rise: float, fall: float) -> Floats:
    """0 to 1: smoothly up from the start within rise, down to the end within fall."""
    y = np.clip(np.minimum((t - start) / rise, (end - t) / fall), 0, 1)
    return np.asarray((y * y * (3 - 2 * y)).astype(np.float32))


def _flip(rng: Generator, n: int, on_s: float, off_s: float) -> Floats:
    """1 and 0 by turns of exponential length, 1 first; (n,)."""
    stays = rng.exponential(1, 2 * int(n / PER_S / min(on_s, off_s)) + 60) * on_s
    stays[1::2] *= off_s / on_s
    edges = np.cumsum(np.maximum(1, stays * PER_S))
    return np.asarray((np.searchsorted(edges, np.arange(n), side="right") % 2 == 0).astype(np.float32))


def _rough(rng: Generator, t: Floats, slow: float, fast: float) -> Floats:
    """A smooth random course of spread 1, with periods between fast and slow, s."""
    rates = (2 * np.pi / np.exp(rng.uniform(np.log(fast), np.log(slow), 8))).astype(np.float32)
    phases = rng.uniform(0, TURN, 8).astype(np.float32)
    return np.asarray((np.cos(t[:, None] * rates + phases).sum(1) / 2).astype(np.float32))

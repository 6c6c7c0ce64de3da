"""A player of rounds: what receivers of digital wireless microphones would log over one show, and what went wrong.

All is simulated 50 times a second from people's positions, then read at the wanted rate: one seed is one day at
any rate. The day is run twice with the same dice, with and without its faults: a break is the fault's own only
where the calm day has none. Textbooks (from memory, no page at hand): log-distance loss with breakpoint and
lognormal shadowing: Rappaport, "Wireless Communications"; plane waves, Rice and Rayleigh fading: Jakes,
"Microwave Mobile Communications"; shadowing that changes with the place: Gudmundson 1991; knife edge: ITU-R
P.526; noise figure, compression, third order: Pozar, "Microwave Engineering"; diversity: Goldsmith, "Wireless
Communications". All other constants (body loss, meters, mutes, gauges, how long and deep faults are): from memory
or common practice, no source.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from tests.watch.independent import Fault, Player, Recorded

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Spans = list[tuple[float, float]]
Low = tuple[int, int, float, float, float]  # moments it dies, is replaced; charge then, at first (0: as used); bend
Event = tuple[Fault, list[int], list[int]]  # links meant to be hit; others it may break, told only if it did
MOMENTS = 50  # simulated moments a second; also the sound frames of a link (20 ms, from memory)
LIGHT = 299_792.458  # wavelength in m = this / kHz
OFF_DBM = -200.0
EXCESS_DB = ((-12.0, 2.0), (0.0, 9.0), (7.0, 20.0))  # how far below the need a fault aims, by severity; own choice
# cause: weight in the draw, and how long it holds in s (slight, moderate, severe); own choice, common sense
HOLDS: dict[str, tuple[float, tuple[tuple[float, float], ...]]] = {
    "range": (1.1, ((3, 10), (8, 30), (20, 60))),
    "body": (1.3, ((1, 5), (4, 15), (10, 40))),
    "wall": (1.2, ((5, 20), (15, 80), (60, 240))),
    "multipath": (1.1, ((6, 20), (15, 60), (40, 120))),
    "interference": (1.1, ((2, 12), (8, 45), (30, 150))),
    "intermodulation": (1.0, ((4, 12), (10, 30), (25, 80))),
    "overload": (0.9, ((3, 8), (6, 20), (15, 50))),
    "battery": (1.1, ((6, 20), (20, 90), (80, 240))),
    "switched-off": (1.1, ((2, 8), (8, 45), (40, 240))),
    "antenna": (0.5, ((10, 60), (40, 180), (120, 300))),
    "antennas": (0.3, ((3, 15), (10, 60), (40, 180))),
    "receiver": (0.3, ((1, 5), (4, 20), (15, 90))),
    "audio-path": (1.2, ((2, 8), (6, 40), (30, 200))),
}


def play(seed: int, *, rate_hz: float = 10.0, faults: bool = True) -> Recorded:
    """The readings of one seeded day at `rate_hz` a link, and the truth about it."""
    w = _World(seed)
    calm = told = w.run(_Meddling(w))
    events, players, at = list[Event](), list[Player](), list[Floats]()
    if faults:
        m = _Meddling(w)
        events = _schedule(np.random.default_rng([seed, 1]), w, calm, m)
        told = w.run(m)
    for j, k in enumerate(w.links):
        first, need = j / len(w.links) / rate_hz * k.rack.staggered, k.rack.noise_dbm + k.rack.cn_db
        at.append(np.arange(int((w.t[-1] - first) * rate_hz)) / rate_hz + first)
        players.append(Player(f"pack {j + 1}", k.carrier_khz, need, k.rack.noise_dbm, k.worst_dbm, k.spans))
    found = [f for e in sorted(events, key=lambda e: e[0].start_s) for f in _faults(e, w, calm, told, at)]
    link, time_s = np.concatenate([np.full(x.size, j, np.int32) for j, x in enumerate(at)]), np.concatenate(at)
    order, i = np.lexsort((link, time_s)), (time_s * MOMENTS + 1e-6).astype(int)
    values = told.values[link[order], i[order]]
    return Recorded([p.link for p in players], link[order], time_s[order], values, found, players)


class _Rack:
    """One make of receiver on shared antennas, drawn."""

    def __init__(self, rng: Generator, second: bool) -> None:
        self.mast: Floats = np.array([-rng.uniform(4, 12), rng.uniform(-6, 6)]) * second  # m
        self.apart_m = rng.uniform(0.8, 5)
        self.bandwidth_khz = float(rng.choice([180.0, 190.0, 200.0, 200.0, 350.0, 400.0]))
        self.noise_dbm = float(-174 + 10 * np.log10(self.bandwidth_khz * 1e3) + rng.uniform(4, 10))
        self.rise_db = rng.uniform(0, 2.5)  # site noise over thermal
        self.cn_db = rng.uniform(10, 22)
        self.gain_db, self.other_gain_db = rng.uniform(-2, 5), rng.uniform(-1.5, 1.5)  # antenna less feeder
        self.overload_dbm = rng.uniform(-22, -10)  # the front end begins to compress
        self.iip3_dbm = self.overload_dbm + rng.uniform(10, 14)  # about 10 dB over compression (Pozar)
        self.blocking_db = rng.uniform(85, 95)  # a strong neighbour raises the noise this far under itself
        self.diversity = str(rng.choice(["level", "quality", "combining"]))
        self.law = str(rng.choice(["frames", "logistic", "bars", ""], p=[0.35, 0.3, 0.25, 0.1]))  # of quality
        self.quality_s, self.meter_s, self.audio_s = rng.uniform([0.1, 0.04, 0.06], [1, 0.5, 0.4]).tolist()
        self.conceal = int(rng.integers(1, 6))  # moments, as the next three
        self.mute_after = self.conceal + (0 if rng.random() < 0.5 else int(rng.integers(5, 30)))
        self.open_after, self.late = int(rng.integers(5, 90)), int(rng.integers(1, 20))
        self.step_db = float(rng.choice([0.5, 1.0, 1.0, 2.0, 3.0]))
        self.floor_dbm, self.top_dbm = self.noise_dbm + rng.uniform(-8, 10), rng.uniform(-45, -8)
        self.error_db = rng.normal(0, 1.5, (2, 1))
        self.tells_b, self.tells_audio = rng.random() < 0.88, rng.random() < 0.88
        self.silence_dbfs = rng.uniform(-120, -90)
        self.gauge = str(rng.choice(["linear", "bars", "voltage"]))
        self.lost_gauge = str(rng.choice(["hold", "nan", "zero"]))
        self.staggered = rng.random() < 0.5  # polls its links one after the other


class _Link:
    """A transmitter, its wearer and what lies between, drawn."""

    def __init__(self, rng: Generator, rack: _Rack, khz: int, outdoors: bool, spot: Floats) -> None:
        self.rack, self.carrier_khz = rack, khz
        self.reach_m = float(np.hypot(*(spot - rack.mast).T).max())  # farthest planned spot
        self.tx_dbm = float(rng.choice([7.0, 10.0, 13.0, 14.0, 17.0]))
        self.exponent = rng.uniform(2, 2.8) if outdoors else rng.uniform(2.5, 3.5)
        self.break_m = rng.uniform(12, 40) if outdoors else rng.uniform(5, 15)
        self.clutter_db_per_m = rng.uniform(0.05, 0.3)  # beyond the planned places
        self.sigma_db = rng.uniform(1.5, 3) if outdoors else rng.uniform(2.5, 4.5)
        self.rice_db = rng.uniform(5, 10) if outdoors else rng.uniform(1, 7)
        self.body_db, self.worn = rng.uniform(4, 16), float(rng.choice([0.0, np.pi])) + rng.normal(0, 0.5)
        self.waves = rng.uniform(-np.pi, np.pi, (2, 10, 3))  # of a branch: direction, own Doppler rad/s, phase
        self.waves[..., 1] = rng.normal(0, 2 * np.pi * 0.12, (2, 10))  # the surroundings move a little too
        self.alike = rng.uniform(0.1, 0.7)  # correlation of the branches' scatter
        self.hills = rng.uniform(-np.pi, np.pi, (2, 16, 3))  # shadow as waves over the place: x, y, phase
        heavy = np.maximum(np.abs(rng.normal(0, 1, (2, 16, 1))), 0.25)  # changes about like exp(-distance)
        self.hills[..., :2] = rng.normal(0, 1, (2, 16, 2)) / heavy / rng.uniform(4, 12)
        self.life_s = rng.uniform(4, 10) * 3600
        self.charge = max(rng.uniform(0.1, 1.0), 3600 / self.life_s + 0.03)  # lasts the day
        margin, self.site_db = rng.uniform(10, 40) if rng.random() < 0.82 else rng.uniform(3, 10), 0.0
        worst = float(self.near_dbm(np.array([self.reach_m]))[0]) - 0.1 * self.body_db
        self.site_db = max(0.0, worst - rack.noise_dbm - rack.cn_db - margin)  # walls, scenery of its places
        self.worst_dbm = worst - self.site_db + rng.normal(0, 1.5)  # a plan errs a little
        self.spans: Spans = []

    def near_dbm(self, d: Floats) -> Floats:
        """Level at its front end with usual body loss, with neither shadow nor fading."""
        d = np.maximum(d, 0.12)
        loss = 20 * np.log10(4 * np.pi * np.minimum(d, self.break_m) * self.carrier_khz / LIGHT)
        loss += 10 * self.exponent * np.log10(np.maximum(d, self.break_m) / self.break_m)
        loss += np.minimum(self.clutter_db_per_m * np.maximum(0.0, d - 1.05 * self.reach_m), 40.0)
        loss += self.site_db * _scenery(d) + 0.35 * self.body_db
        return np.asarray(self.tx_dbm + self.rack.gain_db - loss)


@dataclass
class _Told:
    values: NDArray[np.float32]  # (links, moments, 6)
    spare_db: Floats  # (links, moments): over the need, averaged over seconds
    level_dbm: Floats
    by_product: Bools  # intermodulation is the greatest of the disturbances


class _World:
    """The day without its faults."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.seed, self.t = seed, np.arange(int(rng.uniform(2400, 3600)) * MOMENTS) / MOMENTS
        t, end, n, outdoors = self.t, float(self.t[-1]), int(rng.integers(4, 9)), rng.random() < 0.4
        self.racks = [_Rack(rng, r > 0) for r in range(2 if n > 5 and rng.random() < 0.7 else 1)]
        a = 25 * int(rng.integers(490_000 // 25, 590_000 // 25))
        b = a + 25 * int(rng.integers(18, 120)) * int(rng.choice([-1, 1]))
        khz = [a, b, 2 * a - b] + ([2 * b - a] if rng.random() < 0.4 else [])  # a product falls on the third
        while len(khz) < n:
            c = a + 25 * int(rng.integers(-480, 480))
            khz += [c] if min(abs(c - x) for x in khz) >= 400 else []
        khz = [int(c) for c in rng.permutation(khz)]
        scenes = [*np.sort(rng.uniform(300, end - 300, int(rng.integers(2, 5)))), end + 1]
        self.links, self.planned = list[_Link](), np.zeros((n, t.size), bool)
        self.base, self.torso, self.speech = np.zeros((n, t.size, 2)), np.zeros((n, t.size)), np.zeros((n, t.size))
        for j in range(n):
            nearest = 12.0 if khz[j] in (a, b) else 5.0  # m; whose product would hurt is planned off the mast
            self.base[j], self.torso[j] = _track(rng, t, scenes, nearest, nearest + np.exp(rng.uniform(1.8, 4.65)))
            link = _Link(rng, self.racks[j % len(self.racks)], khz[j], outdoors, self.base[j])
            self.links.append(link)
            self.speech[j] = _speech(rng, t)
            on, off, gap = rng.uniform(30, 300), end - rng.uniform(30, 300), rng.uniform(900, end - 1200)
            again, kind = gap + rng.uniform(120, 500), rng.random()
            link.spans = [(0.0, end)] if kind < 0.45 else [(on, off)] if kind < 0.75 else [(on, gap), (again, off)]
            for x, y in link.spans:  # people switch on a little before and off a little after
                self.planned[j] |= (t >= x - rng.uniform(0, 5)) & (t <= y + rng.uniform(0, 5))
        self.crowd = np.zeros((len(self.racks), 2, t.size))  # dB: somebody stands at one antenna for a while
        for one in self.crowd:
            for _ in range(rng.poisson(end / 900)):
                since, side = rng.uniform(0, end), int(rng.integers(2))
                shape = _ramp(t, since, since + rng.uniform(5, 40), 1.5, 1.5) * rng.uniform(3, 9)
                one += np.stack([shape, shape * 0.2])[[side, 1 - side]]
        triples = [(a, b, v) for v in range(n) for a in range(n) for b in range(n) if len({a, b, v}) == 3]
        off_khz = [abs(2 * khz[a] - khz[b] - khz[v]) for a, b, v in triples]
        half = [self.links[v].rack.bandwidth_khz / 2 for _, _, v in triples]
        self.products = [x for x, o, h in zip(triples, off_khz, half, strict=True) if o <= h]

    def run(self, m: "_Meddling") -> _Told:
        """All that the racks tell of this day, meddled with."""
        n, size = len(self.links), self.t.size
        on, spots = self.planned & ~m.off, self.base + m.away
        empty = np.zeros((3, n, size))
        told = _Told(np.zeros((n, size, 6), np.float32), empty[0], empty[1], empty[2] > 0)
        for rack in self.racks:
            near = np.array([k.near_dbm(np.hypot(*(spots[j] - rack.mast).T)) for j, k in enumerate(self.links)])
            near = np.where(on, near, OFF_DBM)
            load = _db(_mw(near).sum(axis=0))
            for j in [j for j, k in enumerate(self.links) if k.rack is rack]:
                product = np.zeros(size)
                for a, b in [(a, b) for a, b, v in self.products if v == j]:
                    # made in the front end (Pozar), and in a's output stage by b beside it (bodies 15 dB,
                    # conversion 12 dB, from memory); half of it misses the channel, as products are wider
                    between = np.maximum(np.hypot(*(spots[a] - spots[b]).T), 0.15)
                    coupling = 20 * np.log10(4 * np.pi * between * self.links[b].carrier_khz / LIGHT) + 15
                    made = _mw(2 * near[a] + near[b] - 2 * rack.iip3_dbm)
                    product += (made + np.where(on[b], _mw(near[a] - coupling - 12), 0)) / 2
                self._receive(m, j, on[j], spots[j], np.stack([near[j], load, product]), told)
        return told

    def _fading(self, k: _Link, spot: Floats, d: Floats, body: Floats, direct: Floats) -> Floats:
        """Fading in dB, (2, moments): a steady ray (behind the body), and plane waves over the place."""
        number = 2 * np.pi * k.carrier_khz / LIGHT
        x, y, t = np.stack([*spot.T, self.t]).astype(np.float32)
        scatter = np.zeros((2, t.size), np.complex64)
        for side, waves in enumerate(k.waves.astype(np.float32)):
            for angle, doppler, phase in waves:
                kx, ky = np.float32(number * np.cos(angle)), np.float32(number * np.sin(angle))
                scatter[side] += np.exp(np.complex64(1j) * (kx * x + ky * y + doppler * t + phase))
        scatter[1] = k.alike * scatter[0] + np.sqrt(1 - k.alike**2) * scatter[1]
        rice = _mw(k.rice_db + 8 * (1 - _scenery(d)))
        dx, dy = (spot - k.rack.mast).T
        steady = np.exp(-1j * number * np.hypot(dx, [dy, dy - k.rack.apart_m]))
        ray = np.sqrt(rice / (rice + 1)) * _mw(-(body + direct) / 2) * steady
        round_db = np.maximum(-0.35 * body, -6.0)  # by the walls much comes round the body
        rest = np.sqrt(1 / (rice + 1) / k.waves.shape[1]) * _mw(round_db / 2)
        return np.asarray(20 * np.log10(np.abs(ray + rest * scatter) + 1e-6))

    def _receive(self, m: "_Meddling", j: int, on: Bools, spot: Floats, air: Floats, told: _Told) -> None:
        """Fills in what the receiver of link `j` sees and tells."""
        rng = np.random.default_rng([self.seed, 2, j])  # the same dice on both runs
        k, size, (near, load, product) = self.links[j], self.t.size, air
        rack, d = k.rack, np.maximum(np.hypot(*(spot - k.rack.mast).T), 0.12)
        turned = self.torso[j] + k.worn - np.arctan2(*(rack.mast - spot).T[::-1])
        body = k.body_db * (0.5 * (1 - np.cos(turned))) ** 1.5
        coarse, every = spot[::10], np.arange(size)
        common, own = (np.cos(coarse @ h[:, :2].T + h[:, 2]).sum(axis=1) * np.sqrt(2 / len(h)) for h in k.hills)
        # the rehearsal found the very worst spots, nobody is left to stand there
        hills = [np.maximum(x, -1.6) * k.sigma_db for x in (common, 0.9 * common + 0.45 * own)]
        shadow = np.stack([np.interp(every, every[::10], x) for x in hills]) * _scenery(d)
        dead = m.dead[at := self.racks.index(rack)]
        live, over = dead == 0, np.maximum(0.0, load - rack.overload_dbm)
        loss = m.loss[j] + self.crowd[at] + np.array([[0.0], [rack.other_gain_db]])
        wanted = k.near_dbm(d) + 0.35 * k.body_db + shadow - loss + self._fading(k, spot, d, body, m.direct[j])
        wanted = np.where(on & live, wanted - 0.6 * over, OFF_DBM)  # 0.6 dB of gain lost per dB: memory
        ripple = _smooth(rng.normal(0, 1, (2, size)), 0.5) * 10
        alien = (product * _mw(ripple) + m.alien_mw[j]) * _mw(-loss) * live
        noise = _mw(np.full(size, rack.noise_dbm + rack.rise_db)) + _mw(load - rack.blocking_db) * live
        # compression of the strong signal itself spoils modulation; 34 dB at best, 2.2 dB per dB: memory
        spoilt = _mw(wanted - 34 + 2.2 * np.maximum(0.0, near - rack.overload_dbm))
        ratio, shown = wanted - _db(noise + alien + spoilt), _db(_mw(wanted) + noise + alien)
        told.by_product[j] = product > np.maximum(noise, spoilt.max(axis=0))
        told.level_dbm[j] = _smooth(wanted.max(axis=0), 4.0)
        told.spare_db[j] = told.level_dbm[j] - rack.noise_dbm - rack.rise_db - rack.cn_db
        got = _db(_mw(ratio).sum(axis=0)) if rack.diversity == "combining" else ratio.max(axis=0)
        if rack.diversity == "level":  # the stronger branch, even when an interferer makes it so
            got = np.where(shown[0] >= shown[1], ratio[0], ratio[1])
        margin = got - rack.cn_db + rng.normal(0, 0.6, size)
        bad = margin < 0
        bad_run = every - np.maximum.accumulate(np.where(bad, -1, every))
        good_run = every - np.maximum.accumulate(np.where(bad, every, -1))
        opened = np.maximum.accumulate(np.where(good_run >= rack.open_after, every, -1))
        muted = np.maximum.accumulate(np.where(bad_run > rack.mute_after, every, 0)) > opened  # starts muted
        speech = np.where(np.isnan(m.mic_dbfs[j]), self.speech[j], m.mic_dbfs[j] + rng.normal(0, 0.4, size))
        heard = np.where((bad_run > rack.conceal) | muted, rack.silence_dbfs, np.maximum(speech, rack.silence_dbfs))
        quality = np.round(_smooth((~bad).astype(float), rack.quality_s), 2)
        if rack.law == "logistic":
            quality = np.round(_smooth(1 / (1 + np.exp(-np.clip(margin, -40, 40) / 1.3)), rack.quality_s), 2)
        elif rack.law == "bars":
            flat = _smooth(np.clip(margin, -20, 30), rack.quality_s)
            quality = np.sum([flat > edge for edge in (-2, 0, 4, 9)], axis=0) / 4
        meter = _smooth(shown + rng.normal(0, 0.5, (2, size)), rack.meter_s) + rack.error_db
        meter = np.clip(np.round(meter / rack.step_db) * rack.step_db, rack.floor_dbm, rack.top_dbm)
        rows = np.full((size, 6), np.nan, np.float32)
        rows[:, 0] = meter[0] if rack.tells_b else meter.max(axis=0)
        rows[:, 1] = meter[1] if rack.tells_b else np.nan
        rows[:, 2] = _smooth(heard, rack.audio_s) if rack.tells_audio else np.nan
        rows[:, 3] = quality if rack.law else np.nan
        rows[:, 4] = _gauge(k, on, m.low.get(j), muted, rng)
        rows[:, 5] = muted
        told.values[j] = np.concatenate([np.repeat(rows[:1], rack.late, axis=0), rows[: -rack.late]])
        told.values[j, dead == 2] = np.nan  # the log asks a rack without power and gets no answer


class _Meddling:
    """What the faults change in a world; nothing when new."""

    def __init__(self, w: _World) -> None:
        n, size = w.planned.shape
        self.loss, self.alien_mw, self.away = np.zeros((n, 2, size)), np.zeros((n, 2, size)), np.zeros((n, size, 2))
        self.direct, self.mic_dbfs = np.zeros((n, size)), np.full((n, size), np.nan)  # loss of the steady ray only
        self.off = np.zeros((n, size), bool)
        self.dead = np.zeros((len(w.racks), size), np.int8)  # 1 the antennas' amplifier, 2 power
        self.low: dict[int, Low] = {}


def _track(rng: Generator, t: Floats, scenes: list[float], near: float, far: float) -> tuple[Floats, Floats]:
    """Where somebody is (m) and where the chest points (rad)."""
    main = rng.uniform(-0.85, 0.85)

    def place() -> Floats:
        return _unit(main + rng.uniform(-0.5, 0.5)) * float(np.exp(rng.uniform(np.log(near), np.log(far))))

    here, now = place(), 0.0
    marks, faces = [(0.0, *here)], [(0.0, rng.uniform(-np.pi, np.pi))]
    for until in scenes:
        kind = str(rng.choice(["stand", "walk", "sit", "roam"], p=[0.25, 0.35, 0.2, 0.2]))
        centre, other, front = place(), place(), rng.uniform(-np.pi, np.pi)
        goal, about, speed = centre, {"stand": 0.4, "sit": 0.1}.get(kind, rng.uniform(1, 3)), rng.uniform(0.6, 1.6)
        while now < until:
            length = float(np.hypot(*(goal - here)))
            faces.append((now, np.arctan2(*(goal - here)[::-1]) if length > 1 else front))
            now, here = now + max(length / speed, 0.3), goal
            marks.append((now, *here))
            faces.append((now, front + rng.normal(0, 0.3)))
            now += {"stand": rng.uniform(15, 90), "sit": rng.uniform(60, 300)}.get(kind, rng.uniform(1, 15))
            marks.append((now, *here))
            goal = (other if goal is centre else centre) if kind == "walk" else centre + rng.normal(0, about, 2)
            goal = goal if kind == "walk" else goal * max(1.0, near / float(np.hypot(*goal)))
    (at, xs, ys), (when, angle) = np.array(marks).T, np.array(faces).T
    sway = _smooth(rng.normal(0, 1, (2, t.size)), 1.5) * 0.17  # about 2 cm
    facing = np.unwrap(angle)[np.searchsorted(when, t, side="right") - 1]
    turns = _smooth(rng.normal(0, 1, t.size), 6.0) * 17 * rng.uniform(0.2, 0.7)  # people look about
    spot = np.stack([np.interp(t, at, xs), np.interp(t, at, ys)]) + sway
    return spot.T.copy(), _smooth(facing, 0.7) + turns


def _speech(rng: Generator, t: Floats) -> Floats:
    """Talk in phrases with pauses, over the room's noise or music; dBFS."""
    n = int(t[-1] / 1.5) + 10
    talk, pause = rng.uniform(0.8, 6, n), 0.3 + rng.exponential(0.7, n)
    pause[rng.random(n) < 0.06] += rng.uniform(5, 50)
    phrase = np.searchsorted(np.cumsum(np.stack([talk, pause], axis=1).ravel()), t)
    loud = rng.uniform(-32, -14) + rng.normal(0, 3, 2 * n) + np.where(np.arange(2 * n) % 2 == 0, 0.0, OFF_DBM)
    room = rng.uniform(-68, -38) + _smooth(rng.normal(0, 1, t.size), 0.5) * rng.uniform(2, 10)
    return np.minimum(_db(_mw(loud[phrase] + _smooth(rng.normal(0, 1, t.size), 0.12) * 12) + _mw(room)), 0.0)


def _gauge(k: _Link, on: Bools, low: Low | None, muted: Bools, rng: Generator) -> Floats:
    """What the receiver tells of the transmitter's battery."""
    used = np.cumsum(on) / MOMENTS / k.life_s
    left: Floats = k.charge - used
    if low is not None:
        dies, fresh, charge, start, bend = low
        left = (start or used[dies]) * np.clip(1 - (used / used[dies]) ** bend, 0.0, 1.0)
        left[fresh:] = charge - (used[fresh:] - used[fresh])
    told: Floats = np.round(left, 2) if k.rack.gauge == "linear" else np.ceil(left * 5 - 0.2) / 5
    if k.rack.gauge == "voltage":  # a plateau and a knee, as cells have
        ripple = _smooth(rng.normal(0, 1, on.size), 2.0) * 0.05
        told = np.round(0.25 + 0.7 * left - 0.33 * np.exp(-left / 0.05) + ripple, 2)
    told = np.clip(told, 0.0, 1.0)
    if k.rack.lost_gauge == "hold":
        return np.asarray(told[np.maximum.accumulate(np.where(muted, 0, np.arange(on.size)))])
    return np.where(muted, 0.0 if k.rack.lost_gauge == "zero" else np.nan, told)


def _schedule(rng: Generator, w: _World, calm: _Told, m: _Meddling) -> list[Event]:
    """Faults one after the other, about 3 to 4.5 a link hour, put into `m`."""
    wanted = rng.uniform(3.0, 4.5) * sum(y - x for k in w.links for x, y in k.spans) / 3600
    events, taken = list[Event](), [(-99.0, 15.0), (float(w.t[-1]) - 15, 1e9)]
    weights = np.array([h[0] for h in HOLDS.values()])
    for _ in range(150):
        cause = str(rng.choice(list(HOLDS), p=weights / weights.sum()))
        grade = int(rng.choice(3, p=[0.3, 0.4, 0.3]))
        for attempt in range(50):
            event = _try(rng, w, calm, m, cause, grade, taken, attempt > 35)
            if event is not None:
                events.append(event)
                break
        if sum(len(hits) for _, hits, _ in events) >= wanted:
            break
    return events


def _try(
    rng: Generator, w: _World, calm: _Told, m: _Meddling, cause: str, grade: int, taken: Spans, anyhow: bool
) -> Event | None:
    """One fault at a random place, if that is free and the fault likely there (`anyhow`: or not)."""
    t, j, n = w.t, int(rng.integers(len(w.links))), len(w.links)
    one, two, victim = w.products[int(rng.integers(len(w.products)))]
    j = victim if cause == "intermodulation" else j
    k, excess, hold = w.links[j], rng.uniform(*EXCESS_DB[grade]), rng.uniform(*HOLDS[cause][1][grade])
    rack, a = k.rack, rng.uniform(k.spans[0][0] + 30, k.spans[-1][1] - 30)
    i = int(min(a + hold / 2, t[-1] - 1) * MOMENTS)
    spare, level = float(calm.spare_db[j, i]), float(calm.level_dbm[j, i])
    sag, d = rng.uniform(4, 45), float(np.hypot(*(w.base[j, i] - rack.mast)))
    depth = spare + excess  # what takes the link that far under its need
    likely = {"body": 8 < depth < 35, "wall": 10 < depth < 35, "antennas": 8 < depth < 50, "battery": a > 400}
    likely["multipath"] = 4 < spare < 26
    lead, walkers, beyond, speed, close = 0.0, list[tuple[int, float]](), 0.0, 1.0, np.geomspace(0.12, 12, 150)
    if cause == "range":
        fall = k.near_dbm(d + np.arange(350.0))
        beyond = float(min(int(np.searchsorted(fall[0] - fall, depth)), 349))
        likely["range"] = bool(fall[0] - fall[-1] > depth > 4 and beyond > 8)
        speed = float(np.clip(beyond / rng.uniform(20, 60), 1.2, 5.0))  # above 2 m/s somebody runs or drives
        hold += 2 * beyond / speed
    elif cause == "battery":
        hold += sag
    elif cause == "overload":
        aim = rack.overload_dbm + (34 - rack.cn_db + excess) / 2.2
        walkers = [(j, float(close[np.argmin(np.abs(k.near_dbm(close) - aim))]))]
        likely["overload"] = bool(k.near_dbm(close)[0] > aim)
    elif cause == "intermodulation":
        made = 2 * w.links[one].near_dbm(close) + w.links[two].near_dbm(close * 1.2) - 2 * rack.iip3_dbm - 3
        meet = float(close[np.argmin(np.abs(made - (level - rack.cn_db + excess)))])
        walkers = [(one, meet), (two, meet * 1.2)]
    hold += 8 * bool(walkers)  # the last and the first steps, 4 s each
    for x, _ in walkers:
        lead = max(lead, float(np.hypot(*(w.base[x, i] - rack.mast))) / 1.8)
    b, mates = a + hold, [x for x in range(n) if w.links[x].rack is rack]
    shared = cause in ("antennas", "receiver") or (cause == "antenna" and rng.random() < 0.4)

    def is_on(x: int) -> bool:
        return any(s + 10 <= a and b <= e - 10 for s, e in w.links[x].spans)

    hits = [x for x in (mates if shared else [j]) if is_on(x)]
    clash = any(a - lead - 12 < y and b + lead + 12 > x for x, y in taken)
    never = (cause == "audio-path" and not rack.tells_audio) or (cause == "battery" and (j in m.low or a < 200))
    if clash or never or not (anyhow or likely.get(cause, True)) or not all(is_on(x) for x in [j, *dict(walkers)]):
        return None

    taken.append((a - lead, b + lead))
    others, inside, aside = list[int](), (t >= a) & (t <= b), rng.uniform(-3, 3, (2, 1))
    shape = _ramp(t, a, b, rng.uniform(0.1, 1.0), rng.uniform(0.2, 1.5))
    if cause == "range":
        way = _ramp(t, a, b, beyond / speed, beyond / speed, smooth=False) * beyond
        m.away[j] += way[:, None] * (w.base[j, i] - rack.mast) / d
        # it begins where the plan's places end, or what the walk costs begins to matter
        gone = t[inside & ((d + way > k.reach_m) | (way > 0.6 * beyond))]
        a, b = float(gone[0]), float(gone[-1])
    elif cause == "body":
        wobble = 1.5 * np.sin(2 * np.pi * rng.uniform(0.1, 0.5) * t + rng.uniform(0, 6))
        m.loss[j] += shape * (np.clip(depth, 10, 35) + wobble + aside)
    elif cause == "wall":
        cut, step = np.clip(depth, 12, 35), _ramp(t, a, b, rng.uniform(0.3, 3), rng.uniform(0.3, 3))
        edge = -0.8 + (10 ** ((cut - 13) / 20) + 0.8) * step - 0.1  # how deep in the shadow; ITU-R P.526
        knife = (6.9 + 20 * np.log10(np.sqrt(edge**2 + 1) + edge)) * (step > 0)
        m.loss[j] += knife if rng.random() < 0.5 else cut * step
        m.direct[j] += 6 * step
        m.away[j] += (step * rng.uniform(1.5, 5))[:, None] * _unit(rng.uniform(-np.pi, np.pi))
    elif cause == "multipath":
        left = max(5 - 0.7 * excess, -4)  # mean spare in that place, dB
        m.direct[j] += 30 * shape
        m.loss[j] += shape * np.clip(spare - 10 * np.log10(1 + 10 ** (k.rice_db / 10)) - left, 0, 18)
        radius, pace = rng.uniform(0.2, 0.9), rng.uniform(0.08, 0.5)
        turn = pace / radius * t
        m.away[j] += ((shape * radius) * np.stack([np.cos(turn), np.sin(turn)])).T
    elif cause == "interference":
        kind, others = rng.choice(["constant", "bursts", "nearer"]), mates
        power = level - rack.cn_db + excess + _smooth(rng.normal(0, 1, (2, t.size)), 0.4) * 9 + aside
        power -= 25 * (1 - np.clip((t - a) / (0.6 * hold), 0, 1)) if kind == "nearer" else 0
        live = _gate(rng, t, a, b, rng.uniform(0.1, 1.5), rng.uniform(0.05, 1.5)) if kind == "bursts" else inside
        for x in mates if rng.random() < 0.2 else [j]:  # a wall of lights or a television channel is wider
            m.alien_mw[x] += _mw(power - (0 if x == j else rng.uniform(3, 20))) * live
    elif walkers:  # walk up to the mast and stay; the fault is the stay and the last steps
        walk, others = _ramp(t, a + 4 - lead, b - 4 + lead, lead, lead, smooth=False)[:, None], list(range(n))
        for x, near in walkers:
            m.away[x] += walk * (rack.mast + near * _unit(rng.uniform(-0.4, 0.4)) - w.base[x])
    elif cause == "battery":
        dies, last = a + sag, min(sag, 6.0)
        m.loss[j] += _ramp(t, a, dies, sag * 0.8, 0.1) * rng.uniform(0, 4)
        if rng.random() < 0.5:
            m.off[j] |= ~_gate(rng, t, dies - last, dies, 0.8, 0.5) & (t > dies - last) & (t < dies)
        m.off[j] |= (t >= dies) & (t <= b)
        start, bend = (
            (rng.uniform(0.3, 0.9), rng.uniform(1.5, 6)) if rng.random() < 0.5 else (0.0, 1.0)
        )  # worn cells
        m.low[j] = (int(dies * MOMENTS), int(b * MOMENTS), rng.uniform(0.92, 1.0), start, bend)
    elif cause == "switched-off":
        m.off[j] |= inside
    elif cause == "antenna":
        live = _gate(rng, t, a, b, rng.uniform(1, 10), rng.uniform(0.3, 4)) if rng.random() < 0.3 else inside
        m.loss[hits, int(rng.integers(2))] += rng.uniform(*((10, 20), (20, 35), (35, 60))[grade]) * live
    elif cause == "antennas":
        m.loss[mates] += shape * (np.clip(depth, 10, 50) + aside)
    else:  # "receiver" and "audio-path": dead, or by a loose contact
        loose = rng.random() < (0.6, 0.35, 0.1)[grade]
        live = _gate(rng, t, a, b, rng.uniform(0.3, 3), rng.uniform(0.2, 2)) if loose else inside
        if cause == "receiver":
            m.dead[w.racks.index(rack), live] = rng.integers(1, 3)
        else:
            m.mic_dbfs[j, live] = rng.uniform(-100, -75)
    fault = Fault("", cause, a, b, ("slight", "moderate", "severe")[grade], None)
    return fault, hits, [x for x in others if x not in hits]


def _faults(e: Event, w: _World, calm: _Told, told: _Told, at: list[Floats]) -> list[Fault]:
    """The faults of one event: of each link it was meant for, and of each other that it broke."""

    def is_broken(rows: NDArray[np.float32]) -> Bools:
        broken: Bools = (rows[:, 5] == 1) | (rows[:, 3] < 0.5) | np.isnan(rows[:, 5])
        return broken | (rows[:, 2] <= -74) if fault.cause == "audio-path" else broken

    found, (fault, hits, others) = list[Fault](), e
    for j in sorted([*hits, *others]):
        times = at[j][(at[j] >= fault.start_s) & (at[j] <= fault.end_s)]
        i = (times * MOMENTS + 1e-6).astype(int)
        hurt = np.flatnonzero(is_broken(told.values[j, i]) & ~is_broken(calm.values[j, i]))
        cause, breaks = fault.cause, float(times[hurt[0]]) if hurt.size else None
        if j in others and hurt.size and cause != "interference":
            seen = max(int(i[hurt[0]]) - w.links[j].rack.late, 0)
            cause = "intermodulation" if told.by_product[j, seen] else "overload"
        if j in hits or hurt.size:
            found.append(replace(fault, link=f"pack {j + 1}", cause=cause, breaks_at_s=breaks))
    return found


def _scenery(d: Floats) -> Floats:
    """0 beside the antennas, 1 from 15 m: how much of the scenery stands between."""
    return np.asarray(np.clip(np.log(d / 2) / np.log(7.5), 0.0, 1.0))


def _mw(db: Floats) -> Floats:
    return np.asarray(np.exp(db * (np.log(10) / 10)))


def _db(mw: Floats) -> Floats:
    return np.asarray(10 * np.log10(mw + 1e-20))


def _unit(angle: float) -> Floats:
    return np.array([np.cos(angle), np.sin(angle)])


def _smooth(x: Floats, seconds: float) -> Floats:
    """Mean over the last `seconds`, along the last axis."""
    n = max(1, round(seconds * MOMENTS))
    total = np.cumsum(np.concatenate([np.repeat(x[..., :1], n, axis=-1), x], axis=-1), axis=-1)
    return np.asarray((total[..., n:] - total[..., :-n]) / n)


def _ramp(t: Floats, a: float, b: float, up: float, down: float, smooth: bool = True) -> Floats:
    """0 outside a..b, 1 inside, with edges of `up` and `down` seconds."""
    s = np.minimum(np.clip((t - a) / up, 0, 1), np.clip((b - t) / down, 0, 1))
    return np.asarray(s * s * (3 - 2 * s) if smooth else s)


def _gate(rng: Generator, t: Floats, a: float, b: float, on_s: float, off_s: float) -> Bools:
    """True now and then inside a..b, beginning and ending with True."""
    n = int((b - a) / (on_s + off_s) * 3) + 8
    lengths = np.stack([rng.exponential(on_s, n) + 0.1, rng.exponential(off_s, n) + 0.1], axis=1).ravel()
    even = np.searchsorted(a + np.cumsum(lengths), t) % 2 == 0
    return np.asarray((t >= a) & (t <= b) & (even | (t > b - 0.2)))

"""Receiver logs played by somebody who does not know the rules that will read them: physics and habit, numpy only.

Fading: Clarke's spectrum along the way walked, Rice's steady part; shadowing after Gudmundson. From memory, as are
body losses, meters, gauges, and how long people stand, speak and go wrong. Seeded; reads no clock and no file.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]
B = NDArray[np.bool_]
Rng = np.random.Generator
Span = tuple[float, float]
SEVERITIES = ("slight", "moderate", "severe")
FINE_HZ = 50.0  # radio moments a second, so that a fade between two readings breaks the audio too
LENGTHS_S: dict[str, list[Span]] = {  # one for all, or slight to severe
    "range": [(60, 240)], "antenna": [(30, 240)], "body": [(1, 15)], "multipath": [(15, 120)],
    "interference": [(1, 150)], "intermodulation": [(8, 180)], "overload": [(8, 90)],
    "battery": [(40, 80), (70, 150), (120, 300)], "switched-off": [(5, 12), (12, 45), (45, 200)],
    "audio-path": [(2, 8), (5, 40), (30, 180)],
}  # fmt: skip
CAUSES = tuple(LENGTHS_S)


@dataclass
class Fault:
    """What was done to a link; s from the start; `breaks_at_s`: first reading whose audio it broke, or None."""

    link: str
    cause: str
    start_s: float
    end_s: float
    severity: str
    breaks_at_s: float | None


@dataclass
class Player:
    """What a plan says of a link; kHz, dBm (need, noise + interference, median at the worst spot), s when on."""

    link: str
    carrier_khz: int
    need_dbm: float
    noise_dbm: float
    worst_dbm: float
    spans: list[Span]


@dataclass
class Recorded:
    """Rows in time order; values (n, 6): rf_a_dbm, rf_b_dbm, audio_dbfs, quality, battery, muted; NaN: none."""

    links: list[str]
    link: NDArray[np.int32]
    time_s: F
    values: NDArray[np.float32]
    faults: list[Fault]
    players: list[Player]


def _smooth(rng: Rng, n: int, correlation: float, sigma: float) -> F:
    """A random line with Gudmundson's exponential correlation, in steps; (n,)."""
    a, size = float(np.exp(-1 / correlation)), n + int(8 * correlation) + 1
    white, kernel = rng.normal(size=size), a ** np.arange(size - n)
    line: F = np.fft.irfft(np.fft.rfft(white) * np.fft.rfft(kernel, size), size)
    return sigma * float(np.sqrt(1 - a * a)) * line[-n:]


def _slow(rng: Rng, t: F, correlation_s: float, sigma: float) -> F:
    """The same over time, drawn once a second; (n,)."""
    seconds = np.arange(t[0], t[-1] + 2.0)
    return np.interp(t, seconds, _smooth(rng, len(seconds), correlation_s, sigma))


def _turns(rng: Rng, t: F, on_s: float, off_s: float) -> B:
    """On (first) and off by turns of exponential length, s; (n,)."""
    count = int((t[-1] - t[0]) / (on_s + off_s) * 2) + 20
    ends = t[0] + np.cumsum(rng.exponential(np.tile([on_s, off_s], count)))
    return np.asarray(np.searchsorted(ends, t) % 2 == 0)


def _clarke(rng: Rng, waves: F) -> NDArray[np.complex128]:
    """Rayleigh field of unit power with Clarke's spectrum, at places in wavelengths; (n,)."""
    n, fine = 1 << 15, 16
    k = np.fft.fftfreq(n, 1 / fine)
    half = fine / n / 2
    power = (np.arcsin(np.clip(k + half, -1, 1)) - np.arcsin(np.clip(k - half, -1, 1))) / np.pi
    line = np.fft.ifft(np.sqrt(power / 2) * (rng.normal(size=n) + 1j * rng.normal(size=n))) * n
    low = (waves * fine).astype(np.int64)
    part = waves * fine - low
    return np.asarray(line[low % n] * (1 - part) + line[(low + 1) % n] * part)


class Receiver:
    """The receiver of a whole log, drawn by style ("mixed", "fine", "coarse", "bare"); dB, dBm, s."""

    def __init__(self, rng: Rng, style: str) -> None:
        kind = str(rng.choice(["fine", "coarse", "bare", "any", "any"])) if style == "mixed" else style
        self.step_db = {"fine": 0.0, "any": float(rng.choice([0, 1]))}.get(kind, 1.0)
        self.floor_dbm, self.ceiling_dbm = rng.uniform(-120, -105), rng.uniform(-30, -15)
        self.averaging_s, self.averages_db = 0.01 * 20 ** rng.random(), rng.random() < 0.4
        self.combines = rng.random() < 0.35  # adds the branches up; else takes the better
        self.quality_steps = {"fine": 0, "coarse": 4}.get(kind, int(rng.choice([0, 0, 4, 5, 10])))  # 0 is smooth
        self.quality_lag_s = 0.0 if self.quality_steps and rng.random() < 0.7 else rng.uniform(0.1, 0.5)
        self.quality_width_db, self.quality_middle_db = rng.uniform(2, 6), rng.uniform(0.3, 2.5)
        self.mute_hold_s = 0.0 if rng.random() < 0.3 else rng.uniform(0.2, 1.0)
        self.says_muted, self.muted_dbfs = (
            kind != "bare" and rng.random() < 0.9,
            rng.choice([-120, -120, -120, np.nan]),
        )
        gauges = {"fine": "fine", "coarse": "bars", "bare": "none"}
        self.gauge = gauges.get(kind, str(rng.choice(["fine", "bars", "none"], p=[0.5, 0.35, 0.15])))
        self.gauge_gone = str(rng.choice(["hold", "missing", "zero"], p=[0.45, 0.4, 0.15]))
        self.lost_rows = float(rng.choice([0.0, 0.001, 0.005]))


class Talent:
    """A link as it is played: place, route, walls, turning round, passers-by, cells; lines (n,), loss (2, n)."""

    def __init__(self, rng: Rng, name: str, carrier_khz: int, t: F, ceiling: float) -> None:
        n, total, u = len(t), float(t[-1]), rng.uniform
        self.name, self.carrier_khz, self.t, self.busy = name, carrier_khz, t, list[Span]()
        self.noise, self.one_metre = u(-111, -98), u(-34, -20)
        self.need = self.noise + u(9, 19)
        self.exponent, sigma, k = u(2, 4), u(2, 6), u(0, 12)
        self.beyond = max(self.exponent, u(3, 4.5))  # past the planned end: corners, ground
        margin = 12 + 1.3 * sigma + 0.5 * (12 - k) + u(0, 12)  # what a plan that passes would keep
        self.far = min(max(10 ** ((self.one_metre - self.need - margin) / 10 / self.exponent), 8.0), 150.0)
        near = min(max(u(1.5, 5), 10 ** ((self.one_metre - ceiling + 8) / 10 / self.exponent)), 0.6 * self.far)
        knots = [(0.0, u(near, self.far))]
        while knots[-1][0] < total:
            now, x = knots[-1]
            now += rng.exponential(60) + 3 if rng.random() < 0.75 else 0.1  # stands, often for long
            goal = self.far if rng.random() < 0.2 else u(near, self.far)
            knots += [(now, x), (now + abs(goal - x) / u(0.3, 1.5), goal)]
        self.position = np.interp(t, [at for at, _ in knots], [x for _, x in knots])
        self.grid = np.arange(0, 700, 0.25)
        self.shadow = _smooth(rng, len(self.grid), u(2, 10) / 0.25, sigma)
        edge = u(0.05, 0.15) * total if rng.random() < 0.1 else 0.0  # comes late or is let go early, as planned
        self.spans = [(edge, total)] if rng.random() < 0.5 else [(0.0, total - edge)]
        self.off = (t < self.spans[0][0]) | (t > self.spans[0][1])
        self.sway = np.abs(_slow(rng, t, 8, u(0.03, 0.15))) + 0.01  # m/s of gestures and of people about
        self.k_db, self.rho = np.clip(k + _slow(rng, t, 30, 1.5), -3, 13), np.full(n, u(0, 0.7))
        self.disturbance, self.desensed, self.dead = np.full(n, -np.inf), np.zeros(n), np.full(n, np.nan)
        self.distorted, self.clicks = np.zeros(n, bool), list[float]()
        self.battery = u(0.45, 1) - t / u(4, 10) / 3600
        imbalance = float(np.clip(rng.normal(0, 1.5), -4, 4))
        self.loss = np.stack([_slow(rng, t, 15, 1.0) + side * imbalance for side in (-0.5, 0.5)])
        self.loss += np.clip(1.5 + _slow(rng, t, 12, 1.5), 0, 5)  # facing the receiver or not
        for start in np.cumsum(rng.exponential(u(25, 90), int(total / 20) + 5)):
            self.lose(start, start + u(1, 10), u(3, 8), 0.4, rng.normal(0, 1))

    def mean_dbm(self) -> F:
        """Local mean by distance and shadow alone, dBm; (n,)."""
        d = np.maximum(self.position, 0.1)
        inner = np.where(d < 1, 20.0, 10 * self.exponent) * np.log10(np.minimum(d, self.far))
        outer = 10 * self.beyond * np.log10(np.maximum(d / self.far, 1))
        return np.asarray(self.one_metre - inner - outer - np.interp(d, self.grid, self.shadow))

    def during(self, start: float, end: float) -> slice:
        """The moments from start to end, s."""
        return slice(int(np.searchsorted(self.t, start)), int(np.searchsorted(self.t, end)))

    def lose(self, start: float, end: float, db: float | F, edge: float, apart: float = 0.0) -> None:
        """Take db (at the moments) from both branches, `apart` dB more from the first; soft edges, s."""
        at = self.during(start, end)
        ramp = np.clip(np.minimum(self.t[at] - start, end - self.t[at]) / min(edge, (end - start) / 2), 0, 1)
        self.loss[:, at] += ramp * ramp * (3 - 2 * ramp) * (db + np.array([[apart / 2], [-apart / 2]]))

    def go(self, stops: list[Span]) -> None:
        """Leave the planned walk for stops (s, metres): to the first and from the last at 1.3 m/s."""
        for (when, x), sign in ((stops[0], -1), (stops[-1], 1)):
            when += sign * abs(x - float(np.interp(when, self.t, self.position))) / 1.3
            stops = sorted([*stops, (when, float(np.interp(when, self.t, self.position)))])
        at = self.during(stops[0][0], stops[-1][0])
        self.position[at] = np.interp(self.t[at], [when for when, _ in stops], [x for _, x in stops])

    def walk_out(self, rng: Rng, start: float, end: float, grade: int) -> None:
        """Walk on beyond the far end and, where that is not enough, behind a wall; stay, come back."""
        left = rng.uniform(*((2.0, 7.0), (-6.0, 0.0), (-22.0, -8.0))[grade])
        there = start + rng.uniform(0.3, 0.45) * (end - start)
        leaves = there + rng.uniform(0.3, 0.7) * (end - there)
        asked = self.one_metre - 10 * self.exponent * np.log10(self.far) - 1.5 - self.need - left
        way = self.far * (10 ** (asked / 10 / self.beyond) - 1)
        way = max(min(way, rng.uniform(0.9, 1.5) * min(there - start, end - leaves), 500.0), 1.0)
        self.go([(start, self.far), (there, self.far + way), (leaves, self.far + 0.9 * way), (end, self.far)])
        at = self.during(start, end)
        wall = max(asked - 10 * self.beyond * np.log10(1 + way / self.far), 0.0)
        self.loss[:, at] += wall * np.clip(((self.position[at] - self.far) / way - 0.15) / 0.7, 0, 1)

    def harm(self, rng: Rng, cause: str, start: float, end: float, grade: int, ceiling: float) -> None:
        """Do to the link what a cause does from start to end, s; grade 0 slight to 2 severe."""
        at, u = self.during(start, end), rng.uniform
        t = self.t[at]
        if cause == "range":
            self.walk_out(rng, start, end, grade)
        elif cause == "antenna":  # pulled out, or a plug that crackles
            lost = np.full(len(t), u(*((12, 18), (18, 28), (28, 40))[grade]))
            if rng.random() < 0.5:
                lost *= _turns(rng, t, u(0.3, 6), u(0.05, 1.5)) * u(0.6, 1.0, len(t))
            self.loss[int(rng.integers(2)), at] += lost
        elif cause == "body":
            lost = u(*((10, 14), (14, 19), (19, 25))[grade]) + _slow(rng, t, 2, 1.0)
            self.lose(start, end, lost, u(0.2, 0.6), rng.normal(0, 2.5))
        elif cause == "multipath":  # stands, or hardly moves, in a spot without a steady part
            here = float(np.interp(start, self.t, self.position))
            self.go([(start, here), (end, here)])
            self.sway[at] = np.abs(_slow(rng, t, 5, 0.1)) + u(0.05, 0.4)
            left = u(*((9, 13), (5, 9), (2, 5))[grade])
            excess = np.median(self.mean_dbm()[at] - self.loss[:, at].mean(0)) - self.need - left
            self.lose(start, end, max(float(excess), 0.0), u(2, 6))
            self.k_db[at], self.rho[at] = u(-8, 0), u(0, 0.15)
        elif cause in ("interference", "intermodulation"):
            left = u(*((1.5, 5), (-6, -1), (-20, -7))[grade])  # of the ratio, over what is needed
            level = np.median(self.mean_dbm()[at] - self.loss[:, at].mean(0)) - (self.need - self.noise) - left
            on, bursty = u(0.02, 0.6), cause == "interference" and rng.random() < 0.5
            burst = _turns(rng, t, on, on * u(0.5, 6)) if bursty else True
            self.disturbance[at] = np.where(burst, level + _slow(rng, t, 20, 1.5), -np.inf)
        else:
            self.fail(rng, cause, start, end, grade, ceiling)

    def fail(self, rng: Rng, cause: str, start: float, end: float, grade: int, ceiling: float) -> None:
        """The same for causes that lie in the equipment or its use."""
        at, u = self.during(start, end), rng.uniform
        if cause == "overload":  # at the receiver's antennas; either the radio or the sound gives in
            high, sounds = ceiling + u(*((3, 8), (4, 12), (8, 18))[grade]), grade == 1 and rng.random() < 0.5
            self.go([(start, 0.6), (end, 0.6)])
            self.lose(start, end, self.mean_dbm()[at] - high - self.loss[:, at].mean(0) * 0.5, u(0.5, 2))
            self.k_db[at] = 13.0
            left = 12.0 if sounds else u(*((1.5, 4), (-2, 1.5), (-10, -1))[grade])
            inside = self.during(start + 1, end - 1)
            self.desensed[inside] = np.maximum(high - self.need - left + _slow(rng, self.t[inside], 2, 1.5), 0)
            self.distorted[inside] = (sounds or grade == 2) & _turns(rng, self.t[inside], 3.0, 0.7)
        elif cause == "battery":
            ahead, sag = np.maximum(start - self.t, 0), u(6, 14) if rng.random() < 0.4 else 0.0
            run = u(0.0, 0.028) + ahead / u(4, 9) / 3600 + u(0.05, 0.3) * (1 - np.exp(-ahead / 400))
            fresh = u(0.9, 1) - (self.t - end) / u(4, 9) / 3600
            self.battery = np.where(self.t < end, run, fresh)
            self.off[self.during(start + sag, end)] = True
            if sag:  # some save power at the end
                self.lose(start, end, u(3, 10), 0.5)
        elif cause == "switched-off":
            self.off[at] = True
            self.clicks += [start] if rng.random() < 0.4 else []
        else:  # the audio path: silence, or the noise of the transmitter alone; some plugs are loose
            level = rng.normal(-85, 1) if rng.random() < 0.4 else u(-120, -90)
            holds = _turns(rng, self.t[at], u(1, 4), u(0.1, 0.6)) if rng.random() < 0.25 else True
            self.dead[at] = np.where(holds, level, np.nan)


def _carriers(rng: Rng, links: int) -> list[int]:
    """Carriers whose two-transmitter products keep off each other where twenty megahertz allow it; kHz."""
    base = 1785000 if rng.random() < 0.1 else int(rng.integers(470, 670)) * 1000
    found: list[int] = []
    for patience in range(4000):
        tried = [*found, base + 25 * int(rng.integers(0, 800))]
        products = [2 * a - b for a in tried for b in tried if a != b] if patience < 2000 else []
        apart = all(abs(tried[-1] - c) >= 400 for c in found)
        if len(found) < links and apart and all(abs(p - c) >= 150 for p in products for c in tried):
            found = tried
    return found + [base + 20000 + 400 * i for i in range(links - len(found))]


def _visitor(rng: Rng, players: list[Player], carrier_khz: int, start: float, end: float) -> None:
    """Somebody else's link, planned for but not logged here; s."""
    name = f"Visitor {1 + sum(p.link.startswith('Visitor') for p in players)}"
    noise, worst = rng.uniform(-110, -98), rng.uniform(-75, -50)
    players.append(Player(name, carrier_khz, noise + 14, noise, worst, [(start, end)]))


def _visitors(rng: Rng, cast: list[Talent], one: Talent, start: float, end: float, players: list[Player]) -> None:
    """Two or three transmitters with a product on the victim's carrier, on together at that time; s."""
    f, total, taken = one.carrier_khz, float(one.t[-1]), [p.carrier_khz for p in players]
    carriers = [f]  # and so drawn at least once
    ours = [c.carrier_khz for c in cast if c is not one and c.spans == [(0.0, total)]]
    kind = int(rng.choice([0, 0, 0, 1, 1, 1, 2, 2, 3 if ours else 2]))
    while any(abs(c - p) < 300 for c in carriers for p in taken):
        a, b = (25 * int(rng.integers(16, 200)) * sign for sign in [int(rng.choice([-1, 1]))] * 2)
        near = [f + a, f + 2 * a + 25 * int(rng.integers(-1, 2))]
        carriers = [near, near[::-1], [f + a, f + b, f + a + b], [f + a, (ours or [f])[0] - a]][kind]
    before, after = rng.uniform(5, 60, len(carriers)), rng.uniform(5, 60, len(carriers))
    if rng.random() < 0.7:  # the last to come and the first to go make the edges; else coming near does
        before, after = before * 4, after * 4
        before[int(rng.integers(len(carriers)))] = after[int(rng.integers(len(carriers)))] = 0
    for c, early, late in zip(carriers, before, after, strict=True):
        _visitor(rng, players, c, max(start - early, 0.0), min(end + late, total))


def _place(rng: Rng, cast: list[Talent], cause: str, grade: int) -> tuple[Talent, float, float] | None:
    """A link and a time, s, that touches no other fault of that link; None when none is free."""
    for _ in range(60):
        one, lengths = cast[int(rng.integers(len(cast)))], LENGTHS_S[cause]
        low, high = lengths[grade % len(lengths)]
        length = low * (high / low) ** rng.random()
        lead = 15 + (one.far / 1.2 if cause in ("range", "overload") else 0.0)
        first, last = one.spans[0][0] + lead + 10, one.spans[-1][1] - lead - length - 5
        start = rng.uniform(first, max(last, first))
        end, at = start + length, one.during(start, start + length)
        if last <= first or any(start - lead < b and end + lead > a for a, b in one.busy):
            continue
        strong = cause not in ("interference", "intermodulation") or one.mean_dbm()[at].min() > one.need + 16
        again = cause == "battery" and np.diff(one.battery).max() > 0.1
        if strong and not again and (cause != "switched-off" or one.battery[at.start] > 0.15):
            one.busy.append((start - lead, end + lead))
            return one, start, end
    return None


def _radio(rng: Rng, one: Talent, combines: bool) -> tuple[F, F]:
    """Power at the two meters, mW, (2, n), and dB over what is needed with both branches at work, (n,)."""
    wave = 299792.458 / one.carrier_khz
    way = np.abs(np.diff(one.position, prepend=one.position[0])) + one.sway * (one.t[1] - one.t[0])
    waves = np.cumsum(way) / wave
    first, second = _clarke(rng, waves), _clarke(rng, waves)
    loose = np.stack([first, np.sqrt(one.rho) * first + np.sqrt(1 - one.rho) * second])
    k, phase = 10 ** (one.k_db / 10), np.exp(2j * np.pi * rng.random((2, 1)))
    steady = np.sqrt(k / (k + 1)) * np.exp(2j * np.pi * waves * np.cos(rng.uniform(0, np.pi))) * phase
    wanted = 10 ** ((one.mean_dbm() - one.loss) / 10) * np.abs(steady + loose / np.sqrt(k + 1)) ** 2 * ~one.off
    noise = np.full(wanted.shape, 10 ** (one.noise / 10))
    if np.isfinite(one.disturbance).any():
        other = [np.abs(_clarke(rng, one.t * 0.15 / wave) + 1.5) ** 2 / 3.25 for _ in range(2)]
        noise = noise + 10 ** (one.disturbance / 10) * np.stack(other)
    ratio = np.maximum(wanted / noise, 1e-9)
    over = 10 * np.log10(ratio.sum(0) if combines else ratio.max(0)) - (one.need - one.noise) - one.desensed
    return wanted + noise, over + rng.normal(0, 0.3, len(over))


def _meter(rng: Rng, power: F, every: int, fine_s: float, kit: Receiver, noise_db: float) -> F:
    """What the level meters show at the readings, dBm; (2, readings)."""
    width = max(1, round(kit.averaging_s / fine_s))
    line = 10 * np.log10(power) if kit.averages_db else power
    total = np.cumsum(np.concatenate([np.repeat(line[:, :1], width, 1), line], 1), 1)
    mean = ((total[:, width:] - total[:, :-width]) / width)[:, every - 1 :: every]
    shown = mean if kit.averages_db else 10 * np.log10(np.maximum(mean, 1e-15))
    shown = shown + rng.normal(0, 1.5) + rng.normal(0, noise_db, shown.shape)  # calibration, noise
    shown = np.round(shown / kit.step_db) * kit.step_db if kit.step_db else shown
    return np.asarray(np.clip(shown, kit.floor_dbm, kit.ceiling_dbm))


def _gauge(rng: Rng, one: Talent, kit: Receiver, every: int) -> F:
    """What the battery gauge shows at the readings, 0 to 1; (readings,)."""
    true, off = np.clip(one.battery, 0, 1)[every - 1 :: every], one.off[every - 1 :: every]
    shown = np.round(np.clip(true + _slow(rng, one.t[every - 1 :: every], 60, 0.003), 0, 1), 2)
    if kit.gauge != "fine":
        shown = np.where(true <= 0.03, 0.0, np.ceil(true * 4) / 4) if kit.gauge == "bars" else shown * np.nan
    last = np.maximum.accumulate(np.where(off, -1, np.arange(len(off))))
    held = np.where(last < 0, np.nan, shown[last])
    gone = {"hold": held, "missing": held * np.nan, "zero": held * 0}[kit.gauge_gone]
    return np.asarray(np.where(off, gone, shown))


def _speech(rng: Rng, t: F) -> F:
    """Level of somebody who speaks, pauses and is silent for long, dBFS; (readings,)."""
    talks = _turns(rng, t, rng.uniform(1.5, 5), rng.uniform(0.4, 4))
    talks &= _turns(rng, t, rng.uniform(60, 400), rng.uniform(25, 75))
    room = rng.uniform(-70, -60) + _slow(rng, t, 30, 1.0) + rng.normal(0, 0.8, len(t))
    voice = rng.uniform(-32, -18) + _slow(rng, t, 20, 2.5) + rng.normal(0, 4.0, len(t))
    return np.asarray(np.minimum(np.where(talks, np.maximum(voice, room), room), -1.0))


def _log(rng: Rng, one: Talent, kit: Receiver, every: int, noise_db: float) -> tuple[F, B]:
    """The readings of a link, (readings, 6), and where its audio is not what was spoken, (readings,)."""
    t, reading_s = one.t[every - 1 :: every], float(one.t[every] - one.t[0])
    power, over = _radio(rng, one, kit.combines)
    n, lost = len(t), (over < 0).reshape(-1, every).mean(1)
    smooth = 1 / (1 + np.exp(-4.4 * np.clip((over - kit.quality_middle_db) / kit.quality_width_db, -9, 9)))
    quality = smooth.reshape(n, every).mean(1)
    lag = np.exp(-np.arange(1 + int(4 * kit.quality_lag_s / reading_s)) * reading_s / max(kit.quality_lag_s, 1e-9))
    quality = np.convolve(np.concatenate([np.repeat(quality[:1], len(lag) - 1), quality]), lag / lag.sum(), "valid")
    quality = np.clip(quality + rng.normal(0, 0.01, n), 0, 1)
    quality = np.round(quality * kit.quality_steps) / kit.quality_steps if kit.quality_steps else quality
    broke = np.maximum.accumulate(np.where(lost >= 0.4, np.arange(n), -n * n))
    muted = np.arange(n) - broke <= kit.mute_hold_s / reading_s
    audio, distorted, dead = _speech(rng, t), one.distorted[every - 1 :: every], one.dead[every - 1 :: every]
    audio = np.where(distorted, np.minimum(audio + rng.normal(14, 3, n), -0.2), audio)
    holes = np.where(rng.random(n) < 0.3, -120.0, audio + 10 * np.log10(1.001 - lost))
    audio = np.where(lost > 0, holes, audio)
    audio = np.where(np.isnan(dead), audio, dead + rng.normal(0, 0.5, n))
    audio = np.where(muted, kit.muted_dbfs, np.maximum(audio, -120))
    audio[np.minimum(np.searchsorted(t, one.clicks), n - 1)] = rng.uniform(-15, -3, len(one.clicks))
    a, b = _meter(rng, power, every, reading_s / every, kit, noise_db)
    flag = muted if kit.says_muted else np.full(n, np.nan)
    table = np.column_stack([a, b, audio, quality, _gauge(rng, one, kit, every), flag])
    return table, np.asarray((lost > 0) | muted | distorted | ~np.isnan(dead))


def play(
    seed: int, links: int = 6, minutes: float = 30.0, rate_hz: float = 10.0, meter_noise_db: float = 2.0,
    faults: bool = True, style: str = "mixed",
) -> Recorded:  # fmt: skip
    """Play a log, the same for the same arguments; minutes, readings a second, dB rms; style as of Receiver."""
    rng = np.random.default_rng(seed)
    every, n = max(1, round(FINE_HZ / rate_hz)), int(minutes * 60 * rate_hz)
    t = (np.arange(n * every) + 1) / (rate_hz * every)
    total, kit = float(t[-1]), Receiver(rng, style)
    cast = [Talent(rng, f"Talent {i + 1}", f, t, kit.ceiling_dbm) for i, f in enumerate(_carriers(rng, links))]
    players, done = list[Player](), list[tuple[Talent, Fault]]()
    for one in cast:
        worst = one.one_metre - 10 * one.exponent * np.log10(one.far) - 1.5 + np.clip(rng.normal(0, 2.5), -6, 6)
        need, noise = one.need + rng.normal(0, 0.8), one.noise + rng.normal(0, 1)
        players.append(Player(one.name, one.carrier_khz, need, noise, float(worst), one.spans))
    count = max(1, round(links * minutes * 60 / 450)) if faults else 0
    first = rng.integers(0, 3, len(CAUSES))  # every cause once in ten, each time in another severity
    order = [i for _ in range(count // 10 + 1) for i in rng.permutation(len(CAUSES))]
    deck = [(CAUSES[i], int(first[i] + place // 10) % 3) for place, i in enumerate(order)]
    for cause, grade in sorted(deck[:count], key=lambda card: card[0] != "battery"):
        if spot := _place(rng, cast, cause, grade):
            one, start, end = spot
            one.harm(rng, cause, start, end, grade, kit.ceiling_dbm)
            done.append((one, Fault(one.name, cause, start, end, SEVERITIES[grade], None)))
            if cause == "intermodulation":
                _visitors(rng, cast, one, start, end, players)
    for _ in range(int(rng.integers(0, 3))):  # others about, who do no harm
        f, begin = cast[0].carrier_khz + 25 * int(rng.integers(-400, 400)), rng.uniform(0, 0.7) * total
        if all(abs(f - p.carrier_khz) >= 300 for p in players):
            _visitor(rng, players, f, begin, min(begin + rng.uniform(60, 900), total))
    rows, gap = list[F](), rng.uniform(0, total) if rng.random() < 0.2 else np.inf  # the logging may stop for 3 s
    for i, one in enumerate(cast):
        table, bad = _log(rng, one, kit, every, meter_noise_db)
        at = t[every - 1 :: every] + 0.3 / rate_hz * i / links
        for fault in (f for who, f in done if who is one):
            hits = at[bad & (at >= fault.start_s) & (at <= fault.end_s + 1 / rate_hz)]
            fault.breaks_at_s = float(hits[0]) if len(hits) else None
        kept = (rng.random(n) >= kit.lost_rows) & ((at < gap) | (at > gap + 3))
        rows.append(np.column_stack([at, np.full(n, i), table])[kept])
    table = np.concatenate(rows)
    table = table[np.argsort(table[:, 0], kind="stable")]
    link, values = table[:, 1].astype(np.int32), table[:, 2:].astype(np.float32)
    ordered = sorted((fault for _, fault in done), key=lambda fault: fault.start_s)
    return Recorded([one.name for one in cast], link, table[:, 0].copy(), values, ordered, players)

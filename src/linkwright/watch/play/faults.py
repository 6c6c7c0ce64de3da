"""Faults of every cause for the simulator: when, how long, how hard, and what each does to a link.

The ranges are PHYSICS' words as numbers and own choices beside them (assumed); "held out" severities lie beyond
those that the rules of diagnosis were set by.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from linkwright.units import BoolArray, FloatArray, mw_from_dbm
from linkwright.watch.log.record import SECOND_NS, iso_of
from linkwright.watch.play.course import Course

#: The causes of an episode; what is none of them is "unknown".
CAUSES: Final = (
    "range", "antenna", "body", "multipath", "interference", "intermodulation", "overload", "battery",
    "switched-off", "audio-path",
)  # fmt: skip
#: Of each cause: shortest and longest [s], and least and most of what it does (in its own unit, see `_effect`).
KINDS: Final = {
    "range": ((12.0, 30.0), (4.0, 14.0)),
    "antenna": ((40.0, 120.0), (16.0, 40.0)),
    "body": ((2.0, 10.0), (10.0, 25.0)),
    "multipath": ((5.0, 15.0), (1.0, 5.0)),
    "interference": ((4.0, 40.0), (4.0, 16.0)),
    "intermodulation": ((8.0, 40.0), (4.0, 14.0)),
    "overload": ((4.0, 20.0), (4.0, 12.0)),
    "battery": ((20.0, 60.0), (0.0, 0.03)),
    "switched-off": ((5.0, 60.0), (0.2, 0.9)),
    "audio-path": ((3.0, 40.0), (0.0, 1.0)),
}
#: Quiet time from one fault of a link to the next [s].
APART_S: Final = 60.0
#: How long a talent takes to walk out of reach and back [s].
RAMP_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault: whose, in which call, its cause, from and to [ns, UTC], how hard, and who else has a part in it.

    makers : the two links whose product falls on this one. branch : 0 or 1, of an antenna.
    """

    link: str
    call: str
    cause: str
    from_ns: int
    to_ns: int
    severity: float
    makers: tuple[str, ...] = ()
    branch: int = 0

    def document(self) -> dict[str, Any]:
        """As `--truth` writes it."""
        return {
            "link": self.link, "call": self.call, "cause": self.cause, "from": iso_of(self.from_ns),
            "to": iso_of(self.to_ns), "severity": round(self.severity, 3), "makers": list(self.makers),
        }  # fmt: skip


@dataclass(frozen=True, eq=False, slots=True)
class Effects:
    """What faults do to a link's readings, each (n,).

    loss_db : on both branches; branch_loss_db (2, n) on each. target_dbm, share : a level that the local mean is
    drawn to, and how far (0: not, 1: quite). unwanted_mw : on its carrier. gauge : shown instead of its own (NaN:
    its own).
    """

    loss_db: FloatArray
    branch_loss_db: FloatArray
    target_dbm: FloatArray
    share: FloatArray
    unwanted_mw: FloatArray
    gauge: FloatArray
    scattered: BoolArray
    audio_dead: BoolArray
    too_near: BoolArray


def draw_faults(
    courses: Sequence[Course], causes: Sequence[str], *, seed: int = 1, each_h: float = 6.0, wider: float = 0.0
) -> tuple[Fault, ...]:
    """Seeded faults of these causes, about `each_h` an hour and link, never two at once on a link.

    `wider` stretches every severity's range on both sides by that share: the held-out ones.
    """
    found: list[Fault] = []
    taken: dict[tuple[str, str], int] = {}
    for n, course in enumerate(courses):
        rng = np.random.default_rng([seed, 11, n])
        live = [c for c in courses if c.expected.call == course.expected.call]
        at = course.from_ns + round(float(rng.uniform(40.0, 90.0)) * SECOND_NS)
        deck: list[str] = []
        while causes:
            deck = deck or [causes[i] for i in rng.permutation(len(causes)).tolist()]
            at = max(at, taken.get((course.expected.call, course.expected.link), 0))
            fault = _draw(course, live, deck.pop(), at, rng, wider)
            later = _when_live(course, fault, at)
            if later != at:
                fault = replace(fault, from_ns=later, to_ns=fault.to_ns + later - at)
            if fault.to_ns + round(RAMP_S * 2 * SECOND_NS) > course.to_ns:
                break
            wait = round((APART_S + float(rng.exponential(max(1.0, 3600.0 / each_h - APART_S)))) * SECOND_NS)
            if all(taken.get((fault.call, maker), 0) <= fault.from_ns for maker in fault.makers):
                found.append(fault)
                for maker in (fault.link, *fault.makers):
                    taken[(fault.call, maker)] = fault.to_ns + round(APART_S * SECOND_NS)
            at = fault.to_ns + wait
    return tuple(sorted(found, key=lambda fault: (fault.from_ns, fault.link)))


def _when_live(course: Course, fault: Fault, at: int) -> int:
    """The begin from which a fault lies in one of the stretches in which the link is live, with its ramps."""
    around = round(2 * RAMP_S * SECOND_NS)
    for start, end in course.expected.spans:
        begin = max(at, start + around)
        if begin + fault.to_ns - at + around <= end:
            return begin
    return at


def _draw(
    course: Course, live: Sequence[Course], cause: str, at: int, rng: np.random.Generator, wider: float
) -> Fault:
    """One fault of a cause; interference in the place of intermodulation where no product falls on the link."""
    makers = makers_on(course, live) if cause == "intermodulation" else ()
    if cause == "intermodulation" and not makers:
        cause = "interference"
    (short, long), (least, most) = KINDS[cause]
    stretch = wider * (most - least)
    low, high = least - stretch, most + stretch
    if cause in ("battery", "switched-off", "audio-path"):
        low, high = max(0.0, low), min(1.0, high) if cause != "battery" else most
    severity = float(rng.uniform(max(low, least * 0.75), high))
    length = float(rng.uniform(short, long))
    return Fault(
        course.expected.link, course.expected.call, cause, at, at + round(length * SECOND_NS), severity, makers,
        int(rng.integers(2)),
    )  # fmt: skip


def makers_on(course: Course, live: Sequence[Course]) -> tuple[str, ...]:
    """The two other links of the call whose product 2A-B comes nearest to this one's carrier, if it reaches it."""
    own = course.expected
    reach = (3 * own.bandwidth_khz + own.bandwidth_khz) / 2.0
    best: tuple[float, tuple[str, ...]] | None = None
    others = [one.expected for one in live if one.expected.link != own.link]
    for a, b in itertools.permutations(others, 2):
        away = abs(2 * a.carrier_khz - b.carrier_khz - own.carrier_khz)
        if away <= reach and (best is None or away < best[0]):
            best = (away, (a.link, b.link))
    return () if best is None else best[1]


def effects_of(faults: Sequence[Fault], course: Course, times: np.ndarray) -> Effects:
    """What the faults of a call do to one of its links at these times (n,) [ns]."""
    count = times.size
    hit = Effects(
        np.zeros(count), np.zeros((2, count)), np.zeros(count), np.zeros(count), np.zeros(count),
        np.full(count, np.nan),
        np.zeros(count, np.bool_), np.zeros(count, np.bool_), np.zeros(count, np.bool_),
    )  # fmt: skip
    margin = RAMP_S * 1.5 * SECOND_NS
    for fault in faults:
        if times[-1] < fault.from_ns - margin or times[0] > fault.to_ns + margin:
            continue
        seconds = (times - fault.from_ns) / SECOND_NS
        length = (fault.to_ns - fault.from_ns) / SECOND_NS
        if fault.link == course.expected.link:
            _effect(fault, course, seconds, length, hit)
        elif course.expected.link in fault.makers:
            on = _trapeze(seconds, length, 2.0)
            _draw_to(hit, _near_dbm(course), on)
    return hit


def _near_dbm(course: Course) -> float:
    """The level of a talent who stands at the receiver [dBm]: under overload, strong enough for products."""
    return course.expected.ceiling_dbm - 8.0


def _draw_to(hit: Effects, level_dbm: float, share: FloatArray) -> None:
    """Draw the local mean to a level where `share` is not nothing."""
    some = share > 0.0
    hit.target_dbm[some] = level_dbm
    hit.share[some] = share[some]


def _trapeze(seconds: FloatArray, length: float, ramp_s: float) -> FloatArray:
    """0 outside, 1 inside, straight ramps of `ramp_s` inside both ends."""
    ramp = min(ramp_s, length / 3.0)
    return np.clip(np.minimum(seconds, length - seconds) / max(ramp, 1e-6), 0.0, 1.0)


def _ramped(seconds: FloatArray, length: float, ramp_s: float) -> FloatArray:
    """1 inside, straight ramps of `ramp_s` before and after."""
    return np.clip((seconds + ramp_s) / ramp_s, 0.0, 1.0) * np.clip((length + ramp_s - seconds) / ramp_s, 0.0, 1.0)


def _effect(fault: Fault, course: Course, seconds: FloatArray, length: float, hit: Effects) -> None:
    """What one fault does to the link that has it. `severity`, by cause:

    range: dB under the need at the far end. antenna: loss of one branch [dB]. body: loss of both [dB]. multipath:
    dB that the scattered mean is left over the need. interference, intermodulation: dB that C/(N+I) is under the
    need. overload: dB that the level is over the meter's ceiling. battery: the gauge at the end. switched-off: the
    gauge.
    """
    own = course.expected
    inside = (seconds >= 0.0) & (seconds < length)
    severity, most = fault.severity, float(np.max(course.walk_dbm))
    if fault.cause == "range":
        ramp = np.clip((seconds + RAMP_S) / RAMP_S, 0.0, 1.0) * np.clip(
            (length + RAMP_S - seconds) / RAMP_S, 0.0, 1.0
        )
        _draw_to(hit, own.need_dbm - severity, ramp)
    elif fault.cause == "antenna":
        hit.branch_loss_db[fault.branch, inside] += severity
    elif fault.cause == "body":
        hit.loss_db[:] += severity * _trapeze(seconds, length, 0.4)
    elif fault.cause == "multipath":
        _draw_to(hit, own.need_dbm + severity, _ramped(seconds, length, RAMP_S))
        hit.scattered[inside] = True
    elif fault.cause == "interference":
        hit.unwanted_mw[inside] += mw_from_dbm(most - own.required_cnr_db + severity)
    elif fault.cause == "intermodulation":
        on = _trapeze(seconds, length, 2.0)
        level = most - own.required_cnr_db + severity
        hit.unwanted_mw[:] += np.where(on > 0.0, 10.0 ** ((level - 18.0 * (1.0 - on)) / 10.0), 0.0)
    elif fault.cause == "overload":
        on = _trapeze(seconds, length, 1.0)
        _draw_to(hit, own.ceiling_dbm + severity, on)
        hit.too_near[:] |= on > 0.0
    elif fault.cause == "battery":
        hit.loss_db[inside] += 150.0
        before = seconds < length
        falling = np.clip(severity + 0.0008 * -seconds, severity, 0.15)
        hit.gauge[before & (seconds > -180.0)] = falling[before & (seconds > -180.0)]
    elif fault.cause == "switched-off":
        hit.loss_db[inside] += 150.0
        hit.gauge[inside] = severity
    elif fault.cause == "audio-path":
        hit.audio_dead[inside] = True

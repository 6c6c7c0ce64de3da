"""What each fault does to a link's readings: the player's own table of causes, a row and a function each.

The ranges are PHYSICS' words as numbers and own choices beside them (assumed).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from linkwright.units import BoolArray, FloatArray, mw_from_dbm
from linkwright.watch.log.record import SECOND_NS, iso_of
from linkwright.watch.play.course import Course

#: How long a talent takes to walk out of reach and back [s].
RAMP_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class PlayedFault:
    """A fault: whose, in which call, its cause, from and to [ns, UTC], how hard, and who else has a part in it.

    makers : the two links whose product falls on this one. branch : 0 or 1, of an antenna. mates : the other links
    on its carrier, whom it strikes too where it lies on the carrier.
    """

    link: str
    call: str
    cause: str
    from_ns: int
    to_ns: int
    severity: float
    makers: tuple[str, ...] = ()
    branch: int = 0
    mates: tuple[str, ...] = ()

    def document(self) -> dict[str, Any]:
        """As `--truth` writes it."""
        return {
            "link": self.link, "call": self.call, "cause": self.cause, "from": iso_of(self.from_ns),
            "to": iso_of(self.to_ns), "severity": round(self.severity, 3), "makers": list(self.makers),
            "mates": list(self.mates),
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


@dataclass(frozen=True, slots=True)
class At:
    """A fault at the moments of a block: seconds since its begin (n,), and its length [s]."""

    fault: PlayedFault
    course: Course
    seconds: FloatArray
    length_s: float

    @property
    def inside(self) -> BoolArray:
        """Which moments lie in it."""
        return np.asarray((self.seconds >= 0.0) & (self.seconds < self.length_s))

    def trapeze(self, ramp_s: float) -> FloatArray:
        """0 outside, 1 inside, straight ramps of `ramp_s` inside both ends."""
        ramp = max(min(ramp_s, self.length_s / 3.0), 1e-6)
        return np.clip(np.minimum(self.seconds, self.length_s - self.seconds) / ramp, 0.0, 1.0)

    def ramped(self, ramp_s: float) -> FloatArray:
        """1 inside, straight ramps of `ramp_s` before and after."""
        before = np.clip((self.seconds + ramp_s) / ramp_s, 0.0, 1.0)
        return before * np.clip((self.length_s + ramp_s - self.seconds) / ramp_s, 0.0, 1.0)

    @property
    def most_dbm(self) -> float:
        """The highest level along the route."""
        return float(np.max(self.course.walk_dbm))


def _draw_to(hit: Effects, level_dbm: float, share: FloatArray) -> None:
    """Draw the local mean to a level where `share` is not nothing."""
    some = share > 0.0
    hit.target_dbm[some] = level_dbm
    hit.share[some] = share[some]


def _range(at: At, hit: Effects) -> None:
    _draw_to(hit, at.course.expected.need_dbm - at.fault.severity, at.ramped(RAMP_S))


def _antenna(at: At, hit: Effects) -> None:
    hit.branch_loss_db[at.fault.branch, at.inside] += at.fault.severity


def _body(at: At, hit: Effects) -> None:
    hit.loss_db[:] += at.fault.severity * at.trapeze(0.4)


def _multipath(at: At, hit: Effects) -> None:
    _draw_to(hit, at.course.expected.need_dbm + at.fault.severity, at.ramped(RAMP_S))
    hit.scattered[at.inside] = True


def _interference(at: At, hit: Effects) -> None:
    level = at.most_dbm - at.course.expected.required_cnr_db + at.fault.severity
    hit.unwanted_mw[at.inside] += mw_from_dbm(level)


def _intermodulation(at: At, hit: Effects) -> None:
    on = at.trapeze(2.0)
    level = at.most_dbm - at.course.expected.required_cnr_db + at.fault.severity
    hit.unwanted_mw[:] += np.where(on > 0.0, 10.0 ** ((level - 18.0 * (1.0 - on)) / 10.0), 0.0)


def _overload(at: At, hit: Effects) -> None:
    on = at.trapeze(1.0)
    _draw_to(hit, at.course.expected.ceiling_dbm + at.fault.severity, on)
    hit.too_near[:] |= on > 0.0


def _battery(at: At, hit: Effects) -> None:
    severity = at.fault.severity
    hit.loss_db[at.inside] += 150.0
    falling = np.clip(severity + 0.0008 * -at.seconds, severity, 0.15)
    shown = (at.seconds < at.length_s) & (at.seconds > -180.0)
    hit.gauge[shown] = falling[shown]


def _switched_off(at: At, hit: Effects) -> None:
    hit.loss_db[at.inside] += 150.0
    hit.gauge[at.inside] = at.fault.severity


def _audio_path(at: At, hit: Effects) -> None:
    hit.audio_dead[at.inside] = True


@dataclass(frozen=True, slots=True)
class EffectKind:
    """A cause as it is played: shortest and longest [s]; least and most severity, in its own unit; what it does.

    share : the severity is a share of a whole, never under 0 or over 1. bounded : never over its most.
    """

    lasts_s: tuple[float, float]
    severity: tuple[float, float]
    does: Callable[[At, Effects], None]
    share: bool = False
    bounded: bool = False


#: The causes that are played. Severities: of range, dB under the need at the far end; antenna, loss of one branch
#: [dB]; body, loss of both [dB]; multipath, dB that the scattered mean is left over the need; interference and
#: intermodulation, dB that C/(N+I) is under the need; overload, dB over the meter's ceiling; battery, the gauge at
#: the end; switched-off, the gauge.
KINDS: Final[Mapping[str, EffectKind]] = {
    "range": EffectKind((12.0, 30.0), (4.0, 14.0), _range),
    "antenna": EffectKind((40.0, 120.0), (16.0, 40.0), _antenna),
    "body": EffectKind((2.0, 10.0), (10.0, 25.0), _body),
    "multipath": EffectKind((5.0, 15.0), (1.0, 5.0), _multipath),
    "interference": EffectKind((4.0, 40.0), (4.0, 16.0), _interference),
    "intermodulation": EffectKind((8.0, 40.0), (4.0, 14.0), _intermodulation),
    "overload": EffectKind((4.0, 20.0), (4.0, 12.0), _overload),
    "battery": EffectKind((20.0, 60.0), (0.0, 0.03), _battery, share=True, bounded=True),
    "switched-off": EffectKind((5.0, 60.0), (0.2, 0.9), _switched_off, share=True),
    "audio-path": EffectKind((3.0, 40.0), (0.0, 1.0), _audio_path, share=True),
}
#: Their names.
CAUSES: Final = tuple(KINDS)


def effects_of(faults: Sequence[PlayedFault], course: Course, times: np.ndarray) -> Effects:
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
        at = At(fault, course, (times - fault.from_ns) / SECOND_NS, (fault.to_ns - fault.from_ns) / SECOND_NS)
        if course.expected.link in (fault.link, *fault.mates):
            KINDS[fault.cause].does(at, hit)
        elif course.expected.link in fault.makers:
            _draw_to(hit, _near_dbm(course), at.trapeze(2.0))
    return hit


def _near_dbm(course: Course) -> float:
    """The level of a talent who stands at the receiver [dBm]: under overload, strong enough for products."""
    return course.expected.ceiling_dbm - 8.0

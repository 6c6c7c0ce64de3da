"""Does it line up: latency of planned paths, the delay to set on each, comb filtering, lip-sync against picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from linkwright.units import FloatArray

#: Sound against picture [ms], positive where the sound comes early: ITU-R BT.1359-1 (what is noticed, what is
#: accepted) and EBU R 37 (what a broadcaster keeps).
NOTICED_MS: Final = (-125.0, 45.0)
ACCEPTED_MS: Final = (-185.0, 90.0)
EBU_R37_MS: Final = (-60.0, 40.0)
#: Speed of sound at 20 C [m/s]: 331.3 sqrt(1 + T/273.15), dry air.
CELSIUS_ZERO_M_S: Final = 331.3
CELSIUS_ZERO_K: Final = 273.15

#: A deeper notch than this is told as this [dB].
DEEPEST_DB: Final = -60.0

Sync = Literal["unnoticed", "noticed", "too far"]


def air_delay_ms(distance_m: float, celsius: float = 20.0) -> float:
    """How long sound takes through the air: 2.914 ms for a metre at 20 C."""
    return 1000.0 * distance_m / (CELSIUS_ZERO_M_S * float(np.sqrt(1.0 + celsius / CELSIUS_ZERO_K)))


def comb_notches_hz(delay_ms: float, highest_hz: float) -> FloatArray:
    """Where two equal copies this far apart cancel [Hz], up to `highest_hz`: odd multiples of 1 / (2 delay)."""
    delay_s = abs(delay_ms) / 1000.0
    if delay_s == 0.0:
        return np.empty(0)
    count = int((2.0 * delay_s * highest_hz + 1.0) // 2)
    return np.asarray((2.0 * np.arange(count) + 1.0) / (2.0 * delay_s))


def comb_db(frequency_hz: FloatArray, delay_ms: float, level_db: float = 0.0) -> FloatArray:
    """What adding a copy, `delay_ms` late and `level_db` against the first, does to each frequency [dB]."""
    copy = 10.0 ** (level_db / 20.0) * np.exp(-2j * np.pi * frequency_hz * delay_ms / 1000.0)
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(1.0 + copy), 1e-10)))


def first_notch(delay_ms: float, inverted: bool, level_db: float, highest_hz: float) -> tuple[float, float] | None:
    """The first notch of a mix of two copies: its frequency [Hz], and how deep it is against the louder [dB].

    level_db : of one copy against the other. None where it lies over `highest_hz`. Copies of opposite polarity
    cancel at the lowest frequencies too; their first notch over those is told. No deeper than `DEEPEST_DB`.
    """
    if delay_ms == 0.0:
        return None
    notch_hz = 1000.0 / abs(delay_ms) * (1.0 if inverted else 0.5)
    if notch_hz > highest_hz:
        return None
    left = 1.0 - 10.0 ** (-abs(level_db) / 20.0)
    return notch_hz, max(DEEPEST_DB, 20.0 * float(np.log10(left))) if left > 0.0 else DEEPEST_DB


def lip_sync(sound_early_ms: float) -> Sync:
    """What a viewer makes of sound this much before its picture (negative: after it); ITU-R BT.1359-1."""
    if NOTICED_MS[0] <= sound_early_ms <= NOTICED_MS[1]:
        return "unnoticed"
    return "noticed" if ACCEPTED_MS[0] <= sound_early_ms <= ACCEPTED_MS[1] else "too far"


def within_ebu_r37(sound_early_ms: float) -> bool:
    """Whether sound this much before its picture (negative: after it) keeps EBU R 37."""
    return EBU_R37_MS[0] <= sound_early_ms <= EBU_R37_MS[1]


@dataclass(frozen=True)
class Path:
    """One path from a talker to the recorder: air to the microphone, then whatever takes time, by its name [ms].

    unknown : the equipment on it whose latency nobody has said.
    """

    distance_m: float
    latencies_ms: Mapping[str, float]
    unknown: frozenset[str] = frozenset()

    def total_ms(self, celsius: float = 20.0) -> float:
        """From the lips to the recorder, without what is unknown."""
        return air_delay_ms(self.distance_m, celsius) + sum(self.latencies_ms.values())


@dataclass(frozen=True)
class LineUp:
    """What to set: for each path its own latency and the delay that brings it level with the latest [ms].

    sound_early_ms : of all paths once they are level, against a picture that comes `picture_ms` after the event.
    unknown : whose latency is not known. Where it is on some paths and not on others no delay can be told and
    `delay_ms` is empty; where it is the same on all, only the delays can.
    """

    latency_ms: dict[str, float]
    delay_ms: dict[str, float]
    level_at_ms: float
    sound_early_ms: float
    sync: Sync
    keeps_ebu_r37: bool
    unknown: tuple[str, ...] = ()


def line_up(paths: Mapping[str, Path], picture_ms: float = 0.0, celsius: float = 20.0) -> LineUp:
    """The delay to set on each path so that all come together. ValueError where there is none."""
    if not paths:
        raise ValueError("no path; expected at least one")
    latency = {name: path.total_ms(celsius) for name, path in paths.items()}
    latest = max(latency.values())
    early = picture_ms - latest
    alike = len({path.unknown for path in paths.values()}) == 1
    delays = {name: latest - own for name, own in latency.items()} if alike else {}
    unknown = tuple(sorted({name for path in paths.values() for name in path.unknown}))
    return LineUp(latency, delays, latest, early, lip_sync(early), within_ebu_r37(early), unknown)

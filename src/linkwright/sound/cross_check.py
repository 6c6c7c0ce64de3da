"""Suspects that another track speaks for: it has live sound, and nothing of the kind, at the same moment.

A certain fault is left as it is. Digital silence that looks like an edit becomes a suspect mute where the other
track goes on.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from typing import Final

import numpy as np

from linkwright.sound.fault import Fault
from linkwright.sound.kinds import RADIO
from linkwright.sound.listen import Heard
from linkwright.sound.pairs import Pair, Side, stamped_offset
from linkwright.sound.recordings import Reader, reading

#: Suspects looked at in one track.
MOST_LOOKED: Final = 200
#: The sound beside a fault [s]; the other track goes on where it stays within this of it there [dB], and this much
#: over its own floor [dB]. Own choices.
BESIDE_S: Final = 0.05
WITHIN_DB: Final = 12.0
OVER_FLOOR_DB: Final = 10.0
#: Shortest digital silence that is looked at [s]; a fault of the same kind is the same one within this [s].
SILENCE_S: Final = 0.002
SAME_S: Final = 0.01


def seconded(heard: Sequence[Heard], pairs: Sequence[Pair]) -> list[Heard]:
    """The same recordings, their suspects with the track that speaks for them. Raises InputError."""
    shifts: dict[Side, list[tuple[Side, float, float]]] = {}
    for pair in pairs:
        if pair.delay_ms is None:
            continue
        a, b = (heard[side.file].recording for side in (pair.a, pair.b))
        laid_s = 0 if pair.a.file == pair.b.file else (stamped_offset(a, b) or 0) / a.rate_hz
        late_s, drift = pair.delay_ms / 1000.0 - laid_s, (pair.drift_ppm or 0.0) * 1e-6
        shifts.setdefault(pair.a, []).append((pair.b, late_s, drift))
        shifts.setdefault(pair.b, []).append((pair.a, -late_s, -drift))
    if not shifts:
        return list(heard)
    with ExitStack() as stack:
        readers = [stack.enter_context(reading(file.recording)) for file in heard]
        return [
            replace(
                file,
                tracks=tuple(
                    replace(track, faults=_track(heard, readers, Side(f, c), shifts.get(Side(f, c), [])))
                    for c, track in enumerate(file.tracks)
                ),
            )
            for f, file in enumerate(heard)
        ]


def _track(
    heard: Sequence[Heard], readers: Sequence[Reader], side: Side, others: Sequence[tuple[Side, float, float]]
) -> tuple[Fault, ...]:
    track = heard[side.file].tracks[side.channel]
    frames, rate = heard[side.file].frames, heard[side.file].recording.rate_hz
    answers, looked = [], 0
    for fault in track.faults:
        edit = fault.kind == "edit" and fault.length >= SILENCE_S * rate
        inside = fault.at > 0 and fault.at + fault.length < frames
        suspect = not fault.certain and fault.kind in RADIO and not fault.every_s
        if (suspect or edit) and inside and looked < MOST_LOOKED:
            looked += 1
            for other, late_s, drift in others:
                if _goes_on(heard, readers, fault, rate, other, late_s, drift):
                    kind = "mute" if edit else fault.kind
                    fault = Fault(fault.at, fault.length, kind, False, fault.every_s, (other.file, other.channel))
                    break
        answers.append(fault)
    return tuple(answers)


def _goes_on(
    heard: Sequence[Heard], readers: Sequence[Reader], fault: Fault, rate: int, other: Side, late_s: float,
    drift: float,
) -> bool:  # fmt: skip
    """Whether the other track has live sound at the moment of a fault, and no fault of its own there."""
    at_s = fault.at / rate + late_s + drift * fault.at / rate
    track = heard[other.file].tracks[other.channel]
    beside = round(BESIDE_S * rate)
    whole = readers[other.file].read(round(at_s * rate) - beside, fault.length + 2 * beside)[other.channel]
    same_s = max(SAME_S, fault.length / rate)
    for close_fault in track.faults:
        one_s = close_fault.at / rate
        there = one_s - same_s < at_s < one_s + close_fault.length / rate + same_s
        if there and close_fault.kind in (*RADIO, "edit"):
            return False
    middle = whole[beside : beside + max(fault.length, round(0.002 * rate))].astype(float)
    inside = float(np.mean(middle**2))
    around = float(np.mean(np.concatenate((whole[:beside], whole[-beside:])).astype(float) ** 2))
    floor = 0.0 if track.noise_floor_dbfs is None else 10.0 ** ((track.noise_floor_dbfs - 3.01) / 10.0)
    least = max(10.0 ** (-WITHIN_DB / 10.0) * around, 10.0 ** (OVER_FLOOR_DB / 10.0) * floor)
    return bool(inside > least)

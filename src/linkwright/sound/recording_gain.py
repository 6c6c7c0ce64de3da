"""The gain of a link from a recording of its talker: what the loudest minute needs, and which step gives it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.loudness import level_dbfs, peak_db
from linkwright.physics.speech import VOICE_DB
from linkwright.sound.course import SECOND, LevelCourse
from linkwright.sound.gain import TARGET_DBFS, Converter, GainStep, RecorderInput, sum_db
from linkwright.sound.level_counts import Tops
from linkwright.units import minus

#: The loudest minute [s]; a second counts as voice within this of its loudest one [dB] (own choice).
MINUTE_S: Final = 60
VOICE_DB_DOWN: Final = 12.0
#: A clipped peak is taken to have been so much higher than it reads [dB] (own choice).
CLIPPED_DB: Final = 6.0


@dataclass(frozen=True)
class LoudestMinute:
    """The loudest minute of a track, or all of a shorter one. Levels in dBFS (AES17), as recorded.

    peak_dbfs : largest sample in it. voice_dbfs : rms of the seconds in which somebody speaks. pauses_dbfs : the
    track's floor; None for digital silence. clipped : its peaks were cut off.
    """

    at_s: float
    length_s: float
    peak_dbfs: float
    voice_dbfs: float
    pauses_dbfs: float | None
    clipped: bool


@dataclass(frozen=True)
class VoiceStep:
    """What another voice of the same talker, at this distance, needs: its step, and what that gives."""

    voice: str
    mouth_m: float
    step: GainStep
    holds: bool


@dataclass(frozen=True)
class MeasuredGain:
    """The steps of the attenuation as the recording says they would do, and the one to choose.

    recorded_db : the step that it was recorded with. chosen : the smallest whose peak stays under the target, the
    largest where none does, and then `holds` is False. voices : the same for the talker's other voices.
    """

    minute: LoudestMinute
    recorded_db: float
    steps: tuple[GainStep, ...]
    chosen: GainStep
    holds: bool
    voices: tuple[VoiceStep, ...]


def loudest_minute(
    course: LevelCourse, tops: Tops, floor: float, step_s: float, *, clipped: bool
) -> LoudestMinute | None:
    """The minute with the most power; None without a whole second of sound.

    tops : largest magnitude of each step of `step_s`. floor : mean square of the pauses, full scale 1.
    """
    seconds = course.mean.kept
    if not seconds.size or not seconds.max() > 0.0:
        return None
    second_s = course.mean.folded / SECOND
    count = min(seconds.size, max(1, round(MINUTE_S / second_s)))
    total = np.concatenate(([0.0], np.cumsum(seconds, dtype=float)))
    first = int(np.argmax(total[count:] - total[:-count]))
    minute = seconds[first : first + count]
    voice = minute[minute >= minute.max() * 10.0 ** (-VOICE_DB_DOWN / 10.0)]
    per_top = step_s * tops.folded
    all_tops = tops.all()
    peak = all_tops[int(first * second_s / per_top) : int((first + count) * second_s / per_top) + 1].max()
    voice_dbfs, peak_dbfs = level_dbfs(float(voice.mean(dtype=float))), peak_db(float(peak))
    if voice_dbfs is None or peak_dbfs is None:
        return None
    return LoudestMinute(first * second_s, count * second_s, peak_dbfs, voice_dbfs, level_dbfs(floor), clipped)


# wide: a figure for every stage of the chain
def measured_gain(
    minute: LoudestMinute,
    recorded_db: float,
    attenuation_db: Sequence[float],
    converter: Converter,
    recorder: RecorderInput,
    *,
    said: tuple[str, float],
    mouth_m: float | None = None,
    target_dbfs: float = TARGET_DBFS,
) -> MeasuredGain:
    """What each step of the attenuation would make of the loudest minute.

    attenuation_db : the steps, at least one, ValueError for none. said : the voice (of `physics.speech.VOICE_DB`)
    and the distance from the lips [m] with which it was recorded; mouth_m : the distance that is asked for, default
    the same. What is in the pauses goes along with the voice, the converter's noise does not. Levels of other
    voices differ as in ANSI S3.5-1997, table 1; with distance they fall by 20 log10.
    """
    if not attenuation_db:
        raise ValueError("no step of attenuation; expected at least one, such as 0")
    asked_m = said[1] if mouth_m is None else mouth_m
    nearer_db = 20.0 * float(np.log10(said[1] / asked_m))
    peak = minute.peak_dbfs + (CLIPPED_DB if minute.clipped else 0.0) - recorder.gain_db
    heard = Converted(peak, minute.voice_dbfs - recorder.gain_db, _pauses_dbfs(minute, converter, recorder))

    def steps(louder_db: float) -> tuple[GainStep, ...]:
        best = _step(heard, louder_db, recorded_db - min(attenuation_db), converter, recorder)
        return tuple(
            _step(heard, louder_db, recorded_db - step_db, converter, recorder, step_db, best.voice_over_noise_db)
            for step_db in sorted(attenuation_db)
        )

    mine = steps(nearer_db)
    chosen, holds = _chosen(mine, target_dbfs)
    voices = []
    for voice in sorted(VOICE_DB, key=VOICE_DB.__getitem__):
        step, fits = _chosen(steps(nearer_db + VOICE_DB[voice] - VOICE_DB[said[0]]), target_dbfs)
        voices.append(VoiceStep(voice, asked_m, step, fits))
    return MeasuredGain(minute, recorded_db, mine, chosen, holds, tuple(voices))


@dataclass(frozen=True)
class Converted:
    """Peak, voice and what is in the pauses besides the converter's noise, at the converter [dBFS]."""

    peak_dbfs: float
    voice_dbfs: float
    pauses_dbfs: float


def _pauses_dbfs(minute: LoudestMinute, converter: Converter, recorder: RecorderInput) -> float:
    """The pauses without the noises of converter and recorder, at the converter [dBFS]."""
    if minute.pauses_dbfs is None:
        return -200.0
    own = sum_db([converter.noise_dbfs, recorder.noise_dbfs - recorder.gain_db])
    left = 10.0 ** ((minute.pauses_dbfs - recorder.gain_db) / 10.0) - 10.0 ** (own / 10.0)
    return 10.0 * float(np.log10(left)) if left > 1e-20 else -200.0


def _step(
    heard: Converted, louder_db: float, up_db: float, converter: Converter, recorder: RecorderInput,
    attenuation_db: float = 0.0, best_db: float | None = None,
) -> GainStep:  # fmt: skip
    """One step, `up_db` over the one recorded with; the voice `louder_db` louder, the room as it was."""
    peak, rms = (level + louder_db + up_db for level in (heard.peak_dbfs, heard.voice_dbfs))
    room = heard.pauses_dbfs + up_db
    noise = sum_db([room + recorder.gain_db, converter.noise_dbfs + recorder.gain_db, recorder.noise_dbfs])
    over = rms + recorder.gain_db - noise
    return GainStep(
        attenuation_db, rms, peak, -max(peak, peak + recorder.gain_db), room, converter.noise_dbfs,
        recorder.noise_dbfs, noise, over, 0.0 if best_db is None else best_db - over,
    )  # fmt: skip


def _chosen(steps: Sequence[GainStep], target_dbfs: float) -> tuple[GainStep, bool]:
    holding = [step for step in steps if step.peak_dbfs <= target_dbfs]
    return (holding[0], True) if holding else (steps[-1], False)


def says(of: str, gain: MeasuredGain) -> str:
    """What to set, and why, in a sentence."""
    minute, chosen = gain.minute, gain.chosen
    clipped = ", clipped, so some 6 dB more," if minute.clipped else ""
    peak = f"its loudest minute peaks at {minute.peak_dbfs:.0f} dBFS{clipped} with {gain.recorded_db:g} dB"
    if not gain.holds:
        return minus(
            f"{of}: {peak}; no step keeps it under {TARGET_DBFS:g} dBFS: take a less sensitive microphone or put "
            f"it farther from the mouth."
        )
    over = f"{chosen.voice_over_noise_db:.0f} dB remain from the voice to the noise"
    puts = f"{chosen.attenuation_db:g} dB of attenuation put it at {chosen.peak_dbfs:.0f} dBFS"
    return minus(f"{of}: {peak}; {puts}, and {over}.")

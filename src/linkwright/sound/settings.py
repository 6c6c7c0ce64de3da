"""How a link's sound is to be set before anybody has recorded it: attenuation, low cut, phantom power, latency.

Everything comes from the figures of equipment and talker; what the crew has set stands, and is judged.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.physics.speech import highest_corner_hz, low_cut_db
from linkwright.shoot.catalogue import called
from linkwright.shoot.equipment import Form, Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import microphone_of, receiver_of, recorder_of, transmitter_of, usual_microphone
from linkwright.sound.gain import Converter, Gain, GainStep, Phantom, gain_chain, phantom
from linkwright.sound.gain import RecorderInput as Input
from linkwright.sound.recording_gain import LoudestMinute, MeasuredGain, measured_gain
from linkwright.sound.timing import LineUp, Path, line_up

#: From the lips to the microphone where the shoot does not say it [m] (common practice, no source); what is mounted
#: is fed by a line, so next to nothing.
MOUTH_M: Final[Mapping[Form, float]] = {"body-worn": 0.2, "handheld": 0.05, "plug-on": 0.5, "mounted": 0.01}
#: The class of the catalogue that stands for a microphone that the shoot does not name.
#: The lowest fundamental of usual voices [Hz]: what a low cut must leave where nobody has recorded the talker
#: (men's fundamentals lie between 85 and 155 Hz; common practice).
LOWEST_F0_HZ: Final = 85.0
#: What a low cut may take from the low fundamental [dB].
LOSS_DB: Final = 1.0


@dataclass(frozen=True)
class LowCutChoice:
    """A step of the low cut: its corner [Hz] (0 is off), and what it takes from the low fundamental [dB].

    f0_hz : that fundamental; measured : whether it is this talker's, of a recording. by_hand : the crew set it.
    """

    corner_hz: float
    loss_db: float
    f0_hz: float
    measured: bool
    by_hand: bool
    steps_hz: tuple[float, ...]
    order: int


@dataclass(frozen=True)
class SoundSettings:
    """How one link's sound is set, and what follows from it.

    gain : at every step of the attenuation; `at` is the step that is set or chosen. phantom : None where the
    microphone needs none; phantom_needed_ma : what it draws; phantom_given_ma : what the transmitter can give, 0
    where it gives none. path : from the lips to the file. set_delay_ms : None where the plan chooses. assumed :
    what the shoot does not say.
    """

    microphone: Microphone
    mouth_m: float
    gain: Gain
    at: GainStep
    by_hand: bool
    low_cut: LowCutChoice
    phantom: Phantom | None
    phantom_needed_ma: float
    phantom_given_ma: float
    path: Path
    picture_ms: float
    recorder_gain_db: float
    set_delay_ms: float | None
    assumed: tuple[str, ...]


_chain = functools.lru_cache(maxsize=4096)(gain_chain)


def sound_settings(
    link: Link,
    transmitter: Transmitter,
    receiver: Receiver,
    microphone: Microphone | None,
    recorder: Recorder | None,
) -> SoundSettings:
    """The settings of one link; microphone and distance that are not said are assumed by the transmitter's form."""
    assumed = []
    if microphone is None:
        usual, microphone = usual_microphone(transmitter.form)
        assumed.append(f"microphone as {usual} of the catalogue")
    mouth_m = link.mouth_m
    if mouth_m is None:
        mouth_m = MOUTH_M[transmitter.form]
        assumed.append(f"{mouth_m:g} m from lips to microphone")
    into = _input(receiver, recorder)
    gain = _chain(
        link.voice, mouth_m, microphone.sensitivity_mv_pa, microphone.self_noise_dba, steps_of(transmitter),
        Converter(transmitter.full_scale_dbu, transmitter.converter_noise_dbfs), into,
        max_spl_db=microphone.max_spl_db,
    )  # fmt: skip
    return SoundSettings(
        microphone=microphone,
        mouth_m=mouth_m,
        gain=gain,
        at=_set_step(gain, link.attenuation_db),
        by_hand=link.attenuation_db is not None,
        low_cut=low_cut_choice(link, transmitter),
        phantom=phantom(microphone.draws_ma) if microphone.phantom else None,
        phantom_needed_ma=microphone.draws_ma,
        phantom_given_ma=transmitter.phantom_ma or 0.0,
        path=_path(mouth_m, link, transmitter, receiver, recorder),
        recorder_gain_db=into.gain_db,
        set_delay_ms=link.set_delay_ms,
        picture_ms=0.0 if recorder is None else recorder.picture_ms,
        assumed=tuple(assumed),
    )


def _path(
    mouth_m: float, link: Link, transmitter: Transmitter, receiver: Receiver, recorder: Recorder | None
) -> Path:
    latency_ms = {"transmitter": transmitter.latency_ms, "receiver": receiver.latency_ms}
    kit = {"transmitter": called(link.sends.kit), "receiver": called(link.hears[0].kit)}
    if recorder is not None and link.recorder is not None:
        latency_ms["recorder"], kit["recorder"] = recorder.latency_ms, called(link.recorder)
    known = {part: ms for part, ms in latency_ms.items() if ms is not None}
    unknown = frozenset(f"{part} {kit[part]}" for part, ms in latency_ms.items() if ms is None)
    return Path(mouth_m, known, unknown)


def settings_by_link(shoot: Shoot, links: Sequence[Link] | None = None) -> dict[str, SoundSettings]:
    """The settings of the links (default: all of the shoot), by name."""
    return {
        link.name: sound_settings(
            link,
            transmitter_of(shoot, link),
            receiver_of(shoot, link),
            microphone_of(shoot, link),
            recorder_of(shoot, link),
        )
        for link in (shoot.link if links is None else links)
    }


def gain_from(
    loudest_minute: LoudestMinute,
    link: Link,
    shoot: Shoot,
    recorded_db: float | None = None,
    mouth_m: float | None = None,
) -> MeasuredGain:
    """The gain of a link from a recording of its talker.

    recorded_db : the step that it was recorded with; default the one that is set or planned.
    """
    transmitter, settings = transmitter_of(shoot, link), settings_by_link(shoot, [link])[link.name]
    return measured_gain(
        loudest_minute,
        settings.at.attenuation_db if recorded_db is None else recorded_db,
        steps_of(transmitter),
        Converter(transmitter.full_scale_dbu, transmitter.converter_noise_dbfs),
        _input(receiver_of(shoot, link), recorder_of(shoot, link)),
        said=(link.voice, settings.mouth_m),
        mouth_m=mouth_m,
    )


def with_sound(shoot: Shoot, link: Link, taught_by_key: Mapping[str, float | None]) -> Shoot:
    """The shoot with what a recording taught of a link, by the names of its fields; None leaves it as it is."""
    taught = link.model_copy(update={key: value for key, value in taught_by_key.items() if value is not None})
    links = tuple(taught if shoot_link.name == link.name else shoot_link for shoot_link in shoot.link)
    return shoot.model_copy(update={"link": links})


def lined_up(settings: Mapping[str, SoundSettings]) -> LineUp | None:
    """The delays that bring links which are recorded together level; None for none."""
    if not settings:
        return None
    picture_ms = max(chosen.picture_ms for chosen in settings.values())
    return line_up({name: chosen.path for name, chosen in settings.items()}, picture_ms)


def delays_ms(settings: Mapping[str, SoundSettings]) -> dict[str, float | None]:
    """The delay of each link [ms]: as the crew has set it, else what brings it level with the latest of all.

    None where that cannot be told, as latencies of some paths are not known.
    """
    if len({chosen.path.unknown for chosen in settings.values()}) > 1:
        return {name: chosen.set_delay_ms for name, chosen in settings.items()}
    latency = {name: chosen.path.total_ms() for name, chosen in settings.items()}
    level = max((latency[name] + (chosen.set_delay_ms or 0.0) for name, chosen in settings.items()), default=0.0)
    return {
        name: level - latency[name] if chosen.set_delay_ms is None else chosen.set_delay_ms
        for name, chosen in settings.items()
    }


def steps_of(transmitter: Transmitter) -> tuple[float, ...]:
    """The steps of its attenuation [dB], ascending; 0 alone where it has none."""
    return tuple(sorted(transmitter.attenuation_db)) or (0.0,)


def low_cut_choice(link: Link, transmitter: Transmitter) -> LowCutChoice:
    """The step that the crew set, else the highest that takes at most 1 dB from the low fundamental."""
    f0 = link.voice_f0_hz or LOWEST_F0_HZ
    order = transmitter.low_cut_order
    steps = tuple(sorted(transmitter.low_cut_hz)) or (0.0,)
    most = highest_corner_hz(f0, order, LOSS_DB)
    allowed = [step for step in steps if step <= most] or [steps[0]]
    corner = allowed[-1] if link.low_cut_hz is None else link.low_cut_hz
    loss = -float(low_cut_db(f0, corner, order)) if corner > 0.0 else 0.0
    by_hand, measured = link.low_cut_hz is not None, link.voice_f0_hz is not None
    return LowCutChoice(corner, loss, f0, measured, by_hand, steps, order)


def _input(receiver: Receiver, recorder: Recorder | None) -> Input:
    """The recorder's input as the gain chain takes it; without one, or digitally fed, it adds nothing."""
    if recorder is None or recorder.digital:
        return Input(0.0, -200.0)
    return Input(recorder.alignment_dbfs - receiver.tone_dbfs, recorder.noise_dbfs)


def _set_step(gain: Gain, by_hand_db: float | None) -> GainStep:
    if by_hand_db is None:
        return gain.chosen
    return min(gain.steps, key=lambda step: (abs(step.attenuation_db - by_hand_db), step.attenuation_db))

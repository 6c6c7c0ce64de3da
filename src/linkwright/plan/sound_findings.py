"""What the gain chain, the low cut, phantom power and the paths' latencies have to tell of a call."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from linkwright.plan.findings import finding
from linkwright.plan.model import Finding
from linkwright.shoot.catalogue import called
from linkwright.shoot.models import Link
from linkwright.sound.gain import TARGET_DBFS
from linkwright.sound.settings import LOSS_DB, SoundSettings, delays_ms, lined_up
from linkwright.sound.timing import comb_notches_hz
from linkwright.units import together

#: Less than this from a voice's rms up to the noise is told [dB] (own choice).
LEAST_OVER_NOISE_DB: Final = 30.0
#: Paths that differ by more than this comb audibly when they are mixed [ms]: the first notch falls under 500 Hz
#: (own choice).
APART_MS: Final = 1.0


def sound_findings(call: str, links: Sequence[Link], settings: Mapping[str, SoundSettings]) -> Iterator[Finding]:
    """The findings of a call's links; `settings` by name of the link, of all that is recorded besides."""
    for link in links:
        link_settings = settings[link.name]
        yield from _gain(link, link_settings)
        yield from _phantom(link, link_settings)
        yield from _low_cut(link, link_settings)
    yield from _paths(call, settings)


def _gain(link: Link, settings: SoundSettings) -> Iterator[Finding]:
    gain, at = settings.gain, settings.at
    voice = f"a {link.voice} voice at {settings.mouth_m:g} m"
    if link.attenuation_db is not None and link.attenuation_db not in {step.attenuation_db for step in gain.steps}:
        steps = ", ".join(f"{step.attenuation_db:g}" for step in gain.steps)
        says = (
            f"{link.name} is set to {link.attenuation_db:g} dB of attenuation; "
            f"{called(link.sends.kit)} has {steps} dB."
        )
        yield finding("setting-unknown", link.name, says)
    if at.peak_dbfs > TARGET_DBFS:
        says = (
            f"{link.name}: peaks of {voice} reach {at.peak_dbfs:.0f} dBFS with {at.attenuation_db:g} dB of "
            f"attenuation; they should stay under {TARGET_DBFS:g} dBFS."
        )
        better = (
            f"Set {gain.chosen.attenuation_db:g} dB."
            if gain.holds and gain.chosen is not at
            else "Take a less sensitive microphone, or put it farther from the mouth."
        )
        yield finding("gain-hot", link.name, says, do=better)
    if gain.microphone_headroom_db is not None and gain.microphone_headroom_db < 0.0:
        says = (
            f"{link.name}: peaks of {voice} are {gain.voice_peak_spl_db:.0f} dB SPL, "
            f"{-gain.microphone_headroom_db:.0f} dB over what the microphone takes."
        )
        yield finding("microphone-loud", link.name, says)
    if at.voice_over_noise_db < LEAST_OVER_NOISE_DB:
        says = (
            f"{link.name}: {voice} lies {at.voice_over_noise_db:.0f} dB over the noise of microphone, converter "
            f"and recorder."
        )
        yield finding("voice-noisy", link.name, says)


def _phantom(link: Link, settings: SoundSettings) -> Iterator[Finding]:
    if not settings.microphone.phantom:
        return
    name = link.microphone or "microphone"
    if settings.phantom_given_ma <= 0.0:
        says = f"{link.name}: {name} needs 48 V phantom power; {called(link.sends.kit)} gives none."
        yield finding("phantom-missing", link.name, says)
    elif settings.phantom is None or settings.phantom_needed_ma > settings.phantom_given_ma:
        says = (
            f"{link.name}: {name} draws {settings.phantom_needed_ma:g} mA at 48 V; "
            f"{called(link.sends.kit)} gives at most {settings.phantom_given_ma:g} mA."
        )
        yield finding("phantom-missing", link.name, says)


def _low_cut(link: Link, settings: SoundSettings) -> Iterator[Finding]:
    cut = settings.low_cut
    if not cut.by_hand:
        return
    if cut.corner_hz not in cut.steps_hz:
        steps = ", ".join(f"{step:g}" for step in cut.steps_hz)
        says = f"{link.name} is set to a low cut of {cut.corner_hz:g} Hz; {called(link.sends.kit)} has {steps} Hz."
        yield finding("setting-unknown", link.name, says)
    if cut.loss_db > LOSS_DB:
        whose = "this voice" if cut.measured else "a low voice"
        says = (
            f"{link.name}: the low cut of {cut.corner_hz:g} Hz takes {cut.loss_db:.1f} dB from {whose} at "
            f"{cut.f0_hz:.0f} Hz."
        )
        yield finding("low-cut-high", link.name, says)


def _paths(call: str, settings: Mapping[str, SoundSettings]) -> Iterator[Finding]:
    levelled = lined_up(settings)
    if levelled is None:
        return
    if not levelled.delay_ms:
        says = (
            f'The latency of {together(levelled.unknown)} is not said, so no delay can be told for call "{call}".'
        )
        yield finding("latency-missing", call, says)
        return
    spread = max(levelled.delay_ms.values())
    if spread > APART_MS:
        late = [name for name, delay in levelled.delay_ms.items() if delay < 0.5 * spread]
        notch = comb_notches_hz(spread, 20_000.0)[0]
        says = (
            f'In call "{call}" paths come up to {spread:.1f} ms apart, {together(late)} last; mixed, the first '
            f"notch falls at {notch:.0f} Hz."
        )
        yield finding("paths-apart", together(late), says)
    arrives = {name: levelled.latency_ms[name] + (delay or 0.0) for name, delay in delays_ms(settings).items()}
    for name, setting in settings.items():
        early = max(arrives.values()) - arrives[name]
        if setting.set_delay_ms is not None and early > APART_MS:
            as_set = f"with the {setting.set_delay_ms:g} ms that are set"
            says = f'In call "{call}" {name}, {as_set}, comes {early:.1f} ms early.'
            yield finding("paths-apart", name, says, do=f"Set {setting.set_delay_ms + early:.1f} ms on {name}.")
    if levelled.sync != "unnoticed" and not levelled.unknown:
        side = "before" if levelled.sound_early_ms > 0.0 else "after"
        says = (
            f'In call "{call}" the sound comes {abs(levelled.sound_early_ms):.0f} ms {side} its picture: '
            f"{levelled.sync} (ITU-R BT.1359-1)."
        )
        yield finding("lip-sync", call, says)

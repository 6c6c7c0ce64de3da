"""How the links into which somebody speaks are set for sound, and whether the paths that are recorded line up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from linkwright.desk.snapshot import Snapshot
from linkwright.latest import latest
from linkwright.shoot.end import RECORDED, SPOKEN
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import live_calls
from linkwright.sound.gain import TARGET_DBFS
from linkwright.sound.settings import SoundSettings, lined_up, settings_by_link
from linkwright.sound.timing import LineUp, air_delay_ms
from linkwright.units import together

#: What a wired microphone beside the links is called in the line-up.
WIRED: Final = "by wire"


@dataclass(frozen=True, slots=True)
class CallRow:
    """The links of a call, how they line up."""

    name: str
    levelled: LineUp
    parts: dict[str, tuple[tuple[str, float], ...]]

    @property
    def wired_ms(self) -> float | None:
        """What a wired microphone at the mouth would have to wait for [ms]; None where that is not known."""
        return None if self.levelled.unknown else self.levelled.level_at_ms


def settings_of(snapshot: Snapshot) -> tuple[Shoot | None, dict[str, SoundSettings]]:
    """The shoot and the settings of its links, by name; nothing while it is not whole."""
    shoot = snapshot.shoot
    return (None, {}) if shoot is None else (shoot, _settings_of(shoot))


@latest
def _settings_of(shoot: Shoot) -> dict[str, SoundSettings]:
    return settings_by_link(shoot, [link for link in shoot.link if link.serves in SPOKEN | RECORDED])


def spoken(shoot: Shoot | None, settings: Mapping[str, SoundSettings]) -> list[tuple[Link, SoundSettings]]:
    """The links into which somebody speaks, with their settings."""
    links = () if shoot is None else shoot.link
    return [(link, settings[link.name]) for link in links if link.serves in SPOKEN]


@latest
def calls(shoot: Shoot, settings: Mapping[str, SoundSettings]) -> list[CallRow]:
    """Each call's line-up."""
    rows = []
    for call in live_calls(shoot):
        live = {link.name: settings[link.name] for link in call.links if link.serves in RECORDED}
        levelled = lined_up(live)
        if levelled is not None:
            rows.append(CallRow(call.name, levelled, {name: _parts(setting) for name, setting in live.items()}))
    return rows


def _parts(settings: SoundSettings) -> tuple[tuple[str, float], ...]:
    return (("air", air_delay_ms(settings.path.distance_m)), *settings.path.latencies_ms.items())


def answer(shoot: Shoot | None, settings: Mapping[str, SoundSettings]) -> str:
    """The answer of the page as a sentence."""
    if shoot is None:
        return "The sound cannot be set before the shoot is whole; the page Shoot says what it lacks."
    if not settings:
        return "The shoot has no links yet."
    voices = {link.name: setting for link, setting in spoken(shoot, settings)}
    hot = [name for name, voice in voices.items() if voice.at.peak_dbfs > TARGET_DBFS]
    levels = _levels_sentence(hot, voices)
    rows = calls(shoot, settings)
    spread = max((max(row.levelled.delay_ms.values(), default=0.0) for row in rows), default=0.0)
    late = [row.wired_ms for row in rows if row.wired_ms is not None]
    if len(late) < len(rows):
        unknown = together(sorted({name for row in rows for name in row.levelled.unknown}))
        return f"{levels}; how late paths come is not known, as the latency of {unknown} is not said."
    behind = f"{max(late, default=0.0):.1f} ms behind a wired microphone"
    return f"{levels}; paths come within {spread:.1f} ms of each other, {behind}."


def _levels_sentence(hot: list[str], settings: Mapping[str, SoundSettings]) -> str:
    if len(hot) == 1:
        return f"{hot[0]} peaks at {settings[hot[0]].at.peak_dbfs:.0f} dBFS, too near to full scale"
    if hot:
        return f"{len(hot)} of {len(settings)} voices peak too near to full scale"
    steps = sorted({setting.at.attenuation_db for setting in settings.values()})
    shown = f"{steps[0]:g} dB" if len(steps) == 1 else f"{steps[0]:g} to {steps[-1]:g} dB"
    return f"With {shown} of attenuation every voice peaks under {TARGET_DBFS:g} dBFS".replace(
        "-", "\N{MINUS SIGN}"
    )

"""The causes of an episode, each a row of one table: its name, words, weight, pattern, mark, and what to do.

A cause's weight is the product of its fits (`fits`); "unknown" has a weight of its own, so that it wins where
nothing fits. Probability is a weight over the sum of all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from linkwright.watch.diagnose import because, fits
from linkwright.watch.diagnose.fits import Sight
from linkwright.watch.diagnose.gathered import Figures

#: The weight of "unknown".
UNKNOWN: Final = 0.04
#: A cause that is less probable than this is not named: the episode's cause is "unknown".
NAMED: Final = 0.5

Track = Literal["signal", "branch", "audio"]


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause.

    name : as in files. words : as it goes into a sentence. track : what is amiss; None of "unknown". weight : how
    well an episode fits it. because : what was seen, a sentence without its end. next_step : what to do, sentences.
    pattern : how often it leaves each pattern of losses in a recording (`align.weighing`; assumed). mark : its
    outline in a square from -1 to 1, an SVG path, `filled` or not. by_others : another transmitter is on the
    carrier. spare_helps : another carrier may help. has_makers : our own transmitters make it. others_stayed : it
    tells who was not affected. silences : nothing more comes, so that a gap does not end it.
    """

    name: str
    words: str
    track: Track | None
    weight: Callable[[Sight], float] | None
    because: Callable[[Figures], str]
    next_step: str
    pattern: tuple[float, ...]
    mark: str
    filled: bool
    by_others: bool = False
    spare_helps: bool = False
    has_makers: bool = False
    others_stayed: bool = False
    silences: bool = False


_ALL: Final = (
    Cause(
        "battery", "battery empty", "signal", fits.battery, because.vanished,
        "Change the cells; all of the set, of one kind.",
        (0.01, 0.02, 0.02, 0.95), "M-.6 -1L.6 -1L.6 1L-.6 1z", filled=False, others_stayed=True, silences=True,
    ),
    Cause(
        "switched-off", "switched off", "signal", fits.switched_off, because.vanished,
        "See whether the transmitter is on, and lock its switch.",
        (0.01, 0.02, 0.02, 0.95), "M0 -1A1 1 0 1 1 0 1A1 1 0 1 1 0 -1zM0 -1L0 0", filled=False, others_stayed=True,
        silences=True,
    ),
    Cause(
        "range", "too far away", "signal", fits.too_far, because.too_far,
        "Bring the receiver's antennas nearer or higher, or the talent back; more power only where the permit and "
        "the plan allow it.",
        (0.10, 0.10, 0.35, 0.45), "M-1 -1L1 -1L0 1z", filled=True, others_stayed=True,
    ),
    Cause(
        "body", "body in the way", "signal", fits.body, because.body,
        "Move an antenna to the other side, or the transmitter to the side that faces it; keep hands off its "
        "antenna.",
        (0.25, 0.20, 0.15, 0.40), "M0 -1A1 1 0 1 1 0 1A1 1 0 1 1 0 -1z", filled=True, others_stayed=True,
    ),
    Cause(
        "multipath", "reflections", "signal", fits.reflections, because.reflections,
        "Move the antennas by a step, or farther apart from each other; walk the spot again.",
        (0.05, 0.25, 0.65, 0.05), "M-1 0L-.5 -.8L0 0L.5 .8L1 0", filled=False,
    ),
    Cause(
        "interference", "somebody else on the carrier", "signal", fits.somebody, because.another,
        "Listen on the carrier with the transmitter off; go over to a spare that proves good now, and tell the "
        "coordinator.",
        (0.05, 0.10, 0.35, 0.50), "M0 -1L.3 -.3L1 0L.3 .3L0 1L-.3 .3L-1 0L-.3 -.3z", filled=True, by_others=True,
        spare_helps=True, others_stayed=True,
    ),
    Cause(
        "intermodulation", "a product of our own carriers", "signal", fits.own_product, because.another,
        "Keep those transmitters apart from each other and from the receiver, lower their power, or go over to a "
        "spare.",
        (0.05, 0.10, 0.35, 0.50), "M0 -1L1 0L0 1L-1 0z", filled=False, by_others=True, spare_helps=True,
        has_makers=True,
    ),
    Cause(
        "overload", "too strong for the receiver", "signal", fits.too_strong, because.too_strong,
        "Take the transmitter away from the receiver, lower its power, or put attenuation before the receiver.",
        (0.05, 0.10, 0.35, 0.50), "M-1 1L1 1L0 -1z", filled=True, others_stayed=True,
    ),
    Cause(
        "antenna", "an antenna or its cable", "branch", fits.one_branch, because.one_branch,
        "Check the antenna, its plug and its cable of that branch; swap the two and see whether it goes along.",
        (), "M-1 -1L1 1M1 -1L-1 1", filled=False,
    ),
    Cause(
        "audio-path", "no sound from microphone or cable", "audio", fits.dead_audio, because.dead_audio,
        "Check the microphone, its plug and its cable, and the transmitter's mute; the radio is good.",
        (0.55, 0.05, 0.40), "M-1 -1L1 -1L1 1L-1 1z", filled=True,
    ),
    Cause(
        "unknown", "cause not known", None, None, because.nothing_clear,
        "Listen, look at the link's trace at this time, and compare with the recordings.",
        (0.25, 0.25, 0.25, 0.25), "M-1 -1L1 -1L1 1L-1 1z", filled=False, spare_helps=True,
    ),
)  # fmt: skip
#: All causes by their names.
CAUSES: Final[Mapping[str, Cause]] = {cause.name: cause for cause in _ALL}
#: Of an episode of the audio: how often "unknown" leaves each pattern of losses (assumed).
UNKNOWN_SOUND: Final = (0.35, 0.45, 0.20)


def words_of(cause: str) -> str:
    """A cause as it goes into a sentence; one that another program named as it is."""
    return CAUSES[cause].words if cause in CAUSES else cause


def weights_of(track: Track, sight: Sight) -> dict[str, float]:
    """The weights of the causes of a track, by name."""
    rows = (cause for cause in CAUSES.values() if cause.track == track)
    return {cause.name: cause.weight(sight) for cause in rows if cause.weight is not None}


def shares(weights: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """Probabilities of the causes and of "unknown", the greatest first."""
    total = sum(weights.values()) + UNKNOWN
    found = [*((cause, weight / total) for cause, weight in weights.items()), ("unknown", UNKNOWN / total)]
    return tuple(sorted(found, key=lambda one: -one[1]))


def cause_of(found: tuple[tuple[str, float], ...]) -> tuple[str, float]:
    """The cause that is named, with its probability: "unknown" where none reaches `NAMED`."""
    cause, share = found[0]
    if cause == "unknown" or share >= NAMED:
        return cause, share
    return "unknown", float(np.clip(1.0 - share, 0.0, 1.0))

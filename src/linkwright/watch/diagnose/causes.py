"""The causes of an episode, each a row of one table: its name, words, prior, pattern, mark, and what to do.

How probable each is comes by Bayes from its prior and what was observed (`evidence`); "unknown" has a small share
of its own, and is told where no cause reaches `NAMED`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from linkwright.units import FloatArray
from linkwright.watch.diagnose import because
from linkwright.watch.diagnose.episode_figures import Figures
from linkwright.watch.diagnose.evidence import weighed

#: The share of "unknown" (assumed).
UNKNOWN: Final = 0.03
#: A cause that is less probable than this is not named: the episode's cause is "unknown" (assumed).
NAMED: Final = 0.33

#: How likely another transmitter is a product of our own where no carrier is known (assumed).
PRODUCT: Final = 0.35
#: What will be heard soon is an alarm from this probability on (assumed).
SURE: Final = 0.8

#: Whose fault a cause is: that of a link's transmitter or receiver; "" where it lies in neither.
OfKit = Literal["transmitter", "receiver", ""]
Track = Literal["signal", "branch", "audio"]


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause.

    name : as in files. words : as it goes into a sentence. track : what is amiss; None of "unknown". prior : how
    much likelier it is than the others before anything was seen (assumed). because : what was seen, a sentence
    without its end. next_step : what to do, sentences. asks : a question that
    is answered yes where it was this cause. pattern : how often it leaves each pattern of losses in a
    recording (`align.weighing`; assumed). mark : its outline in a square from -1 to 1, an SVG path, `filled` or
    not. of : the end of the link whose kit it lies in. by_others : another transmitter is on the carrier.
    spare_helps : another carrier may help. has_makers : our own transmitters make it. others_stayed : it tells who
    was not affected. together : it takes several links at once. soon : it will be heard soon, where it is sure.
    silences : nothing more comes, so that a gap does not end it.
    """

    name: str
    words: str
    track: Track | None
    prior: float
    because: Callable[[Figures], str]
    next_step: str
    asks: str
    pattern: tuple[float, ...]
    mark: str
    filled: bool
    of: OfKit = ""
    by_others: bool = False
    spare_helps: bool = False
    has_makers: bool = False
    others_stayed: bool = False
    silences: bool = False
    together: bool = False
    soon: bool = False


_ALL: Final = (
    Cause(
        "battery", "battery empty", "signal", 1.0, because.vanished,
        "Change the cells; all of the set, of one kind.",
        "Is the transmitter's display dark?",
        (0.01, 0.02, 0.02, 0.95), "M-.6 -1L.6 -1L.6 1L-.6 1z", filled=False,
        of="transmitter", others_stayed=True, silences=True,
    ),
    Cause(
        "switched-off", "switched off", "signal", 1.0, because.vanished,
        "See whether the transmitter is on, and lock its switch.",
        "Are its cells good, and its switch off?",
        (0.01, 0.02, 0.02, 0.95), "M0 -1A1 1 0 1 1 0 1A1 1 0 1 1 0 -1zM0 -1L0 0", filled=False,
        of="transmitter", others_stayed=True, silences=True,
    ),
    Cause(
        "carrier", "its transmitter is not on the new carrier", "signal", 0.0, because.not_there,
        "Set the transmitter to the carrier that the plan has now, and read it back from its display.",
        "Does the transmitter's display show another carrier than the plan?",
        (0.01, 0.02, 0.02, 0.95), "M-1 -.5L.4 -.5M.4 -1L1 -.5L.4 0M1 .5L-1 .5", filled=False,
        of="transmitter", others_stayed=True, silences=True,
    ),
    Cause(
        "range", "too far away", "signal", 1.0, because.too_far,
        "Bring the receiver's antennas nearer or higher, or the talent back; more power only where the permit and "
        "the plan allow it.",
        "Does it come back as the talent walks nearer?",
        (0.10, 0.10, 0.35, 0.45), "M-1 -1L1 -1L0 1z", filled=True, others_stayed=True,
    ),
    Cause(
        "body", "body in the way", "signal", 1.0, because.body,
        "Move an antenna to the other side, or the transmitter to the side that faces it; keep hands off its "
        "antenna.",
        "Is it gone with the talent turned round?",
        (0.25, 0.20, 0.15, 0.40), "M0 -1A1 1 0 1 1 0 1A1 1 0 1 1 0 -1z", filled=True, others_stayed=True,
    ),
    Cause(
        "wall", "a wall or doorway between", "signal", 0.4, because.body,
        "See where the talent stands: open the door, or bring an antenna to this side of the wall.",
        "Is it still there with the talent turned, and gone on this side of the wall?",
        (0.10, 0.15, 0.30, 0.45), "M-.3 -1L.3 -1L.3 1L-.3 1z", filled=True, others_stayed=True,
    ),
    Cause(
        "antennas", "the mast or both antennas of several links", "signal", 0.5, because.together,
        "Look at the mast and the antennas that these links share: whether they stand, and whether both feeders "
        "are plugged.",
        "Do the other links on this mast read low as well?",
        (0.05, 0.10, 0.35, 0.50), "M0 1L0 -1M-1 -1L1 -1", filled=False, together=True,
    ),
    Cause(
        "receiver", "power of the receivers or their antenna feed", "signal", 0.4, because.together,
        "Look at the power of the receivers and of what feeds their antennas: supply, fuse, plug.",
        "Are the receivers' displays dark?",
        (0.01, 0.02, 0.02, 0.95), "M-1 -1L1 -1L1 1L-1 1zM-1 0L1 0", filled=False,
        of="receiver", together=True, silences=True,
    ),
    Cause(
        "multipath", "reflections", "signal", 1.0, because.reflections,
        "Move the antennas by a step, or farther apart from each other; walk the spot again.",
        "Is it gone half a step to the side?",
        (0.05, 0.25, 0.65, 0.05), "M-1 0L-.5 -.8L0 0L.5 .8L1 0", filled=False,
    ),
    Cause(
        "interference", "somebody else on the carrier", "signal", 1.2, because.another,
        "Listen on the carrier with the transmitter off; go over to a spare that proves good now, and tell the "
        "coordinator.",
        "Does the level stay with the transmitter off?",
        (0.05, 0.10, 0.35, 0.50), "M0 -1L.3 -.3L1 0L.3 .3L0 1L-.3 .3L-1 0L-.3 -.3z", filled=True, by_others=True,
        spare_helps=True, others_stayed=True,
    ),
    Cause(
        "intermodulation", "a product of our own carriers", "signal", 0.0, because.another,
        "Keep those transmitters apart from each other and from the receiver, lower their power, or go over to a "
        "spare.",
        "Does it go when one of the others is switched off?",
        (0.05, 0.10, 0.35, 0.50), "M0 -1L1 0L0 1L-1 0z", filled=False, by_others=True, spare_helps=True,
        has_makers=True,
    ),
    Cause(
        "left-on-spare", "one of ours left on a spare", "signal", 0.0, because.another,
        "Read the carrier from that transmitter's display, and set it as the plan has it.",
        "Does it go when that transmitter is switched off?",
        (0.05, 0.10, 0.35, 0.50), "M0 -1L1 0L0 1L-1 0zM0 -.4L0 .4", filled=False, by_others=True, has_makers=True,
        others_stayed=True,
    ),
    Cause(
        "overload", "too strong for the receiver", "signal", 0.6, because.too_strong,
        "Take the transmitter that is nearest to the antennas away, lower its power, or put attenuation before the "
        "receiver.",
        "Is it gone with that transmitter two metres farther away?",
        (0.05, 0.10, 0.35, 0.50), "M-1 1L1 1L0 -1z", filled=True, of="receiver", others_stayed=True,
    ),
    Cause(
        "antenna", "an antenna or its cable", "branch", 0.6, because.one_branch,
        "Check the antenna, its plug and its cable of that branch; swap the two and see whether it goes along.",
        "Does it go along when the two antennas are swapped?",
        (0.10, 0.10, 0.35, 0.45), "M-1 -1L1 1M1 -1L-1 1", filled=False, of="receiver", soon=True,
    ),
    Cause(
        "audio-path", "no sound from microphone or cable", "audio", 1.0, because.dead_audio,
        "Check the microphone, its plug and its cable, and the transmitter's mute; the radio is good.",
        "Does a tap on the microphone show on the transmitter's own meter?",
        (0.55, 0.05, 0.40), "M-1 -1L1 -1L1 1L-1 1z", filled=True, of="transmitter",
    ),
    Cause(
        "unknown", "cause not known", None, 1.0, because.nothing_clear,
        "Listen, look at the link's trace at this time, and compare with the recordings.",
        "What changed just before?",
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


def shares(track: Track, observed: FloatArray, likelier: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """Probabilities of the causes of a track and of "unknown", the greatest first.

    likelier : how much likelier causes are than by their priors, for what else is known of this link and place.
    """
    priors = {cause.name: cause.prior * likelier.get(cause.name, 1.0) for cause in CAUSES.values()}
    odds = {cause: share * (1.0 - UNKNOWN) for cause, share in weighed(track, observed, priors).items()}
    odds["unknown"] = odds.get("unknown", 0.0) + UNKNOWN
    return tuple(sorted(odds.items(), key=lambda pair: -pair[1]))


def without(causes: Sequence[tuple[str, float]], gone: Collection[str]) -> tuple[tuple[str, float], ...]:
    """The causes without some that it cannot be: their share is nobody's, "unknown"."""
    odds = {cause: share for cause, share in causes if cause not in gone}
    odds["unknown"] = odds.get("unknown", 0.0) + sum(share for cause, share in causes if cause in gone)
    return tuple(sorted(odds.items(), key=lambda pair: -pair[1]))


def split(causes: Sequence[tuple[str, float]], product: float, somebody: float) -> tuple[tuple[str, float], ...]:
    """The share of another transmitter on the carrier, split: somebody else's, or a product of our own.

    Nothing in the readings of a link tells the two apart; who else is on does. product : how well a product fits,
    NaN where no carrier is known. somebody : how much likelier the sweep makes somebody else.
    """
    product = PRODUCT if product != product else product
    odds = dict(causes)
    another = odds["interference"]
    odds |= {"interference": another * (1.0 - product) * somebody, "intermodulation": another * product}
    total = sum(odds.values())
    return tuple(sorted(((cause, share / total) for cause, share in odds.items()), key=lambda pair: -pair[1]))


def passed_on(
    causes: Sequence[tuple[str, float]], whose: Collection[str], cause: str, share: float
) -> tuple[tuple[str, float], ...]:
    """The causes with so much of the share of some of them given to another, which the plan makes likely."""
    odds = {name: part * (1.0 - share) if name in whose else part for name, part in causes}
    odds[cause] = share * sum(part for name, part in causes if name in whose)
    return tuple(sorted(odds.items(), key=lambda pair: -pair[1]))


def cause_of(causes: tuple[tuple[str, float], ...]) -> tuple[str, float]:
    """The cause that is named, with its probability: "unknown" where none reaches `NAMED`."""
    cause, share = causes[0]
    if cause == "unknown" or share >= NAMED:
        return cause, share
    return "unknown", float(np.clip(1.0 - share, 0.0, 1.0))

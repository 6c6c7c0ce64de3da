"""The kinds of faults, each a row of one table, the gravest first: its words, how sure it can be, and what to do.

Kinds of tracks stand in `Fault`; those of files and of pairs of tracks are told of a recording as a whole
(`sound.findings`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Of = Literal["moment", "track", "pair", "file"]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind.

    name : as in files. words, many : one of them and several, as they go into a sentence. of : whether it has a
    moment, or belongs to a track, to a pair of tracks or to files. sure : what makes it certain; "" where it is
    always a suspect. looks : what is looked for. do : what to do, a sentence. level : what its level is, as a
    format, where it has one. grave : a recording with a certain one does not hold. first : told in the first lines
    as a suspect too. radio : the loss of a radio link may leave it. fault : it is one; an edit is somebody's will.
    """

    name: str
    words: str
    many: str
    of: Of
    sure: str
    looks: str
    do: str
    level: str = ""
    grave: bool = False
    first: bool = False
    radio: bool = False
    fault: bool = True


_ALL: Final = (
    Kind(
        "dead", "dead", "dead", "track", "it takes a fifth of the track or more",
        "nothing over -80 dBFS rms, DC left out, from begin to end, or for the last ten seconds or more",
        "See whether it is switched on and plugged in.", grave=True, first=True,
    ),
    Kind(
        "torn", "torn off", "torn off", "file", "always: header and length do not agree",
        "a header that tells of more than the file holds, or of less",
        "Copy it again from the card; where the card has no more, the recorder was cut off while it wrote.",
        grave=True, first=True,
    ),
    Kind(
        "mute", "mute", "mutes", "moment", "always, but where only another track tells it",
        "exact zeros for 1 ms to 5 s between live sound, and not both edges faded",
        "Something lost samples: look what the link's log says at that moment.", grave=True, radio=True,
    ),
    Kind(
        "hold", "held sample", "held samples", "moment", "always",
        "one value, not zero and not at a peak, for 1 ms and more between live sound",
        "Something lost samples: look what the link's log says at that moment.", grave=True, radio=True,
    ),
    Kind(
        "repeat", "repeat", "repeats", "moment", "it says bit for bit what stood at most 200 ms before",
        "a stretch of 1.5 ms and more that comes again; as a suspect 8 to 100 ms, all but for -30 dB, as a repeat "
        "that was digitised again",
        "A receiver or a converter filled a gap: look what the link's log says at that moment.",
        grave=True, radio=True,
    ),
    Kind(
        "hole", "hole", "holes", "moment", "its bottom lies under the track's own floor",
        "2 to 120 ms, 24 dB deep, with edges of at most 1.5 ms; as a suspect 4.5 to 300 ms, as quiet and steady as "
        "the room, 16 dB deep",
        "The sound was cut and not faded: look what the link's log says at that moment.", grave=True, radio=True,
    ),
    Kind(
        "clip", "clipping", "clippings", "moment", "flat tops at full scale, or many at one level",
        "flat tops; as a suspect amplitudes that pile up at a level, as after a fade or a rate conversion",
        "Take more attenuation at the transmitter: what is clipped there, no recorder mends.", grave=True,
        first=True,
    ),
    Kind(
        "falling", "a level that falls away", "levels that fall away", "track", "",
        "words at the end 12 dB and more under those of the first third, and the pauses 6 dB and more",
        "Look at the cells, the plug and the capsule: what the voice loses, the room loses too.",
        "by {:.0f} dB", first=True,
    ),
    Kind(
        "turned", "turned over", "turned over", "pair", "always, where both tracks have the same sound",
        "polarity of a track against another",
        "Invert one of them before they are mixed; look at its cable or its phase switch.", first=True,
    ),
    Kind(
        "lost", "lost samples", "lost samples", "pair", "always, where both tracks have the same sound",
        "a delay that jumps against another track",
        "Move the track from that moment on; look whether both have the same clock.", first=True,
    ),
    Kind(
        "rates", "different sample rates", "different sample rates", "file", "always",
        "files of different sample rates", "Convert to one rate before they are laid beside each other.",
        first=True,
    ),
    Kind(
        "apart", "apart", "apart", "pair", "always, where both files have the same sound",
        "files whose time stamps (or beginnings, without them) differ by over a second from what is heard anywhere "
        "in both",
        "Move one of them; look at its clock and time code.", first=True,
    ),
    Kind(
        "swapped", "swapped", "swapped", "pair", "nothing is the same in the tracks of one number",
        "the first two tracks of two files: each clearly the same as the other's second and first",
        "Swap two of the tracks, or their cables.", first=True,
    ),
    Kind(
        "limited", "a limiter or soft clipping that is always in", "", "track", "",
        "peaks that come within 0.5 to 1.2 dB of the highest in a tenth of the live 100 ms",
        "Take more attenuation before it, so that it works on the loudest words only.", first=True,
    ),
    Kind(
        "rumble", "rumble", "rumble", "track", "",
        "10 to 60 Hz within 6 dB of the voice (over 150 Hz) or over it, for half of the time",
        "Set the low cut of the transmitter; move the microphone off what shakes.",
        "{:+.0f} dB against the voice", first=True,
    ),
    Kind(
        "wind", "gust", "gusts", "moment", "",
        "10 to 60 Hz at or over the voice's level for a quarter of a second and more, 10 dB over the middle",
        "Put a windshield on the microphone, and set the low cut.",
        "up to {:+.0f} dB against the voice", first=True,
    ),
    Kind(
        "crackle", "stretch of crackling", "stretches of crackling", "moment", "",
        "six clicks or bursts and more, that follow each other within a second and come at no period",
        "Change the plug or the cable; hold both still and listen while somebody moves them.", first=True,
    ),
    Kind(
        "handling", "stretch of knocks", "stretches of knocks", "moment", "",
        "six pops or knocks and more, that follow each other within a second; four and more short ones in a "
        "gust, with 15 dB between them",
        "Take the hand off microphone and cable; look what taps on the stand, or whose steps these are.",
        first=True,
    ),
    Kind(
        "rustle", "stretch of rustling", "stretches of rustling", "moment", "",
        "0.8 s and more whose power lies about 1800 Hz or higher, 12 dB over the floor, as cloth, a hand on the "
        "cable or gravel make while nobody talks",
        "Look what touches the capsule: fasten cloth and cable, or move the microphone.", "{:.0f} dBFS", first=True,
    ),
    Kind(
        "drift", "drift", "drift", "pair", "always: the 95 % interval leaves out zero",
        "a delay that grows by 20 ms or more over what two tracks have in common",
        "Give both one clock or time code with sync; until then move the track along.", first=True,
    ),
    Kind(
        "buzz", "buzz", "buzz", "track", "",
        "hum, with six lines and more of 50 or 60 Hz from 600 to 4000 Hz",
        "Move cables and microphone away from dimmers and switched supplies; listen to it with the lights off.",
        "{:.0f} dBFS", first=True,
    ),
    Kind(
        "hum", "hum", "hum", "track", "",
        "at least three of the first eight lines of 50 or 60 Hz in the quietest pieces, or a single one that "
        "stands still in all of them",
        "Look for a ground loop, or a cable beside a mains lead.", "{:.0f} dBFS", first=True,
    ),
    Kind(
        "tone", "a steady tone", "steady tones", "track", "",
        "a line 20 dB over what is beside it in all of the quietest pieces, at one level",
        "Listen for what whistles: a display, a supply, an engine; switch off one after the other.",
        "{:.0f} dBFS", first=True,
    ),
    Kind(
        "dc", "off zero", "off zero", "track", "always",
        "a mean of 0.01 of full scale and more",
        "Put a high pass of 10 Hz on it; it is DC before the converter.", first=True,
    ),
    Kind(
        "pop", "pop or knock", "pops or knocks", "moment", "",
        "10 to 60 Hz 6 dB over the voice for less than a quarter of a second: plosives, knocks, steps",
        "Turn the microphone out of the breath; listen for what knocks.", "{:+.0f} dB against the voice",
    ),
    Kind(
        "burst", "burst", "bursts", "moment", "",
        "2 to 500 ms of noise that begin and end within a millisecond and stay alike",
        "Listen there: a carrier that was lost opens the squelch for a moment.", radio=True,
    ),
    Kind(
        "click", "click", "clicks", "moment", "",
        "a third difference that stands out twelve times; eight and more that come regularly are one finding with "
        "their period, as two clocks that do not agree make them",
        "Regular ones: give both devices one clock. Single ones: listen there.", radio=True,
    ),
    Kind(
        "edit", "edit", "edits", "moment", "", "zeros at an end, with faded edges, or beside silence",
        "Nothing: somebody made it.", fault=False,
    ),
)  # fmt: skip

KINDS: Final[Mapping[str, Kind]] = {kind.name: kind for kind in _ALL}
#: Those of which a certain one makes a recording one that does not hold.
GRAVE: Final = tuple(kind.name for kind in _ALL if kind.grave)
#: Those that have a moment and are a fault: what is marked in a track and listed.
MOMENTS: Final = tuple(kind.name for kind in _ALL if kind.of == "moment" and kind.fault)
#: Those that the loss of a radio link may leave.
RADIO: Final = tuple(kind.name for kind in _ALL if kind.radio)


def gravity(name: str) -> int:
    """Its place in the table: the gravest are told first."""
    return list(KINDS).index(name)

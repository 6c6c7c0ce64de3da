"""From an antenna to the receiver's input: line, splitter, preamplifier; what they make of level, noise, intercept.

Everything is told at the receiver's input, where the ledger's levels are.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Final

from linkwright.physics.feeders import Stage, cascade, line_db, lossy
from linkwright.shoot.antennas import Antenna
from linkwright.shoot.equipment import Receiver
from linkwright.shoot.evidence import Evidence, PathGain
from linkwright.units import dbm_from_mw, mw_from_dbm

#: What a splitter or combiner loses for each doubling beyond the power's own parting [dB] (assumed).
EXCESS_DB: Final = 0.5
#: A noise figure at the antenna this far over the receiver's own is too little gain [dB]; and this much less
#: intercept than the receiver's own, with gain that no longer helps the noise, is too much (common practice, no
#: source).
TOO_LITTLE_DB: Final = 3.0
TOO_MUCH_DB: Final = 6.0


@dataclass(frozen=True, slots=True)
class Feed:
    """What lies between one antenna and the receiver's input.

    gain_db : all together. noise_figure_db : of it and the receiver, seen at the antenna. excess : noise at the
    receiver's input beyond the receiver's own, over kTB. iip3_dbm : intercept of it and the receiver, seen at the
    receiver's input. lines : one for each piece.
    """

    gain_db: float
    noise_figure_db: float
    excess: float
    iip3_dbm: float
    lines: tuple[PathGain, ...]

    @property
    def iip3_at_antenna_dbm(self) -> float:
        """The intercept as it is seen at the antenna [dBm]."""
        return self.iip3_dbm - self.gain_db


def parting_db(ways: int) -> float:
    """Loss of a splitter to each of its outputs, or of a combiner from each input [dB]; none for one way."""
    return 10.0 * math.log10(ways) + EXCESS_DB * math.ceil(math.log2(ways)) if ways > 1 else 0.0


@functools.lru_cache(maxsize=4096)
def feed_of(
    antenna: Antenna | None, noise_figure_db: float, iip3_dbm: float, mhz: float, combined: int = 1
) -> Feed:
    """The feed of an antenna (None: right at the receiver) of a receiver with this noise figure and intercept.

    combined : how many antennas are put together into the branch, each of which pays for it.
    """
    if antenna is None:
        return Feed(0.0, noise_figure_db, 0.0, iip3_dbm, ())
    stages: list[Stage] = []
    lines: list[PathGain] = []
    for part, stage, evidence, source in _pieces(antenna, mhz, combined):
        stages.append(stage)
        lines.append(PathGain(part, stage.gain_db, evidence, source))
    ahead = cascade(stages)
    whole = cascade([*stages, Stage(0.0, noise_figure_db, iip3_dbm)])
    excess = mw_from_dbm(ahead.gain_db + whole.noise_figure_db) - mw_from_dbm(noise_figure_db)
    return Feed(
        ahead.gain_db, whole.noise_figure_db, max(excess, 0.0), whole.iip3_dbm + ahead.gain_db, tuple(lines)
    )


def feed_for(antenna: Antenna | None, receiver: Receiver, mhz: float, combined: int = 1) -> Feed:
    """The feed of an antenna of a receiver at a frequency [MHz]."""
    if antenna is None:  # the same at every frequency
        return feed_of(None, receiver.noise_figure_db, receiver.iip3_dbm, 0.0)
    return feed_of(antenna, receiver.noise_figure_db, receiver.iip3_dbm, mhz, combined)


def _pieces(antenna: Antenna, mhz: float, combined: int) -> list[tuple[str, Stage, Evidence, str]]:
    """The pieces from the antenna down, each as a line of the ledger and as a stage."""
    pieces: list[tuple[str, Stage, Evidence, str]] = []
    amplifier = antenna.preamplifier
    if amplifier is not None:
        stage = Stage(amplifier.gain_db, amplifier.noise_figure_db, amplifier.oip3_dbm)
        said = f"{amplifier.noise_figure_db:g} dB noise figure, {amplifier.oip3_dbm:g} dBm output intercept"
        amplified: tuple[str, Stage, Evidence, str] = ("preamplifier", stage, "stated", said)
        if amplifier.at == "antenna":
            pieces.append(amplified)
    if antenna.feeder_db is not None:
        pieces.append(("line", lossy(antenna.feeder_db), "stated", "loss as stated"))
    elif antenna.feeder is not None:
        loss = float(line_db(antenna.feeder, mhz, antenna.feeder_m))
        pieces.append(("line", lossy(loss), "modelled", f"{antenna.feeder_m:g} m of {antenna.feeder}"))
    if combined > 1:
        said = f"{combined} antennas on one branch; {EXCESS_DB:g} dB each doubling assumed"
        pieces.append(("combiner", lossy(parting_db(combined)), "assumed", said))
    if amplifier is not None and amplifier.at == "receiver":
        pieces.append(amplified)
    if antenna.splitter_db is not None:
        pieces.append(("splitter", lossy(antenna.splitter_db), "stated", "loss as stated"))
    elif antenna.splitter_ways > 1:
        said = f"{antenna.splitter_ways} ways; {EXCESS_DB:g} dB each doubling assumed"
        pieces.append(("splitter", lossy(parting_db(antenna.splitter_ways)), "assumed", said))
    return pieces


@dataclass(frozen=True, slots=True)
class Judged:
    """Whether a feed amplifies enough and not too much.

    better_gain_db : the preamplifier's gain that just makes up for what follows it [dB].
    """

    verdict: str
    says: str
    better_gain_db: float


def judged(antenna: Antenna, receiver: Receiver, mhz: float, combined: int = 1) -> Judged | None:
    """Too little gain, or too much; None where it is in order.

    Too little: line and splitter raise the noise figure at the antenna by more than `TOO_LITTLE_DB` over the
    receiver's own. Too much: the intercept at the antenna has fallen by more than `TOO_MUCH_DB` under the
    receiver's own, by gain beyond what the pieces after it lose.
    """
    feed = feed_for(antenna, receiver, mhz, combined)
    losses = -sum(line.db for line in feed.lines if line.part != "preamplifier")
    worse = feed.noise_figure_db - receiver.noise_figure_db
    lost = receiver.iip3_dbm - feed.iip3_at_antenna_dbm
    if worse > TOO_LITTLE_DB:
        says = (
            f"antenna {antenna.name} hears with a noise figure of {feed.noise_figure_db:.1f} dB, {worse:.1f} dB "
            f"over the receiver's own: {losses:.1f} dB are lost on the way"
        )
        return Judged("too little", says, losses)
    if lost > TOO_MUCH_DB and feed.gain_db > TOO_LITTLE_DB:
        says = (
            f"antenna {antenna.name} has {feed.gain_db:.1f} dB more gain than its line loses: strong neighbours "
            f"mix {lost:.1f} dB earlier than in the receiver alone"
        )
        return Judged("too much", says, losses)
    return None


def noise_dbm(thermal_dbm: float, noise_figure_db: float, excess: float) -> float:
    """Noise at the receiver's input [dBm]: kTB [dBm] times the receiver's noise factor and what the feed adds."""
    return thermal_dbm + dbm_from_mw(mw_from_dbm(noise_figure_db) + excess)

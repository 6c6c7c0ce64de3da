"""The places of what the compiled loop keeps of a link and of an episode, and the constants it decides by."""

from __future__ import annotations

from typing import Final, Literal

#: The tracks of a link: what can be amiss at once. Each has at most one episode open.
TRACKS: Final[tuple[Literal["signal"], Literal["branch"], Literal["audio"]]] = ("signal", "branch", "audio")
SIGNAL, BRANCH, SOUND = range(3)

#: What is kept of a link, all as float64. Times are seconds from the watcher's begin; below zero: none.
(
    LAST, PERIOD, COUNT, SECOND, SUM_A, COUNT_A, SUM_B, COUNT_B, SHORT_A, SHORT_B, REF_A, REF_B, DIFF, LEADS, ACC,
    SAG_SINCE, SAG_T, SAG_A, SAG_B, EVEN_T, UNEVEN_T, OPEN_CABLE_T, AUDIO_T, AUDIO_LOW, DEAD_ACC, BAD_SINCE, SPAN,
    LATE, TWICE, GAPS, GAPPED_S, QUAL, GAUGE, ALIVE_T, DEAD_END, HIGHEST, TOP, HELD, LOWEST, FLUTTER, FLUTTERS,
    STEP, WAS_A, DOWN_T, BROKEN_T, FELL_T, BROKE_T, PAIRS, LATELY, BROKEN_NOW,
) = range(50)  # fmt: skip
#: ... and how long after the level fell the quality did, the last so many times [s], from here on.
LAGS: Final = 50
KEPT_LAGS: Final = 8
STATE: Final = LAGS + KEPT_LAGS

#: What is gathered of an episode: when it began and was last seen, how many readings were what, sums and extremes.
(
    ON_T, LAST_T, N, N_BAD, N_GONE, N_OVER, N_SAG, SUM_LA, N_LA, SUM_LB, N_LB, SUM_L, N_L, SQ_L, SUM_Q, N_Q,
    LOW_GAUGE, GAUGE_BEFORE, BASE_A, BASE_B, PRE_10, PRE_30, FIRST_L, FIRST_N, RUNS, LONGEST, SQ_A, SQ_B, AB, N_AB,
    SUM_AB_A, SUM_AB_B, N_MUTED, HIGH_L, LOW_L, BAD_L, N_BAD_L, FINE_L, N_FINE_L, QUAL_BEFORE, DIFF_BEFORE, N_DEAD,
    LAST_GAUGE, BY_GAP, SQ_GONE, SUM_GONE, LAST_SECOND_L, BAD_S, WAIT_L, N_WAIT_L, HELD_L, FLOOR_L, TOP_L,
    N_BRANCH, FLUTTERED, SUM_FLUTTER, N_FLUTTER, STEP_L, LATELY_BEFORE, N_A_LEADS, N_B_LEADS, SQ_BY_A, SQ_BY_B,
) = range(63)  # fmt: skip
FEATURES: Final = 63

#: Quality under this is broken audio (assumed).
BAD_QUALITY: Final = 0.5
#: Where readings are slow, so much of a reading's time that was lost is broken audio [s]; never over this quality,
#: which is broken audio wherever the level is this much over the need [dB]: there it should be whole (assumed).
LOST_S: Final = 0.2
BAD_AT_MOST: Final = 0.8
WHOLE_OVER_NEED_DB: Final = 25.0
#: The audio breaks for so long [s]: the level of then says why (assumed; many receivers stay muted a while longer).
BREAKS_S: Final = 0.25
#: Both branches under what they were in the three seconds before by this [dB] is a sag (PHYSICS: 10-25 dB for a
#: body; the least less a dB of meter noise); it is over this much under it, or after so long [s].
SAG_DB: Final = 10.0
SAG_OVER_DB: Final = 6.0
SAG_MOST_S: Final = 30.0
SAG_LEAST_S: Final = 0.5
#: A sag in which the audio holds is told after so long [s]. It is harmless where the level stays this much over the
#: need, or where a plan says what is to be expected, not this much under that [dB].
SAG_TELLS_S: Final = 0.9
SAG_OVER_NEED_DB: Final = 30.0
SAG_UNDER_PLAN_DB: Final = 6.0
#: ... where it is no deeper than this, and the branches fell alike within this [dB].
SAG_BODY_DB: Final = 28.0
SAG_ALIKE_DB: Final = 6.0
#: The level and the quality of one fall are told within so long of each other [s], after as long without either
#: (assumed).
LAG_MOST_S: Final = 3.0
#: When neither fell yet: too far apart to be of one fall [s].
NEVER_FELL, NEVER_BROKE = -1.0, -2.0 - LAG_MOST_S
#: Whoever is received this little under the ceiling stands at the receiver [dB].
NEAR_DB: Final = 15.0
#: So deep a fall is to nothing, wherever the meter's floor lies [dB].
VANISHED_DB: Final = 30.0
#: An episode opens when this much of the last seconds was amiss [s], and closes after so long without a sign [s].
OPENS_S: Final = 0.2
KEEPS_S: Final = 3.0
QUIET_S: Final = 3.0
#: One branch under the other by this [dB] (PHYSICS), so long [s] where it is much weaker, as much longer for each
#: dB less than that (assumed: who stands still may stand in a null of one branch), and even again within this [dB].
UNEVEN_DB: Final = 9.0
UNEVEN_S: Final = 5.0
UNEVEN_MUCH_DB: Final = 18.0
UNEVEN_LONGER_S: Final = 3.0
EVEN_DB: Final = 6.0
#: The weaker branch may lead for this share of the time (assumed).
LEADS_SHARE: Final = 0.06
#: One branch falls to its floor by this [dB] while the other stays: an open cable, told after so long [s].
OPEN_CABLE_DB: Final = 18.0
OPEN_CABLE_S: Final = 1.2
#: Audio is dead under this [dBFS], or this far under the quietest of the link [dB], for so long of the last
#: seconds [s], as a loose plug has it by turns; and alive again after so long without [s] (assumed).
DEAD_DBFS: Final = -80.0
DEAD_MOST_DBFS: Final = -70.0
DEAD_LEAST_DBFS: Final = -95.0
DEAD_UNDER_DB: Final = 12.0
DEAD_S: Final = 0.6
DEAD_KEEPS_S: Final = 20.0
DEAD_LEAST_S: Final = 0.05
ALIVE_S: Final = 5.0
#: ... or so long where the level is not this much over the need [dB], and not within two seconds of broken
#: radio, of which so much is still remembered [s] (assumed).
DEAD_LONG_S: Final = 5.0
GOOD_OVER_NEED_DB: Final = 10.0
BROKE_LATELY_S: Final = 0.1
FINE_QUALITY: Final = 0.7
#: Time constants of the short means, of the branches' difference and of who leads [s].
SHORT_S: Final = 0.3
DIFF_S: Final = 3.0
LEADS_S: Final = 4.0
#: Time constant of how much a branch flutters about its own short mean [s]; a meter's step is more than this [dB].
FLUTTERS_S: Final = 8.0
LEAST_STEP_DB: Final = 0.05
#: The step with which an episode begins is no flutter: it is gathered from so long after its begin [s].
SETTLES_S: Final = 1.0
#: So long it is remembered how much of the audio was broken [s].
LATELY_S: Final = 60.0
#: Seconds whose means are kept.
RING: Final = 64
#: Seconds of every link's level that are kept for the others' sake: 18 hours. A second is a byte: the level plus
#: 128 dB, 0 where nothing was received, and this bit where its audio broke.
HISTORY: Final = 1 << 16
BROKE: Final = 128

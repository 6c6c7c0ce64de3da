"""The loop over readings: one step a reading, whatever batches they come in, so that live and afterwards agree.

Every link has its state (`states`), a ring of the means of its last seconds, and of each track what is gathered of an
episode (`gathered`) and the same as of its last symptom (`sure`). What opens and closes is written to `events`.
"""

from __future__ import annotations

import math

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.watch.record import AUDIO, BATTERY, GAP_PERIODS, GAP_S, MUTED, QUALITY, RF_A, RF_B
from linkwright.watch.states import (
    AB, ACC, ALIVE_T, AUDIO_LOW, AUDIO_T, BAD_L, BAD_QUALITY, BAD_S, BAD_SINCE, BASE_A, BASE_B, BRANCH, BY_GAP, COUNT,
    COUNT_A, COUNT_B, DEAD_DBFS, DEAD_END, DEAD_LEAST_DBFS, DEAD_MOST_DBFS, DEAD_S, DEAD_UNDER_DB, DIFF, DIFF_BEFORE,
    DIFF_S, EVEN_DB, EVEN_T, FEATURES, FINE_L, FINE_QUALITY, FIRST_L, FIRST_N, GAPPED_S, GAPS, GAUGE, GAUGE_BEFORE, HIGH_L, HIGHEST,
    HISTORY, KEEPS_S, LAST, LAST_GAUGE, LAST_SECOND_L, LAST_T, LATE, LEADS, LEADS_S, LEADS_SHARE, LONGEST, LOW_GAUGE,
    LOW_L, N, N_AB, N_BAD, N_BAD_L, N_DEAD, N_FINE_L, N_GONE, N_L, N_LA, N_LB, N_MUTED, N_OVER, N_Q, N_SAG, N_WAIT_L, NEAR_DB, ON_T,
    OPEN_CABLE_DB, OPEN_CABLE_S, OPEN_CABLE_T, OPENS_S, OVER_TELLS_S, PERIOD, PRE_10, PRE_30, QUAL, QUAL_BEFORE, QUIET_S, REF_A,
    REF_B, RING, RUNS, SAG_A, SAG_ALIKE_DB, SAG_B, SAG_BODY_DB, SAG_DB, SAG_LEAST_S, SAG_MOST_S, SAG_OVER_DB, SAG_SINCE, SAG_TELLS_S, SAG_T, SECOND, SHORT_A,
    SHORT_B, SHORT_S, SIGNAL, SOUND, SPAN, SQ_A, SQ_B, SQ_GONE, SQ_L, SUM_A, SUM_AB_A, SUM_AB_B, SUM_B, SUM_GONE,
    SUM_L, SUM_LA, SUM_LB, SUM_Q, TWICE, UNEVEN_DB, UNEVEN_S, UNEVEN_T, VANISHED_DB, WAIT_L,
)  # fmt: skip

OPENED, CLOSED = 0, 1


@kernel
def mean_of(ring: np.ndarray, second: int, first: int, last: int) -> float:
    """The mean of the seconds `first` to `last` ago, the mean of the better branch where both are known."""
    total, count = 0.0, 0
    for back in range(first, last + 1):
        best = np.nan
        for branch in range(2):
            one = ring[branch, (second - back) % RING]
            if one == one and not best >= one:
                best = one
        if best == best:
            total += best
            count += 1
    return total / count if count else np.nan


@kernel
def branch_mean(ring: np.ndarray, branch: int, second: int, first: int, last: int) -> float:
    """The mean of one branch over the seconds `first` to `last` ago."""
    total, count = 0.0, 0
    for back in range(first, last + 1):
        one = ring[branch, (second - back) % RING]
        if one == one:
            total += one
            count += 1
    return total / count if count else np.nan


@kernel
def turn_second(s: np.ndarray, ring: np.ndarray, levels: np.ndarray, laps: np.ndarray, second: int) -> None:
    """Put away the second that is over, note those without readings, and look back for what was usual."""
    was = int(s[SECOND])
    a = s[SUM_A] / s[COUNT_A] if s[COUNT_A] > 0 else np.nan
    b = s[SUM_B] / s[COUNT_B] if s[COUNT_B] > 0 else np.nan
    ring[0, was % RING], ring[1, was % RING] = a, b
    best = a if not b > a else b
    place = was % HISTORY
    laps[place] = (was // HISTORY) % 250 + 1
    levels[place] = int(min(127.0, max(1.0, math.floor(best + 128.5)))) if best == best else 0
    for missed in range(max(was + 1, second - RING), second):
        ring[0, missed % RING], ring[1, missed % RING] = np.nan, np.nan
    s[SUM_A] = s[COUNT_A] = s[SUM_B] = s[COUNT_B] = 0.0
    s[SECOND] = second
    s[REF_A], s[REF_B] = branch_mean(ring, 0, second, 1, 3), branch_mean(ring, 1, second, 1, 3)
    s[HIGHEST] = -np.inf
    for back in range(1, 6):
        for branch in range(2):
            one = ring[branch, (second - back) % RING]
            if one == one:
                s[HIGHEST] = max(s[HIGHEST], one)


@kernel
def begin(f: np.ndarray, s: np.ndarray, ring: np.ndarray, t: float) -> None:
    """Begin to gather an episode: what was usual before."""
    f[:] = 0.0
    second = int(math.floor(t))
    f[ON_T] = f[LAST_T] = t
    f[BASE_A], f[BASE_B] = branch_mean(ring, 0, second, 1, 4), branch_mean(ring, 1, second, 1, 4)
    f[PRE_10], f[PRE_30] = mean_of(ring, second, 8, 12), mean_of(ring, second, 22, 32)
    f[HIGH_L], f[LOW_L] = -np.inf, np.inf
    f[LOW_GAUGE] = f[LAST_GAUGE] = np.nan
    f[GAUGE_BEFORE], f[QUAL_BEFORE], f[DIFF_BEFORE] = s[GAUGE], s[QUAL], s[DIFF]


@kernel
def gather(f: np.ndarray, v: np.ndarray, t: float, dt: float, bad: bool, gone: bool, over: bool, sag: bool) -> None:
    """Add a reading to what is gathered of an episode."""
    a, b, q = float(v[RF_A]), float(v[RF_B]), float(v[QUALITY])
    f[N] += 1.0
    f[N_BAD] += bad
    f[BAD_S] += min(dt, 1.0) if bad else 0.0
    f[N_GONE] += gone
    f[N_OVER] += over
    f[N_SAG] += sag
    f[N_MUTED] += v[MUTED] == 1.0
    if a == a:
        f[SUM_LA] += a
        f[N_LA] += 1.0
    if b == b:
        f[SUM_LB] += b
        f[N_LB] += 1.0
    level = a if not b > a else b
    if level == level:
        f[SUM_L] += level
        f[SQ_L] += level * level
        f[N_L] += 1.0
        f[HIGH_L], f[LOW_L] = max(f[HIGH_L], level), min(f[LOW_L], level)
        if bad:
            f[BAD_L] += level
            f[N_BAD_L] += 1.0
            f[FINE_L] += f[WAIT_L]
            f[N_FINE_L] += f[N_WAIT_L]
            f[WAIT_L] = f[N_WAIT_L] = 0.0
        elif f[N_BAD_L] > 0.0:
            f[WAIT_L] += level
            f[N_WAIT_L] += 1.0
        if gone:
            f[SUM_GONE] += level
            f[SQ_GONE] += level * level
        if 0.2 <= t - f[ON_T] <= 1.2 or f[FIRST_N] == 0.0:
            if f[FIRST_N] == 1.0 and t - f[ON_T] <= 0.8:
                f[FIRST_L] = f[FIRST_N] = 0.0
            f[FIRST_L] += level
            f[FIRST_N] += 1.0
        if a == a and b == b:
            f[SQ_A] += a * a
            f[SQ_B] += b * b
            f[AB] += a * b
            f[SUM_AB_A] += a
            f[SUM_AB_B] += b
            f[N_AB] += 1.0
    if q == q:
        f[SUM_Q] += q
        f[N_Q] += 1.0
    gauge = float(v[BATTERY])
    if gauge == gauge:
        f[LAST_GAUGE] = gauge
        if not f[LOW_GAUGE] <= gauge:
            f[LOW_GAUGE] = gauge


@kernel
def emit(events: np.ndarray, count: int, link: int, track: int, kind: int, f: np.ndarray) -> int:
    """Write down that an episode opened or closed; how many are written now."""
    events[count, 0], events[count, 1], events[count, 2] = link, track, kind
    events[count, 3:] = f
    return count + 1


@kernel
def stop_all(
    link: int, s: np.ndarray, active: np.ndarray, sure: np.ndarray, events: np.ndarray, count: int, by_gap: float
) -> int:
    """Close what is open of a link, and forget what had begun: its readings stop, or are not judged."""
    for track in range(active.shape[0]):
        if active[track]:
            sure[track, BY_GAP] = by_gap
            count = emit(events, count, link, track, CLOSED, sure[track])
            active[track] = 0
    s[ACC] = 0.0
    s[SAG_SINCE] = s[SAG_T] = s[UNEVEN_T] = s[OPEN_CABLE_T] = s[AUDIO_T] = s[BAD_SINCE] = s[DEAD_END] = -1.0
    s[SHORT_A] = s[SHORT_B] = s[DIFF] = np.nan
    s[LEADS] = 0.5
    return count


@kernel
def sagging(s: np.ndarray, t: float, dt: float, harmless: float, near: float) -> bool:
    """Whether both branches have fallen together from what they were a moment ago, and are still down.

    A sag down to `harmless` only is none, nor one from `near` the ceiling: there somebody walked away again.
    """
    a, b = s[SHORT_A], s[SHORT_B]
    best = a if not b > a else b
    if s[SAG_T] >= 0.0:
        was = s[SAG_A] if not s[SAG_B] > s[SAG_A] else s[SAG_B]
        if not best < was - SAG_OVER_DB or best > harmless + SAG_OVER_DB or t - s[SAG_T] > SAG_MOST_S:
            s[SAG_T] = -1.0
            s[SAG_SINCE] = -1.0
            return False
        return True
    ref = s[REF_A] if not s[REF_B] > s[REF_A] else s[REF_B]
    down_a = a < s[REF_A] - SAG_DB or a != a
    down_b = b < s[REF_B] - SAG_DB or b != b
    if not (down_a and down_b and best < ref - SAG_DB and best <= harmless and s[HIGHEST] < near):
        s[SAG_SINCE] = -1.0
        return False
    if s[SAG_SINCE] < 0.0:
        s[SAG_SINCE] = t - min(dt, 0.2)
        s[SAG_A], s[SAG_B] = s[REF_A], s[REF_B]
    if t - s[SAG_SINCE] >= SAG_LEAST_S or dt >= SAG_LEAST_S:
        s[SAG_T] = s[SAG_SINCE]
        return True
    return False


@kernel
def deep_sag(f: np.ndarray, t: float, dt: float, harmless: float) -> bool:
    """Whether a sag that broke no audio is worth telling: lasting, alike on both branches, not far over the need."""
    if t - f[ON_T] + dt < SAG_TELLS_S or f[N_L] == 0.0 or f[SUM_L] / f[N_L] > harmless:
        return False
    a = f[BASE_A] - f[SUM_LA] / f[N_LA] if f[N_LA] > 0.0 else np.nan
    b = f[BASE_B] - f[SUM_LB] / f[N_LB] if f[N_LB] > 0.0 else np.nan
    most, least = (a, b) if not b > a else (b, a)
    return bool(not least < SAG_DB - 1.0 and SAG_DB <= most <= SAG_BODY_DB and not most - least > SAG_ALIKE_DB)


@kernel
def step_signal(
    link: int, s: np.ndarray, ring: np.ndarray, f: np.ndarray, g: np.ndarray, active: np.ndarray, v: np.ndarray,
    t: float, dt: float, bad: bool, gone: bool, over: bool, harmless: float, near: float, events: np.ndarray, count: int,
) -> int:  # fmt: skip
    """The track of the signal: broken audio, nothing received, too much, or a sag."""
    sag = sagging(s, t, dt, harmless, near)
    fine = float(v[QUALITY]) >= 0.8
    if s[SAG_T] >= 0.0 and not fine:
        level = float(v[RF_A]) if not v[RF_B] > v[RF_A] else float(v[RF_B])
        was = s[SAG_A] if not s[SAG_B] > s[SAG_A] else s[SAG_B]
        gone = gone or level < was - VANISHED_DB
    hard = bad or gone or (over and not fine)
    symptom = hard or sag or over
    s[ACC] *= KEEPS_S / (KEEPS_S + dt)
    if hard:
        s[ACC] += min(dt, 0.5)
    elif sag or over:
        s[ACC] = max(s[ACC], 0.03)
    if s[ACC] < 0.02 and not active[SIGNAL]:
        f[ON_T] = -1.0
        return count
    if f[ON_T] < 0.0:
        begin(f, s, ring, s[SAG_T] if s[SAG_T] >= 0.0 and not bad else t)
    gather(f, v, t, dt, bad, gone, over, sag)
    if bad and s[BAD_SINCE] < 0.0:
        s[BAD_SINCE] = t - min(dt, 1.0)
        f[RUNS] += 1.0
    if bad:
        f[LONGEST] = max(f[LONGEST], t - s[BAD_SINCE])
    else:
        s[BAD_SINCE] = -1.0
    if symptom:
        f[LAST_T] = t
        f[LAST_SECOND_L] = s[SHORT_A] if not s[SHORT_B] > s[SHORT_A] else s[SHORT_B]
        g[:] = f
    if not active[SIGNAL] and (
        s[ACC] >= OPENS_S or (sag and deep_sag(f, t, dt, harmless)) or f[N_OVER] * min(dt, 1.0) >= OVER_TELLS_S
    ):
        active[SIGNAL] = 1
        g[:] = f
        return emit(events, count, link, SIGNAL, OPENED, f)
    if active[SIGNAL] and t - f[LAST_T] >= QUIET_S:
        active[SIGNAL] = 0
        s[ACC] = 0.0
        f[ON_T] = -1.0
        return emit(events, count, link, SIGNAL, CLOSED, g)
    return count


@kernel
def step_branch(
    link: int, s: np.ndarray, ring: np.ndarray, f: np.ndarray, g: np.ndarray, active: np.ndarray, v: np.ndarray,
    t: float, dt: float, bad: bool, least: float, events: np.ndarray, count: int,
) -> int:  # fmt: skip
    """The track of the branches: one under the other, lasting, and never leading."""
    a, b = float(v[RF_A]), float(v[RF_B])
    if not (a == a and b == b and max(a, b) >= least + 3.0):
        return count
    if s[DIFF] != s[DIFF]:
        s[DIFF], s[EVEN_T] = 0.0, t
    s[DIFF] += (a - b - s[DIFF]) * dt / (DIFF_S + dt)
    s[LEADS] += ((1.0 if a > b else 0.0) - s[LEADS]) * dt / (LEADS_S + dt)
    a_weak = s[DIFF] < 0.0
    leads = s[LEADS] if a_weak else 1.0 - s[LEADS]
    short = s[SHORT_B] - s[SHORT_A] if a_weak else s[SHORT_A] - s[SHORT_B]
    if short < EVEN_DB:
        s[EVEN_T] = t
    weak, strong = (s[SHORT_A], s[SHORT_B]) if s[SHORT_A] < s[SHORT_B] else (s[SHORT_B], s[SHORT_A])
    weak_was, strong_was = (s[REF_A], s[REF_B]) if s[SHORT_A] < s[SHORT_B] else (s[REF_B], s[REF_A])
    if weak < weak_was - OPEN_CABLE_DB and weak < least + 3.0 and strong > strong_was - EVEN_DB:
        if s[OPEN_CABLE_T] < 0.0:
            s[OPEN_CABLE_T] = t - min(dt, 0.2)
    elif not weak < least + 3.0:
        s[OPEN_CABLE_T] = -1.0
    uneven = abs(s[DIFF]) > UNEVEN_DB and leads < LEADS_SHARE
    if not uneven:
        s[UNEVEN_T] = -1.0
    elif s[UNEVEN_T] < 0.0:
        s[UNEVEN_T] = t
    open_cable = s[OPEN_CABLE_T] >= 0.0 and t - s[OPEN_CABLE_T] >= OPEN_CABLE_S
    if not active[BRANCH]:
        if open_cable or (uneven and t - s[UNEVEN_T] >= UNEVEN_S):
            active[BRANCH] = 1
            begin(f, s, ring, s[OPEN_CABLE_T] if open_cable else max(0.0, s[EVEN_T]))
            gather(f, v, t, dt, bad, False, False, False)
            f[DIFF_BEFORE] = 0.0
            g[:] = f
            return emit(events, count, link, BRANCH, OPENED, f)
        return count
    gather(f, v, t, dt, bad, False, False, False)
    if s[EVEN_T] != t:
        f[LAST_T] = t
        g[:] = f
    if abs(s[DIFF]) < EVEN_DB and t - f[ON_T] > UNEVEN_S:
        active[BRANCH] = 0
        s[OPEN_CABLE_T] = s[UNEVEN_T] = -1.0
        return emit(events, count, link, BRANCH, CLOSED, g)
    return count


@kernel
def step_sound(
    link: int, s: np.ndarray, ring: np.ndarray, f: np.ndarray, g: np.ndarray, active: np.ndarray, v: np.ndarray,
    t: float, dt: float, fine: bool, events: np.ndarray, count: int,
) -> int:  # fmt: skip
    """The track of the audio: dead while the radio is good."""
    audio = float(v[AUDIO])
    if audio != audio:
        return count
    limit = DEAD_DBFS
    if s[ALIVE_T] > 60.0:
        limit = min(DEAD_MOST_DBFS, max(DEAD_LEAST_DBFS, s[AUDIO_LOW] - DEAD_UNDER_DB))
    dead = fine and audio < limit
    if not dead and fine:
        s[ALIVE_T] += min(dt, 1.0)
        if s[AUDIO_LOW] != s[AUDIO_LOW]:
            s[AUDIO_LOW] = audio
        s[AUDIO_LOW] += (0.02 - (1.0 if audio < s[AUDIO_LOW] else 0.0)) * 4.0 * min(dt, 1.0)
    if dead:
        s[DEAD_END] = -1.0
        if s[AUDIO_T] < 0.0:
            s[AUDIO_T] = t - min(dt, 0.2)
            begin(f, s, ring, s[AUDIO_T])
        gather(f, v, t, dt, False, False, False, False)
        f[N_DEAD] += 1.0
        f[LAST_T] = t
        g[:] = f
        if not active[SOUND] and t - s[AUDIO_T] >= DEAD_S:
            active[SOUND] = 1
            return emit(events, count, link, SOUND, OPENED, f)
        return count
    if s[AUDIO_T] >= 0.0:
        if s[DEAD_END] < 0.0:
            s[DEAD_END] = t
        if not active[SOUND] or t - s[DEAD_END] >= DEAD_S:
            s[AUDIO_T] = s[DEAD_END] = -1.0
            if active[SOUND]:
                active[SOUND] = 0
                return emit(events, count, link, SOUND, CLOSED, g)
    return count


@kernel
def step_readings(
    start: int, links: np.ndarray, times: np.ndarray, values: np.ndarray, base: int, state: np.ndarray,
    rings: np.ndarray, gathered: np.ndarray, sure: np.ndarray, active: np.ndarray, levels: np.ndarray,
    laps: np.ndarray, first_span: np.ndarray, spans: np.ndarray, limits: np.ndarray, events: np.ndarray,
) -> tuple[int, int]:  # fmt: skip
    """Take in readings from `start` on: the next one that is not taken in, and how many events were written.

    first_span (l+1,) : a link's spans [ns] are spans[first_span[l] : first_span[l+1]] (m, 2), in order; with none it
    is always judged. limits (l + m, 4) : need, gone, ceiling and where a sag is harmless [dBm], of each link, then of each span.
    It stops early where `events` is full.
    """
    count, many = 0, state.shape[0]
    for row in range(start, times.size):
        if count + 8 > events.shape[0]:
            return row, count
        link = links[row]
        s, v = state[link], values[row]
        t = (times[row] - base) * 1e-9
        dt = t - s[LAST]
        if s[COUNT] > 0.0 and dt <= 0.0:
            s[TWICE if dt == 0.0 else LATE] += 1.0
            continue
        if s[COUNT] == 0.0:
            dt = 0.1
            s[SECOND] = math.floor(t)
            s[GAUGE] = s[QUAL] = s[AUDIO_LOW] = s[REF_A] = s[REF_B] = np.nan
            stop_all(link, s, active[link], sure[link], events, count, 0.0)
        elif s[COUNT] >= 3.0 and dt > max(GAP_PERIODS * s[PERIOD], GAP_S):
            count = stop_all(link, s, active[link], sure[link], events, count, 1.0)
            s[GAPS] += 1.0
            s[GAPPED_S] += dt
            gathered[link, SIGNAL, ON_T] = -1.0
            dt = s[PERIOD]
        elif s[PERIOD] == 0.0:
            s[PERIOD] = dt
        else:
            s[PERIOD] += 0.05 * (min(dt, 3.0 * s[PERIOD]) - s[PERIOD])
        s[LAST] = t
        s[COUNT] += 1.0
        second = int(math.floor(t))
        if second != int(s[SECOND]):
            turn_second(s, rings[link], levels[link], laps[link], second)
        a, b = float(v[RF_A]), float(v[RF_B])
        share = dt / (SHORT_S + dt)
        if a == a:
            s[SUM_A] += a
            s[COUNT_A] += 1.0
            s[SHORT_A] = a if s[SHORT_A] != s[SHORT_A] else s[SHORT_A] + share * (a - s[SHORT_A])
        if b == b:
            s[SUM_B] += b
            s[COUNT_B] += 1.0
            s[SHORT_B] = b if s[SHORT_B] != s[SHORT_B] else s[SHORT_B] + share * (b - s[SHORT_B])
        here = link
        if first_span[link + 1] > first_span[link]:
            place = first_span[link] + int(s[SPAN])
            while place < first_span[link + 1] and times[row] >= spans[place, 1]:
                place += 1
            s[SPAN] = place - first_span[link]
            if place == first_span[link + 1] or times[row] < spans[place, 0]:
                count = stop_all(link, s, active[link], sure[link], events, count, 2.0)
                gathered[link, SIGNAL, ON_T] = -1.0
                continue
            here = many + place
        need, least, ceiling, harmless = limits[here, 0], limits[here, 1], limits[here, 2], limits[here, 3]
        level = a if not b > a else b
        q, muted = float(v[QUALITY]), float(v[MUTED])
        bad = muted == 1.0 or q < BAD_QUALITY or (q != q and muted != muted and level < need)
        gone, over = level < least, level >= ceiling - 1.0
        count = step_signal(
            link, s, rings[link], gathered[link, SIGNAL], sure[link, SIGNAL], active[link], v, t, dt, bad, gone,
            over, harmless, ceiling - NEAR_DB, events, count,
        )  # fmt: skip
        count = step_branch(
            link, s, rings[link], gathered[link, BRANCH], sure[link, BRANCH], active[link], v, t, dt, bad, least,
            events, count,
        )  # fmt: skip
        fine = muted != 1.0 and not gone and (q >= FINE_QUALITY or (q != q and level >= need))
        count = step_sound(
            link, s, rings[link], gathered[link, SOUND], sure[link, SOUND], active[link], v, t, dt, fine, events,
            count,
        )  # fmt: skip
        gauge = float(v[BATTERY])
        if gauge == gauge:
            s[GAUGE] = gauge
        if q == q and s[ACC] < 0.02:
            s[QUAL] = q if s[QUAL] != s[QUAL] else s[QUAL] + 0.05 * (q - s[QUAL])
    return times.size, count


EVENT: int = 3 + FEATURES

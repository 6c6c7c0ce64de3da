"""The loop over readings: one step a reading, whatever batches they come in, so that live and afterwards agree.

Every link has its state (`states`), a ring of the means of its last seconds, and of each track what is gathered of
an episode (`gathered`) and the same as of its last symptom (`sure`). What opens and closes goes to `events`.
"""

from __future__ import annotations

import math

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.watch.diagnose import states as at
from linkwright.watch.log.record import AUDIO, BATTERY, GAP_PERIODS, GAP_S, MUTED, QUALITY, RF_A, RF_B

OPENED, CLOSED = 0, 1


@kernel
def mean_of(ring: np.ndarray, second: int, first: int, last: int) -> float:
    """The mean of the seconds `first` to `last` ago, the mean of the better branch where both are known."""
    total, count = 0.0, 0
    for back in range(first, last + 1):
        best = np.nan
        for branch in range(2):
            value = ring[branch, (second - back) % at.RING]
            if value == value and not best >= value:
                best = value
        if best == best:
            total += best
            count += 1
    return total / count if count else np.nan


@kernel
def branch_mean(ring: np.ndarray, branch: int, second: int, first: int, last: int) -> float:
    """The mean of one branch over the seconds `first` to `last` ago."""
    total, count = 0.0, 0
    for back in range(first, last + 1):
        value = ring[branch, (second - back) % at.RING]
        if value == value:
            total += value
            count += 1
    return total / count if count else np.nan


@kernel
def turn_second(s: np.ndarray, ring: np.ndarray, levels: np.ndarray, laps: np.ndarray, second: int) -> None:
    """Put away the second that is over, note those without readings, and look back for what was usual."""
    was = int(s[at.SECOND])
    a = s[at.SUM_A] / s[at.COUNT_A] if s[at.COUNT_A] > 0 else np.nan
    b = s[at.SUM_B] / s[at.COUNT_B] if s[at.COUNT_B] > 0 else np.nan
    ring[0, was % at.RING], ring[1, was % at.RING] = a, b
    best = a if not b > a else b
    place = was % at.HISTORY
    laps[place] = (was // at.HISTORY) % 250 + 1
    level = min(127, max(1, math.floor(best + 128.5))) if best == best else 0
    levels[place] = level + (at.BROKE if s[at.BROKEN_NOW] > 0.0 else 0)
    s[at.BROKEN_NOW] = 0.0
    for missed in range(max(was + 1, second - at.RING), second):
        ring[0, missed % at.RING], ring[1, missed % at.RING] = np.nan, np.nan
    s[at.SUM_A] = s[at.COUNT_A] = s[at.SUM_B] = s[at.COUNT_B] = 0.0
    s[at.SECOND] = second
    s[at.REF_A], s[at.REF_B] = branch_mean(ring, 0, second, 1, 3), branch_mean(ring, 1, second, 1, 3)
    s[at.HIGHEST] = -np.inf
    for back in range(1, 6):
        for branch in range(2):
            value = ring[branch, (second - back) % at.RING]
            if value == value:
                s[at.HIGHEST] = max(s[at.HIGHEST], value)


@kernel
def begin(f: np.ndarray, s: np.ndarray, ring: np.ndarray, t: float) -> None:
    """Begin to gather an episode: what was usual before."""
    f[:] = 0.0
    second = math.floor(t)
    f[at.ON_T] = f[at.LAST_T] = t
    f[at.BASE_A], f[at.BASE_B] = branch_mean(ring, 0, second, 1, 4), branch_mean(ring, 1, second, 1, 4)
    f[at.PRE_10], f[at.PRE_30] = mean_of(ring, second, 8, 12), mean_of(ring, second, 22, 32)
    f[at.HIGH_L], f[at.LOW_L] = -np.inf, np.inf
    f[at.LOW_GAUGE] = f[at.LAST_GAUGE] = np.nan
    f[at.GAUGE_BEFORE], f[at.QUAL_BEFORE], f[at.DIFF_BEFORE] = s[at.GAUGE], s[at.QUAL], s[at.DIFF]
    f[at.HELD_L], f[at.FLOOR_L], f[at.TOP_L] = s[at.HELD], s[at.LOWEST], s[at.TOP]
    f[at.FLUTTERED], f[at.STEP_L], f[at.LATELY_BEFORE] = s[at.FLUTTERS], s[at.STEP], s[at.LATELY]


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
@kernel
def gather(
    f: np.ndarray, v: np.ndarray, t: float, dt: float, bad: bool, gone: bool, over: bool, sag: bool, breaks: bool
) -> None:
    """Add a reading to what is gathered of an episode; `breaks` where its audio breaks just now: many receivers
    stay muted for a while, and the level of then says nothing of why."""
    a, b, q = float(v[RF_A]), float(v[RF_B]), float(v[QUALITY])
    f[at.N] += 1.0
    f[at.N_BAD] += bad
    f[at.BAD_S] += min(dt, 1.0) if bad else 0.0
    f[at.N_GONE] += gone
    f[at.N_OVER] += over
    f[at.N_SAG] += sag
    f[at.N_MUTED] += v[MUTED] == 1.0
    if a == a:
        f[at.SUM_LA] += a
        f[at.N_LA] += 1.0
    if b == b:
        f[at.SUM_LB] += b
        f[at.N_LB] += 1.0
    level = a if not b > a else b
    if level == level:
        f[at.SUM_L] += level
        f[at.SQ_L] += level * level
        f[at.N_L] += 1.0
        f[at.HIGH_L], f[at.LOW_L] = max(f[at.HIGH_L], level), min(f[at.LOW_L], level)
        if breaks:
            f[at.BAD_L] += level
            f[at.N_BAD_L] += 1.0
            f[at.FINE_L] += f[at.WAIT_L]
            f[at.N_FINE_L] += f[at.N_WAIT_L]
            f[at.WAIT_L] = f[at.N_WAIT_L] = 0.0
        elif not bad and f[at.N_BAD_L] > 0.0:
            f[at.WAIT_L] += level
            f[at.N_WAIT_L] += 1.0
        if gone:
            f[at.SUM_GONE] += level
            f[at.SQ_GONE] += level * level
        if 0.2 <= t - f[at.ON_T] <= 1.2 or f[at.FIRST_N] == 0.0:
            if f[at.FIRST_N] == 1.0 and t - f[at.ON_T] <= 0.8:
                f[at.FIRST_L] = f[at.FIRST_N] = 0.0
            f[at.FIRST_L] += level
            f[at.FIRST_N] += 1.0
        if a == a and b == b:
            f[at.SQ_A] += a * a
            f[at.SQ_B] += b * b
            f[at.AB] += a * b
            f[at.SUM_AB_A] += a
            f[at.SUM_AB_B] += b
            f[at.N_AB] += 1.0
    if q == q:
        f[at.SUM_Q] += q
        f[at.N_Q] += 1.0
    gauge = float(v[BATTERY])
    if gauge == gauge and not gone and not bad:  # with nothing received a gauge says nothing
        f[at.LAST_GAUGE] = gauge
        if not f[at.LOW_GAUGE] <= gauge:
            f[at.LOW_GAUGE] = gauge


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
            sure[track, at.BY_GAP] = by_gap
            count = emit(events, count, link, track, CLOSED, sure[track])
            active[track] = 0
    s[at.ACC] = s[at.DEAD_ACC] = 0.0
    s[at.SAG_SINCE] = s[at.SAG_T] = s[at.UNEVEN_T] = s[at.OPEN_CABLE_T] = s[at.AUDIO_T] = s[at.BAD_SINCE] = s[
        at.DEAD_END
    ] = -1.0
    s[at.SHORT_A] = s[at.SHORT_B] = s[at.DIFF] = np.nan
    s[at.LEADS] = 0.5
    return count


@kernel
def sagging(s: np.ndarray, t: float, dt: float, harmless: float, near: float) -> bool:
    """Whether both branches have fallen together from what they were a moment ago, and are still down.

    A sag down to `harmless` only is none, nor one from `near` the ceiling: there somebody walked away again.
    """
    a, b = s[at.SHORT_A], s[at.SHORT_B]
    best = a if not b > a else b
    if s[at.SAG_T] >= 0.0:
        was = s[at.SAG_A] if not s[at.SAG_B] > s[at.SAG_A] else s[at.SAG_B]
        if not best < was - at.SAG_OVER_DB or best > harmless + at.SAG_OVER_DB or t - s[at.SAG_T] > at.SAG_MOST_S:
            s[at.SAG_T] = -1.0
            s[at.SAG_SINCE] = -1.0
            return False
        return True
    ref = s[at.REF_A] if not s[at.REF_B] > s[at.REF_A] else s[at.REF_B]
    down_a = a < s[at.REF_A] - at.SAG_DB or a != a
    down_b = b < s[at.REF_B] - at.SAG_DB or b != b
    if not (down_a and down_b and best < ref - at.SAG_DB and best <= harmless and s[at.HIGHEST] < near):
        s[at.SAG_SINCE] = -1.0
        return False
    if s[at.SAG_SINCE] < 0.0:
        s[at.SAG_SINCE] = t - min(dt, 0.2)
        s[at.SAG_A], s[at.SAG_B] = s[at.REF_A], s[at.REF_B]
    if t - s[at.SAG_SINCE] >= at.SAG_LEAST_S or dt >= at.SAG_LEAST_S:
        s[at.SAG_T] = s[at.SAG_SINCE]
        return True
    return False


@kernel
def deep_sag(f: np.ndarray, t: float, dt: float, harmless: float) -> bool:
    """Whether a sag that broke no audio is worth telling: lasting, alike on both branches, not far over the
    need."""
    if t - f[at.ON_T] + dt < at.SAG_TELLS_S or f[at.N_L] == 0.0 or f[at.SUM_L] / f[at.N_L] > harmless:
        return False
    a = f[at.BASE_A] - f[at.SUM_LA] / f[at.N_LA] if f[at.N_LA] > 0.0 else np.nan
    b = f[at.BASE_B] - f[at.SUM_LB] / f[at.N_LB] if f[at.N_LB] > 0.0 else np.nan
    most, least = (a, b) if not b > a else (b, a)
    return bool(
        not least < at.SAG_DB - 1.0 and at.SAG_DB <= most <= at.SAG_BODY_DB and not most - least > at.SAG_ALIKE_DB
    )


@kernel
def compare(f: np.ndarray, s: np.ndarray, v: np.ndarray) -> None:
    """Which branch leads, and how far each goes up and down about its own short mean."""
    a, b = float(v[RF_A]), float(v[RF_B])
    f[at.N_A_LEADS] += a > b
    f[at.N_B_LEADS] += b > a
    by_a, by_b = a - s[at.SHORT_A], b - s[at.SHORT_B]
    if by_a == by_a and by_b == by_b:
        f[at.SQ_BY_A] += by_a * by_a
        f[at.SQ_BY_B] += by_b * by_b


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
@kernel
def step_signal(
    link: int, s: np.ndarray, ring: np.ndarray, f: np.ndarray, g: np.ndarray, active: np.ndarray, v: np.ndarray,
    t: float, dt: float, bad: bool, gone: bool, over: bool, harmless: float, near: float,
    events: np.ndarray, count: int,
) -> int:  # fmt: skip
    """The track of the signal: broken audio, nothing received, too much, or a sag."""
    sag = sagging(s, t, dt, harmless, near)
    fine = float(v[QUALITY]) >= 0.8
    if s[at.SAG_T] >= 0.0 and not fine:
        level = float(v[RF_A]) if not v[RF_B] > v[RF_A] else float(v[RF_B])
        was = s[at.SAG_A] if not s[at.SAG_B] > s[at.SAG_A] else s[at.SAG_B]
        gone = gone or level < was - at.VANISHED_DB
    hard = bad or gone
    symptom = hard or sag
    s[at.ACC] *= at.KEEPS_S / (at.KEEPS_S + dt)
    if hard:
        s[at.ACC] += min(dt, 0.5)
    elif sag:
        s[at.ACC] = max(s[at.ACC], 0.03)
    if s[at.ACC] < 0.02 and not active[at.SIGNAL]:
        f[at.ON_T] = -1.0
        return count
    if f[at.ON_T] < 0.0:
        begin(f, s, ring, s[at.SAG_T] if s[at.SAG_T] >= 0.0 and not bad else t)
    if bad and s[at.BAD_SINCE] < 0.0:
        s[at.BAD_SINCE] = t - min(dt, 1.0)
        f[at.RUNS] += 1.0
    gather(f, v, t, dt, bad, gone, over, sag, bad and t - s[at.BAD_SINCE] <= min(dt, 1.0) + at.BREAKS_S)
    f[at.N_BRANCH] += active[at.BRANCH]
    if s[at.FLUTTER] == s[at.FLUTTER] and t - f[at.ON_T] > at.SETTLES_S:
        f[at.SUM_FLUTTER] += s[at.FLUTTER]
        f[at.N_FLUTTER] += 1.0
    compare(f, s, v)
    if bad:
        f[at.LONGEST] = max(f[at.LONGEST], t - s[at.BAD_SINCE])
    else:
        s[at.BAD_SINCE] = -1.0
    if symptom:
        f[at.LAST_T] = t
        f[at.LAST_SECOND_L] = s[at.SHORT_A] if not s[at.SHORT_B] > s[at.SHORT_A] else s[at.SHORT_B]
        g[:] = f
    if not active[at.SIGNAL] and (s[at.ACC] >= at.OPENS_S or (sag and deep_sag(f, t, dt, harmless))):
        active[at.SIGNAL] = 1
        g[:] = f
        return emit(events, count, link, at.SIGNAL, OPENED, f)
    if active[at.SIGNAL] and t - f[at.LAST_T] >= at.QUIET_S:
        active[at.SIGNAL] = 0
        s[at.ACC] = 0.0
        f[at.ON_T] = -1.0
        g[at.LAST_GAUGE] = float(v[BATTERY])
        return emit(events, count, link, at.SIGNAL, CLOSED, g)
    return count


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
@kernel
def step_branch(
    link: int, s: np.ndarray, ring: np.ndarray, f: np.ndarray, g: np.ndarray, active: np.ndarray, v: np.ndarray,
    t: float, dt: float, bad: bool, least: float, events: np.ndarray, count: int,
) -> int:  # fmt: skip
    """The track of the branches: one under the other, lasting, and never leading."""
    a, b = float(v[RF_A]), float(v[RF_B])
    if not (a == a and b == b and max(a, b) >= least + 3.0):
        return count
    if s[at.DIFF] != s[at.DIFF]:
        s[at.DIFF], s[at.EVEN_T] = 0.0, t
    s[at.DIFF] += (a - b - s[at.DIFF]) * dt / (at.DIFF_S + dt)
    if a != b:  # on a meter of few steps nobody leads for much of the time
        s[at.LEADS] += ((1.0 if a > b else 0.0) - s[at.LEADS]) * dt / (at.LEADS_S + dt)
    a_weak = s[at.DIFF] < 0.0
    leads = s[at.LEADS] if a_weak else 1.0 - s[at.LEADS]
    short = s[at.SHORT_B] - s[at.SHORT_A] if a_weak else s[at.SHORT_A] - s[at.SHORT_B]
    if short < at.EVEN_DB:
        s[at.EVEN_T] = t
    weak, strong = (
        (s[at.SHORT_A], s[at.SHORT_B]) if s[at.SHORT_A] < s[at.SHORT_B] else (s[at.SHORT_B], s[at.SHORT_A])
    )
    weak_was, strong_was = (
        (s[at.REF_A], s[at.REF_B]) if s[at.SHORT_A] < s[at.SHORT_B] else (s[at.REF_B], s[at.REF_A])
    )
    if weak < weak_was - at.OPEN_CABLE_DB and weak < least + 3.0 and strong > strong_was - at.EVEN_DB:
        if s[at.OPEN_CABLE_T] < 0.0:
            s[at.OPEN_CABLE_T] = t - min(dt, 0.2)
    elif not weak < least + 3.0:
        s[at.OPEN_CABLE_T] = -1.0
    uneven = abs(s[at.DIFF]) > at.UNEVEN_DB and leads < at.LEADS_SHARE
    if not uneven:
        s[at.UNEVEN_T] = -1.0
    elif s[at.UNEVEN_T] < 0.0:
        s[at.UNEVEN_T] = t
    long = at.UNEVEN_S + at.UNEVEN_LONGER_S * max(0.0, at.UNEVEN_MUCH_DB - abs(s[at.DIFF]))
    open_cable = s[at.OPEN_CABLE_T] >= 0.0 and t - s[at.OPEN_CABLE_T] >= at.OPEN_CABLE_S
    if not active[at.BRANCH]:
        if open_cable or (uneven and t - s[at.UNEVEN_T] >= long):
            active[at.BRANCH] = 1
            begin(f, s, ring, s[at.OPEN_CABLE_T] if open_cable else max(0.0, s[at.EVEN_T]))
            gather(f, v, t, dt, bad, False, False, False, bad)
            f[at.DIFF_BEFORE] = 0.0
            g[:] = f
            return emit(events, count, link, at.BRANCH, OPENED, f)
        return count
    gather(f, v, t, dt, bad, False, False, False, bad)
    if s[at.EVEN_T] != t:
        f[at.LAST_T] = t
        g[:] = f
    if abs(s[at.DIFF]) < at.EVEN_DB and t - f[at.ON_T] > at.UNEVEN_S:
        active[at.BRANCH] = 0
        s[at.OPEN_CABLE_T] = s[at.UNEVEN_T] = -1.0
        return emit(events, count, link, at.BRANCH, CLOSED, g)
    return count


# wide: compiled code takes arrays and numbers
@kernel
def step_sound(
    link: int, s: np.ndarray, ring: np.ndarray, f: np.ndarray, g: np.ndarray, active: np.ndarray, v: np.ndarray,
    t: float, dt: float, fine: bool, long: float, events: np.ndarray, count: int,
) -> int:  # fmt: skip
    """The track of the audio: dead for so long [s] of the last seconds while the radio is good."""
    audio = float(v[AUDIO])
    if audio != audio:
        return count
    limit = at.DEAD_DBFS
    if s[at.ALIVE_T] > 60.0:
        limit = min(at.DEAD_MOST_DBFS, max(at.DEAD_LEAST_DBFS, s[at.AUDIO_LOW] - at.DEAD_UNDER_DB))
    dead = fine and audio < limit
    if not dead and fine:
        s[at.ALIVE_T] += min(dt, 1.0)
        if s[at.AUDIO_LOW] != s[at.AUDIO_LOW]:
            s[at.AUDIO_LOW] = audio
        s[at.AUDIO_LOW] += (0.02 - (1.0 if audio < s[at.AUDIO_LOW] else 0.0)) * 4.0 * min(dt, 1.0)
    s[at.DEAD_ACC] *= at.DEAD_KEEPS_S / (at.DEAD_KEEPS_S + dt)
    if dead:
        s[at.DEAD_ACC] += min(dt, 0.5)
        s[at.DEAD_END] = -1.0
        if s[at.AUDIO_T] < 0.0:
            s[at.AUDIO_T] = t - min(dt, 0.2)
            begin(f, s, ring, s[at.AUDIO_T])
        gather(f, v, t, dt, False, False, False, False, False)
        f[at.N_DEAD] += 1.0
        f[at.LAST_T] = t
        g[:] = f
        if not active[at.SOUND] and s[at.DEAD_ACC] >= long:
            active[at.SOUND] = 1
            return emit(events, count, link, at.SOUND, OPENED, f)
        return count
    if s[at.AUDIO_T] >= 0.0:
        if s[at.DEAD_END] < 0.0:
            s[at.DEAD_END] = t
        if s[at.DEAD_ACC] < at.DEAD_LEAST_S if not active[at.SOUND] else t - s[at.DEAD_END] >= at.ALIVE_S:
            s[at.AUDIO_T] = s[at.DEAD_END] = -1.0
            if active[at.SOUND]:
                active[at.SOUND] = 0
                return emit(events, count, link, at.SOUND, CLOSED, g)
    return count


@kernel
def flutter(s: np.ndarray, a: float, b: float, dt: float) -> None:
    """How far the branches are from their own short means, usually and now, and the least step of the meter."""
    by_a, by_b = abs(a - s[at.SHORT_A]), abs(b - s[at.SHORT_B])
    s[at.FLUTTER] = by_a if by_b != by_b else by_b if by_a != by_a else 0.5 * (by_a + by_b)
    if s[at.FLUTTER] == s[at.FLUTTER] and s[at.ACC] < 0.02:
        if s[at.FLUTTERS] != s[at.FLUTTERS]:
            s[at.FLUTTERS] = s[at.FLUTTER]
        s[at.FLUTTERS] += (s[at.FLUTTER] - s[at.FLUTTERS]) * dt / (at.FLUTTERS_S + dt)
    step = abs(a - s[at.WAS_A])
    if step > at.LEAST_STEP_DB and not step >= s[at.STEP]:
        s[at.STEP] = step
    s[at.WAS_A] = a


@kernel
def pair(s: np.ndarray, t: float, down: bool, broken: bool) -> None:
    """How long after the level the quality falls, where both do: receivers tell the two apart in time."""
    fell = down and t - s[at.DOWN_T] > at.LAG_MOST_S
    broke = broken and t - s[at.BROKEN_T] > at.LAG_MOST_S
    if down:
        s[at.DOWN_T] = t
    if broken:
        s[at.BROKEN_T] = t
    if fell:
        s[at.FELL_T] = t
    if broke:
        s[at.BROKE_T] = t
    if (fell or broke) and abs(s[at.BROKE_T] - s[at.FELL_T]) <= at.LAG_MOST_S:
        s[at.LAGS + int(s[at.PAIRS]) % at.KEPT_LAGS] = s[at.BROKE_T] - s[at.FELL_T]
        s[at.PAIRS] += 1.0
        s[at.FELL_T], s[at.BROKE_T] = at.NEVER_FELL, at.NEVER_BROKE


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
@kernel
def step_readings(
    start: int, links: np.ndarray, times: np.ndarray, values: np.ndarray, base: int, state: np.ndarray,
    rings: np.ndarray, gathered: np.ndarray, sure: np.ndarray, active: np.ndarray, levels: np.ndarray,
    laps: np.ndarray, first_span: np.ndarray, spans: np.ndarray, limits: np.ndarray, events: np.ndarray,
) -> tuple[int, int]:  # fmt: skip
    """Take in readings from `start` on: the next that is not taken in, and how many events were written.

    first_span (l+1,) : a link's spans [ns] are spans[first_span[l] : first_span[l+1]] (m, 2), in order; with none
    it is always judged. limits (l + m, 4) : need, gone, ceiling and where a sag is harmless [dBm], of each link,
    then of each span. It stops early where `events` is full.
    """
    count, many = 0, state.shape[0]
    for row in range(start, times.size):
        if count + 8 > events.shape[0]:
            return row, count
        link = links[row]
        s, v = state[link], values[row]
        t = (times[row] - base) * 1e-9
        dt = t - s[at.LAST]
        if s[at.COUNT] > 0.0 and dt <= 0.0:
            s[at.TWICE if dt == 0.0 else at.LATE] += 1.0
            continue
        if s[at.COUNT] == 0.0:
            dt = 0.1
            s[at.SECOND] = math.floor(t)
            s[at.FELL_T], s[at.BROKE_T] = at.NEVER_FELL, at.NEVER_BROKE
            for place in (at.GAUGE, at.QUAL, at.AUDIO_LOW, at.REF_A, at.REF_B, at.HELD, at.LOWEST, at.FLUTTERS,
                          at.STEP, at.WAS_A):  # fmt: skip
                s[place] = np.nan
            stop_all(link, s, active[link], sure[link], events, count, 0.0)
        elif s[at.COUNT] >= 3.0 and dt > max(GAP_PERIODS * s[at.PERIOD], GAP_S):
            count = stop_all(link, s, active[link], sure[link], events, count, 1.0)
            s[at.GAPS] += 1.0
            s[at.GAPPED_S] += dt
            gathered[link, at.SIGNAL, at.ON_T] = -1.0
            dt = s[at.PERIOD]
        elif s[at.PERIOD] == 0.0:
            s[at.PERIOD] = dt
        else:
            s[at.PERIOD] += 0.05 * (min(dt, 3.0 * s[at.PERIOD]) - s[at.PERIOD])
        s[at.LAST] = t
        s[at.COUNT] += 1.0
        second = math.floor(t)
        if second != int(s[at.SECOND]):
            turn_second(s, rings[link], levels[link], laps[link], second)
        a, b = float(v[RF_A]), float(v[RF_B])
        share = dt / (at.SHORT_S + dt)
        flutter(s, a, b, dt)
        if a == a:
            s[at.SUM_A] += a
            s[at.COUNT_A] += 1.0
            s[at.SHORT_A] = a if s[at.SHORT_A] != s[at.SHORT_A] else s[at.SHORT_A] + share * (a - s[at.SHORT_A])
        if b == b:
            s[at.SUM_B] += b
            s[at.COUNT_B] += 1.0
            s[at.SHORT_B] = b if s[at.SHORT_B] != s[at.SHORT_B] else s[at.SHORT_B] + share * (b - s[at.SHORT_B])
        here = link
        if first_span[link + 1] > first_span[link]:
            place = first_span[link] + int(s[at.SPAN])
            while place < first_span[link + 1] and times[row] >= spans[place, 1]:
                place += 1
            s[at.SPAN] = place - first_span[link]
            if place == first_span[link + 1] or times[row] < spans[place, 0]:
                count = stop_all(link, s, active[link], sure[link], events, count, 2.0)
                gathered[link, at.SIGNAL, at.ON_T] = -1.0
                continue
            here = many + place
        need, least, ceiling, harmless = limits[here, 0], limits[here, 1], limits[here, 2], limits[here, 3]
        level = a if not b > a else b
        q, muted = float(v[QUALITY]), float(v[MUTED])
        # a receiver that told levels, and now nothing but perhaps that it is muted, receives nothing
        untold = level != level and q != q and float(v[AUDIO]) != v[AUDIO] and float(v[BATTERY]) != v[BATTERY]
        silent = untold and muted != 0.0 and s[at.LOWEST] == s[at.LOWEST]
        gone, over = level < least or silent, level >= ceiling - 1.0
        limit = max(at.BAD_QUALITY, min(at.BAD_AT_MOST, 1.0 - at.LOST_S / dt))
        if level >= need + at.WHOLE_OVER_NEED_DB:
            limit = at.BAD_AT_MOST
        bad = muted == 1.0 or q < limit or (q != q and muted != muted and (level < need or silent))
        weaker = b if not b > a else a
        if weaker == weaker and not weaker >= s[at.LOWEST]:
            s[at.LOWEST] = weaker
        if level == level and q >= 0.9 and muted != 1.0:
            if s[at.HELD] != s[at.HELD]:
                s[at.HELD] = level
            s[at.HELD] += (0.02 - (1.0 if level < s[at.HELD] else 0.0)) * 4.0 * min(dt, 1.0)
        if bad and not active[link, at.SIGNAL] and max(s[at.REF_A], s[at.REF_B]) < least + 3.0:
            bad = gone  # it has just come on: its quality follows in a moment
        ref = s[at.REF_A] if not s[at.REF_B] > s[at.REF_A] else s[at.REF_B]
        pair(s, t, level < ref - at.SAG_DB, bad)
        if bad:
            s[at.BROKEN_NOW] = 1.0
        if level > s[at.TOP] or s[at.TOP] == 0.0:
            s[at.TOP] = level
        count = step_signal(
            link, s, rings[link], gathered[link, at.SIGNAL], sure[link, at.SIGNAL], active[link], v, t, dt, bad,
            gone, over, harmless, ceiling - at.NEAR_DB, events, count,
        )  # fmt: skip
        count = step_branch(
            link, s, rings[link], gathered[link, at.BRANCH], sure[link, at.BRANCH], active[link], v, t, dt, bad,
            least, events, count,
        )  # fmt: skip
        fine = muted != 1.0 and not gone and (q >= at.FINE_QUALITY or (q != q and level >= need))
        # just after a break of the radio, and near the need, it may be the radio still
        fine = fine and s[at.ACC] < at.BROKE_LATELY_S
        near_need = not max(s[at.SHORT_A], s[at.SHORT_B]) >= need + at.GOOD_OVER_NEED_DB
        count = step_sound(
            link, s, rings[link], gathered[link, at.SOUND], sure[link, at.SOUND], active[link], v, t, dt, fine,
            at.DEAD_LONG_S if near_need else at.DEAD_S, events, count,
        )  # fmt: skip
        s[at.LATELY] = s[at.LATELY] * at.LATELY_S / (at.LATELY_S + dt) + (min(dt, 1.0) if bad else 0.0)
        gauge = float(v[BATTERY])
        if gauge == gauge and not gone and not bad:
            s[at.GAUGE] = gauge
        if q == q and s[at.ACC] < 0.02:
            s[at.QUAL] = q if s[at.QUAL] != s[at.QUAL] else s[at.QUAL] + 0.05 * (q - s[at.QUAL])
    return times.size, count

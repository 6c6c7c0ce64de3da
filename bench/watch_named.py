"""How often the watch names what went wrong, on logs of seven players; and its weights, learnt from others.

    python -m bench.watch_named learn      # even seeds: writes watch/diagnose/evidence.csv
    python -m bench.watch_named across     # odd seeds of each player, with weights learnt from the others alone
    python -m bench.watch_named            # odd seeds: the table of docs/watch.md

Logs are kept in a folder (`--logs`, some minutes to play at first); empty it when a player has changed.
"""

from __future__ import annotations

import argparse
import csv
import pickle
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from importlib.resources import files
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from tests.watch import airtime, independent, premises, rounds, scoring, second, textbook, varied
from tests.watch.courses import courses
from tests.watch.independent import Fault, Player, Recorded
from tests.watch.textbook import ACCEPTED

from linkwright.watch.diagnose import evidence
from linkwright.watch.diagnose import states as at
from linkwright.watch.diagnose.evidence import ALWAYS, HUNDREDTHS
from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.diagnose.observables import OBSERVED
from linkwright.watch.diagnose.watcher import Episode, Watcher
from linkwright.watch.log.record import SECOND_NS, Batch
from linkwright.watch.play.effects import CAUSES
from linkwright.watch.play.faults import draw_faults
from linkwright.watch.play.simulate import Meter, simulate

F = NDArray[np.float64]
BEGIN_NS = second.BEGIN_NS
#: The penalty on weights, for each example; and how much the sum of a class's examples grows with their number.
PENALTY, GROWS = 0.001, 0.3
#: Penalised weights are too unsure: they are taken this many times. Of 0.85, 1.0, 1.25 and 1.5, 1.25 was best on
#: even seeds of the five players left out whose authors had not read the rules, but left more at "not known".
SURER = 1.4
#: Columns that many logs lack: the observables of each are left out of a copy of some of the examples.
LACKS = {
    "quality": ("quality", "quality_before"), "gauge": ("gauge", "gauge_after"),
    "others": ("fell_along", "fell_most_db", "fell_usually_db", "along_left_db", "along_apart_db", "rose_along",
               "rose_most_db", "near_under_ceiling_db", "came_near_db", "broke_along"),
    "branch": ("alike", "apart_db", "more_apart_db", "apart_before_db", "weaker_over_floor_db", "one_branch",
               "leads", "unevenly"),
}  # fmt: skip
#: Players whose authors had not read the watch's rules, and that have one form.
UNSEEN: dict[str, Callable[..., Recorded]] = {
    "independent": independent.play, "rounds": rounds.play, "premises": premises.play, "airtime": airtime.play,
}  # fmt: skip
#: The player that draws from widest counts twice.
OF_PLAYER = {"varied": 2.0}
#: The first seed of each player's logs; the even ones are learnt from, the odd ones measured.
FIRST = {
    "first": 300, "textbook": 0, "independent": 600, "second": 100, "rounds": 900, "premises": 20, "airtime": 20,
}  # fmt: skip
#: Logs of the varied player for each seed of the others.
VARIED = 24
#: The observables that have to do with a track; all of the signal.
OF_TRACK = {
    "signal": tuple(OBSERVED),
    "branch": ("alike", "apart_db", "more_apart_db", "weaker_over_floor_db", "rough_db", "spread_db", "length_s"),
    "audio": ("bad", "quality", "length_s", "over_need_db", "lately_s"),
}
PLAYERS = ("textbook", "independent", "rounds", "premises", "airtime", "second", "first")
SETS = ("textbook 10", "textbook 5", "textbook 1", "textbook five", "independent 10", "independent 5",
        "independent 1", "rounds 10", "rounds 5", "rounds 1", "premises 10", "premises 5", "premises 1",
        "airtime 10", "airtime 5", "airtime 1", "second 10", "second 2", "first 10")  # fmt: skip
#: What is learnt from besides: the logs as other receivers would have told them, and a player that nothing is
#: measured on.
BESIDES = (*(f"{player} 10 again" for player in PLAYERS), "varied")


def second_played(seed: int, rate_hz: float) -> Recorded:
    """A log of the second simulator in the form of the others'."""
    played = second.play(seed, meter_db=2.0, step_s=1.0 / rate_hz)
    faults = [Fault(t.link, t.cause, t.start_s, t.end_s, "-", t.start_s) for t in played.truth]
    players = [
        Player(
            one.link, one.carrier_khz, one.need_dbm, one.noise_and_interference_dbm, one.wanted_dbm,
            [((a - BEGIN_NS) / SECOND_NS, (b - BEGIN_NS) / SECOND_NS) for a, b in one.spans],
        )
        for one in scoring.expected_of(played)
    ]  # fmt: skip
    return Recorded(
        list(played.names), played.link.astype(np.int32), played.time_s, played.values.astype(np.float32), faults,
        players,
    )  # fmt: skip


def first_played(seed: int, rate_hz: float) -> Recorded:
    """A log of our own player, with severities beyond those that it was made with."""
    made = courses(6)
    faults = draw_faults(made, CAUSES, seed=seed, each_h=15.0, wider=0.3)
    parts = list(simulate(made, faults, seed=seed, rate_hz=rate_hz, meter=Meter(2.0)))
    columns = [np.concatenate([getattr(part, key) for part in parts]) for key in ("link", "time_ns", "values")]
    batch = Batch(parts[0].names, *columns)
    names = list(batch.names)
    time_s = (batch.time_ns - BEGIN_NS) / SECOND_NS
    broken = (batch.values[:, 5] == 1.0) | (batch.values[:, 3] < 0.5) | (batch.values[:, 2] < -80.0)
    told = []
    for fault in faults:
        span = ((fault.from_ns - BEGIN_NS) / SECOND_NS, (fault.to_ns - BEGIN_NS) / SECOND_NS)
        mine = broken & (batch.link == names.index(fault.link)) & (time_s >= span[0]) & (time_s <= span[1])
        breaks = float(time_s[np.argmax(mine)]) if mine.any() else None
        told.append(Fault(fault.link, fault.cause, *span, "-", breaks))
    players = [
        Player(e.link, e.carrier_khz, e.need_dbm, e.noise_and_interference_dbm, e.wanted_dbm, [])
        for e in (one.expected for one in made)
    ]
    return Recorded(names, batch.link, time_s, batch.values, told, players)


def play(which: str, seed: int, faults: bool = True) -> Recorded:
    player, _, rate = which.partition(" ")
    if rate == "10 again":
        return varied.read_by_another(play(f"{player} 10", seed, faults), seed)
    if player == "varied":
        return varied.play(seed)
    if player == "first":
        return first_played(seed, float(rate))
    if player == "second":
        return second_played(seed, float(rate))
    if player in UNSEEN:
        return UNSEEN[player](seed, rate_hz=float(rate), faults=faults)
    meter = {"five": "five"}.get(rate, "any")
    return textbook.play(seed, rate_hz=5.0 if rate == "five" else float(rate), faults=faults, meter=meter)


def kept(folder: Path, which: str, seed: int, faults: bool = True) -> Recorded:
    """A played log, from the folder where it is there."""
    path = folder / f"{which.replace(' ', '_')}{'' if faults else '_clean'}_{seed}.pickle"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(play(which, seed, faults)))
    return pickle.loads(path.read_bytes())  # type: ignore[no-any-return]


def ns(time_s: float) -> int:
    return BEGIN_NS + round(time_s * SECOND_NS)


def watched(played: Recorded, plan: bool, worst_db: float = 0.0) -> Watcher:
    """The watch after a log; worst_db : what the plan takes as its worst case over thermal noise."""
    expected = [
        Expected(
            one.link, "Call", tuple((ns(a), ns(b)) for a, b in one.spans), one.carrier_khz, one.worst_dbm,
            one.noise_dbm + worst_db, one.need_dbm - one.noise_dbm,
            noise_dbm=one.noise_dbm if worst_db else None,
        )
        for one in played.players
    ]  # fmt: skip
    watcher = Watcher(expected if plan else ())
    times = BEGIN_NS + (played.time_s * 1000.0).round().astype("int64") * (SECOND_NS // 1000)
    watcher.add(Batch(tuple(played.links), played.link, times, played.values))
    watcher.finish()
    return watcher


def told_of(fault: Fault, episodes: Sequence[Episode]) -> Episode | None:
    """The episode that tells a fault: of its own track before others, the longest in it."""
    start, end = ns(fault.start_s - scoring.AROUND_S), ns(fault.end_s + scoring.AROUND_S)
    track = {"audio-path": "audio", "antenna": "branch"}.get(fault.cause, "signal")
    inside = [e for e in episodes if e.link == fault.link and e.from_ns <= end and e.to_ns >= start]
    mine = [e for e in inside if e.track == track] or inside
    return max(mine, key=lambda e: min(e.to_ns, end) - max(e.from_ns, start), default=None)


def is_right(cause: str, told: str) -> bool:
    return told in ACCEPTED.get(cause, {cause})


# Learning


def seeds_of(which: str, many: int, odd: bool) -> range:
    if which == "varied":
        return range(VARIED * many)
    first = FIRST[which.partition(" ")[0]] + odd
    return range(first, first + 2 * many, 2)


def examples(folder: Path, sets: Sequence[str], many: int) -> Iterator[tuple[str, str, str, F]]:
    """Player, track, cause and observables of what could be heard, with a plan and without."""
    for which in sets:
        for seed in seeds_of(which, many, odd=False):
            yield from examples_of(which, kept(folder, which, seed))


def examples_of(which: str, played: Recorded) -> Iterator[tuple[str, str, str, F]]:
    """The same of one log."""
    player = which.partition(" ")[0]
    for plan in (True, False):
        watcher = watched(played, plan)
        observed = watcher.raw_observed()
        episodes = watcher.all_episodes()
        for fault in played.faults:
            if fault.breaks_at_s is None and fault.cause != "antenna":
                continue
            inside = [told_of(fault, [e for e in episodes if e.track == track]) for track in at.TRACKS]
            for episode in filter(None, inside):
                # nothing in its own readings tells a product from somebody else
                cause = "interference" if fault.cause == "intermodulation" else fault.cause
                if episode.track == "branch" and cause != "antenna":
                    cause = "unknown"
                if episode.track == "audio" and cause != "audio-path":
                    cause = "unknown"
                if episode.track == "signal" and (cause == "audio-path" or fault.breaks_at_s is None):
                    continue
                yield player, episode.track, cause, observed[episode.number]
        for episode in episodes:
            if not any(_near(fault, episode) for fault in played.faults) and episode.track != "signal":
                yield player, episode.track, "unknown", observed[episode.number]


def _near(fault: Fault, episode: Episode) -> bool:
    same = fault.link == episode.link
    return same and episode.from_ns <= ns(fault.end_s + 5.0) and episode.to_ns >= ns(fault.start_s - 5.0)


def design(observed: F) -> F:
    """Examples (n, observables) as regressors: how far each lies at each knot, centred so that none is nothing."""
    parts = []
    for value, (knots, _) in zip(observed.T, OBSERVED.values(), strict=True):
        low, high = np.array(knots[:-1]), np.array(knots[1:])
        # steps between knots: weights that are alike at neighbouring knots cost least
        parts.append(np.nan_to_num(np.clip((value[:, None] - low) / (high - low), 0.0, 1.0) - 0.5, nan=0.0))
    return np.concatenate(parts, axis=1)


def fitted(x: F, y: NDArray[np.int64], weight: F, classes: int) -> tuple[F, F]:
    """Penalised multinomial regression: intercepts (k,) and weights (m, k)."""
    n, m = x.shape
    one = np.zeros((n, classes))
    one[np.arange(n), y] = 1.0

    def loss(flat: F) -> tuple[float, F]:
        b, w = flat[:classes], flat[classes:].reshape(m, classes)
        z = x @ w + b
        z -= z.max(axis=1, keepdims=True)
        p = np.exp(z)
        p /= p.sum(axis=1, keepdims=True)
        likely = weight * np.log(np.maximum(p[np.arange(n), y], 1e-12))
        value = 0.5 * n * PENALTY * float((w * w).sum()) - float(likely.sum())
        d = (p - one) * weight[:, None]
        return value, np.concatenate([d.sum(axis=0), (x.T @ d + n * PENALTY * w).ravel()])

    found = minimize(loss, np.zeros(classes + m * classes), jac=True, method="L-BFGS-B", options={"maxiter": 300})
    return found.x[:classes], found.x[classes:].reshape(m, classes)


def learnt(
    all_examples: Sequence[tuple[str, str, str, F]], seed: int = 1, tracks: Sequence[str] = at.TRACKS
) -> list[list[str]]:
    """The rows of evidence.csv."""
    rng = np.random.default_rng(seed)
    rows = [["track", "observable", "cause", "weights at the knots, in hundredths"]]
    for track in tracks:
        mine = [(player, cause, seen) for player, where, cause, seen in all_examples if where == track]
        causes = sorted({cause for _, cause, _ in mine})
        observed = np.array([seen for _, _, seen in mine])
        y = np.array([causes.index(cause) for _, cause, _ in mine])
        count = Counter((player, cause) for player, cause, _ in mine)
        having = Counter(cause for _, cause in count)
        weight = np.array([count[p, c] ** (GROWS - 1.0) / having[c] * OF_PLAYER.get(p, 1.0) for p, c, _ in mine])
        weight *= len(mine) / weight.sum()
        lacking = observed.copy()
        names = list(OBSERVED)
        for columns in LACKS.values():
            without = rng.random(len(mine)) < 0.4
            columns_of = np.array([names.index(name) for name in columns], dtype=np.intp)
            lacking[np.ix_(np.flatnonzero(without), columns_of)] = np.nan
        apart = [n for n, name in enumerate(names) if name not in OF_TRACK[track]]
        observed[:, apart] = lacking[:, apart] = np.nan
        bias, w = fitted(
            design(np.where(rng.random((len(mine), 1)) < 0.5, lacking, observed)), y, weight, len(causes)
        )
        for k, cause in enumerate(causes):
            rows.append([track, ALWAYS, cause, f"{round(SURER * bias[k] * HUNDREDTHS)}"])
        begin = 0
        for name, (knots, _) in OBSERVED.items():
            steps = w[begin : begin + len(knots) - 1]
            begin += len(knots) - 1
            if name not in OF_TRACK[track]:
                continue
            line = np.concatenate([np.zeros((1, len(causes))), np.cumsum(steps, axis=0)]) - 0.5 * steps.sum(axis=0)
            for k, cause in enumerate(causes):
                rows.append([track, name, cause, *(f"{round(SURER * v * HUNDREDTHS)}" for v in line[:, k])])
    return rows


# Measuring


Told = tuple[str, str, float]


def score(folder: Path, which: str, seeds: Sequence[int], plan: bool, worst_db: float = 0.0) -> list[Told]:
    """Played, told and its probability, of every fault that could be heard."""
    found = []
    for seed in seeds:
        played = kept(folder, which, seed)
        episodes = watched(played, plan, worst_db).episodes()
        for fault in played.faults:
            if fault.breaks_at_s is not None:
                episode = told_of(fault, episodes)
                told = ("none", 0.0) if episode is None else (episode.cause, episode.probability)
                found.append((fault.cause, *told))
    return found


def lines_of(what: str, found: Sequence[Told], full: bool) -> Iterator[str]:
    hits = sum(is_right(cause, told) for cause, told, _ in found)
    low, high = scoring.interval(hits, len(found))
    yield f"{what}: {hits} of {len(found)}, {hits / max(1, len(found)):.3f} ({low:.3f}..{high:.3f})"
    of, right = Counter(c for c, _, _ in found), Counter(c for c, t, _ in found if is_right(c, t))
    yield "   " + ", ".join(f"{cause} {right[cause]}/{of[cause]}" for cause in sorted(of))
    if full:
        yield scoring.table(Counter((cause, told) for cause, told, _ in found))
        sure = [(p, is_right(c, t)) for c, t, p in found if t not in ("none", "unknown")]
        for tenth in range(3, 10):
            inside = [(p, r) for p, r in sure if tenth / 10 <= p < (tenth + 1) / 10 + 1e-9]
            if inside:
                right_, many = sum(r for _, r in inside), len(inside)
                low, high = scoring.interval(right_, many)
                mean = sum(p for p, _ in inside) / many
                yield f"   told {mean:.2f}: right {right_ / many:.2f} ({low:.2f}..{high:.2f}), {many}"


def across(folder: Path, sets: Sequence[str], many: int, full: bool, odd: bool) -> None:
    """Every player told by weights that were learnt from the others alone: what to expect of one not seen.
    On its even seeds (not `odd`) while something is tried."""
    of_set = {which: list(examples(folder, [which], many)) for which in (*SETS, *BESIDES)}
    for player in PLAYERS:
        rows = learnt([one for which, some in of_set.items() if not which.startswith(player) for one in some])
        vars(evidence)["table"] = {track: evidence.tables(rows[1:], track) for track in at.TRACKS}.__getitem__
        for which in (one for one in sets if one.startswith(player)):
            for plan in (True, False):
                found = score(folder, which, seeds_of(which, many, odd), plan)
                for line in lines_of(f"left out: {which}, {'with' if plan else 'without'} a plan", found, full):
                    print(line, flush=True)


def alarms_of(folder: Path, which: str, seeds: Sequence[int], plan: bool) -> str:
    """Alarms on clean logs, an hour and link."""
    hours, found = 0.0, Counter[tuple[str, bool]]()
    for seed in seeds:
        played = kept(folder, which, seed, faults=False)
        hours += (played.time_s[-1] / 3600.0) * len(played.links)
        found += Counter((episode.cause, episode.heard) for episode in watched(played, plan).episodes())
    return f"clean {which}, plan {plan}: {found.total() / hours:.2f} an hour and link, {dict(found)}"


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("what", nargs="?", default="measure", choices=["learn", "across", "measure"])
    ask.add_argument("--logs", type=Path, default=Path("/tmp/watch_logs"))
    ask.add_argument("--seeds", type=int, default=12)
    ask.add_argument("--sets", default=",".join(SETS))
    ask.add_argument("--full", action="store_true")
    ask.add_argument("--even", action="store_true", help="across: measure on even seeds, while something is tried")
    given = ask.parse_args()
    sets = given.sets.split(",")
    if given.what == "learn":
        rows = learnt(list(examples(given.logs, (*SETS, *BESIDES), given.seeds)))
        with Path(str(files("linkwright.watch.diagnose").joinpath("evidence.csv"))).open("w", newline="") as out:
            csv.writer(out, lineterminator="\n").writerows(rows)
        return
    if given.what == "across":
        across(given.logs, sets, given.seeds, given.full, not given.even)
        return
    for which in sets:
        for plan in (True, False):
            found = score(given.logs, which, seeds_of(which, given.seeds, odd=True), plan)
            for line in lines_of(f"{which}, {'with' if plan else 'without'} a plan", found, given.full):
                print(line, flush=True)
    for which in ("textbook 10", "independent 10"):
        for plan in (True, False):
            print(alarms_of(given.logs, which, seeds_of(which, 4, odd=True), plan), flush=True)


if __name__ == "__main__":
    main()

"""How diagnoses are scored: what was played against what was told, and intervals of shares."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from scipy.stats import beta
from tests.watch.second import BEGIN_NS, FLOOR_DBM, NEED_DBM, Played, Truth

from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.diagnose.watcher import Episode
from linkwright.watch.log.record import SECOND_NS, Batch

#: A cause shows a little before and after itself [s].
AROUND_S = 3.0
#: The talents' carriers [kHz], 1 MHz times the marks of a Golomb ruler: no product of theirs falls on one of them.
#: "Guest" and "Host" come on where 2 Guest - Host falls on the one that they hit.
CARRIERS_KHZ = tuple(570_000 + 1000 * mark for mark in (0, 1, 4, 10, 12, 17))
GUEST_OVER_KHZ, HOST_OVER_KHZ = 5_500, 11_000


def batch_of(played: Played) -> Batch:
    """What was played, as the watch takes it."""
    time_ns = BEGIN_NS + np.round(played.time_s * 1000.0).astype(np.int64) * (SECOND_NS // 1000)
    values = played.values.astype(np.float32)
    return Batch(tuple(played.names), played.link.astype(np.int32), time_ns, values)


def expected_of(played: Played) -> tuple[Expected, ...]:
    """Who transmits what and when: the talents always, the two others while they are on."""
    noise, required = FLOOR_DBM, NEED_DBM - FLOOR_DBM
    # the plan takes a link to be good down to 8 dB over its need: a sag to there is nothing to tell
    carriers = dict(zip((name for name in played.names if name not in played.on), CARRIERS_KHZ, strict=False))
    found = [Expected(name, "Call", (), khz, NEED_DBM + 8.0, noise, required) for name, khz in carriers.items()]
    hits = [truth for truth in played.truth if truth.cause == "intermodulation"]
    for name, over in (("Guest", GUEST_OVER_KHZ), ("Host", HOST_OVER_KHZ)):
        for n, truth in enumerate(hits):
            span = (BEGIN_NS + int(truth.start_s * 1e9), BEGIN_NS + int(truth.end_s * 1e9))
            found.append(
                Expected(name, f"Visit {n}", (span,), carriers[truth.link] + over, NEED_DBM + 8.0, noise, required)
            )
        if not hits:
            never = ((BEGIN_NS - 10, BEGIN_NS - 1),)
            found.append(Expected(name, "Visit", never, 560_000, NEED_DBM + 8.0, noise, required))
    return tuple(found)


def told_of(truth: Truth, episodes: Sequence[Episode]) -> str:
    """The cause that was told of what was played: of the episode that lasts longest in it; "none" without one."""
    start, end = (BEGIN_NS + round(t * SECOND_NS) for t in (truth.start_s - AROUND_S, truth.end_s + AROUND_S))
    track = {"audio-path": "audio", "antenna": "branch"}.get(truth.cause, "signal")
    inside = [e for e in episodes if e.link == truth.link and e.from_ns <= end and e.to_ns >= start]
    mine = [e for e in inside if e.track == track] or inside
    if not mine:
        return "none"
    return max(mine, key=lambda e: min(e.to_ns, end) - max(e.from_ns, start)).cause


def confusion(played: Sequence[tuple[Played, Sequence[Episode]]]) -> Counter[tuple[str, str]]:
    """How often each cause was told for each that was played."""
    return Counter((t.cause, told_of(t, episodes)) for one, episodes in played for t in one.truth)


def false_alarms(played: Played, episodes: Sequence[Episode]) -> int:
    """Episodes of the victims that have nothing to do with anything played."""
    near = round(AROUND_S * SECOND_NS)

    def played_in(e: Episode) -> bool:
        return any(
            t.link == e.link
            and e.from_ns <= BEGIN_NS + t.end_s * SECOND_NS + near
            and e.to_ns >= BEGIN_NS + t.start_s * SECOND_NS - near
            for t in played.truth
        )

    return sum(not played_in(e) for e in episodes if e.link not in played.on)


def interval(hits: int, of: int, level: float = 0.95) -> tuple[float, float]:
    """Clopper and Pearson's interval of a share."""
    tail = (1.0 - level) / 2.0
    low = 0.0 if hits == 0 else float(beta.ppf(tail, hits, of - hits + 1))
    high = 1.0 if hits == of else float(beta.ppf(1.0 - tail, hits + 1, of - hits))
    return low, high


def table(found: Counter[tuple[str, str]]) -> str:
    """The confusion matrix as text, for whoever reads a failure."""
    causes = sorted({cause for cause, _ in found})
    told = sorted({cause for _, cause in found})
    rows = [f"{'':16s}" + " ".join(f"{one[:7]:>7s}" for one in told)]
    for cause in causes:
        rows.append(f"{cause:16s}" + " ".join(f"{found[(cause, one)] or '.':>7}" for one in told))
    return "\n".join(rows)

"""How much a recording's losses say about an episode: whether the audio broke, and for what cause that speaks.

What is heard in a track that is laid along the link comes as one of a few patterns. How often each cause leaves
each pattern is assumed (docs/watch.md); a cause's share is multiplied by that, and all sum to one again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from linkwright.lengths import clock
from linkwright.watch.align.breaks import LinkBreaks
from linkwright.watch.align.recordings import SILENCE, Laid, Loss
from linkwright.watch.diagnose.answers import retold
from linkwright.watch.diagnose.causes import CAUSES, UNKNOWN_SOUND
from linkwright.watch.diagnose.watcher import Episode
from linkwright.watch.log.record import SECOND_NS

#: Losses nearer to each other than this are one [s]; and one of this length and more is long (as for multipath).
ONE_LOSS_S: Final = 0.05
LONG_S: Final = 0.9
#: The patterns of a signal episode: no loss, one short, several short, a long one; of an audio episode: nothing,
#: losses of the radio's kind, digital silence for most of it. How often each cause leaves each is in the table.
HELD, ONE_SHORT, SHORT, LONG = range(4)
NOTHING, RADIO, SILENT = range(3)
SIGNAL: Final = {cause.name: cause.pattern for cause in CAUSES.values() if cause.track != "audio"}
SOUND: Final = {cause.name: cause.pattern for cause in CAUSES.values() if cause.track == "audio"} | {
    "unknown": UNKNOWN_SOUND
}
#: Digital silence for this share of an episode is a track that went silent.
SILENT_SHARE: Final = 0.5
#: Where readings with quality or mute come fast, the recording says again what the watch was told: its likelihoods
#: count with this power (assumed), else in full.
TOLD_TWICE: Final = 0.3
#: A track that has this share of the log's breaks can be believed where it has none.
BELIEVED: Final = 0.8
#: The least share of "unknown" that is reckoned with where the episode does not list it.
LEAST_UNKNOWN: Final = 1e-3


def weighed(episodes: Sequence[Episode], laid: Sequence[Laid], breaks: Sequence[LinkBreaks]) -> tuple[Episode, ...]:
    """The episodes with what the recordings say of each."""
    by_link: dict[str, list[Laid]] = {}
    for track in laid:
        by_link.setdefault(track.link, []).append(track)
    links = {link.link: link for link in breaks}
    return tuple(
        _weighed(episode, by_link[episode.link], links[episode.link]) if episode.link in by_link else episode
        for episode in episodes
    )


def spans_of(episodes: Sequence[Episode]) -> dict[str, list[tuple[int, int]]]:
    """From when to when each link's episodes last [ns]."""
    spans: dict[str, list[tuple[int, int]]] = {}
    for episode in episodes:
        spans.setdefault(episode.link, []).append((episode.from_ns, episode.to_ns))
    return spans


def _weighed(episode: Episode, tracks: Sequence[Laid], link: LinkBreaks) -> Episode:
    """One episode with what its link's tracks say: the surest of those that have all of it or any loss in it."""
    having = [(track, track.inside(episode.from_ns, episode.to_ns)) for track in tracks]
    told = [(track, inside) for track, inside in having if inside or track.covers(episode.from_ns, episode.to_ns)]
    if not told:
        return episode
    laid, inside = max(
        told, key=lambda pair: (pair[0].covers(episode.from_ns, episode.to_ns), pair[0].aligned.matched)
    )
    unsaid = link.says_nothing(episode.from_ns, episode.to_ns)
    whole = laid.covers(episode.from_ns, episode.to_ns)
    heard_too = episode
    if whole and not laid.also:
        heard_too = _shared(episode, laid, inside, unsaid)
    if inside:
        return replace(heard_too, because=heard_too.because + _has(laid, inside), heard=True)
    return _held(heard_too, laid, unsaid) if whole and not laid.also else heard_too


def _has(laid: Laid, inside: Sequence[Loss]) -> str:
    many = "a fault" if len(inside) == 1 else f"{len(inside)} faults"
    return f" {laid.track.name}, track {laid.track.channel}, has {many} then, from {clock(inside[0][0])}."


def _held(episode: Episode, laid: Laid, unsaid: bool) -> Episode:
    """An episode that a track goes through without a loss."""
    near = round(laid.near_s * SECOND_NS)
    suspect = any(episode.from_ns - near <= laid.time_ns(at) <= episode.to_ns + near for at in laid.track.suspects)
    if suspect or laid.seen < BELIEVED or episode.track == "audio":
        return episode
    says = f" {laid.track.name}, track {laid.track.channel}, goes through it without a loss"
    if not unsaid:
        return replace(episode, because=f"{episode.because}{says}.")
    says += ": the audio held; the receiver said neither quality nor mute."
    return replace(episode, because=episode.because + says, heard=False)


def _shared(episode: Episode, laid: Laid, inside: Sequence[Loss], unsaid: bool) -> Episode:
    """The episode with its causes' shares weighed."""
    if episode.track == "branch":
        return episode
    if episode.track == "audio":
        table, pattern = SOUND, sound_pattern(inside, (episode.to_ns - episode.from_ns) / SECOND_NS)
    else:
        table, pattern = SIGNAL, signal_pattern(inside)
    power = TOLD_TWICE if laid.fast and not unsaid and episode.track == "signal" else 1.0
    causes = posterior(episode.causes, table, pattern, laid.seen, power)
    return retold(episode, causes, "")


def runs_of(inside: Sequence[Loss]) -> list[tuple[float, float]]:
    """Losses as runs (begin, end) [s], those that are near to each other joined."""
    runs: list[tuple[float, float]] = []
    for at, length, _ in sorted(inside):
        if runs and at <= runs[-1][1] + ONE_LOSS_S:
            runs[-1] = (runs[-1][0], max(runs[-1][1], at + length))
        else:
            runs.append((at, at + length))
    return runs


def signal_pattern(inside: Sequence[Loss]) -> int:
    """Which pattern the losses in a signal episode make."""
    runs = runs_of(inside)
    if not runs:
        return HELD
    if max(end - begin for begin, end in runs) >= LONG_S:
        return LONG
    return ONE_SHORT if len(runs) == 1 else SHORT


def sound_pattern(inside: Sequence[Loss], length_s: float) -> int:
    """Which pattern the losses in an audio episode make: silence that lasts is no loss of the radio."""
    silent = sum(length for _, length, kind in inside if kind in (SILENCE, "mute"))
    if inside and silent >= SILENT_SHARE * max(length_s, LONG_S) and len(runs_of(inside)) == 1:
        return SILENT
    return RADIO if any(kind != SILENCE for _, _, kind in inside) else NOTHING


def posterior(
    causes: Sequence[tuple[str, float]], table: Mapping[str, tuple[float, ...]], pattern: int, seen: float,
    power: float,
) -> tuple[tuple[str, float], ...]:  # fmt: skip
    """Shares of the causes after a pattern was heard, the greatest first; they sum to one with "unknown".

    seen : how much of what breaks the track has at all; what it misses looks as if nothing had (pattern 0).
    """
    shares = dict(causes)
    shares.setdefault("unknown", max(LEAST_UNKNOWN, 1.0 - sum(shares.values())))

    def likely(cause: str) -> float:
        row = table.get(cause, table["unknown"])
        return row[0] + (1.0 - seen) * (1.0 - row[0]) if pattern == 0 else seen * row[pattern]

    weights = {cause: share * likely(cause) ** power for cause, share in shares.items()}
    total = sum(weights.values())
    return tuple(sorted(((cause, weight / total) for cause, weight in weights.items()), key=lambda pair: -pair[1]))

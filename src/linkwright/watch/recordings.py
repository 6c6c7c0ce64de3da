"""What recordings add to a log: their clocks, and the faults in them that belong to an episode or to none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from linkwright.units import clock
from linkwright.watch.clocks import Aligned, NotAligned, align, breaks_of
from linkwright.watch.record import SECOND_NS, Log, iso_of
from linkwright.watch.watcher import Episode

#: A fault in a recording belongs to an episode that is this near [s] (PHYSICS: within 100 ms).
NEAR_S: Final = 0.1
#: Kinds of faults that the loss of a radio link leaves.
LOSSES: Final = ("mute", "hold", "repeat", "hole")


@dataclass(frozen=True, slots=True)
class TrackFaults:
    """A track of a recording with its faults: name of the file, channel from 1, and (at_s, length_s, kind)."""

    name: str
    channel: int
    faults: tuple[tuple[float, float, str], ...]

    @property
    def losses(self) -> tuple[tuple[float, float, str], ...]:
        """Those that the loss of a radio link leaves."""
        return tuple(fault for fault in self.faults if fault[2] in LOSSES)


@dataclass(frozen=True, slots=True)
class Laid:
    """A track laid along a link's log: how its clock goes, and how many of its losses lie in an episode."""

    track: TrackFaults
    link: str
    aligned: Aligned
    base_ns: int
    explained: int
    alone: tuple[tuple[float, float, str], ...]

    def time_ns(self, at_s: float) -> int:
        """A time of the recording on the log's clock [ns, UTC]."""
        return self.base_ns + round(self.aligned.log_s(at_s) * SECOND_NS)

    def document(self) -> dict[str, Any]:
        """As `diagnose --json` gives it."""
        return {
            "path": self.track.name, "channel": self.track.channel, "link": self.link,
            "begins": iso_of(self.time_ns(0.0)), "drift_ppm": round(self.aligned.drift_ppm, 1),
            "matched": self.aligned.matched, "confidence": round(self.aligned.confidence, 6),
            "explained": self.explained,
            "unexplained": [{"at_s": round(a, 3), "length_s": round(n, 3), "kind": k} for a, n, k in self.alone],
        }  # fmt: skip


def lay(
    log: Log, tracks: Sequence[TrackFaults], episodes: Sequence[Episode]
) -> tuple[tuple[Episode, ...], tuple[Laid, ...], tuple[str, ...]]:
    """Episodes with what the recordings say of them, the tracks that could be laid, and why others could not."""
    laid: list[Laid] = []
    told: list[str] = []
    base = min((int(track.time_ns[0]) for track in log.tracks if track.time_ns.size), default=0)
    for track in tracks:
        found: list[tuple[str, Aligned]] = []
        why = NotAligned("the log has no breaks")
        for link in log.tracks:
            answer = align(breaks_of(link, base).tolist(), [at for at, _, _ in track.losses])
            if isinstance(answer, Aligned):
                found.append((link.link, answer))
            else:
                why = answer
        if not found:
            told.append(f"{track.name}, track {track.channel}, could not be laid along any link: {why.why}")
            continue
        name, aligned = max(found, key=lambda one: (one[1].matched, one[1].confidence))
        laid.append(_explained(track, name, aligned, base, episodes))
    return tuple(_with(one, laid) for one in episodes), tuple(laid), tuple(told)


def _explained(track: TrackFaults, link: str, aligned: Aligned, base: int, episodes: Sequence[Episode]) -> Laid:
    laid = Laid(track, link, aligned, base, 0, ())
    mine = [one for one in episodes if one.link == link]
    alone = tuple(fault for fault in track.losses if not any(_within(one, laid, fault) for one in mine))
    return replace(laid, explained=len(track.losses) - len(alone), alone=alone)


def _within(episode: Episode, laid: Laid, fault: tuple[float, float, str]) -> bool:
    near = round(NEAR_S * SECOND_NS)
    return (
        laid.time_ns(fault[0]) <= episode.to_ns + near
        and laid.time_ns(fault[0] + fault[1]) >= episode.from_ns - near
    )


def _with(episode: Episode, laid: Sequence[Laid]) -> Episode:
    """The episode with the losses that are heard of it."""
    for one in laid:
        if one.link == episode.link:
            inside = [fault for fault in one.track.losses if _within(episode, one, fault)]
            if inside:
                many = "a fault" if len(inside) == 1 else f"{len(inside)} faults"
                says = f" {one.track.name}, track {one.track.channel}, has {many} then, from {clock(inside[0][0])}."
                return replace(episode, because=episode.because + says, heard=True)
    return episode

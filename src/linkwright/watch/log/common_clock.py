"""The time that the receivers agree on: one whose clock runs years ahead does not make "now" for all."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.watch.log.record import SECOND_NS, Batch

#: Clocks that are this far apart do not tell the same day [ns].
DAY_NS: Final = 86_400 * SECOND_NS
#: Who has said nothing for so long has no voice [s].
VOICE_S: Final = 10.0


@dataclass
class Agreed:
    """What most links that are heard say the time is; where as many say another, what is nearer to this computer's.

    A reading more than a day after that is not believed; one before it is an old one, and may be.
    """

    now_ns: int = 0
    _said: dict[str, tuple[int, float]] = field(default_factory=dict)

    def hear(self, batch: Batch, now_s: float, clock_ns: int) -> np.ndarray:
        """Which readings (n,) of a batch to believe. `now_s` only goes forward, `clock_ns` is this computer's."""
        newest = np.zeros(len(batch.names), dtype=np.int64)
        np.maximum.at(newest, batch.link, batch.time_ns)
        if self.now_ns and bool((np.abs(newest[batch.link] - self.now_ns) < DAY_NS).all()):
            self._said.update((name, (int(ns), now_s)) for name, ns in zip(batch.names, newest, strict=True) if ns)
            self.now_ns = max(self.now_ns, int(newest.max()))
            return np.ones(len(batch), dtype=bool)
        self._said = {name: said for name, said in self._said.items() if now_s - said[1] <= VOICE_S}
        self._said.update((name, (int(ns), now_s)) for name, ns in zip(batch.names, newest, strict=True) if ns)
        times = np.sort(np.array([ns for ns, _ in self._said.values()], dtype=np.int64))
        voices = np.searchsorted(times, times, side="right") - np.searchsorted(times, times - DAY_NS, side="left")
        most = times[voices == voices.max()]
        self.now_ns = int(most[np.argmin(np.abs(most - clock_ns))])
        return np.asarray(batch.time_ns <= self.now_ns + DAY_NS)

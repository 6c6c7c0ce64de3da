"""Nothing on a track: a transmitter that is off, a microphone without its plug, a channel that nobody armed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.sound.fault import Fault
from linkwright.units import SampleArray

#: A piece [s], and the level under which no open microphone with a gain for voices stays [dBFS rms, DC left out]
#: (own choice: the noise of a quiet room with a quiet microphone lies some 10 dB over it).
PIECE_S: Final = 0.1
DEAD_DBFS: Final = -80.0
#: A track that is dead at its end is told from so long on [s]; it is certain where that is this share of the track,
#: as an edited file may fade into some seconds of nothing.
LAST_S: Final = 10.0
SURE_SHARE: Final = 0.2
#: A whole track is told from so long on [s].
WHOLE_S: Final = 1.0


@dataclass
class Deadness:
    """Follows where a track that streams by was live last."""

    rate_hz: int
    seen: int = 0
    live_until: int = 0
    rest: SampleArray = field(default_factory=lambda: np.empty(0, np.float32))

    def add(self, x: SampleArray) -> None:
        """The next samples."""
        size = round(PIECE_S * self.rate_hz)
        joined = np.concatenate((self.rest, x)) if self.rest.size else x
        pieces = joined[: joined.size // size * size].reshape(-1, size)
        self.rest = joined[pieces.size :].copy()
        live = np.flatnonzero(pieces.var(axis=1, dtype=np.float64) > 10.0 ** (DEAD_DBFS / 10.0))
        if live.size:
            self.live_until = self.seen + (int(live[-1]) + 1) * size
        self.seen += pieces.size

    def finish(self) -> list[Fault]:
        """That it is dead, or from where on it is; nothing where it is live."""
        frames = self.seen + self.rest.size
        if self.rest.size and float(self.rest.var(dtype=np.float64)) > 10.0 ** (DEAD_DBFS / 10.0):
            return []
        length = frames - self.live_until
        if not self.live_until:
            return [Fault(0, frames, "dead", certain=True)] if frames >= WHOLE_S * self.rate_hz else []
        if length < LAST_S * self.rate_hz:
            return []
        return [Fault(self.live_until, length, "dead", length >= SURE_SHARE * frames)]

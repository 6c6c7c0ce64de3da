"""Nothing on a track: a transmitter that is off, a microphone without its plug, a channel that nobody armed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.sound.fault import Fault
from linkwright.units import FloatArray

#: The level under which no open microphone with a gain for voices stays [dBFS rms, DC left out]
#: (own choice: the noise of a quiet room with a quiet microphone lies some 10 dB over it).
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
    step: int
    seen: int = 0
    live_until: int = 0

    def add(self, powers: FloatArray) -> None:
        """Mean squares of the next steps of `step` samples, their mean left out."""
        live = np.flatnonzero(powers > 10.0 ** (DEAD_DBFS / 10.0))
        if live.size:
            self.live_until = self.seen + (int(live[-1]) + 1) * self.step
        self.seen += powers.size * self.step

    def finish(self, frames: int) -> list[Fault]:
        """That a track of so many samples is dead, or from where on it is; nothing where it is live."""
        length = frames - self.live_until
        if not self.live_until:
            return [Fault(0, frames, "dead", certain=True)] if frames >= WHOLE_S * self.rate_hz else []
        if length < LAST_S * self.rate_hz:
            return []
        return [Fault(self.live_until, length, "dead", length >= SURE_SHARE * frames)]

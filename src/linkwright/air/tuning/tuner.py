"""What gives samples of a part of the band at a time: a receiver, or recordings in its place."""

from __future__ import annotations

from typing import Protocol

from linkwright.air.tuning.spectrum import Samples
from linkwright.shoot.errors import InputError


class TunerEnded(Exception):
    """Nothing more comes, and that is no fault: a recording is through."""


class TunerGone(InputError):
    """A receiver that gives no samples any more, as one sentence."""


class Tuner(Protocol):
    """Gives samples of a part of the band at a time.

    name : for people. rate_hz : complex samples a second. lost : how often samples were lost while looking.
    """

    name: str
    rate_hz: float
    lost: int

    def places_hz(self) -> tuple[float, ...] | None:
        """Where it can be tuned; None for everywhere."""

    def look(self, centre_hz: float, count: int) -> tuple[float, Samples] | None:
        """So many samples, and where it was tuned indeed [Hz]; None where samples were lost again and again.

        Raises TunerEnded, or TunerGone where the receiver fails.
        """

    def now_s(self) -> float:
        """The time that passes while it looks [s]."""

    def close(self) -> None:
        """Let go of the receiver."""

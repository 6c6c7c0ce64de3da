"""What is kept of a stream that has no end: counts by level, and tops of steps that grow longer."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.units import FloatArray, SampleArray

#: Steps whose tops are kept; when there are more, every two become one.
MOST_STEPS: Final = 1 << 16


class Powers:
    """Powers counted in bins of `step_db`, each with the sum of what is in it, so that means stay exact.

    What lies outside from_db..to_db is counted at that end; what is not over 0 is not counted.
    """

    def __init__(self, from_db: float, to_db: float, step_db: float) -> None:
        self.from_db, self.step_db = from_db, step_db
        size = round((to_db - from_db) / step_db) + 1
        self.counts, self.sums = np.zeros(size, np.int32), np.zeros(size)

    def add(self, powers: FloatArray) -> None:
        """Count these."""
        live = powers[powers > 0.0]
        at = ((10.0 * np.log10(live) - self.from_db) / self.step_db).astype(np.int64)
        at = np.clip(at, 0, self.counts.size - 1)
        np.add.at(self.counts, at, 1)
        np.add.at(self.sums, at, live)

    def counted(self) -> tuple[FloatArray, FloatArray]:
        """The mean power of each bin that holds something, rising, and how many it holds."""
        used = np.flatnonzero(self.counts)
        counts = self.counts[used].astype(float)
        return self.sums[used] / counts, counts

    def quantile(self, share: float) -> float:
        """What this share of the powers stays under, between the means of its bins; 0 where nothing was counted."""
        powers, counts = self.counted()
        if not powers.size:
            return 0.0
        middle = np.cumsum(counts) - (counts + 1.0) / 2.0
        return float(np.interp(share * (counts.sum() - 1.0), middle, powers))


@dataclass
class Tops:
    """The largest magnitude of each step of a stream; `folded` steps have become one."""

    kept: SampleArray = field(default_factory=lambda: np.empty(0, np.float32))
    rest: SampleArray = field(default_factory=lambda: np.empty(0, np.float32))
    folded: int = 1

    def add(self, tops: SampleArray) -> None:
        """The next steps."""
        self.rest = np.concatenate((self.rest, tops))
        self._fold_rest()
        while self.kept.size > MOST_STEPS:
            odd = self.kept.size % 2
            if odd:
                self.rest = np.concatenate((np.full(self.folded, self.kept[-1], np.float32), self.rest))
                self.kept = self.kept[:-1]
            self.kept = self._folded(self.kept.reshape(-1, 2))
            self.folded *= 2
            self._fold_rest()

    def _fold_rest(self) -> None:
        whole = self.rest.size // self.folded
        fresh = self._folded(self.rest[: whole * self.folded].reshape(whole, self.folded))
        self.kept, self.rest = np.concatenate((self.kept, fresh)), self.rest[whole * self.folded :]

    def _folded(self, rows: SampleArray) -> SampleArray:
        return np.asarray(rows.max(axis=1))

    def all(self) -> SampleArray:
        """The tops, the last of what is left over."""
        return self.kept if not self.rest.size else np.append(self.kept, self.rest.max())


class Means(Tops):
    """The same with the mean of each step."""

    def _folded(self, rows: SampleArray) -> SampleArray:
        return np.asarray(rows.mean(axis=1, dtype=np.float64), np.float32)

"""A band of known signals as a receiver's samples: tones and white noise, on any centre frequency, by a seed.

Written from the definition of a complex sample alone: a tone of amplitude a, d Hz beside the centre, is
a exp(2 pi i d t); noise of power s has s / 2 in each of its two parts.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np


@dataclass
class Band:
    """Tones (frequency [Hz], dB over full scale) in noise of so much power in all; `spike_db` stands
    in the middle of every look, as a receiver's own line does."""

    tones: Sequence[tuple[float, float]] = ()
    noise_db: float = -60.0
    spike_db: float | None = None
    rate_hz: float = 1e6
    seed: int = 5

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)
        self.at = 0

    def samples(self, centre_hz: float, count: int) -> np.ndarray[Any, np.dtype[np.complex64]]:
        """The next samples of a receiver tuned there; what lies outside its rate it does not hear."""
        spread = np.sqrt(10.0 ** (self.noise_db / 10.0) / 2.0)
        made = spread * (self.rng.standard_normal(count) + 1j * self.rng.standard_normal(count))
        time = (self.at + np.arange(count)) / self.rate_hz
        self.at += count
        for hz, level_db in self.tones:
            if abs(hz - centre_hz) < self.rate_hz / 2.0:
                made += 10.0 ** (level_db / 20.0) * np.exp(2j * np.pi * ((hz - centre_hz) * time % 1.0))
        if self.spike_db is not None:
            made += 10.0 ** (self.spike_db / 20.0)
        return np.asarray(made, np.complex64)

    def record(self, folder: Path, centres_hz: Sequence[float], seconds: float) -> Path:
        """One SigMF recording a centre frequency (open standard: metadata as JSON, samples as they are)."""
        folder.mkdir(exist_ok=True)
        for centre_hz in centres_hz:
            name = f"{centre_hz / 1e3:.0f}"
            about = {"core:datatype": "cf32_le", "core:sample_rate": self.rate_hz, "core:version": "1.0.0"}
            captures = [{"core:sample_start": 0, "core:frequency": centre_hz}]
            meta = {"global": about, "captures": captures, "annotations": []}
            (folder / f"{name}.sigmf-meta").write_text(json.dumps(meta), "utf-8")
            self.samples(centre_hz, round(seconds * self.rate_hz)).tofile(folder / f"{name}.sigmf-data")
        return folder

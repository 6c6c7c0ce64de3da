"""How often what is learnt from a walk holds the truth: 200 invented sites, 90 % intervals. Measures, not speed.

Run by `pytest bench/test_walk_calibration.py -s`; it takes some three minutes.
"""

from __future__ import annotations

import numpy as np
from bench.walks import walked_site
from scipy import stats

from linkwright.reach.walk import learn

SITES, FIRST_SEED, NOMINAL = 200, 3000, 0.90


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    inside: dict[str, list[bool]] = {"offset": [], "slope": [], "body": []}
    errors: dict[str, list[float]] = {"offset": [], "slope": [], "body": []}
    for seed in range(FIRST_SEED, FIRST_SEED + SITES):
        link, walked, truth = walked_site(seed)
        found = learn(link, walked, seed=seed)
        offset = truth.offset_db + truth.slope_db * np.log10(found.reference_m / 10.0)
        told = {
            "offset": (offset, found.offset_low_db, found.offset_db, found.offset_high_db),
            "slope": (truth.slope_db, found.slope_low_db, found.slope_db, found.slope_high_db),
            "body": (10.0 + truth.body_db, found.body_low_db, found.body_db, found.body_high_db),
        }
        for name, (value, low, middle, high) in told.items():
            if low is not None and middle is not None and high is not None:
                inside[name].append(bool(low <= value <= high))
                errors[name].append(middle - value)
    for name, hits in inside.items():
        interval = stats.binomtest(sum(hits), len(hits)).proportion_ci(0.95)
        rms = float(np.sqrt(np.mean(np.square(errors[name]))))
        print(f"{name}: {np.mean(hits):.3f} ({interval.low:.3f} to {interval.high:.3f}), rms error {rms:.2f} dB")
        assert interval.low <= NOMINAL <= interval.high, name

"""How sure is sure: of links told to be p sure, a share p keep to what is wanted; on sites whose truth is drawn.

The whole table, of 1000 sites and with a truth that is another than the program's, is bench/calibration.py's.
"""

from __future__ import annotations

import math

import pytest
from bench.calibration import Wrong, judged


@pytest.mark.parametrize("readings", [0, 3])
def test_as_many_keep_as_are_told(readings: int) -> None:
    """120 sites of two links: all together and in three bins within three standard deviations, sites drawn
    whole."""
    found = judged(120, readings, seed=7)
    lean, deviation = found.lean
    assert abs(lean) <= 3.0 * deviation
    for count, told, kept in found.bins((0.0, 0.35, 0.75, 1.0)):
        # Links of a site keep or fail together: as if there were half as many.
        assert abs(kept - told) <= 3.0 * math.sqrt(max(told * (1.0 - told), 0.02) / (count / 2.0))


def test_a_truth_that_scatters_twice_as_much_is_told_too_surely() -> None:
    """The check above is of something: it finds a truth that is not the program's."""
    found = judged(120, 0, Wrong(spreads=2.0), seed=7)
    (_, told, kept) = found.bins((0.9, 1.0))[0]
    assert kept < told - 0.05

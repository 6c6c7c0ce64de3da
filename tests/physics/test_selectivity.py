"""The overlap of mask and filter against the design's figures for two digital carriers of 200 kHz."""

from __future__ import annotations

import numpy as np
import pytest

from linkwright.physics.selectivity import off_channel_share


@pytest.mark.parametrize(("distance_khz", "rejection_db"), [(205, 20), (230, 40), (260, 50), (310, 60)])
def test_rejection_of_two_carriers(distance_khz: float, rejection_db: float) -> None:
    share = off_channel_share(np.array([distance_khz]), 200.0, 200.0)
    assert -10 * np.log10(share[0]) == pytest.approx(rejection_db, abs=0.7)


def test_less_comes_through_from_farther_away_and_nearly_all_on_the_carrier() -> None:
    share = off_channel_share(np.arange(0.0, 3000.0, 50.0), 200.0, 200.0)
    assert 0.9 < share[0] <= 1.0
    assert np.all(np.diff(share) < 0.0)

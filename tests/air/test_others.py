"""The share of an other in a receiver."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.air.others import band_of, overlap_share


@given(st.integers(470_000, 690_000), st.integers(1, 20_000), st.integers(1, 400))
def test_receivers_side_by_side_take_all_of_it(low_khz: int, width_khz: int, receiver_khz: int) -> None:
    """Receivers that tile the spectrum share the power out: the sum is one, no share is outside 0..1."""
    first = low_khz - receiver_khz
    carriers = first + receiver_khz * np.arange(width_khz // receiver_khz + 4)
    share = overlap_share(carriers, receiver_khz, low_khz, low_khz + width_khz)
    assert share.min() >= 0.0
    assert share.max() <= 1.0
    assert np.isclose(share.sum(), 1.0)


@pytest.mark.parametrize(
    ("carrier", "band", "share"),
    [
        (600_000, (596_000, 604_000), 0.2 / 8),  # 200 kHz of an 8 MHz channel
        (600_000, (599_990, 600_010), 1.0),
        (600_000, (600_100, 600_300), 0.0),
        (600_000, (600_000, 600_200), 0.5),
        (600_000, (600_100, 600_100), 1.0),  # a bare carrier on the edge
        (600_000, (600_101, 600_101), 0.0),
    ],
)
def test_shares_by_hand(carrier: int, band: tuple[int, int], share: float) -> None:
    assert np.isclose(overlap_share(np.array([carrier]), 200, *band)[0], share)


def test_many_receivers_against_many_others() -> None:
    share = overlap_share(np.array([[600_000], [601_000]]), 200, np.array([599_900, 600_900]), [600_100, 601_100])
    assert share.tolist() == [[1.0, 0.0], [0.0, 1.0]]
    assert band_of(606_300, 25) == (606_287.5, 606_312.5)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="positive"):
        overlap_share(np.array([600_000]), 0, 1, 2)
    with pytest.raises(ValueError, match="below"):
        overlap_share(np.array([600_000]), 200, 2, 1)

"""What products bring to each slot: the same from a cell for every step of the raster as from all products in
order."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.assign.test_powers_compiled import drawn

from linkwright.assign.joint import adjacent_at_once, adjacent_mw, product_map, product_map_at_once


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 14), st.integers(1, 60), st.sampled_from([25, 40, 125]))
def test_cells_of_the_raster_and_products_in_order_give_the_same(seed: int, n: int, slots: int, step: int) -> None:
    draw = np.random.default_rng(seed)
    width, received = draw.choice([180.0, 200.0], n), 10.0 ** draw.uniform(-7.0, -3.0, n)
    # Some beside all slots, as others are whose carriers nobody chose.
    carriers_khz = 500_000 + step * draw.integers(-2_000, 2_000, n)
    slots_khz = 500_000 + step * np.sort(draw.choice(400, slots, replace=False))
    given_ = (carriers_khz, width, received, 0.1, slots_khz, 200.0)
    # Both are differences of sums from the first on: what is lost is of all products, most of them on no slot.
    all_mw = 4.0 * float(received.sum()) ** 3 / 0.1**2
    assert product_map_at_once(*given_) == pytest.approx(product_map(*given_), rel=1e-9, abs=1e-14 * all_mw)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 9), st.integers(0, 3))
def test_a_filter_lets_in_the_same_in_one_loop_and_with_arrays(seed: int, own: int, others: int) -> None:
    draw, radio = np.random.default_rng(seed), drawn(seed, own, others, 2).radio
    those = np.arange(1, own + others)
    carriers_khz = draw.integers(500_000, 502_000, those.size)
    received = 10.0 ** draw.uniform(-7.0, -3.0, those.size)
    slots_khz = np.sort(draw.integers(500_000, 502_000, 30))
    given_ = (radio, 0, those, carriers_khz, received, slots_khz)
    assert adjacent_at_once(*given_) == pytest.approx(adjacent_mw(*given_))

"""The enumeration of products in a receiver's filter against one written for this test."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.physics import intermodulation
from linkwright.physics.intermodulation import (
    filter_share,
    hits_on,
    products_in_band,
    three_carrier_products,
    two_carrier_products,
)
from linkwright.units import FloatArray, IntArray


def integrated(
    carriers: IntArray, widths: FloatArray, levels_mw: FloatArray, centre: int, filter_khz: float, iip3_mw: float
) -> dict[tuple[int, int, int], float]:
    """Power in the filter of every product, by the indices of A, B, C (C is -1 for 2A-B) [mW].

    The share is integrated: over fine steps across two of the three factors, of what the filter has of the third.
    """
    fine = (np.arange(150) + 0.5) / 150 - 0.5
    found: dict[tuple[int, int, int], float] = {}
    indices = range(carriers.size)
    made = [((a, b, -1), (2, -1, 0), 1.0) for a, b in itertools.permutations(indices, 2)]
    made += [
        ((a, b, c), (1, 1, -1), 4.0)
        for a, b in itertools.combinations(indices, 2)
        for c in indices
        if c not in (a, b)
    ]
    for (a, b, c), signs, gain in made:
        used = [a, b] if c < 0 else [a, b, c]
        weights = np.array(signs[: len(used)])
        place = float(weights @ carriers[used])
        one, two, three = np.repeat(widths[used], np.abs(weights))
        middle = place + one * fine[:, None] + two * fine[None, :] - centre
        low, high = (
            np.maximum(middle - three / 2.0, -filter_khz / 2.0),
            np.minimum(middle + three / 2.0, filter_khz / 2.0),
        )
        share = float(np.mean(np.maximum(high - low, 0.0)) / three)
        power = gain * float(np.prod(levels_mw[used] ** np.abs(weights))) / iip3_mw**2
        if share > 0.0:
            found[(a, b, c)] = power * share
    return found


@st.composite
def receptions(draw: st.DrawFn) -> tuple[IntArray, FloatArray, FloatArray]:
    count = draw(st.integers(0, 6))
    steps = draw(st.lists(st.integers(0, 60), min_size=count, max_size=count, unique=True))
    widths = draw(st.lists(st.sampled_from([25.0, 180.0, 200.0]), min_size=count, max_size=count))
    levels_dbm = draw(st.lists(st.integers(-60, 0), min_size=count, max_size=count))
    return (
        600_000 + 25 * np.array(steps, dtype=np.int64),
        np.array(widths, dtype=np.float64),
        10.0 ** (np.array(levels_dbm, dtype=np.float64) / 10.0),
    )


#: Below and above which number of carriers the compiled loops take over: arrays always, loops always.
WAYS = {"arrays": 10_000, "loops": -1}


@pytest.mark.parametrize("few", WAYS.values(), ids=WAYS.keys())
@settings(max_examples=30)
@given(
    reception=receptions(),
    centre=st.integers(599_000, 602_000),
    filter_khz=st.sampled_from([100.0, 200.0]),
    iip3_dbm=st.integers(-20, 10),
)
def test_every_product_is_found_with_its_power(
    few: int, reception: tuple[IntArray, FloatArray, FloatArray], centre: int, filter_khz: float, iip3_dbm: int
) -> None:
    carriers, widths, levels_mw = reception
    expected = integrated(carriers, widths, levels_mw, centre, filter_khz, 10.0 ** (iip3_dbm / 10.0))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(intermodulation, "FEW_CARRIERS", few)
        total, who, power = products_in_band(
            carriers, widths, levels_mw, centre, filter_khz, float(iip3_dbm), 1e-40
        )
    found = {(int(a), int(b), int(c)): float(p) for (a, b, c), p in zip(who, power, strict=True)}
    assert len(found) == len(power)
    # Where a product only just reaches into the filter, the fine steps may miss it.
    edge = 1e-4 * max(expected.values(), default=0.0) + 1e-30
    for key in expected.keys() | found.keys():
        assert found.get(key, 0.0) == pytest.approx(expected.get(key, 0.0), rel=4e-3, abs=edge)
    assert total == pytest.approx(sum(found.values()), rel=1e-9, abs=1e-40)
    assert power.tolist() == sorted(power, reverse=True)


def test_many_carriers_by_loops_are_as_by_arrays(monkeypatch: pytest.MonkeyPatch) -> None:
    draw = np.random.default_rng(1)
    carriers = 600_000 + 25 * np.sort(draw.choice(1000, 40, replace=False))
    levels_mw = 10.0 ** (draw.uniform(-60.0, -20.0, 40) / 10.0)
    arguments = carriers, np.full(40, 200.0), levels_mw, 610_000, 200.0, 0.0, 1e-12
    loops = products_in_band(*arguments)
    monkeypatch.setattr(intermodulation, "FEW_CARRIERS", 40)
    arrays = products_in_band(*arguments)
    assert loops[0] == pytest.approx(arrays[0], rel=1e-6)
    assert 0 < len(loops[1]) == len(arrays[1])
    assert {tuple(who) for who in loops[1].tolist()} == {tuple(who) for who in arrays[1].tolist()}
    assert loops[2] == pytest.approx(arrays[2])


@pytest.mark.parametrize("few", WAYS.values(), ids=WAYS.keys())
def test_what_is_too_weak_is_summed_but_not_listed(few: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intermodulation, "FEW_CARRIERS", few)
    # 2 x 1000 - 2000 = 0 is alone in a filter about 0: 3 x -30 dBm - 2 x 0 dBm = -90 dBm.
    carriers, widths, levels_mw = np.array([1000, 2000, 9000]), np.full(3, 200.0), np.full(3, 1e-3)
    total, who, power = products_in_band(carriers, widths, levels_mw, 0, 600.0, 0.0, 1e-8)
    assert total == pytest.approx(1e-9)
    assert (len(who), len(power)) == (0, 0)
    total, who, power = products_in_band(carriers, widths, levels_mw, 0, 600.0, 0.0, 1e-10)
    assert total == pytest.approx(1e-9)
    assert who.tolist() == [[0, 1, -1]]


@pytest.mark.parametrize("few", WAYS.values(), ids=WAYS.keys())
@pytest.mark.parametrize("carriers", [0, 1])
def test_one_carrier_or_none_makes_no_product(few: int, carriers: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intermodulation, "FEW_CARRIERS", few)
    f = np.full(carriers, 600_000, dtype=np.int64)
    total, who, power = products_in_band(
        f, np.full(carriers, 200.0), np.full(carriers, 1.0), 600_000, 200.0, 0.0, 1e-20
    )
    assert (total, who.shape, power.shape) == (0.0, (0, 3), (0,))


@given(st.lists(st.integers(0, 60), max_size=9, unique=True), st.integers(-60, 120))
def test_arrays_hold_every_product_of_distinct_carriers(carriers: list[int], victim: int) -> None:
    two = [2 * a - b for a in carriers for b in carriers if a != b]
    three = [a + b - c for a, b in itertools.combinations(carriers, 2) for c in carriers if c not in (a, b)]
    array = np.array(carriers, dtype=np.int64)
    assert two_carrier_products(array).tolist() == two
    assert three_carrier_products(array).tolist() == three
    assert hits_on(victim, array) == (two.count(victim), three.count(victim))


WIDTHS = st.sampled_from([(25.0, 25.0, 25.0), (200.0, 200.0, 200.0), (200.0, 25.0, 200.0), (300.0, 12.5, 180.0)])


@given(st.integers(-1000, 1000), WIDTHS, st.sampled_from([100.0, 200.0]))
def test_the_share_in_the_filter_adds_up_over_filters_side_by_side(
    offset: int, widths: tuple[float, ...], filter_khz: float
) -> None:
    shares = filter_share(offset + filter_khz * np.arange(-40.0, 41.0), widths, filter_khz)
    assert np.all((shares >= 0.0) & (shares <= 1.0))
    assert float(shares.sum()) == pytest.approx(1.0, abs=1e-9)


@given(st.floats(-800.0, 800.0), WIDTHS, st.sampled_from([100.0, 200.0]))
def test_the_share_is_that_of_boxes_convolved_on_a_fine_grid(
    offset: float, widths: tuple[float, ...], filter_khz: float
) -> None:
    step = 0.25
    spectrum = np.ones(1)
    for width in widths:
        spectrum = np.convolve(spectrum, np.full(round(width / step), step / width))
    at = step * (np.arange(spectrum.size) - (spectrum.size - 1) / 2.0) + offset
    expected = float(spectrum[np.abs(at) < filter_khz / 2.0].sum())
    assert float(filter_share(offset, widths, filter_khz)) == pytest.approx(expected, abs=2.0 * step / min(widths))


def test_the_closed_form_for_equal_widths_is_the_general_one() -> None:
    offsets = np.linspace(0.0, 450.0, 91)
    almost = filter_share(offsets, (200.0, 200.0, 200.0), 200.0 * (1.0 + 1e-12))
    assert filter_share(offsets, (200.0, 200.0, 200.0), 200.0) == pytest.approx(almost, abs=1e-9)

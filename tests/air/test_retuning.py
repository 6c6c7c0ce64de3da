"""Laws of the retuning plan, proved by going through every look of it, trusting only where it is tuned."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.air.tuning.retuning import Passband, Retuning, looks_at, retuning, whole_band
from linkwright.shoot.errors import InputError


@st.composite
def _passbands(draw: st.DrawFn) -> Passband:
    inner = draw(st.integers(1, 6))
    return Passband(inner, draw(st.integers(3 * inner, 3 * inner + 20)))


@st.composite
def _bands(draw: st.DrawFn) -> tuple[int, list[tuple[int, int]]]:
    """How many bins there are, and some bands of ours in them."""
    bins = draw(st.integers(1, 300))
    lows = draw(st.lists(st.integers(0, bins - 1), max_size=8))
    return bins, [(low, min(bins - 1, low + draw(st.integers(0, 30)))) for low in lows]


def _given(place: int, passband: Passband) -> set[int]:
    """The bins that a look gives, by the definition of a passband alone."""
    return {place + off for off in range(-passband.outer, passband.outer + 1) if abs(off) >= passband.inner}


def _longest_wait(plan: Retuning, bins: set[int], passband: Passband) -> int:
    """The most looks from one look at a bin to the next, over all the bins, as the plan goes round and round."""
    order = [_given(place, passband) for each in plan.rounds for place in each]
    longest = 0
    for number in bins:
        at = [n for n, there in enumerate(order) if number in there]
        assert at, f"bin {number} is never looked at"
        waits = [after - before for before, after in zip(at, [*at[1:], at[0] + len(order)], strict=True)]
        longest = max(longest, *waits)
    return longest


@settings(max_examples=60)
@given(st.integers(1, 600), _passbands())
def test_a_pass_gives_every_bin_and_takes_few_looks(bins: int, passband: Passband) -> None:
    units = whole_band(bins, passband)
    found = set().union(*(_given(place, passband) for unit in units for place in unit))
    assert found >= set(range(bins))
    looks = sum(map(len, units))
    # A look gives two sides at most; a pair gives three, of which one joins the other two.
    assert looks <= 2 + 2 * bins / (3 * passband.side)
    for unit in units:
        joined = sorted(set().union(*(_given(place, passband) for place in unit)))
        assert len(unit) == 1 or joined == list(range(joined[0], joined[-1] + 1))


@settings(max_examples=60)
@given(_bands(), _passbands())
def test_each_band_of_ours_lies_in_one_side_of_a_look(
    band: tuple[int, list[tuple[int, int]]], passband: Passband
) -> None:
    _, ours = band
    looks = looks_at(ours, passband)
    assert looks == tuple(sorted(looks))
    assert looks == looks_at(list(reversed(ours)), passband)
    for low, high in ours:
        if high - low + 1 <= passband.side:
            assert any(set(range(low, high + 1)) <= _given(place, passband) for place in looks)
        assert set(range(low, high + 1)) <= set().union(*(_given(place, passband) for place in looks))
    assert len(looks) <= sum(-(-(high - low + 1) // passband.side) for low, high in ours)


@settings(max_examples=60)
@given(_bands(), _passbands(), st.floats(1.0, 6.0))
def test_ours_most_often_and_everything_within_its_time(
    band: tuple[int, list[tuple[int, int]]], passband: Passband, times: float
) -> None:
    bins, bands = band
    ours, whole = looks_at(bands, passband), whole_band(bins, passband)
    plain = sum(map(len, whole))
    plan = retuning(ours, whole, times * plain)
    assert plan == retuning(ours, whole, times * plain)
    wait = _longest_wait(plan, set(range(bins)), passband)
    assert wait <= plan.all_every <= times * plain
    if not bands:
        assert (plan.ours, plan.all_every) == (0, plain)
        return
    ours_wait = _longest_wait(plan, {n for low, high in bands for n in range(low, high + 1)}, passband)
    assert ours_wait <= plan.ours_every <= plain
    assert ours_wait <= wait


@settings(max_examples=60)
@given(_bands(), _passbands(), st.floats(1.0, 5.0))
def test_more_time_for_all_is_no_less_for_ours(
    band: tuple[int, list[tuple[int, int]]], passband: Passband, times: float
) -> None:
    bins, bands = band
    ours, whole = looks_at(bands, passband), whole_band(bins, passband)
    plain = sum(map(len, whole))
    short, long = (retuning(ours, whole, limit * plain) for limit in (times, times + 1.0))
    assert long.ours_every <= short.ours_every


@settings(max_examples=60)
@given(_passbands(), st.sets(st.integers(0, 11), min_size=1, max_size=11))
def test_where_places_are_given_ours_are_left_out_of_the_rest(passband: Passband, ours: set[int]) -> None:
    """As with recordings: each place is a look of its own, and those of ours come in every round."""
    whole = tuple((place * passband.outer,) for place in range(12))
    mine = tuple(sorted(place * passband.outer for place in ours))
    plan = retuning(mine, whole, 24)
    everything = set().union(*(_given(unit[0], passband) for unit in whole))
    assert _longest_wait(plan, everything, passband) <= plan.all_every <= 24
    assert _longest_wait(plan, set(mine_bins(mine, passband)), passband) <= plan.ours_every
    assert all(len(set(each)) == len(each) for each in plan.rounds)


def mine_bins(mine: tuple[int, ...], passband: Passband) -> set[int]:
    """All that the looks at ours give."""
    return set().union(*(_given(place, passband) for place in mine))


def test_a_band_of_television_with_twelve_of_ours() -> None:
    """470 to 694 MHz in bins of 9.375 kHz at 2.4 million samples a second.

    By hand: a pair gives 265 bins, 90 pairs leave 44 bins, one look more: 181. Twice that leaves 181 for 12 of
    ours: 15 rounds of 12 and 6 pairs, the last with the single look besides: 25; all of them take 15 * 12 + 181.
    """
    passband, bins = Passband(7, 90), 23_894
    whole = whole_band(bins, passband)
    plain = sum(map(len, whole))
    ours = looks_at([(low, low + 21) for low in range(900, 23_000, 1_900)], passband)
    plan = retuning(ours, whole, 2 * plain)
    assert (plain, len(ours), plan.ours) == (181, 12, 12)
    assert (plan.ours_every, plan.all_every) == (25, 361)


def test_less_than_a_pass_is_refused() -> None:
    with pytest.raises(InputError, match="all of the band takes 12 looks, found time for 5; allow more"):
        retuning((), tuple((n,) for n in range(12)), 5)
    with pytest.raises(ValueError, match="no such passband"):
        Passband(4, 9)

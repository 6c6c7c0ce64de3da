"""The distance from TV that rows ask for, measured at a place."""

from __future__ import annotations

import pytest

from linkwright.rules import Outside, closed_by_tv, keeps_separation, separations, territory
from linkwright.shoot.errors import InputError

US = territory("US")


def outside(channel: str, km: float, station: str = "A") -> Outside:
    return Outside(
        channel, station, km, f"{abs(km):.1f} km {'outside' if km >= 0 else 'inside'} the contour of {station}"
    )


def test_rows_that_recite_a_distance_carry_it() -> None:
    assert US.tv_protection is not None
    for row in US.rows:
        recites = any("km outside the protected contour" in condition for condition in row.conditions)
        assert (row.tv_separation_km is not None) == recites, row.id
        assert row.tv_separation_km in (None, US.tv_protection.extra_separation_km)


@pytest.mark.parametrize(("km", "kept"), [(-2.1, False), (3.99, False), (4.0, True), (50.0, True)])
def test_kept_or_not(km: float, kept: bool) -> None:
    (one,) = separations(US, [outside("30", km)])
    assert one.is_kept is kept
    assert {row.id for row in one.rows} == {"us-part-74-470-608", "us-part-15-470-608"}
    assert all(keeps_separation(row, km) is kept for row in one.rows)
    assert (closed_by_tv([one]) == ()) is kept


def test_the_least_distance_counts_and_the_closed_range_says_so() -> None:
    found = separations(US, [outside("30", 80.0, "FAR"), outside("30", -2.1, "NEAR"), outside("7", 9.0)])
    assert [one.channel.number for one in found] == ["7", "30"]
    (closed,) = closed_by_tv(found)
    assert (closed.from_khz, closed.to_khz) == (566_000, 572_000)
    assert closed.why == "2.1 km inside the contour of NEAR; 4 km outside it are asked for"
    assert closed.evidence == "assumed"


def test_rows_without_a_distance_ask_nothing() -> None:
    row = next(row for row in US.rows if row.tv_separation_km is None)
    assert keeps_separation(row, -100.0)
    assert separations(territory("GB"), [outside("30", -1.0)]) == ()


def test_a_channel_that_is_none() -> None:
    with pytest.raises(InputError, match="no TV channel"):
        separations(US, [outside("99", 1.0)])

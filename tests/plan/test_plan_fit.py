"""How many more would fit: shown by a clean placement, never more than the bound."""

from __future__ import annotations

import pytest
from tests.plan.shoots import links, pocket, shoot

from linkwright.plan.fit import fit
from linkwright.plan.pipeline import make_plan


@pytest.mark.parametrize(("tunes", "least"), [("[[518.0, 542.0]]", 16), ("[[470.0, 694.0]]", 48)])
def test_two_links_and_many_more(tunes: str, least: int) -> None:
    """At least what the search of earlier versions, which took half a minute, came to less a tenth."""
    (room,) = fit(shoot(pocket(tunes) + links(2)), {})
    assert room.placed == 2
    assert least <= room.more <= room.bound - 2


def test_what_is_said_to_fit_does() -> None:
    tunes = "[[518.0, 526.0]]"
    (room,) = fit(shoot(pocket(tunes) + links(2, more="spares = 0")), {})
    plan = make_plan(shoot(pocket(tunes) + links(2 + room.more, more="spares = 0")), {})
    assert not plan.calls[0].unplaced

"""A cause is one row of one table, and every cause can be told, weighed, drawn and played."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

import numpy as np

from linkwright.watch.diagnose.causes import CAUSES, weights_of
from linkwright.watch.diagnose.company import Company
from linkwright.watch.diagnose.fits import Sight
from linkwright.watch.diagnose.gathered import Figures
from linkwright.watch.diagnose.products import Products
from linkwright.watch.diagnose.words import words
from linkwright.watch.play import effects

NONE = np.zeros(0)
UNKNOWN: dict[str, Any] = {
    one.name: {"int": 0, "bool": False}.get(str(one.type), math.nan) for one in fields(Figures)
}
NOTHING_KNOWN = Figures(**UNKNOWN)


def test_every_cause_is_told_in_whole_sentences() -> None:
    for cause in CAUSES.values():
        said = words(
            cause.name,
            cause.track or "signal",
            NOTHING_KNOWN,
            Company((), NONE, NONE, NONE),
            Products(0.0),
            None,
            False,
        )
        for sentence in said:
            assert sentence[0].isupper()
            assert sentence.endswith(".")
        assert cause.words
        assert cause.mark.startswith("M")


def test_every_cause_but_the_unknown_has_a_weight_on_its_track_and_is_played() -> None:
    for track in ("signal", "branch", "audio"):
        weights = weights_of(track, Sight(NOTHING_KNOWN))
        assert set(weights) == {cause.name for cause in CAUSES.values() if cause.track == track}
        assert all(0.0 <= weight <= 2.0 for weight in weights.values())
    assert set(CAUSES) - set(effects.KINDS) == {"unknown"}


def test_how_often_a_cause_leaves_each_pattern_sums_to_one() -> None:
    for cause in CAUSES.values():
        if cause.pattern:
            assert math.isclose(sum(cause.pattern), 1.0)

"""A cause is one row of one table, and every cause can be told, weighed, drawn and played."""

from __future__ import annotations

import math
import re
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.watch.diagnose.causes import CAUSES, shares, split
from linkwright.watch.diagnose.company import NOTHING_DBM, Company
from linkwright.watch.diagnose.episode_figures import Figures
from linkwright.watch.diagnose.evidence import ALWAYS, places, table
from linkwright.watch.diagnose.observables import OBSERVED, fell_then, slope_db
from linkwright.watch.diagnose.products import NO_PRODUCT, OF_EDGES, ROSE_AND_WENT, ProductFit, products_on
from linkwright.watch.diagnose.words import words
from linkwright.watch.play import effects

NONE = np.zeros(0)
UNKNOWN: dict[str, Any] = {
    field.name: {"int": 0, "bool": False}.get(str(field.type), math.nan) for field in fields(Figures)
}
NOTHING_KNOWN = Figures(**UNKNOWN)


def test_every_cause_is_told_in_whole_sentences() -> None:
    for cause in CAUSES.values():
        said = words(
            cause.name,
            cause.track or "signal",
            NOTHING_KNOWN,
            Company((), NONE, NONE, NONE),
            ProductFit(0.0),
            None,
            False,
        )
        for sentence in said:
            assert sentence[0].isupper()
            assert sentence.endswith(".")
        assert cause.asks.endswith("?")
        assert cause.words
        assert cause.mark.startswith("M")


def test_every_cause_has_evidence_on_its_track_and_every_observable_is_weighed() -> None:
    for track in ("signal", "branch", "audio"):
        causes, weights = table(track)
        mine = {cause.name for cause in CAUSES.values() if cause.track == track and cause.prior > 0.0}
        assert mine <= set(causes) <= set(CAUSES)
        assert ALWAYS in weights
        assert set(weights) <= {ALWAYS, *OBSERVED}
        for name in set(weights) - {ALWAYS}:
            assert weights[name].shape == (len(causes), len(OBSERVED[name][0]))
    assert set(table("signal")[1]) == {ALWAYS, *OBSERVED}


def test_with_nothing_observed_the_shares_are_those_of_the_priors_and_sum_to_one() -> None:
    nothing = np.full(len(OBSERVED), math.nan)
    found = dict(shares("signal", nothing, {}))
    doubled = dict(shares("signal", nothing, {"interference": 2.0}))
    assert math.isclose(sum(found.values()), 1.0)
    odds = found["interference"] / found["body"]
    assert math.isclose(doubled["interference"] / doubled["body"], 2.0 * odds)


@given(st.floats(0, 1), st.floats(0.1, 3))
def test_another_transmitter_is_split_by_bayes(product: float, somebody: float) -> None:
    found = dict(split((("interference", 0.6), ("body", 0.37), ("unknown", 0.03)), product, somebody))
    assert math.isclose(sum(found.values()), 1.0)
    assert math.isclose(
        found["interference"] * 0.37, found["body"] * 0.6 * (1.0 - product) * somebody, abs_tol=1e-9
    )
    assert math.isclose(found["intermodulation"] * 0.37, found["body"] * 0.6 * product, abs_tol=1e-9)


@given(st.floats(-200, 200), st.sampled_from(list(OBSERVED)))
def test_a_weight_runs_straight_between_its_knots(value: float, name: str) -> None:
    knots, _ = OBSERVED[name]
    _, weights = table("signal")
    expected = [np.interp(value, knots, row) for row in weights[name]]
    np.testing.assert_allclose(weights[name] @ places(value, knots), expected, atol=1e-9)


def test_every_cause_but_those_of_several_links_is_played() -> None:
    assert set(CAUSES) - set(effects.KINDS) == {
        "unknown",
        "wall",
        "antennas",
        "receiver",
        "carrier",
        "left-on-spare",
    }


def test_how_often_a_cause_leaves_each_pattern_sums_to_one() -> None:
    for cause in CAUSES.values():
        if cause.pattern:
            assert math.isclose(sum(cause.pattern), 1.0)


@given(st.floats(-110, -20), st.floats(-10, 60), st.floats(-110, -20), st.floats(-20, 90))
def test_every_sentence_says_a_level_s_own_distance_from_the_need(
    bad: float, over: float, level: float, fell: float
) -> None:
    """A sentence once said "-104 dBm, 51 dB over what the receiver needs": two levels in one breath."""
    numbers = {**UNKNOWN, "bad_dbm": bad, "over_need_db": over, "level_dbm": level, "base_dbm": level + fell}
    figures = Figures(**{**numbers, "drop_db": level + fell - bad, "first_db": fell / 2})
    for cause in CAUSES.values():
        said = cause.because(figures)
        for shown, apart, side in re.findall(r"(-?\d+) dBm, (\d+) dB (over|under)", said):
            distance = float(apart) * (1 if side == "over" else -1)
            assert abs(float(shown) - distance - (bad - over)) <= 1.01, said
        levels = re.findall(r"(-?\d+) dBm", said)
        if "hardly fallen" in said or "not fallen" in said:
            assert figures.base_dbm - float(levels[0]) < 3.6


def test_a_rival_that_is_nearly_as_likely_is_told_with_the_question_that_decides() -> None:
    company, shares_ = Company((), NONE, NONE, NONE), (("body", 0.6), ("wall", 0.3), ("range", 0.1))
    _, do = words("body", "signal", NOTHING_KNOWN, company, ProductFit(0.0), None, False, shares_)
    assert "a wall or doorway between instead (30 %): is it still there with the talent turned" in do
    assert "too far away" not in do


@pytest.mark.parametrize(("before_dbm", "fit"), [(-70.0, OF_EDGES * ROSE_AND_WENT), (-40.0, NO_PRODUCT)])
def test_the_edge_of_a_product_counts_with_somebody_who_came_up(before_dbm: float, fit: float) -> None:
    names, still = ("A", "B"), np.array([-40.0, before_dbm])  # 2A - B lies a width and a half away
    company = Company(names, still, np.array([-40.0, -40.0]), still)
    carriers, gone = {"A": 500_600, "B": 500_900}, dict.fromkeys(names, -95.0)
    found = products_on(500_000, 200, company, carriers, gone, True, lambda some: np.ones((4, len(some)), bool))
    assert found.fit == pytest.approx(fit)
    assert (found.rose == "B") == (before_dbm == -70.0)


def test_who_fell_along_is_known_with_where_that_left_him() -> None:
    own = np.repeat([-50.0, -75.0], 10)
    others = np.array([np.repeat([-60.0, -85.0], 10), np.repeat([-60.0, np.nan], 10), np.repeat(-60.0, 20)])
    fell, left = fell_then(own, others, -100.0)
    assert fell[[0, 2]].tolist() == [25.0, 0.0]
    assert left.tolist() == [-85.0, NOTHING_DBM, -60.0]
    assert fell_then(np.full(20, np.nan), others, -100.0)[1].size == 0


def test_a_slope_is_what_a_straight_line_falls_in_ten_seconds() -> None:
    line = -50.0 - 0.5 * np.arange(20.0)
    line[3] = np.nan
    assert slope_db(line) == pytest.approx(5.0)
    assert math.isnan(slope_db(line[:6]))


def test_who_stands_at_the_antennas_is_named_only_where_somebody_does() -> None:
    figures = replace(NOTHING_KNOWN, level_dbm=-70.0, top_dbm=-20.0, bad_dbm=-70.0, under_ceiling_db=45.0)
    levels = np.array([-68.0, -28.0, math.nan])
    company = Company(("Anna", "Ben", "Cleo"), levels, levels, levels)
    because, _ = words("overload", "signal", figures, company, ProductFit(0.0), None, False)
    assert "Ben was received with -28 dBm, which may deafen it" in because
    assert "high" not in because
    because, _ = words(
        "overload", "signal", replace(figures, level_dbm=-30.0), company, ProductFit(0.0), None, False
    )
    assert "deafen" not in because

"""What a walk test teaches: the truth of invented sites comes back, repeatably; logs are read, bad ones refused."""

from __future__ import annotations

import contextlib
import datetime
from dataclasses import replace

import numpy as np
import pytest
from bench.walks import CART, RX, TX, walked_site
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from linkwright.reach.ends import Ends
from linkwright.reach.ground import AtWork
from linkwright.reach.regress import ALIKE_M, APART, Prior, WalkSamples, _log_likelihood, _State, posterior
from linkwright.reach.walk import averages, learn, placed
from linkwright.shoot.errors import InputError
from linkwright.shoot.place import Site, Spot
from linkwright.shoot.reading import parse_learnt
from linkwright.shoot.walklog import parse_walk
from linkwright.shoot.writing import write_learnt

GATE, KILN = Spot(name="Gate", x_m=5.0, y_m=0.0, z_m=1.3), Spot(name="Kiln", x_m=45.0, y_m=0.0, z_m=1.3)
SITE = Site(name="Yard", spots=(CART, GATE, KILN))
LINK = AtWork("Pilot", Ends(SITE, TX, RX, "belt-back", CART), 578_000, 10.0, (GATE, KILN, GATE))


def log(lines: list[str], header: str = "time,rf_a_dbm") -> str:
    return "\n".join([header, *lines])


# The regression.


def test_a_plain_line_is_found_by_the_regression_as_by_least_squares() -> None:
    """White noise and weak priors: numpy's least squares, and its standard errors."""
    rng = np.random.default_rng(3)
    way = np.linspace(0.0, 4760.0, 120)  # too far apart for shadowing to be alike
    columns = np.stack([np.ones(120), rng.normal(size=120)], axis=1)
    y = columns @ np.array([-3.0, 5.0]) + rng.normal(0.0, 2.0, 120)
    drawn = posterior(WalkSamples(way, y, columns), Prior(np.zeros(2), np.full(2, 100.0), 2.0), 1)
    expected, rest, *_ = np.linalg.lstsq(columns, y, rcond=None)
    error = np.sqrt(rest[0] / 118 * np.diag(np.linalg.inv(columns.T @ columns)))
    assert drawn.terms.mean(axis=0) == pytest.approx(expected, abs=0.15)
    assert drawn.terms.std(axis=0) == pytest.approx(error, rel=0.2)


def test_readings_near_each_other_count_for_few() -> None:
    """Where shadowing is alike (Gudmundson 1991) the mean is known worse than from as many readings far apart."""
    way = np.linspace(0.0, 40.0, 40)
    alike = np.exp(-np.abs(way[:, None] - way) / 15.0)
    y = np.linalg.cholesky(alike) @ np.random.default_rng(5).normal(0.0, 4.0, 40)
    prior = Prior(np.zeros(1), np.full(1, 20.0), 4.0)
    near, far = (posterior(WalkSamples(at, y, np.ones((40, 1))), prior, 1, draws=200) for at in (way, 1e4 * way))
    assert near.terms.std() > 2.5 * far.terms.std()


def test_the_likelihood_is_that_of_a_normal_distribution() -> None:
    """Differences are those of scipy's multivariate normal distribution."""
    rng = np.random.default_rng(6)
    rest, way, state = (
        rng.normal(0.0, 3.0, 12),
        np.sort(rng.uniform(0.0, 60.0, 12)),
        _State(9.0, 6.0, np.ones(12), 2, 1),
    )
    state.weight = rng.gamma(3.0, 1.0 / 3.0, 12)
    kernels = [np.exp(-np.abs(way[:, None] - way) / reach) for reach in ALIKE_M[:3]]
    told, known = [], []
    for kernel in kernels:
        for n, share in enumerate(APART):
            told.append(_log_likelihood(rest, kernel, n, state))
            covariance = state.variance * ((1.0 - share) * kernel + share * np.diag(1.0 / state.weight))
            known.append(multivariate_normal(np.zeros(12), covariance).logpdf(rest))
    assert np.array(told) - told[0] == pytest.approx(np.array(known) - known[0], abs=1e-6)


def test_a_few_wild_values_move_it_little() -> None:
    rng = np.random.default_rng(4)
    way, columns = np.linspace(0.0, 158.0, 80), np.ones((80, 1))
    y = rng.normal(2.0, 1.0, 80)
    spoilt = y.copy()
    spoilt[[5, 20, 60]] -= 40.0
    prior = Prior(np.zeros(1), np.full(1, 8.0), 3.0)
    clean, wild = (float(np.median(posterior(WalkSamples(way, v, columns), prior, 1).terms)) for v in (y, spoilt))
    assert abs(wild - clean) < 0.5  # their mean moves by 1.5 dB


# The walk.


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_what_is_learnt_is_near_the_truth_and_the_same_again(seed: int) -> None:
    """Within twice its interval; how often it lies inside is counted in bench/test_walk_calibration.py."""
    link, walked, truth = walked_site(seed)
    found = learn(link, walked, seed=5)
    offset = truth.offset_db + truth.slope_db * np.log10(found.reference_m / 10.0)
    told = [
        (offset, found.offset_low_db, found.offset_high_db),
        (truth.slope_db, found.slope_low_db, found.slope_high_db),
        (10.0 + truth.body_db, found.body_low_db, found.body_high_db),
    ]
    for value, low, high in told:
        assert low is not None
        assert high is not None
        wide = (high - low) / 2.0
        assert low - wide <= value <= high + wide
    assert learn(link, walked, seed=5) == found
    assert found.sigma_db > 0.0


def test_what_was_learnt_is_written_and_read_again() -> None:
    link, walked, _ = walked_site(11)
    found = learn(link, walked, datetime.date(2027, 5, 13))
    assert parse_learnt(write_learnt(found), "yard-walk.toml") == found


def test_an_earlier_walk_is_where_the_next_begins() -> None:
    link, walked, _ = walked_site(12)
    first = learn(link, walked)
    again = learn(link, walked, earlier=first)
    assert again.reference_m == first.reference_m
    assert again.offset_high_db - again.offset_low_db < first.offset_high_db - first.offset_low_db


def test_a_walk_that_never_turns_does_not_tell_what_the_body_costs() -> None:
    lines = [f"{n / 10},{-50 - n % 7}" for n in range(400)]
    one_way = AtWork("Pilot", LINK.ends, 578_000, 10.0, (GATE, KILN))
    found = learn(one_way, placed(parse_walk(log(lines), "l.csv"), one_way.route, SITE))
    assert found.body_db is None


@given(st.floats(-20.0, 20.0))
def test_levels_that_are_higher_everywhere_are_an_offset(more_db: float) -> None:
    link, walked, _ = walked_site(14)
    plain = averages(link, walked)
    raised = averages(link, replace(walked, level_dbm=walked.level_dbm + more_db))
    assert raised.over_db - plain.over_db == pytest.approx(np.full(plain.over_db.size, more_db))


# Places.


def test_without_marks_the_route_is_walked_evenly() -> None:
    walked = placed(parse_walk(log(["0,-50", "40,-60", "80,-50"]), "l.csv"), LINK.route, SITE)
    assert walked.places[:, 0] == pytest.approx([5.0, 45.0, 5.0], abs=0.02)


def test_spots_that_are_passed_place_the_readings_between_them() -> None:
    text = log(["0,-40,", "10,-50,Gate", "20,-55,", "30,-60,Kiln", "90,-60,"], "time,rf_a_dbm,spot")
    walked = placed(parse_walk(text, "l.csv"), LINK.route, SITE)
    assert walked.time_s.tolist() == [10.0, 20.0, 30.0]
    assert walked.places[:, 0].tolist() == [5.0, 25.0, 45.0]


def test_places_can_be_said() -> None:
    text = log(["0;-40,5;1,5;2", "1;-41,5;;", "2;-42;3,5;4"], "time;rf_a_dbm;x_m;y_m")
    walked = placed(parse_walk(text, "l.csv"), LINK.route, SITE)
    assert walked.places[:, :2].tolist() == [[1.5, 2.0], [3.5, 4.0]]
    assert walked.level_dbm[:, 0].tolist() == [-40.5, -42.0]


def test_a_receivers_log_is_read_as_it_is() -> None:
    text = log(
        [
            "2027-05-13T18:00:02+01:00,Pilot,-52,-55,-20,0.9,0.8,0",
            "2027-05-13T18:00:01+01:00,Pilot,-50,,-20,0.9,0.8,0",
            "2027-05-13T18:00:03+01:00,Pilot,-90,-90,-20,0.0,0.8,1",
            "2027-05-13T18:00:04+01:00,Cook,-60,-61,-20,0.9,0.8,0",
        ],
        "time,link,rf_a_dbm,rf_b_dbm,audio_dbfs,quality,battery,muted",
    )
    found = parse_walk(text, "l.csv").of_link("Pilot")
    assert found.time_s.tolist() == [0.0, 1.0]
    assert found.level_dbm[1].tolist() == [-52.0, -55.0]
    assert np.isnan(found.level_dbm[0, 1])
    assert found.day == datetime.date(2027, 5, 13)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "l.csv: is empty; expected a log of levels with a line of column names"),
        ("when,rf_a_dbm\n1,2", 'l.csv, line 1: has no column "time" (its columns are "when", "rf_a_dbm")'),
        ("time,audio\n1,2", "l.csv, line 1: has no level; expected a column rf_a_dbm, rf_b_dbm or level_dbm"),
        ("time,rf_a_dbm,x_m\n1,-50,2", "l.csv, line 1: has one of x_m and y_m; expected both or neither"),
        ("time,rf_a_dbm\n1,-50", "l.csv: has 1 readings; expected a walk of many"),
        ("time,rf_a_dbm\n1,-50\n2,loud", 'l.csv, line 3: rf_a_dbm is "loud"; expected a number'),
        ("time,rf_a_dbm\n1,-50\nnoon,-50", 'l.csv, line 3: time is "noon"; expected ISO 8601 or seconds'),
        (
            "time,rf_a_dbm\n1,-50\n2,50",
            "l.csv, line 3: a level of 50 dBm is none that a receiver reads; expected dBm, -150 to 30",
        ),
        (
            "time,rf_a_dbm,facing\n1,-50,up\n2,-50,",
            'l.csv, line 2: facing is "up"; expected towards, away or side',
        ),
        (
            "time,rf_a_dbm\n1,-50\n2027-05-13T18:00:00,-50",
            "l.csv: has times of two kinds; expected ISO 8601 or seconds throughout",
        ),
        (
            "time,rf_a_dbm\n2027-05-13T18:00:00,-50\n2027-05-13T18:00:00Z,-50",
            "l.csv: has times with and without an offset; expected one kind throughout",
        ),
    ],
)  # fmt: skip
def test_a_bad_log_is_one_sentence(text: str, says: str) -> None:
    with pytest.raises(InputError) as error:
        parse_walk(text, "l.csv")
    assert str(error.value) == says


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (log(["0,-50", "0,-51"]), "all readings have one time; expected times along the walk, or x_m and y_m"),
        (
            log(["0,-50,Gate", "1,-51,Gat"], "time,rf_a_dbm,spot"),
            'the log passes a spot "Gat" that Yard does not have; did you mean "Gate"?',
        ),
        (
            log(["0,-50,Gate", "1,-51,"], "time,rf_a_dbm,spot"),
            "the log passes one spot only; expected at least two, or x_m and y_m",
        ),
    ],
)  # fmt: skip
def test_readings_that_have_no_place_are_refused(text: str, says: str) -> None:
    with pytest.raises(InputError) as error:
        placed(parse_walk(text, "l.csv"), LINK.route, SITE)
    assert str(error.value) == says


def test_too_short_a_walk_is_refused() -> None:
    walked = placed(parse_walk(log(["0,-50", "20,-60", "40,-50"]), "l.csv"), LINK.route, SITE)
    with pytest.raises(InputError, match="stretches of 2 m with levels; expected at least 12"):
        learn(LINK, walked)


@given(st.text(max_size=300))
def test_whatever_is_read_only_an_input_error_says_no(text: str) -> None:
    for given_text in (text, f"time,rf_a_dbm\n{text}"):
        with contextlib.suppress(InputError):
            assert parse_walk(given_text, "l.csv").time_s.size >= 2

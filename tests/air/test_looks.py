"""How a sweep looked, and what it may have missed."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.air.test_occupancy import made, noise

from linkwright.air.looks import look_of
from linkwright.physics.looking import Looks, User, looks_for, missed, stepping_looks

USERS = st.builds(User, st.floats(0.001, 0.9), st.floats(0.1, 1000))


@given(USERS, st.floats(0.001, 10), st.floats(0, 100), st.integers(1, 1000))
def test_more_looks_miss_less_and_never_more_than_one_look(
    user: User, look: float, pause: float, count: int
) -> None:
    one = missed(Looks(look, look + pause, count), user)
    more = missed(Looks(look, look + pause, count + 1), user)
    assert 0.0 <= more <= one <= 1.0 - user.share + 1e-12


@given(USERS, st.floats(0.001, 10), st.integers(1, 50))
def test_looking_all_the_time_is_one_long_look(user: User, look: float, count: int) -> None:
    parts = missed(Looks(look, look, count), user)
    assert parts == pytest.approx(missed(Looks(look * count, look * count, 1), user), rel=1e-9)


@given(USERS, st.floats(0.01, 0.999), st.floats(0.001, 10), st.floats(0, 100))
def test_the_advice_is_the_fewest_looks_that_do(user: User, certainty: float, look: float, pause: float) -> None:
    try:
        advice = looks_for(certainty, look, look + pause, user)
    except ValueError:
        return
    assert missed(advice, user) <= (1 - certainty) * (1 + 1e-6)
    if advice.count > 1:
        assert missed(dataclasses.replace(advice, count=advice.count - 1), user) > (1 - certainty) * (1 - 1e-6)


def test_what_cannot_be() -> None:
    assert missed(Looks(1.0, 1.0, 0)) == 1.0
    for wrong in ((0.0, 20.0), (1.0, 20.0), (0.05, 0.0)):
        with pytest.raises(ValueError, match="no such user"):
            User(*wrong)
    with pytest.raises(ValueError, match="no such looks"):
        Looks(2.0, 1.0, 1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        looks_for(1.0, 1.0, 1.0)
    with pytest.raises(ValueError, match="no such receiver"):
        stepping_looks(0.0, 10, 10.0)
    assert stepping_looks(0.2, 200, 79.0).count == 1
    assert stepping_looks(0.2, 200, 80.0).count == 2


def test_a_sweep_is_credited_with_what_it_says_and_no_more() -> None:
    levels = noise(1, 16, (10, 400), -100.0)
    known = dataclasses.replace(made(levels), lasted_s=90.0)
    look = look_of(known)
    assert (look.looks.count, look.looks.every_s) == (10, 10.0)
    assert look.looks.look_s == pytest.approx(16 / 25_000)
    assert look.missed == missed(look.looks)
    assert look.needed_s is not None
    assert look.needed_s > 90.0
    unknown = look_of(made(levels))
    assert unknown.looks.count == 1
    assert "count as one" in unknown.says
    assert unknown.missed > look.missed
    assert look_of(made(levels[:1])).missed == pytest.approx(0.95, abs=0.001)
    held = dataclasses.replace(made(levels[:1], detector="peak", averages=None), lasted_s=600.0)
    assert look_of(held).missed == pytest.approx(0.95, abs=0.001), "nobody says how often it passed"
    passes = dataclasses.replace(held, averages=61)
    assert look_of(passes).looks.count == 61
    assert look_of(passes).looks.every_s == 10.0


def test_a_user_who_is_on_now_and_then_is_missed_as_often_as_reckoned() -> None:
    """A sweep of single bins against simulated users, 4000 of them: within three standard errors."""
    user, looks = User(0.2, 3.0), Looks(0.5, 4.0, 6)
    source = np.random.default_rng(5)
    misses = 0
    for _ in range(4000):
        on, clock, hit = bool(source.random() < user.share), 0.0, False
        while clock < looks.lasts_s and not hit:
            stays = source.exponential(user.on_s if on else user.off_s)
            if on:
                begins = np.arange(looks.count) * looks.every_s
                hit = bool(np.any((begins + looks.look_s > clock) & (begins < clock + stays)))
            clock, on = clock + stays, not on
        misses += not hit
    expected = missed(looks, user)
    assert misses / 4000 == pytest.approx(expected, abs=3 * np.sqrt(expected * (1 - expected) / 4000))

"""An answer of one tap is evidence: shares by Bayes, told, and likelier the next time up to a ceiling."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.watch.test_watch_causes import NOTHING_KNOWN

from linkwright.watch.diagnose.answers import (
    MOST_COUNTED,
    PRIOR_WEIGHS,
    YES_OF_ANOTHER,
    YES_OF_IT,
    Answer,
    answered,
    asked_of,
    counted,
    sharpened,
)
from linkwright.watch.diagnose.causes import CAUSES
from linkwright.watch.diagnose.watcher import Episode
from linkwright.watch.log.record import SECOND_NS

NOW_NS = 1_810_000_000 * SECOND_NS
SHARES = (("body", 0.6), ("wall", 0.3), ("range", 0.07), ("unknown", 0.03))
UNSURE = Episode(
    1, "Mic", NOW_NS, NOW_NS + SECOND_NS, False, "body", 0.6, SHARES, "Because.", "Do.", True, "signal", (),
    NOTHING_KNOWN,
)  # fmt: skip


def answer(**given: Any) -> Answer:
    return Answer("Mic", NOW_NS, who="Ada", **given)


def share(one: Episode, cause: str) -> float:
    return dict(one.causes).get(cause, 0.0)


def test_the_question_is_that_of_the_rival() -> None:
    assert asked_of(UNSURE) == "wall"
    assert asked_of(replace(UNSURE, causes=(("body", 0.97), ("unknown", 0.03)))) == "body"


def test_yes_and_no_weigh_as_bayes_says_and_are_told() -> None:
    """By hand: odds of wall to body times 0.85 / 0.15, and the inverse."""
    yes, no = (answered(UNSURE, [answer(asked="wall", yes=one)]) for one in (True, False))
    ratio = YES_OF_IT / YES_OF_ANOTHER
    assert share(yes, "wall") / share(yes, "body") == pytest.approx(0.3 / 0.6 * ratio)
    assert share(no, "wall") / share(no, "body") == pytest.approx(0.3 / 0.6 / ratio)
    assert (yes.cause, no.cause) == ("wall", "body")
    assert "Ada answered" in yes.because
    assert "By the readings alone: body, 60 %." in yes.because
    assert yes.do.startswith(CAUSES["wall"].next_step)
    assert no.because.startswith("Because.")


def test_what_it_was_outweighs_the_readings_even_where_they_do_not_list_it() -> None:
    told = answered(UNSURE, [answer(was="multipath")])
    assert told.cause == "multipath"
    assert "Ada says that it was: reflections." in told.because


def test_an_answer_is_of_its_own_episode() -> None:
    for other in (replace(UNSURE, link="Boom"), replace(UNSURE, from_ns=NOW_NS + 60 * SECOND_NS)):
        assert answered(other, [answer(was="wall")]) is other


@given(st.lists(st.tuples(st.sampled_from(sorted(set(CAUSES) - {"unknown"})), st.booleans()), max_size=6))
def test_shares_stay_shares_whatever_is_answered(many: list[tuple[str, bool]]) -> None:
    told = answered(UNSURE, [answer(asked=cause, yes=yes) for cause, yes in many])
    assert sum(part for _, part in told.causes) <= 1.0 + 1e-9
    assert 0.0 <= told.probability <= 1.0


def test_what_was_confirmed_is_likelier_the_next_time_up_to_a_ceiling() -> None:
    signal = {c.name: c.prior for c in CAUSES.values() if c.track == "signal" and c.prior > 0.0}
    assert sharpened({}) == pytest.approx(dict.fromkeys(signal, 1.0))
    twice = sharpened({"wall": 2})
    part = signal["wall"] / sum(signal.values())
    assert twice["wall"] == pytest.approx((PRIOR_WEIGHS * part + 2) / ((PRIOR_WEIGHS + 2) * part))
    assert twice["body"] < 1.0 < twice["wall"]
    total = sum(prior / sum(signal.values()) * twice[name] for name, prior in signal.items())
    assert math.isclose(total, 1.0)
    assert sharpened({"wall": 1000}) == sharpened({"wall": MOST_COUNTED})


def test_an_episode_counts_once_and_a_no_confirms_nothing() -> None:
    several = [answer(asked="wall", yes=True), answer(was="body"), answer(asked="range", yes=False)]
    assert counted(several) == {"body": 1}

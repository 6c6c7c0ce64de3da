"""Delays, comb notches and lip-sync, one a value."""

from __future__ import annotations

import numpy as np
import pytest

from linkwright.sound.timing import air_delay_ms, comb_db, comb_notches_hz, lip_sync, within_ebu_r37


@pytest.mark.published("speed of sound in dry air: 1 m takes 2.914 ms at 20 C")
def test_a_metre_of_air() -> None:
    assert air_delay_ms(1.0) == pytest.approx(2.914, abs=0.001)


@pytest.mark.arithmetic("exact arithmetic: two equal copies cancel first at 1 / (2 delay)")
@pytest.mark.parametrize(("delay_ms", "first_hz"), [(2.0, 250.0), (4.0, 125.0)])
def test_first_comb_notch(delay_ms: float, first_hz: float) -> None:
    notches = comb_notches_hz(delay_ms, 1000.0)
    assert list(notches[:2]) == pytest.approx([first_hz, 3.0 * first_hz])
    assert notches.max() <= 1000.0
    assert comb_db(notches, delay_ms).max() < -100.0
    assert comb_db(np.array([2.0 * first_hz]), delay_ms) == pytest.approx(6.02, abs=0.01)


@pytest.mark.published("ITU-R BT.1359-1: noticed from +45 and -125 ms, accepted to +90 and -185 ms")
@pytest.mark.parametrize(
    ("early_ms", "says"),
    [
        (45.0, "unnoticed"), (46.0, "noticed"), (90.0, "noticed"), (91.0, "too far"),
        (-125.0, "unnoticed"), (-126.0, "noticed"), (-185.0, "noticed"), (-186.0, "too far"),
    ],
)  # fmt: skip
def test_lip_sync(early_ms: float, says: str) -> None:
    assert lip_sync(early_ms) == says


@pytest.mark.published("EBU R 37: sound at most 40 ms early and 60 ms late")
@pytest.mark.parametrize(("early_ms", "keeps"), [(40.0, True), (41.0, False), (-60.0, True), (-61.0, False)])
def test_ebu_r_37(early_ms: float, keeps: bool) -> None:
    assert within_ebu_r37(early_ms) is keeps

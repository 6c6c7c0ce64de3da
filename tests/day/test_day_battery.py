"""Run times behave as cells do, and logged ones pull the prediction to themselves."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.physics.battery import CELLS, Draw, Powering, Ran, capacity_ah, refit, run_time_h

kinds = st.sampled_from(sorted(CELLS))
drains = st.floats(5.0, 3000.0)
KIT = Powering(CELLS["AA", "lithium"], 2, Draw(550.0, 8.0))


@given(kinds, drains, st.floats(1.0, 2.0), st.floats(-40.0, 20.0), st.floats(0.0, 30.0))
def test_more_drain_and_more_cold_never_last_longer(
    kind: tuple[str, str], drain: float, more: float, cold: float, warmer: float
) -> None:
    cell = CELLS[kind]
    lasts = run_time_h(cell, 2, drain, cold)
    assert run_time_h(cell, 2, drain * more, cold) <= lasts * (1 + 1e-12)
    assert run_time_h(cell, 2, drain, cold + warmer) >= lasts * (1 - 1e-12)
    assert run_time_h(cell, 4, drain, cold) >= 2.0 * lasts * (1 - 1e-12), "twice the cells, less current from each"
    assert 0.0 < capacity_ah(cell, drain / 1000.0, cold) <= cell.capacity_ah


def test_nothing_drawn_lasts_for_ever() -> None:
    assert run_time_h(KIT.cell, 2, 0.0) == math.inf


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.6, 1.5), st.floats(0.6, 1.6), st.floats(0.6, 1.6),
    st.lists(st.sampled_from([2.0, 10.0, 25.0, 50.0]), min_size=8, max_size=16),
)  # fmt: skip
def test_logged_runs_make_predictions_theirs(by: float, base: float, radiated: float, powers: list[float]) -> None:
    """Runs of a kit whose constants are others: its run times at the logged steps are found again."""
    from dataclasses import replace

    true = Powering(replace(KIT.cell, capacity_ah=KIT.cell.capacity_ah * by), 2, Draw(550.0 * base, 8.0 * radiated))
    fitted = refit(KIT, [Ran(true.run_time_h(power), power) for power in powers])
    for power in powers:
        ratio = fitted.run_time_h(power) / true.run_time_h(power)
        before = KIT.run_time_h(power) / true.run_time_h(power)
        assert abs(math.log(ratio)) <= max(0.06, 0.35 * abs(math.log(before)))
        assert fitted.sigma(power) < KIT.sigma(power)
    assert fitted.runs == len(powers)


def test_one_logged_run_moves_the_others_too_and_no_run_moves_nothing() -> None:
    assert refit(KIT, []) == KIT
    short = refit(KIT, [Ran(0.7 * KIT.run_time_h(10.0), 10.0)])
    assert short.run_time_h(10.0) == pytest.approx(0.7 * KIT.run_time_h(10.0), rel=0.05)
    assert short.run_time_h(50.0) < 0.85 * KIT.run_time_h(50.0)


def test_runs_at_two_powers_tell_base_from_radiated() -> None:
    true = Powering(KIT.cell, 2, Draw(550.0, 16.0))
    runs = [Ran(true.run_time_h(power), power) for power in (2.0, 50.0)] * 6
    fitted = refit(KIT, runs)
    assert fitted.draw.per_radiated == pytest.approx(16.0, rel=0.2)
    assert fitted.run_time_h(25.0) == pytest.approx(true.run_time_h(25.0), rel=0.05)


def test_a_wild_log_does_not_break_the_fit() -> None:
    for ran in (0.01, 900.0):
        fitted = refit(KIT, [Ran(ran, 10.0, -20.0, 5.0)])
        assert math.isfinite(fitted.run_time_h(10.0))
        assert fitted.run_time_h(10.0) > 0.0

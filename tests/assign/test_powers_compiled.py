"""Powers settled in one compiled loop and with arrays: the same, whatever the call."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.assign.levels import Radio
from linkwright.assign.placement import CallLevels, Outcome, PowerWishes, settle_powers

STEPS_MW = (np.array([1.0, 10.0, 50.0]), np.array([2.0, 20.0]), np.array([10.0]))


def drawn(seed: int, own: int, others: int, listeners: int) -> CallLevels:
    """A call of links that hear each other well enough to be in each other's way, the first of them heard by some
    more."""
    draw = np.random.default_rng(seed)
    n, of = own + others, np.sort(np.concatenate([np.arange(own), draw.integers(own, size=listeners)]))
    gain = 10.0 ** (draw.uniform(-9.0, -4.0, (n, of.size)))
    gain[of, np.arange(of.size)] = 10.0 ** draw.uniform(-7.0, -5.0, of.size)
    coupling = 10.0 ** draw.uniform(-7.0, -3.0, (n, n))
    np.fill_diagonal(coupling, 0.0)
    rejection = np.broadcast_to(np.array([1.0, 1e-3, 1e-5, 1e-8]), (2, 2, 4))
    radio = Radio(
        gain, coupling, 10.0 ** draw.uniform(-4.0, -2.0, n), np.full(of.size, 1e-11), np.full(of.size, 100.0),
        10.0 ** draw.uniform(0.0, 1.5, of.size), 10.0 ** draw.uniform(-1.5, 0.0, of.size), np.full(of.size, 1e-3),
        draw.choice([180.0, 200.0], n), rejection, 200.0, draw.integers(2, size=n), own, True, of,
    )  # fmt: skip
    steps = tuple(STEPS_MW[int(k)] for k in draw.integers(len(STEPS_MW), size=own))
    return CallLevels(
        np.arange(own), radio, tuple(10.0 ** draw.uniform(-14.0, -11.0, 1) for _ in of), steps,
        tuple(np.full(1, float(draw.choice([mw.min(), 50.0]))) for mw in steps),
        draw.integers(500_000, 512_000, others), 10.0 ** draw.uniform(0.0, 2.0, others),
        PowerWishes(
            tuple(f"L{k}" for k in draw.permutation(own)), draw.uniform(0.0, 6.0, own), draw.random(own) < 0.4
        ),
        np.full(own, 3.0),
    )  # fmt: skip


def both(call: CallLevels, carriers_khz: np.ndarray) -> tuple[Outcome, Outcome]:
    """As the compiled loop has it, and as arrays have it."""
    plain = replace(call, radio=replace(call.radio, compiled=False))
    slots = [0] * call.radio.own
    return settle_powers(call, slots, carriers_khz), settle_powers(plain, slots, carriers_khz)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 9), st.integers(0, 3), st.integers(0, 3))
def test_the_compiled_loop_settles_as_the_arrays_do(seed: int, own: int, others: int, listeners: int) -> None:
    call = drawn(seed, own, others, listeners)
    carriers_khz = np.random.default_rng(seed + 1).integers(500_000, 512_000, own)
    compiled, plain = both(call, carriers_khz)
    assert compiled.powers_mw.tolist() == plain.powers_mw.tolist()
    assert compiled.excess_db == pytest.approx(plain.excess_db, abs=1e-9)
    assert compiled.rise_db == pytest.approx(plain.rise_db, abs=1e-9)


def test_the_calls_that_are_drawn_try_every_turn() -> None:
    """Some stay at the least, some are raised to the highest, some in between: else the law above says little."""
    turns = []
    for seed in range(40):
        call, carriers_khz = drawn(seed, 8, 2, 2), np.random.default_rng(seed + 1).integers(500_000, 512_000, 8)
        powers = settle_powers(call, [0] * 8, carriers_khz).powers_mw
        for mw, most, now in zip(call.steps_mw, call.most_mw, powers, strict=True):
            allowed = mw[mw <= most[0]]
            turns.append("one" if allowed.size == 1 else "least" if now == mw[0] else "highest")
            turns[-1] = "between" if mw[0] < now < allowed[-1] else turns[-1]
    assert all(turns.count(turn) > 5 for turn in ("least", "highest", "between")), Counter(turns)

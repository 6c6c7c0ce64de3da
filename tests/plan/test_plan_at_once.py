"""What is worked out for many links at once is what comes out link by link, on random shoots."""

from __future__ import annotations

import itertools
import json

import numpy as np
import pytest
from bench.events import event

from linkwright.assign import kernels, plain
from linkwright.assign.bound import spacing_bound
from linkwright.assign.products import is_clean, nearest_khz, products_near
from linkwright.physics.harm import Kinds, harm_curves
from linkwright.physics.intermodulation.inband import EveryProduct, all_products, strongest_first
from linkwright.plan.chain import scene_of
from linkwright.plan.model import Plan, PlannedLink
from linkwright.plan.neighbours import Afar
from linkwright.plan.pipeline import make_plan
from linkwright.plan.site import Slots, site_problem
from linkwright.plan.solve import far_of_plan
from linkwright.reach.budget import budgets_of
from linkwright.reach.hand import HarmCurves, told_of
from linkwright.units import FloatArray


@pytest.mark.parametrize("seed", range(3))
def test_budgets_and_what_is_told_of_a_site_are_those_of_each_link_by_itself(seed: int) -> None:
    draw = np.random.default_rng(seed)
    scene = scene_of(event(24, 2, seed), {})
    site = scene.used_sites[0]
    chains = site_problem(scene, site, Slots.of(scene), {}).chains
    asked = [chain.asked(int(draw.integers(470_000, 690_000))) for chain in chains]
    together, alone = budgets_of(asked), [budgets_of([one])[0] for one in asked]
    x = draw.normal(60.0, 15.0, len(asked)).tolist()
    noisier = [0.0 if draw.random() < 0.5 else draw.normal(0.0, 2.0, 256) for _ in asked]
    told = told_of([budget.hand for budget in together], x, noisier)
    for many, one, at, noise, said in zip(together, alone, x, noisier, told, strict=True):
        assert (many.at, many.alone.spot) == (one.at, one.alone.spot)
        assert many.alone.needs_db == pytest.approx(one.alone.needs_db, abs=1e-9)
        assert many.gain_db == pytest.approx(one.gain_db, abs=1e-9)
        assert many.to_hold_db == pytest.approx(one.to_hold_db, abs=1e-6)
        assert said == many.hand.told(at, noise)
        over = np.sort(at - many.hand.shift_db - noise)
        assert said.sure == np.count_nonzero(over >= 0.0) / 256
        assert said.in_hand_db == over[25]


def test_compiled_curves_and_shifts_are_the_plain_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    draw, places, links = np.random.default_rng(2), 60, 25
    kinds = Kinds(
        draw.uniform(-14.0, 17.0, places),
        draw.choice([0.0, 0.001, 0.3, 0.9, 8.0], places),
        draw.uniform(0.0, 45.0, places),
        draw.uniform(0.0, 12.0, places),
        draw.choice([0.0, 1.0, 20.0, 300.0], places),
    )
    first = np.sort([0, *draw.choice(np.arange(1, places), links - 1, replace=False)])
    share = 1.0 / np.repeat(np.diff([*first, places]), np.diff([*first, places]))
    deviation, wanted = draw.normal(0.0, 8.0, (40, places)), draw.choice([0.1, 2.0, 900.0], links)

    def found() -> tuple[FloatArray, FloatArray]:
        curves = harm_curves(kinds)
        return curves, HarmCurves(curves, np.linspace(50.0, 90.0, places), share, first).shifts_db(
            wanted, deviation
        )

    compiled = found()
    monkeypatch.setattr("linkwright.physics.harm.MANY", 10**9)
    monkeypatch.setattr("linkwright.reach.hand.MANY_PLACES", 10**9)
    for fast, slow in zip(compiled, found(), strict=True):
        np.testing.assert_allclose(fast, slow, rtol=0.0, atol=1e-9)


def test_the_quietest_slot_is_the_same_compiled() -> None:
    draw = np.random.default_rng(4)
    for _ in range(200):
        slots = np.sort(draw.choice(3000, 200, replace=False))
        rise, free = draw.choice([0.0, 0.25, 0.75, 1.0], 200), np.flatnonzero(draw.random(200) < 0.5)
        taken = np.sort(draw.choice(3000, int(draw.integers(0, 8)), replace=False))
        arguments = (slots, rise, free, taken, 25, 2000)
        assert kernels.quietest(*arguments) == plain.quietest(*arguments)


@pytest.mark.parametrize("seed", range(10))
def test_products_in_all_filters_are_those_in_each(seed: int) -> None:
    draw = np.random.default_rng(seed)
    n = int(draw.integers(3, 14))
    carriers = np.sort(draw.choice(np.arange(500_000, 503_000, 25), n, replace=False))
    widths = draw.choice([25.0, 200.0], n)
    levels = 10.0 ** draw.uniform(-6.0, -3.0, (n, n))
    iip3, least = 10.0 ** draw.uniform(-1.0, 1.0, n), 10.0 ** draw.uniform(-14.0, -10.0, n)
    every = EveryProduct(carriers, widths).in_filters(levels, carriers, widths, iip3, least)
    for v, found in enumerate(every):
        one = all_products(carriers, widths, levels[:, v], int(carriers[v]), widths[v], iip3[v], least[v])
        assert found[0] == pytest.approx(one[0], rel=1e-12)
        for a, b in zip(strongest_first(found)[1:], strongest_first(one)[1:], strict=True):
            assert np.array_equal(a, b)


def clean_link_by_link(
    carriers: list[int], spares: list[tuple[int, ...]], others: list[int], two: int, three: int
) -> bool:
    """The same as `is_clean`, a link at a time and every product anew."""
    if products_near([*carriers, *others], [*carriers, *itertools.chain(*spares)], two, three):
        return False
    for link, mine in enumerate(spares):
        if mine:
            moved = [*carriers[:link], mine[0], *carriers[link + 1 :]]
            if products_near([*moved, *others], moved, two, three):
                return False
    return True


def test_a_call_is_clean_as_it_is_link_by_link() -> None:
    draw, said = np.random.default_rng(7), []
    for _ in range(300):
        n, o = int(draw.integers(1, 6)), int(draw.integers(0, 3))
        khz = draw.choice(np.arange(0, 30_000, 25), 2 * n + o, replace=False).tolist()
        spares: list[tuple[int, ...]] = [(khz[n + i],) if draw.random() < 0.8 else () for i in range(n)]
        arguments = (khz[:n], spares, khz[2 * n :], int(draw.integers(0, 200)), int(draw.integers(0, 120)))
        said.append(is_clean(*arguments))
        assert said[-1] == clean_link_by_link(*arguments)
        two, three = nearest_khz([*khz[:n], *khz[2 * n :]], khz[: 2 * n])
        near = {one.victim for one in products_near([*khz[:n], *khz[2 * n :]], khz[: 2 * n], 500, 300)}
        assert set(np.flatnonzero((two < 500) | (three < 300)).tolist()) == near
    assert 50 < sum(said) < 250


def test_a_scan_takes_as_many_as_one_carrier_after_the_other() -> None:
    draw = np.random.default_rng(3)
    for _ in range(50):
        slots = np.sort(draw.choice(2_000, int(draw.integers(1, 60)), replace=False))
        spacing, count, last = int(draw.integers(0, 90)), 0, -(10**9)
        for slot in slots.tolist():
            if slot - last >= max(spacing, 1):
                count, last = count + 1, slot
        assert spacing_bound(slots, spacing) == count


@pytest.mark.parametrize("many", [1, 10**9], ids=["compiled", "plain"])
def test_what_is_heard_from_afar_is_the_sum_over_its_links(many: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Slot by slot against plain loops, with some of the links live."""
    monkeypatch.setattr("linkwright.plan.neighbours.MANY_FAR", many)
    scene = scene_of(event(24, 4, 5, apart_m=200.0), {})
    plan = make_plan(scene.shoot, {}, effort=0.0)
    site, *_ = scene.used_sites
    far = [each for name, each in far_of_plan(scene, plan).items() if name != site.name]
    afar = Afar.of(site, far)
    chain = scene.chain(scene.calls_on(site)[0].links[0], site)
    slots = np.arange(470_000, 694_000, 25)
    live = np.random.default_rng(1).random(afar.carriers_khz.size) < 0.6
    half, antenna = chain.transmitter.bandwidth_khz / 2.0, 10.0 ** (chain.heard_gain_db / 10.0)
    wanted = np.zeros(slots.size)
    for n in np.flatnonzero(live):
        low, high = (afar.carriers_khz[n] + sign * afar.widths_khz[n] / 2.0 for sign in (-1.0, 1.0))
        share = np.clip(np.minimum(slots + half, high) - np.maximum(slots - half, low), 0.0, None) / (high - low)
        wanted += antenna * afar.heard_mw[n] * share
    for _ in range(2):  # laid out, and then looked up
        np.testing.assert_allclose(afar.over_slots(chain, live, slots)[0], wanted, rtol=1e-12)


def test_a_ledger_that_nobody_read_is_the_ledger_that_was_written() -> None:
    plan = make_plan(event(6, 1), {}, effort=0.0)
    again = Plan.model_validate_json(plan.model_dump_json())
    assert again == plan
    assert hash(again) == hash(plan)
    link = plan.calls[0].links[0]
    assert [line.model_dump() for line in link.ledger] == json.loads(link.model_dump_json())["ledger"]
    assert link.ledger[0] == again.calls[0].links[0].ledger[0]
    with pytest.raises(ValueError, match="ledger"):
        PlannedLink.model_validate({**link.model_dump(), "ledger": [{"what": "luck"}]})

"""Is the power criterion right? A thousand placements, drawn and heard, against the availability that a plan tells.

Everything is worked out here again from the shoot: free space, bodies, fading, and every product one by one. The
placements are drawn by numpy from one seed. A share counted in 1000 draws is compared with a probability, so they
may differ by what the number of draws gives: four standard deviations.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.special import j0
from tests.plan.shoots import links, pocket, shoot

from linkwright.physics.masks import DEFAULT_MASK, DEFAULT_SELECTIVITY
from linkwright.plan.model import Plan, PlannedCall, PlannedLink
from linkwright.plan.pipeline import make_plan
from linkwright.units import FloatArray

DRAWS, SEED = 1000, 20270514
WIDTH_KHZ, FACING_DB, AWAY_DB = 200.0, 5.0, 15.0
SIGMA_DB, RICE_K, SPACING_M, MHZ = 3.0, 10.0**0.6, 0.3, 567.0
SPOTS = {
    "Rack": (0.0, 0.0),
    "Near": (14.0, 3.0),
    "Middle": (45.0, 10.0),
    "Far": (80.0, -12.0),
    "Farther": (115.0, 5.0),
}
ROUTES = [("Near", "Middle"), ("Middle", "Far"), ("Far", "Farther")]
RECEIVER = {"noise_figure_db": 18.0, "required_cnr_db": 10.0, "iip3_dbm": -38.0, "blocking_dbm": -40.0}


def crowded() -> PlannedCall:
    """Nine links in a span that has room for no clean plan, through a poor receiver, at one power."""
    spots = ", ".join(f'{{ name = "{name}", x_m = {x}, y_m = {y}, z_m = 1.5 }}' for name, (x, y) in SPOTS.items())
    body = f'[[site]]\nname = "Field"\nsurroundings = "open"\nspots = [{spots}]\n'
    body += pocket("[[566.0, 569.5]]", "powers_mw = [1]\nspacing_khz = 350\nraster_khz = 25\nedge_khz = 0")
    body += '[receiver.rack]\nuse = "uhf-cart-rack"\nantenna_gain_dbi = 0\nbranch_spacing_m = 0.3\n'
    body += "\n".join(f"{name} = {value}" for name, value in RECEIVER.items()) + "\n"
    for n in range(9):
        route = ", ".join(f'"{spot}"' for spot in ROUTES[n % 3])
        body += links(1, receiver="rack", more=f'at = "Rack"\nroute = [{route}]').replace("L1", f"L{n + 1}")
    plan: Plan = make_plan(shoot(body), {})
    assert plan.rule.criterion == "power"
    assert len(plan.calls[0].links) == 9
    return plan.calls[0]


@pytest.fixture(scope="module")
def call() -> PlannedCall:
    return crowded()


def route_of(link: PlannedLink) -> tuple[str, ...]:
    return ROUTES[(int(link.link[1:]) - 1) % 3]


def path_db(spot: str, mhz: float) -> float:
    """Free space, ITU-R P.525: 32.4478 + 20 log f + 20 log d."""
    return 32.4478 + 20.0 * math.log10(mhz) + 20.0 * math.log10(math.hypot(*SPOTS[spot]) / 1000.0)


def bell(offset_khz: float) -> float:
    """Share of a product of three carriers of 200 kHz in a filter of 200 kHz: boxes convolved on a fine grid."""
    box = np.full(200, 1.0 / 200)
    spectrum = np.convolve(np.convolve(box, box), box)
    at = np.arange(spectrum.size) - (spectrum.size - 1) / 2.0 + offset_khz
    return float(spectrum[np.abs(at) < WIDTH_KHZ / 2.0].sum())


def through_filter(offset_khz: float) -> float:
    """Share of a carrier in a filter beside it, by summing mask times selectivity over fine steps."""
    f = np.arange(-3000.0, 3000.0, 0.5) + 0.25
    sent = 10.0 ** (np.interp(f, DEFAULT_MASK.offsets_khz, DEFAULT_MASK.relative_db) / 10.0)
    gain = np.interp(f + offset_khz, DEFAULT_SELECTIVITY.offsets_khz, DEFAULT_SELECTIVITY.relative_db) / 10.0
    return float((sent * 10.0**gain).sum() / sent.sum())


def interference_mw(call: PlannedCall, victim: int, level_mw: FloatArray) -> FloatArray:
    """What all links bring at one's receiver (draws,) [mW], their levels there being level_mw (links, draws).

    Products of the receiver, adjacent carriers, blocking; what transmitters make in each other is far below here.
    """
    khz = [link.carrier_khz for link in call.links]
    noise = noise_mw()
    squared = 10.0 ** (-2.0 * RECEIVER["iip3_dbm"] / 10.0)
    total = np.zeros(level_mw.shape[1])
    for a, b in itertools.permutations(range(len(khz)), 2):
        offset = abs(2 * khz[a] - khz[b] - khz[victim])
        if offset < 400:
            total += squared * bell(offset) * level_mw[a] ** 2 * level_mw[b]
    for a, b in itertools.combinations(range(len(khz)), 2):
        for c in set(range(len(khz))) - {a, b}:
            offset = abs(khz[a] + khz[b] - khz[c] - khz[victim])
            if offset < 400:
                total += 4.0 * squared * bell(offset) * level_mw[a] * level_mw[b] * level_mw[c]
    for other in set(range(len(khz))) - {victim}:
        total += through_filter(abs(khz[other] - khz[victim])) * level_mw[other]
        total += noise * (10.0**0.1 - 1.0) * level_mw[other] / 10.0 ** (RECEIVER["blocking_dbm"] / 10.0)
    return total


def noise_mw() -> float:
    """kTB at 290 K, with the noise figure [mW]."""
    return float(1.380649e-23 * 290.0 * WIDTH_KHZ * 1e6 * 10.0 ** (RECEIVER["noise_figure_db"] / 10.0))


def branches(draw: np.random.Generator, mhz: float) -> FloatArray:
    """Power of the better of two branches over the local mean (draws,): a steady wave and scattered ones."""
    alike = float(j0(2.0 * math.pi * SPACING_M * mhz * 1e6 / 299_792_458.0))

    def scattered() -> np.ndarray:
        return (draw.normal(size=DRAWS) + 1j * draw.normal(size=DRAWS)) / math.sqrt(2.0)

    first, other = scattered(), scattered()
    steady, rest = math.sqrt(RICE_K / (RICE_K + 1.0)), math.sqrt(1.0 / (RICE_K + 1.0))
    second = alike * first + math.sqrt(1.0 - alike * alike) * other
    apart = 2.0 * math.pi * SPACING_M * mhz * 1e6 / 299_792_458.0
    later = np.exp(1j * apart * np.cos(draw.uniform(0.0, 2.0 * math.pi, DRAWS)))  # the steady wave, from any side
    return np.asarray(np.maximum(np.abs(steady + rest * first) ** 2, np.abs(steady * later + rest * second) ** 2))


def wanted_mw(draw: np.random.Generator, link: PlannedLink) -> FloatArray:
    """The wanted level at the receiver in each placement (draws,) [mW]: a spot of the route, its spread, fading."""
    mhz = link.carrier_khz / 1000.0
    loss = np.array([path_db(spot, mhz) for spot in route_of(link)])
    at = draw.integers(loss.size, size=DRAWS)
    mean_db = 10.0 * math.log10(link.power_mw) - AWAY_DB - loss[at] + draw.normal(0.0, SIGMA_DB, DRAWS)
    return np.asarray(10.0 ** (mean_db / 10.0) * branches(draw, mhz))


def heard_mw(call: PlannedCall, losses_db: list[FloatArray]) -> FloatArray:
    """Levels of all links at the receivers (links, draws) [mW], facing, each over a path loss (draws,) [dB]."""
    powers = np.array([link.power_mw for link in call.links])
    return np.asarray(powers[:, None] * 10.0 ** (-(np.array(losses_db) + FACING_DB) / 10.0))


def broken(call: PlannedCall, n: int, level_mw: FloatArray) -> float:
    """Share of a thousand placements in which one link has not what its receiver needs.

    It mixes with the others itself, at the level of its worst spot.
    """
    draw = np.random.default_rng([SEED, n])
    link = call.links[n]
    worst_db = max(path_db(spot, link.carrier_khz / 1000.0) for spot in route_of(link)) + AWAY_DB
    levels = level_mw.copy()
    levels[n] = link.power_mw * 10.0 ** (-worst_db / 10.0)
    unwanted = noise_mw() + interference_mw(call, n, levels)
    need = 10.0 ** (RECEIVER["required_cnr_db"] / 10.0)
    return float(np.mean(wanted_mw(draw, link) < need * unwanted))


def interval(share: float) -> float:
    return 4.0 * math.sqrt(max(share * (1.0 - share), 10.0 / DRAWS) / DRAWS)


def test_availability_is_what_a_thousand_placements_count(call: PlannedCall) -> None:
    """Interferers where the plan puts them, at their strongest: then told and counted are the same."""
    nearest = [
        np.full(DRAWS, min(path_db(spot, link.carrier_khz / 1000.0) for spot in route_of(link)))
        for link in call.links
    ]
    level = heard_mw(call, nearest)
    told = np.array([1.0 - link.availability for link in call.links])
    counted = np.array([broken(call, n, level) for n in range(len(call.links))])
    assert np.all(np.abs(told - counted) <= [interval(share) for share in told])
    # All together, nine thousand draws: no lean to either side.
    together = 4.0 * math.sqrt(float((told * (1.0 - told)).sum()) / DRAWS) / told.size
    assert abs(float((told - counted).mean())) <= together
    assert 0.02 < told.max() < 0.9


def test_interferers_that_wander_break_no_more_than_the_plan_says(call: PlannedCall) -> None:
    draw = np.random.default_rng(SEED)
    spots = []
    for link in call.links:
        loss = np.array([path_db(spot, link.carrier_khz / 1000.0) for spot in route_of(link)])
        turned = draw.uniform(0.0, AWAY_DB - FACING_DB, DRAWS)
        spots.append(loss[draw.integers(loss.size, size=DRAWS)] + turned)
    level = heard_mw(call, spots)
    for n, link in enumerate(call.links):
        told = 1.0 - link.availability
        assert broken(call, n, level) <= told + interval(told)


def test_interference_counts_in_it(call: PlannedCall) -> None:
    """Were the others silent, the same links would break far less: the check above is of more than noise."""
    silent = np.zeros((len(call.links), DRAWS))
    told = sum(1.0 - link.availability for link in call.links)
    assert sum(broken(call, n, silent) for n in range(len(call.links))) < 0.7 * told

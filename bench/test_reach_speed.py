"""Points a second of every model against a plain Python loop in the same run; maps and routes."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from linkwright.physics import diffraction, entry, pathloss, streets
from linkwright.reach.ends import Ends
from linkwright.reach.ground import AtWork, along_route, margin_field
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Site, Spot, Wall
from linkwright.units import FloatArray

POINTS, LOOPED = 1_000_000, 20_000
#: ITU-R P.2109-2, table 1, traditional, by hand for the loop.
_TRADITIONAL = (12.64, 3.72, 0.96, 9.1, -3.0)


def free_space(d: float) -> float:
    """One point of ITU-R P.525 at 600 MHz."""
    return 32.4478 + 20.0 * math.log10(600.0) + 20.0 * math.log10(max(d, 1.0) / 1000.0)


def terminals(d: float) -> float:
    """One point of P.1411 section 4.3.1 at 600 MHz, urban, median."""
    corner = 44.2

    def far(x: float) -> float:
        return 9.5 + 45.0 * math.log10(600.0) + 40.0 * math.log10(x / 1000.0) + 6.8

    if d < corner:
        return free_space(d)
    if d > corner + 20.0:
        return far(d)
    return free_space(corner) + (far(corner + 20.0) - free_space(corner)) * (d - corner) / 20.0


def two_rays(d: float) -> float:
    """One point of P.1411 section 4.1.2 at 600 MHz, 1.5 and 2 m."""
    wave = 299.792458 / 600.0
    at = 4.0 * 1.5 * 2.0 / wave
    base = abs(20.0 * math.log10(wave**2 / (8.0 * math.pi * 3.0))) + 6.0
    return base + (20.0 if d <= at else 40.0) * math.log10(d / at)


def indoors(d: float) -> float:
    """One point of P.1238-11, office with sight, at 600 MHz."""
    return 14.6 * math.log10(max(d, 1.0)) + 34.62 + 20.3 * math.log10(0.6)


def along_streets(d: float) -> float:
    """One point of P.1411 section 4.1.1 at 2442 MHz, urban with sight."""
    return 21.2 * math.log10(d) + 29.2 + 21.1 * math.log10(2.442)


def edge(d: float) -> float:
    """One point of P.526's knife edge."""
    v = d / 100.0 - 0.1
    return 6.9 + 20.0 * math.log10(math.sqrt(v * v + 1.0) + v)


def into_a_building(d: float) -> float:
    """One point of P.2109-2 at half of the places, the frequency running with d."""
    r, s, t, w, x = _TRADITIONAL
    log_f = math.log10((100.0 + d) / 1000.0)
    a, b = r + s * log_f + t * log_f**2, w + x * log_f
    return 10.0 * math.log10(10.0 ** (a / 10.0) + 10.0 ** (b / 10.0) + 10.0**-0.3)


MODELS: dict[str, tuple[Callable[[FloatArray], FloatArray], Callable[[float], float]]] = {
    "free space": (lambda d: pathloss.free_space_db(600.0, d), free_space),
    "P.1411 4.3.1": (lambda d: pathloss.p1411_terminals_db(600.0, d, 6.8), terminals),
    "P.1411 4.1.2": (lambda d: streets.two_ray(600.0, d, 1.5, 2.0).median_db, two_rays),
    "P.1411 4.1.1": (lambda d: streets.street_db(streets.P1411_STREET["urban, sight"], 2442.0, d), along_streets),
    "P.1238": (lambda d: pathloss.p1238_db(pathloss.P1238["office, sight"], 600.0, d), indoors),
    "P.2109": (lambda d: entry.entry_loss_db(100.0 + d, 0.5, "traditional"), into_a_building),
    "knife edge": (lambda d: diffraction.knife_edge_db(d / 100.0), edge),
}


@pytest.mark.parametrize("name", list(MODELS))
def test_points_a_second(benchmark: BenchmarkFixture, name: str) -> None:
    whole, single = MODELS[name]
    d = np.random.default_rng(1).uniform(6.0, 500.0, POINTS)
    few = d[:LOOPED].tolist()
    begun = time.perf_counter()
    looped = [single(one) for one in few]
    loop_s = (time.perf_counter() - begun) / LOOPED
    found = benchmark.pedantic(whole, args=(d,), rounds=3, warmup_rounds=1)
    assert found[:LOOPED] == pytest.approx(looped, abs=1e-3)
    assert benchmark.stats is not None
    a_point_s = float(benchmark.stats["min"]) / POINTS
    benchmark.extra_info["points_a_second"] = 1.0 / a_point_s
    benchmark.extra_info["times_the_plain_loop"] = loop_s / a_point_s


CART = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.8)
TX = Transmitter(form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=125, powers_mw=(10.0,))
RX = Receiver(tunes_mhz=((518.0, 542.0),), noise_figure_db=6.0, required_cnr_db=20.0)
WALLS = tuple(
    Wall.model_validate({"from": (10.0 * n, -20.0), "to": (10.0 * n, 5.0), "material": "brick"})
    for n in range(1, 5)
)
SITE = Site(name="S", surroundings="street", spots=(CART,), walls=WALLS)
ROUTE = tuple(Spot(name=f"{n}", x_m=12.0 * n, y_m=7.0 * (-1) ** n, z_m=1.3) for n in range(1, 6))
LINK = AtWork("Pilot", Ends(SITE, TX, RX, "belt-back", CART, "walking"), 578_000, 10.0, ROUTE)


def test_map_of_200_by_200(benchmark: BenchmarkFixture) -> None:
    """To be under 0.3 s."""
    x, y = np.linspace(-20.0, 80.0, 200), np.linspace(-50.0, 50.0, 200)
    field = benchmark.pedantic(margin_field, args=(LINK, x, y), rounds=3)
    assert field.margin_db.shape == (200, 200)


def test_twelve_routes_of_10_000_steps(benchmark: BenchmarkFixture) -> None:
    """To be under 1 s."""
    links = [replace(LINK, carrier_khz=566_000 + 1_000 * n) for n in range(12)]
    ways = benchmark.pedantic(lambda: [along_route(link, 10_000) for link in links], rounds=3)
    assert all(way.margin_db.shape == (10_000,) for way in ways)

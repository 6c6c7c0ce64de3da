"""Maps, routes over time, best places and least power agree with each other and with the budget of the plan."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.reach.budget import budget_of
from linkwright.reach.ends import Ends
from linkwright.reach.ground import AtWork, along_route, best_places, grid_of, least_power, margin_field, walk
from linkwright.shoot.equipment import Drain, Receiver, Transmitter
from linkwright.shoot.place import Point, Site, Spot, Surroundings, Wall

TX = Transmitter(
    form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=125, powers_mw=(1.0, 10.0, 50.0),
    drain_mw=Drain(base=500.0, per_radiated_mw=10.0),
)  # fmt: skip
RX = Receiver(tunes_mhz=((518.0, 542.0),), noise_figure_db=6.0, required_cnr_db=20.0)
CART = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.8)
NEAR, FAR = Spot(name="Near", x_m=10.0, y_m=4.0, z_m=1.3), Spot(name="Far", x_m=70.0, y_m=-12.0, z_m=1.3)
WALL = Wall.model_validate({"from": (30.0, -20.0), "to": (30.0, 2.0), "material": "brick"})
SITE = Site(name="S", surroundings="street", spots=(CART, NEAR, FAR), walls=(WALL,))


def at_work(site: Site = SITE, power_mw: float = 10.0, route: tuple[Spot, ...] = (NEAR, FAR)) -> AtWork:
    return AtWork("Pilot", Ends(site, TX, RX, "belt-back", CART), 578_000, power_mw, route, 1.5)


@settings(max_examples=30, deadline=None)
@given(st.floats(-80.0, 80.0), st.floats(-80.0, 80.0), st.sampled_from(["open", "street", "office", "hall"]))
def test_a_point_of_the_map_is_what_the_budget_says_there(x_m: float, y_m: float, around: Surroundings) -> None:
    site = SITE.model_copy(update={"surroundings": around})
    link = at_work(site)
    field = margin_field(link, np.array([x_m, x_m + 1.0]), np.array([y_m]), 1.3)
    spot = Spot(name="P", x_m=x_m, y_m=y_m, z_m=1.3)
    found = budget_of(link.ends, (spot,), link.carrier_khz)
    unwanted = found.noise_dbm + link.rise_db
    assert field.in_hand_db.shape == (1, 2)
    assert field.in_hand_db[0, 0] == pytest.approx(found.told(link.power_mw, unwanted).in_hand_db, abs=0.02)
    mean = found.spots[0].gain_db + 10.0 - unwanted - 20.0
    assert field.margin_db[0, 0] == pytest.approx(mean)


def test_a_route_begins_and_ends_at_its_spots_and_takes_its_time() -> None:
    link = at_work()
    way = along_route(link, 101)
    found = budget_of(link.ends, link.route, link.carrier_khz)
    x = link.x_db
    assert [way.in_hand_db[0], way.in_hand_db[-1]] == pytest.approx([x - s.needs_db for s in found.spots], abs=0.02)
    assert way.time_s[-1] == pytest.approx(np.hypot(60.0, 16.0) / 1.4)
    assert way.level_dbm[-1] == pytest.approx(found.spots[1].gain_db + 10.0)
    assert ((way.harm >= 0.0) & (way.harm <= 1.0)).all()
    assert np.argsort(way.in_hand_db)[0] in (way.harm.argmax(), way.in_hand_db.argmin())


@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=1, max_size=5), st.integers(2, 60))
def test_a_walk_goes_evenly_and_passes_every_spot(points: list[tuple[int, int]], steps: int) -> None:
    route = [Spot(name=f"{n}", x_m=float(x), y_m=float(y)) for n, (x, y) in enumerate(points)]
    time_s, places, ways = walk(route, 2.0, steps)
    assert time_s.shape == (steps,)
    assert places.shape == ways.shape == (steps, 3)
    assert places[0, :2].tolist() == [points[0][0], points[0][1]]
    assert places[-1, :2] == pytest.approx([points[-1][0], points[-1][1]])
    if time_s[-1] > 0.0 and np.ptp(places, axis=0).any():
        gone = np.sqrt((np.diff(places, axis=0) ** 2).sum(axis=1))
        assert (gone <= 2.0 * np.diff(time_s) * (1.0 + 1e-9)).all()  # round a corner the straight way is shorter


def test_the_grid_shows_everything_with_square_cells() -> None:
    x_m, y_m = grid_of(SITE, 120, (Point(x_m=90.0, y_m=0.0),))
    assert x_m[0] < 0.0
    assert x_m[-1] > 90.0
    assert y_m[0] < -20.0
    assert y_m[-1] > 4.0
    assert np.diff(x_m) == pytest.approx(x_m[1] - x_m[0])
    assert y_m[1] - y_m[0] == pytest.approx(x_m[1] - x_m[0])
    assert max(x_m.size, y_m.size) == 120


def test_the_best_place_is_the_one_with_the_least_in_hand_most() -> None:
    links = [at_work(), at_work(route=(FAR,))]
    placed = best_places(links, SITE.spots)
    assert [one.spot for one in placed][-1] == "Cart"  # farthest from Far, and behind the wall
    for one in placed:
        spot = next(spot for spot in SITE.spots if spot.name == one.spot)
        ends = Ends(SITE, TX, RX, "belt-back", spot)
        worst = min(
            float(along_route(AtWork("Pilot", ends, 578_000, 10.0, link.route, 1.5), 60).in_hand_db.min())
            for link in links
        )
        assert one.in_hand_db == pytest.approx(worst)
    assert [one.in_hand_db for one in placed] == sorted((one.in_hand_db for one in placed), reverse=True)


def test_the_least_power_is_the_first_step_that_holds_and_saves_what_is_counted_by_hand() -> None:
    link = at_work()
    found = budget_of(link.ends, link.route, link.carrier_khz)
    for unwanted, power in ((-118.0, 1.0), (-108.0, 10.0), (-60.0, 50.0)):
        least = least_power(link, found, unwanted, 3.0)
        left = [found.told(p, unwanted).in_hand_db for p in TX.powers_mw]
        steps = [p for p, db in zip(TX.powers_mw, left, strict=True) if db >= 3.0]
        assert least.power_mw == (steps[0] if steps else 50.0)
        assert least.holds == (least.in_hand_db >= 0.0)
        assert least.down_db == pytest.approx(10.0 * np.log10(50.0 / least.power_mw))
        assert least.drain_mw == pytest.approx(10.0 * (50.0 - least.power_mw))
        assert least.longer == pytest.approx(1000.0 / (500.0 + 10.0 * least.power_mw))
        assert power in TX.powers_mw

"""Laws of a link along its route: distance, walls, power, interference, branches, and where the sums come from."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.reach.body import body_db, facing_db
from linkwright.reach.budget import Budget, budget
from linkwright.reach.curves import Curves, Pair, exactly, next_weaker_db
from linkwright.reach.hold import Place, Route, holding, margins_to_hold_db
from linkwright.reach.path import MODELS, Spread, paths, spread_of, xyz
from linkwright.reach.received import Radiator, strongest_gain_db
from linkwright.reach.walls import WALL_DB, wall_db
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.models import Worn
from linkwright.shoot.place import Point, Site, Spot, Surroundings, Wall

SURROUNDINGS: list[Surroundings] = ["open", "street", "residential", "office", "hall"]
surroundings = st.sampled_from(SURROUNDINGS)
mhz = st.floats(470.0, 1900.0)
metres = st.floats(-300.0, 300.0)
heights = st.floats(0.0, 5.0)
points = st.builds(Point, x_m=metres, y_m=metres, z_m=heights)
ends = st.tuples(st.integers(-200, 200).map(float), st.integers(-200, 200).map(float))


def wall(start: tuple[float, float], end: tuple[float, float], material: str, loss_db: float | None = None) -> Wall:
    return Wall.model_validate({"from": start, "to": end, "material": material, "loss_db": loss_db})


walls = st.builds(wall, ends, ends, st.sampled_from(sorted(WALL_DB)), st.none() | st.floats(0.0, 60.0))


def loss_db(site: Site, frequency_mhz: float, start: Point, end: Point) -> float:
    return float(paths(site, np.array([frequency_mhz]), xyz((start,)), xyz((end,))).loss_db[0, 0])


@given(surroundings, mhz, st.floats(0.0, 400.0), st.floats(0.0, 400.0))
def test_loss_grows_with_distance(around: Surroundings, f: float, a: float, b: float) -> None:
    near, far = sorted([a, b])
    site, at = Site(name="S", surroundings=around), Point(x_m=0.0, y_m=0.0)
    there = [Point(x_m=x, y_m=0.0) for x in (near, far)]
    assert loss_db(site, f, at, there[0]) <= loss_db(site, f, at, there[1]) + 1e-9


@given(surroundings, mhz, points, points)
def test_loss_is_the_same_both_ways(around: Surroundings, f: float, a: Point, b: Point) -> None:
    site = Site(name="S", surroundings=around)
    assert loss_db(site, f, a, b) == pytest.approx(loss_db(site, f, b, a))


@given(surroundings, mhz, points, points, st.lists(walls, min_size=1, max_size=4), walls)
def test_another_wall_only_adds(
    around: Surroundings, f: float, a: Point, b: Point, drawn: list[Wall], one_more: Wall
) -> None:
    fewer = Site(name="S", surroundings=around, walls=tuple(drawn))
    more = Site(name="S", surroundings=around, walls=(*drawn, one_more))
    added = loss_db(more, f, a, b) - loss_db(fewer, f, a, b)
    assert -1e-9 < added < wall_db(one_more) + 1e-9
    if around in ("open", "office", "hall"):  # where the drawn walls are all that there are
        assert min(abs(added), abs(added - wall_db(one_more))) < 1e-9


@given(surroundings, mhz, points, points, walls)
def test_the_first_wall_only_adds_too(around: Surroundings, f: float, a: Point, b: Point, one: Wall) -> None:
    bare, walled = Site(name="S", surroundings=around), Site(name="S", surroundings=around, walls=(one,))
    assert loss_db(bare, f, a, b) <= loss_db(walled, f, a, b)


@pytest.mark.parametrize("around", ["street", "residential"])
def test_a_wall_leaves_the_paths_alone_that_do_not_cross_it(around: Surroundings) -> None:
    """A shed drawn in a corner used to turn a street of 100 m into line of sight: 101 dB became 68 dB."""
    at, there = Point(x_m=0.0, y_m=0.0), Point(x_m=100.0, y_m=0.0)
    bare = Site(name="S", surroundings=around)
    aside = Site(name="S", surroundings=around, walls=(wall((0.0, 5.0), (100.0, 5.0), "metal"),))
    assert loss_db(aside, 600.0, at, there) == loss_db(bare, 600.0, at, there)
    said = Site(name="S", surroundings=around, walls=aside.walls, walls_complete=True)
    assert loss_db(said, 600.0, at, there) == pytest.approx(68.011, abs=0.001)  # free space, as the crew says


@given(mhz, points, points, st.lists(walls, min_size=1, max_size=3))
def test_indoors_walls_that_are_not_complete_never_better_a_path(
    f: float, a: Point, b: Point, drawn: list[Wall]
) -> None:
    whole = Site(name="S", surroundings="office", walls=tuple(drawn))
    partly = Site(name="S", surroundings="office", walls=tuple(drawn), walls_complete=False)
    assert loss_db(partly, f, a, b) >= loss_db(whole, f, a, b) - 1e-9


@pytest.mark.parametrize("around", SURROUNDINGS)
def test_a_wall_in_the_way_takes_the_sight(around: Surroundings) -> None:
    site = Site(name="S", surroundings=around, walls=(wall((5.0, -5.0), (5.0, 5.0), "brick"),))
    between = paths(site, np.full(2, 600.0), np.array([[10.0, 0.0, 1.5], [4.0, 0.0, 1.5]]), np.zeros((1, 3)))
    assert between.sight[:, 0].tolist() == [False, True]
    assert between.wall_db[:, 0].tolist() == [8.0, 0.0]
    assert spread_of(site, False).rice_k == 0.0
    assert spread_of(site, True).rice_k > 0.0


@pytest.mark.parametrize(("around", "sight_to_m"), [("street", 44.2), ("residential", 44.2), ("open", math.inf)])
def test_how_far_there_is_sight_where_no_wall_is_drawn(around: Surroundings, sight_to_m: float) -> None:
    """P.1411 section 4.3.1, step 5: 79.2 - 70 x 0.5 = 44.2 m at half of the locations."""
    site = Site(name="S", surroundings=around)
    start = np.array([[44.1, 0.0, 0.0], [44.3, 0.0, 0.0]])
    sight = paths(site, np.full(2, 600.0), start, np.zeros((1, 3))).sight[:, 0]
    assert sight.tolist() == [True, sight_to_m > 44.3]


# The budget.

TRANSMITTER = Transmitter(
    form="body-worn",
    tunes_mhz=((518.0, 542.0),),
    raster_khz=125,
    powers_mw=(1.0, 10.0, 50.0),
    antenna_gain_dbi=-2.0,
)
RECEIVER = Receiver(tunes_mhz=((518.0, 542.0),), noise_figure_db=6.0, required_cnr_db=18.0, antenna_gain_dbi=3.0)


def budget_of(
    around: Surroundings = "open",
    route: tuple[Spot, ...] = (Spot(name="Far", x_m=60.0, y_m=0.0), Spot(name="Near", x_m=10.0, y_m=0.0)),
    drawn: tuple[Wall, ...] = (),
    transmitter: Transmitter = TRANSMITTER,
    receiver: Receiver = RECEIVER,
    worn: Worn = "belt-back",
) -> Budget:
    site = Site(name="S", surroundings=around, walls=drawn)
    at = Spot(name="Cart", x_m=0.0, y_m=0.0)
    return budget(site, transmitter, receiver, worn, route, at, 578_000)


@given(surroundings, st.lists(points, min_size=1, max_size=5), st.lists(walls, max_size=3), st.floats(0.1, 100.0))
def test_wanted_is_the_sum_of_the_gains_at_the_worst_spot(
    around: Surroundings, route: list[Point], drawn: list[Wall], power_mw: float
) -> None:
    spots = tuple(Spot(name=f"{n}", x_m=p.x_m, y_m=p.y_m, z_m=p.z_m) for n, p in enumerate(route))
    found = budget_of(around, spots, tuple(drawn))
    assert [spot.spot for spot in found.spots] == [spot.name for spot in spots]
    sums = [math.fsum(gain.db for gain in spot.gains) for spot in found.spots]
    assert [spot.gain_db for spot in found.spots] == pytest.approx(sums)
    assert found.worst.gain_db == min(spot.gain_db for spot in found.spots)
    assert found.wanted_dbm(power_mw) == pytest.approx(10.0 * math.log10(power_mw) + min(sums))
    margin = found.margin_db(power_mw, -100.0)
    assert margin == pytest.approx(found.wanted_dbm(power_mw) + 100.0 - 18.0)


def test_the_ledger_of_a_spot_by_hand() -> None:
    """60 m in the open at 578 MHz: 32.4478 + 20 log10 578 + 20 log10 0.06 = 63.249 dB (ITU-R P.525)."""
    found = budget_of(drawn=(wall((30.0, -1.0), (30.0, 1.0), "concrete"),))
    lines = [(gain.part, round(gain.db, 3), gain.evidence) for gain in found.worst.gains]
    assert found.worst.spot == "Far"
    assert lines == [
        ("transmit antenna", -2.0, "stated"),
        ("body", -15.0, "assumed"),
        ("path", -63.249, "modelled"),
        ("walls", -15.0, "assumed"),
        ("receive antenna", 3.0, "stated"),
    ]
    (noise,) = found.noise
    assert (round(noise.dbm, 2), noise.evidence) == (-114.96, "modelled")  # -120.96 dBm in 200 kHz + 6 dB


@pytest.mark.parametrize(
    ("worn", "facing", "away", "loss_db", "evidence"),
    [
        ("belt-back", None, None, 15.0, "assumed"),
        ("belt-front", None, None, 15.0, "assumed"),
        ("pocket", None, None, 15.0, "assumed"),
        ("hand", None, None, 5.0, "assumed"),
        ("open", None, None, 5.0, "assumed"),
        ("belt-back", 3.0, 12.0, 12.0, "stated"),
        ("hand", 3.0, 12.0, 3.0, "stated"),
        ("belt-back", 3.0, None, 15.0, "assumed"),
        ("pocket", None, 0.0, 0.0, "stated"),
    ],
)
def test_loss_on_the_body(
    worn: Worn, facing: float | None, away: float | None, loss_db: float, evidence: str
) -> None:
    kit = TRANSMITTER.model_copy(update={"body_facing_db": facing, "body_away_db": away})
    assert body_db(kit, worn)[0] == loss_db
    assert facing_db(kit) == (5.0 if facing is None else facing)
    (line,) = [gain for gain in budget_of(transmitter=kit, worn=worn).worst.gains if gain.part == "body"]
    assert (-line.db, line.evidence) == (loss_db, evidence)


# Does it hold?


@settings(max_examples=50)
@given(
    surroundings,
    st.lists(points, min_size=1, max_size=3),
    st.floats(0.5, 100.0),
    st.floats(1.0, 20.0),
    st.floats(-120.0, -60.0),
    st.floats(0.0, 30.0),
)
def test_more_power_holds_better_and_more_interference_worse(
    around: Surroundings, route: list[Point], power_mw: float, more: float, noise_dbm: float, worse_db: float
) -> None:
    spots = tuple(Spot(name=f"{n}", x_m=p.x_m, y_m=p.y_m, z_m=p.z_m) for n, p in enumerate(route))
    found = budget_of(around, spots)
    plain = found.holding(power_mw, noise_dbm).availability
    louder = found.holding(power_mw * more, noise_dbm).availability
    noisier = found.holding(power_mw, noise_dbm + worse_db).availability
    assert 0.0 <= noisier <= plain + 1e-12
    assert plain <= louder + 1e-12
    assert louder <= 1.0


SPREADS = [
    Spread("normal", 3.0, 4.0, "assumed", "-"),
    Spread("normal", 7.0, 0.0, "assumed", "-"),
    Spread("sight", 7.0, 2.0, "assumed", "-"),
]
apart = st.one_of(st.floats(0.001, 6.0), st.sampled_from([0.3, 0.383, 0.6, 2.0]))
pairs = st.builds(Pair, apart, st.one_of(st.just(0.0), st.floats(0.0, 45.0)))
spots = st.builds(Place, st.floats(-40.0, 60.0), st.sampled_from(SPREADS), st.none() | pairs)
places = st.lists(spots, min_size=1, max_size=4)


@settings(max_examples=40, deadline=None)
@given(places)
def test_two_branches_hold_no_worse_than_one(route: list[Place]) -> None:
    alone = [Place(place.margin_db, place.spread, None) for place in route]
    assert holding(route, 2.8).availability >= holding(alone, 2.8).availability - 1e-12


@settings(max_examples=40, deadline=None)
@given(spots, pairs, st.floats(0.5, 20.0))
def test_a_weaker_second_branch_helps_less(place: Place, pair: Pair, more_db: float) -> None:
    near, far = (Place(place.margin_db, place.spread, Pair(pair.apart, pair.weaker_db + d)) for d in (0.0, more_db))
    assert holding([near], 2.8).availability >= holding([far], 2.8).availability - 2e-4


@settings(max_examples=40, deadline=None)
@given(places)
def test_a_route_is_the_mean_of_its_spots(route: list[Place]) -> None:
    single = [holding([place], 2.8) for place in route]
    whole = holding(route, 2.8)
    assert whole.availability == pytest.approx(np.mean([one.availability for one in single]), abs=1e-12)
    assert whole.breaks_per_hour == pytest.approx(np.mean([one.breaks_per_hour for one in single]))


@settings(max_examples=40, deadline=None)
@given(places)
def test_breaks_are_finite_and_come_with_outage(route: list[Place]) -> None:
    found = holding(route, 2.8)
    assert math.isfinite(found.breaks_per_hour)
    assert found.breaks_per_hour >= 0.0
    # Never more often than a band of 2.8 Hz can turn round: sqrt(2 pi) fd r exp(-r^2) is at most 1.08 fd.
    if all(place.spread.rice_k == 0.0 and place.pair is None for place in route):
        assert found.breaks_per_hour <= 3600.0 * 1.08 * 2.8


@settings(max_examples=60, deadline=None)
@given(spots)
def test_the_tables_are_as_worked_out_one_by_one(place: Place) -> None:
    """Between tabled spacings the logarithm is taken as straight: within 6 % where branches are far apart.

    Of a weaker branch the table has the next step, which is worse by at most that step.
    """
    pair = place.pair
    if pair is not None:
        pair = Pair(pair.apart, next_weaker_db(pair.weaker_db))
        if pair.weaker_db >= 40.0:
            pair = None
    outage, breaks_hz = exactly(place.margin_db, place.spread, pair)
    found = Curves.of([(place.spread, place.pair)])
    loose = pair is not None
    rough = 2.0 if pair is not None and pair.weaker_db >= 3.0 else 1.0  # the nearest tabled spacing
    told = float(found.outage(np.array([place.margin_db]))[0])
    assert told == pytest.approx(outage, rel=0.06 * rough if loose else 2e-3, abs=1e-10)
    told_hz = float(found.breaks_hz(np.array([place.margin_db]))[0])
    assert told_hz == pytest.approx(breaks_hz, rel=0.08 * rough if loose else 2e-2, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(places, st.sampled_from([0.9, 0.99, 0.999]))
def test_the_margin_to_hold_is_where_it_begins_to_hold(route: list[Place], target: float) -> None:
    worst = min(place.margin_db for place in route)
    shape = Route(tuple(p.margin_db - worst for p in route), tuple((p.spread, p.pair) for p in route))
    (needed,) = margins_to_hold_db([shape], target)
    at = [Place(p.margin_db - worst + float(needed), p.spread, p.pair) for p in route]
    below = [Place(place.margin_db - 0.011, place.spread, place.pair) for place in at]
    if needed > -19.9:
        assert holding(below, 2.8).availability < target
    assert holding(at, 2.8).availability >= target


def test_the_ends_of_holding() -> None:
    for spread in SPREADS:
        assert holding([Place(80.0, spread, Pair(0.3))], 2.8).availability > 0.999_999
        assert holding([Place(-80.0, spread, Pair(0.3))], 2.8).availability < 1e-6


# What interferers bring.

radiators = st.lists(
    st.builds(
        Radiator,
        st.lists(points, min_size=1, max_size=4).map(tuple),
        mhz,
        st.floats(-40.0, 40.0),
    ),
    max_size=4,
)


@settings(max_examples=60)
@given(surroundings, radiators, st.lists(points, max_size=3), st.lists(walls, max_size=2))
def test_the_strongest_gain_is_that_of_the_best_point(
    around: Surroundings, some: list[Radiator], receivers: list[Point], drawn: list[Wall]
) -> None:
    site = Site(name="S", surroundings=around, walls=tuple(drawn))
    found = strongest_gain_db(site, some, receivers)
    assert found.shape == (len(some), len(receivers))
    for n, radiator in enumerate(some):
        for m, receiver in enumerate(receivers):
            heard = [-loss_db(site, radiator.frequency_mhz, point, receiver) for point in radiator.points]
            assert found[n, m] == pytest.approx(radiator.gain_db + max(heard))


def test_every_kind_of_surroundings_has_a_model_that_says_where_it_comes_from() -> None:
    assert set(MODELS) == set(SURROUNDINGS)
    for model in MODELS.values():
        assert "ITU-R P." in model.sight_source
        for spread in (model.sight, model.no_sight):
            assert spread.source

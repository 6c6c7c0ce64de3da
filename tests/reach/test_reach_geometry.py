"""Walls with heights and materials, floors, antennas with lines, bodies that turn: laws, and cases by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.physics.feeders import line_db
from linkwright.reach.antenna import SHAPES, polarisation_db, relative_db
from linkwright.reach.arriving import Arriving, Stand, arriving
from linkwright.reach.body import body_of, shown_by
from linkwright.reach.budget import Budget, budget_of
from linkwright.reach.doubt import own_of
from linkwright.reach.ends import Carried, Ends
from linkwright.reach.feed import feed_for, judged
from linkwright.reach.path import paths, source_of
from linkwright.reach.walls import in_the_way, named
from linkwright.shoot.antennas import Antenna, Preamplifier
from linkwright.shoot.end import Worn
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.place import Floor, MaterialLoss, Site, Spot, Wall

TX = Transmitter(form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=125, powers_mw=(10.0, 50.0))
RX = Receiver(tunes_mhz=((518.0, 542.0),), noise_figure_db=6.0, required_cnr_db=20.0, iip3_dbm=0.0)
AT = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.8)
FAR = Spot(name="Far", x_m=40.0, y_m=0.0, z_m=1.3)


def wall(x_m: float, material: str = "brick", **more: float) -> Wall:
    return Wall.model_validate({"from": (x_m, -5.0), "to": (x_m, 5.0), "material": material, **more})


def antenna(**more: object) -> Antenna:
    return Antenna.model_validate({"name": "One", "at": "Cart", "branch": "A", **more})


def loss(site: Site, mhz: float = 600.0, z_m: float = 1.3) -> float:
    way = in_the_way(site, np.array([[40.0, 0.0, z_m]]), np.array([[0.0, 0.0, 1.8]]), mhz)
    return float(way.loss_db[0])


def reached(site: Site, receiver: Receiver = RX, **more: str) -> Budget:
    free = site.model_copy(update={"flat_ground": False})
    return budget_of(Ends(free, TX, receiver, "belt-back", AT, **more), (FAR,), 578_000)  # type: ignore[arg-type]


def heard(ends: Ends, places: np.ndarray, ways: np.ndarray | None = None) -> Arriving:
    return arriving([Stand(ends, 578.0, places, np.full(len(places), 1.4), ways)])


def lines(found: Budget) -> dict[str, float]:
    return {gain.part: round(gain.db, 2) for gain in found.gains}


# Walls and floors.


def test_over_a_low_wall_waves_bend_and_through_it_they_go_whichever_costs_less() -> None:
    high, low, none = (Site(name="S", walls=(wall(20.0, "concrete", height_m=h),)) for h in (60.0, 1.7, 1.0))
    assert loss(high) == 15.0
    assert 6.0 < loss(low) < 8.0  # the top stands 0.15 m above the line: v = 0.095
    assert 0.0 < loss(none) < 6.0  # below the line, still in the first zone
    assert loss(Site(name="S", walls=(wall(20.0, height_m=-20.0),))) == 0.0
    told = [named(s, np.array([40.0, 0, 1.3]), np.array([0.0, 0, 1.8]), 600.0)[1] for s in (high, low)]
    assert told[0].startswith("concrete, about as by ITU-R P.2040")
    assert told[1] == "over the top of concrete, ITU-R P.526"
    seen = [bool(paths(s, np.array([600.0]), np.array([[40.0, 0.0, 1.3]]), np.array([[0.0, 0.0, 1.8]])).sight[0, 0])
            for s in (high, low, none)]  # fmt: skip
    assert seen == [False, False, True]


@given(st.floats(-2.0, 30.0), st.floats(0.1, 20.0), st.floats(470.0, 2500.0))
def test_a_higher_wall_costs_no_less(height_m: float, more_m: float, mhz: float) -> None:
    lower, higher = (
        Site(name="S", walls=(wall(15.0, "metal", height_m=h),)) for h in (height_m, height_m + more_m)
    )
    assert loss(lower, mhz) <= loss(higher, mhz) + 1e-9


def test_a_floor_is_crossed_from_one_side_to_the_other() -> None:
    site = Site(name="S", surroundings="office", floors=(Floor(z_m=3.0),))
    assert loss(site) == 0.0
    assert loss(site, z_m=4.5) == 15.0
    assert not paths(site, np.array([600.0]), np.array([[40.0, 0, 4.5]]), np.array([[0.0, 0, 1.8]])).sight[0, 0]


def test_what_a_material_costs_can_be_said_for_the_site_and_for_the_wall() -> None:
    said = (MaterialLoss(material="brick", loss_db=11.5, source="measured on the recce"),)
    site = Site(name="S", walls=(wall(10.0), wall(20.0, loss_db=3.0)), materials=said)
    assert loss(site) == 14.5
    known = named(site, np.array([40.0, 0, 1.3]), np.array([0.0, 0, 1.8]), 600.0)
    assert known == ("stated", "brick: measured on the recce; brick, loss as stated")


def test_an_outer_wall_is_entry_into_a_building_with_its_own_scatter() -> None:
    """P.2109-2, half of the places at 600 MHz, by hand: 10 log10(10^1.186 + 10^0.977 + 10^-0.3) = 14.0 dB."""
    plain, insulated = (
        Site(name="S", walls=(wall(10.0, kind),)) for kind in ("outer-wall", "insulated-outer-wall")
    )
    assert loss(plain) == pytest.approx(14.0, abs=0.05)
    assert loss(insulated) > loss(plain) + 10.0
    between = paths(plain, np.array([600.0]), np.array([[40.0, 0, 1.3]]), np.array([[0.0, 0, 1.8]]))
    assert float(between.wall_spread_db[0, 0]) > 5.0
    ends = [Ends(site, TX, RX, "belt-back", AT) for site in (plain, Site(name="S"))]
    walled, bare = (own_of(end.site, heard(end, np.array([[40.0, 0.0, 1.3]]))).sigma_db[0] for end in ends)
    assert walled > bare + 3.0


# Which model, and that it is told.


def test_a_hall_below_625_mhz_is_told_to_be_stretched() -> None:
    (line,) = [gain for gain in reached(Site(name="S", surroundings="hall")).gains if gain.part == "path"]
    assert "industrial, no sight; stretched: stated for 625 to 70280 MHz" in line.source
    assert "a hall: in sight to 20 m, without sight beyond" in line.source
    assert "stretched" not in source_of(Site(name="S", surroundings="hall"), 0, 640.0, 40.0)
    assert "stated for 2 to 27 m" in source_of(Site(name="S", surroundings="office"), 0, 600.0, 40.0)


def test_open_ground_is_two_rays_unless_it_is_said_not_to_be_flat() -> None:
    """Antennas at 1.0 and 1.5 m, 570 MHz: 8.5, 14 and 17.5 dB over free space at 100, 200 and 300 m, by own code
    from Fresnel's coefficients; ground of P.527. Within half a decibel for the ground's constants."""
    places = np.array([[100.0, 0.0, 1.0], [200.0, 0.0, 1.0], [300.0, 0.0, 1.0]])
    at = np.array([[0.0, 0.0, 1.5]])
    flat, free = (paths(Site(name="S", flat_ground=f), np.full(3, 570.0), places, at) for f in (True, False))
    assert (flat.median_db - free.median_db)[:, 0] == pytest.approx([8.5, 14.0, 17.5], abs=0.5)
    assert "two rays" in source_of(Site(name="S"), int(flat.choice[0, 0]))
    assert "free space" in source_of(Site(name="S"), int(free.choice[0, 0]))


def test_above_2_ghz_a_street_is_a_street_where_that_is_stated() -> None:
    """P.1411 section 4.1.1 at 2442 MHz: 21.2 log10 d + 29.2 + 21.1 log10 2.442 with sight, from 5 m."""
    site = Site(name="S", surroundings="street")
    places = np.array([[3.0, 0.0, 1.5], [20.0, 0.0, 1.5], [80.0, 0.0, 1.5]])
    found = paths(site, np.full(3, 2442.0), places, np.array([[0.0, 0.0, 1.5]]))
    sight = 21.2 * math.log10(20.0) + 29.2 + 21.1 * math.log10(2.442)
    no_sight = 40.0 * math.log10(80.0) + 10.2 + 23.6 * math.log10(2.442)
    assert found.median_db[1:, 0] == pytest.approx([sight, no_sight], abs=1e-9)
    said = [source_of(site, int(choice)) for choice in found.choice[:, 0]]
    assert ["4.3.1" in said[0], "4.1.1, urban, sight" in said[1], "4.1.1, high-rise, no sight" in said[2]] == [
        True
    ] * 3


# Antennas and what lies behind them.


def test_line_splitter_and_preamplifier_have_lines_of_their_own_and_the_noise_follows() -> None:
    one = antenna(feeder="RG-58", feeder_m=25.0, splitter_ways=4, preamplifier={"gain_db": 12.0})
    site = Site(name="S", antennas=(one,))
    found = reached(site)
    loss_db = float(line_db("RG-58", 578.0, 25.0))
    told = lines(found)
    assert told["preamplifier"] == 12.0
    assert told["line"] == pytest.approx(-loss_db, abs=0.01)
    assert told["splitter"] == pytest.approx(-(10 * math.log10(4) + 1.0), abs=0.01)
    assert found.gain_db == pytest.approx(sum(gain.db for gain in found.gains))
    # Friis by hand: F = F1 + (F2 - 1) / G1, the rest one loss before the receiver of 6 dB.
    rest = 10 ** ((loss_db + 10 * math.log10(4) + 1.0 + 6.0) / 10)
    factor = 10**0.3 + (rest - 1.0) / 10**1.2
    ahead_db = 12.0 - loss_db - 10 * math.log10(4) - 1.0
    noise = sum(10 ** (level.dbm / 10) for level in found.noise)
    assert 10 * math.log10(noise) == pytest.approx(-120.96 + 10 * math.log10(factor) + ahead_db, abs=0.01)


def test_a_passive_line_costs_level_and_leaves_the_noise() -> None:
    bare, long = (reached(Site(name="S", antennas=(antenna(feeder="RG-58", feeder_m=m),))) for m in (0.0, 20.0))
    assert [level.dbm for level in long.noise] == [level.dbm for level in bare.noise]
    assert bare.gain_db - long.gain_db == pytest.approx(float(line_db("RG-58", 578.0, 20.0)))


@given(st.floats(0.0, 80.0), st.floats(0.0, 40.0), st.integers(1, 8))
def test_too_little_gain_and_too_much_are_both_found(metres: float, gain_db: float, ways: int) -> None:
    one = antenna(feeder="RG-58", feeder_m=metres, splitter_ways=ways, preamplifier={"gain_db": gain_db})
    found = judged(one, RX, 578.0)
    feed = feed_for(one, RX, 578.0)
    if found is not None and found.verdict == "too little":
        assert feed.noise_figure_db > RX.noise_figure_db + 3.0
    if found is not None and found.verdict == "too much":
        assert feed.gain_db > 3.0
        assert feed.iip3_at_antenna_dbm < RX.iip3_dbm - 6.0
    if found is not None and found.better_gain_db <= 40.0:
        amplifier = Preamplifier(gain_db=found.better_gain_db, noise_figure_db=2.0, oip3_dbm=40.0)
        right = one.model_copy(update={"preamplifier": amplifier})
        again = judged(right, RX, 578.0)
        assert again is None or again.verdict != found.verdict


def test_gain_is_judged_on_both_sides() -> None:
    assert judged(antenna(feeder="RG-58", feeder_m=40.0), RX, 578.0).verdict == "too little"  # type: ignore[union-attr]
    assert judged(antenna(preamplifier={"gain_db": 15.0}), RX, 578.0).verdict == "too much"  # type: ignore[union-attr]
    assert judged(antenna(feeder="10 mm foam", feeder_m=5.0), RX, 578.0) is None


def test_a_beam_hears_ahead_and_not_behind() -> None:
    beam = antenna(pattern="narrow", towards_deg=90.0)
    gain = relative_db(beam, np.array([[10.0, 0, 0], [10.0, 5.7735, 0], [-10.0, 0, 0], [0, 10.0, 0]]))
    assert gain == pytest.approx([0.0, -3.0, -18.0, -18.0], abs=0.001)
    assert relative_db(antenna(), np.array([[5.0, 5.0, 0.0], [0.0, 0.0, 5.0]])) == pytest.approx([0.0, -20.0])
    assert set(SHAPES) == {"whip", "dipole", "wide", "narrow"}
    off = np.radians([0.0, 55.0, 90.0, 120.0, 180.0])  # -12 (off axis / width)^2 (ITU-R F.1336), down to the back
    wide = relative_db(
        antenna(pattern="wide", towards_deg=0.0), 10.0 * np.stack([np.sin(off), np.cos(off), 0.0 * off], axis=1)
    )
    assert wide == pytest.approx([0.0, -3.0, -12.0 * (90.0 / 110.0) ** 2, -12.0, -12.0])


@pytest.mark.parametrize(
    ("worn", "lost_db"),
    [("belt-front", 3.0), ("belt-back", 3.0), ("pocket", 3.0), ("hand", 3.0), ("open", 3.0), ("mounted", 0.0)],
)
def test_a_receiver_that_somebody_carries_hears_less_by_the_body(worn: Worn, lost_db: float) -> None:
    carried = RX.model_copy(update={"body_facing_db": 3.0})
    stood, here = (
        Ends(Site(name="S"), TX, carried, "pocket", AT, listener=Carried(way)) for way in ("mounted", worn)
    )
    assert stood.heard_gain_db(578.0) - here.heard_gain_db(578.0) == pytest.approx(lost_db)


def test_who_goes_decides_how_fast_a_link_fades() -> None:
    """Whoever sends, unless that one stands and who listens goes."""
    running = Ends(
        Site(name="S"), TX, RX, "pocket", AT, does="standing", listener=Carried("pocket", does="running")
    )
    assert (running.usual_m_s, replace(running, sent_from=AT).usual_m_s) == (0.1, 4.0)


def test_half_of_the_power_is_lost_to_45_degrees() -> None:
    sight = np.array([True, False])
    assert polarisation_db("slant", sight) == pytest.approx([-3.0103, -3.0103], abs=1e-4)
    assert polarisation_db("vertical", sight).tolist() == [0.0, 0.0]
    assert polarisation_db("horizontal", sight)[0] < polarisation_db("horizontal", sight)[1] < 0.0


def test_the_better_branch_counts_and_the_other_helps() -> None:
    near = antenna(x_m=10.0)
    far = antenna(name="Two", branch="B", x_m=-30.0)
    both = reached(Site(name="S", antennas=(near, far)))
    alone = reached(Site(name="S", antennas=(near,)))
    assert both.gain_db == alone.gain_db
    assert alone.apart == 0.0
    assert both.apart > 0.0
    assert both.weaker_db == pytest.approx(20.0 * math.log10(70.0 / 30.0), abs=0.05)
    assert both.hand.wanted_db < alone.hand.wanted_db - 5.0


def test_two_antennas_on_one_branch_add_their_powers_and_pay_for_the_combiner() -> None:
    one, two = antenna(y_m=2.0), antenna(name="Two", y_m=-2.0)
    single, double = (reached(Site(name="S", antennas=some)) for some in ((one,), (one, two)))
    told = lines(double)
    assert told["combiner"] == pytest.approx(-3.51, abs=0.01)
    assert told["other antennas of the branch"] == pytest.approx(3.01, abs=0.01)
    assert double.gain_db == pytest.approx(single.gain_db - 0.5, abs=0.01)


@settings(max_examples=40, deadline=None)
@given(st.floats(-60.0, 60.0), st.floats(-60.0, 60.0), st.sampled_from(["vertical", "horizontal", "slant"]))
def test_the_lines_add_up_to_what_arrives(x_m: float, y_m: float, polarisation: str) -> None:
    aerials = (
        antenna(polarisation=polarisation, feeder="RG-213", feeder_m=8.0),
        antenna(name="Two", branch="B", x_m=3.0),
    )
    site = Site(name="S", surroundings="street", walls=(wall(20.0),), antennas=aerials)
    spot = Spot(name="P", x_m=x_m, y_m=y_m)
    ends = Ends(site, TX, RX, "pocket", AT, "side", "dense")
    found = budget_of(ends, (spot,), 578_000)
    whole = heard(ends, np.array([[x_m, y_m, 1.5]]))
    assert found.gain_db == pytest.approx(float(whole.gain_db[0, 0]))
    assert found.gain_db == pytest.approx(math.fsum(gain.db for gain in found.gains), abs=0.006)


# Bodies.


def test_a_transmitter_on_the_back_is_hidden_when_the_talent_looks_at_the_receiver() -> None:
    body = body_of(TX)
    told = {way: float(body.loss_db(shown_by("belt-back", way, None)[0])) for way in ("towards", "side", "away")}
    assert told == {"towards": 15.0, "side": 10.0, "away": 5.0}
    front = {way: float(body.loss_db(shown_by("pocket", way, None)[0])) for way in ("towards", "side", "away")}
    assert front == {"towards": 5.0, "side": 10.0, "away": 15.0}


def test_who_walks_away_shows_the_back() -> None:
    ends = Ends(Site(name="S"), TX, RX, "belt-back", AT, "walking")
    places = np.array([[20.0, 0.0, 1.3]] * 3)
    ways = np.array([[1.0, 0, 0], [-2.0, 0, 0], [0, 3.0, 0]])
    assert heard(ends, places, ways).body_db[:, 0].tolist() == pytest.approx([5.0, 15.0, 10.0], abs=1e-6)


def test_a_crowd_costs_what_its_line_says() -> None:
    assert lines(reached(Site(name="S"), crowd="dense"))["crowd"] == -8.0


# What a walk test taught.


def test_a_walk_test_moves_the_level_and_says_how_sure_it_is() -> None:
    learnt = Learnt(
        readings=500, nearest_m=5.0, farthest_m=30.0, reference_m=10.0, offset_db=-4.0, offset_low_db=-5.0,
        offset_high_db=-3.0, slope_db=-6.0, slope_low_db=-9.0, slope_high_db=-3.0, body_db=12.0, sigma_db=4.2,
    )  # fmt: skip
    found = reached(Site(name="S", learnt=learnt))
    told = {gain.part: gain for gain in found.gains}
    assert told["walk test"].db == pytest.approx(
        -4.0 - 6.0 * math.log10(3.0)
    )  # 40 m: as at 30 m, no farther walked
    assert told["walk test"].evidence == "measured"
    assert "beyond what was walked" in told["walk test"].source
    trend = math.hypot(1.0, 3.0 * math.log10(3.0)) / 1.6449
    beyond = 10.0 * math.log10(math.dist((40.0, 0.0, 1.3), (0.0, 0.0, 1.8)) / 30.0)  # a slope of 10 dB a decade
    assert told["walk test"].spread_db == pytest.approx(math.hypot(trend, beyond), abs=1e-3)
    assert told["body"].evidence == "measured"
    assert 17.0 in found.arrived.body_db
    assert found.parts[0, 0] == pytest.approx(math.hypot(4.2, told["walk test"].spread_db or 0.0))

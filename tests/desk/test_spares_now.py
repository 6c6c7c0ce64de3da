"""Which spare is good now: who is really on, the level that is really received, and who is disturbed count."""

from __future__ import annotations

import pytest
from tests.plan.shoots import flat_sweep, pocket, shoot

from linkwright.air.sweep import Sweep
from linkwright.desk.expecting import expected_of
from linkwright.desk.spares import Now, SpareNow, spares_now
from linkwright.plan.chain import Scene, scene_of
from linkwright.plan.model import Plan
from linkwright.plan.pipeline import make_plan
from linkwright.plan.what_if import outcomes
from linkwright.shoot.errors import InputError

PLACES = """
[[site]]
name = "Yard"
spots = [{ name = "Cart", x_m = 0, y_m = 0, z_m = 1.5 }, { name = "Gate", x_m = 20, y_m = 0, z_m = 1.5 }]
SWEEPS
[[site]]
name = "Loft"
spots = [{ name = "Desk", x_m = 0, y_m = 0, z_m = 1.5 }]
"""
PEOPLE = """
[[link]]
name = "Potter"
transmitter = "pocket"
receiver = "uhf-cart-rack"
at = "Cart"
route = ["Gate"]
spares = 2
[[link]]
name = "Miller"
transmitter = "pocket"
receiver = "uhf-cart-rack"
at = "Cart"
route = ["Gate"]
LOCKED
[[link]]
name = "Weaver"
transmitter = "pocket"
receiver = "uhf-cart-rack"
at = "Desk"
route = ["Desk"]
[[call]]
name = "Morning"
site = "Yard"
links = ["Potter"]
from = 09:00:00
to = 10:00:00
[[call]]
name = "Noon"
site = "Yard"
links = ["Miller"]
from = 12:00:00
to = 13:00:00
[[call]]
name = "Night"
site = "Loft"
links = ["Weaver"]
from = 20:00:00
to = 21:00:00
"""


def made(locked_mhz: float | None = None, sweep: Sweep | None = None) -> tuple[Scene, Plan]:
    lock = "" if locked_mhz is None else f"locked_mhz = {locked_mhz}"
    named = 'sweeps = ["flat.csv"]' if sweep is not None else ""
    text = pocket() + PLACES.replace("SWEEPS", named) + PEOPLE.replace("LOCKED", lock)
    found, sweeps = shoot(text), {"Yard": [sweep]} if sweep is not None else {}
    return scene_of(found, sweeps), make_plan(found, sweeps)


def first(scene: Scene, plan: Plan, now: Now = Now()) -> SpareNow:  # noqa: B008 - frozen
    """The spare that is Potter's first in the plan."""
    khz = plan.calls[0].links[0].spares_khz[0]
    return next(one for one in spares_now(scene, plan, "Morning", "Potter", now) if one.khz == khz)


def test_with_nothing_heard_it_is_the_proof_of_the_plan() -> None:
    scene, plan = made()
    spare = first(scene, plan)
    proved = next(outcome for outcome in outcomes(scene, plan, {"Potter": spare.khz}) if outcome.link == "Potter")
    assert (spare.in_hand_db, spare.sure, spare.verdict) == (
        proved.in_hand_db,
        proved.sure,
        proved.verdict,
    )
    assert (spare.now_db, spare.against) == (None, ())
    assert spare.air == "no sweep looked there"


def test_somebody_of_another_call_who_is_still_on_counts() -> None:
    scene, plan = made()
    khz = first(scene, plan).khz
    scene, plan = made(locked_mhz=khz / 1000.0)
    plan = plan.model_copy(
        update={"calls": (with_spare(plan, khz), *plan.calls[1:])}
    )  # Potter's spare is where Miller is at noon, as calls at other hours may share carriers
    assert first(scene, plan).verdict == "holds"
    assert first(scene, plan, Now(heard=frozenset({"Miller"}))).verdict == "fails"


def with_spare(plan: Plan, khz: int) -> object:
    link = plan.calls[0].links[0].model_copy(update={"spares_khz": (khz,)})
    return plan.calls[0].model_copy(update={"links": (link,)})


def test_somebody_planned_elsewhere_is_told_and_not_counted() -> None:
    scene, plan = made()
    spare = first(scene, plan, Now(heard=frozenset({"Weaver"})))
    assert spare.against == ("Weaver is heard, and planned for another site only: not counted",)
    assert spare.verdict == "thin"


def test_the_level_received_now_decides() -> None:
    scene, plan = made()
    spare = first(scene, plan)
    proved = next(outcome for outcome in outcomes(scene, plan, {"Potter": spare.khz}) if outcome.link == "Potter")
    need = proved.need_dbm + proved.fading_db  # what was measured leaves no doubt, and fades all the same
    good = first(scene, plan, Now(frozenset({"Potter"}), {"Potter": need + 30.0}))
    assert good.now_db == pytest.approx(30.0, abs=0.06)
    assert good.verdict == "holds"
    thin = first(scene, plan, Now(frozenset({"Potter"}), {"Potter": need + 3.0}))
    assert thin.verdict == "thin"
    assert any("weaker than planned at the worst spot" in one for one in thin.against)
    assert first(scene, plan, Now(frozenset({"Potter"}), {"Potter": need - 3.0})).verdict == "fails"


def test_whoever_is_disturbed_near_it_speaks_against_it() -> None:
    scene, plan = made()
    spare = first(scene, plan)
    near = plan.calls[0].links[0].model_copy(update={"carrier_khz": spare.khz - 400})
    plan = plan.model_copy(update={"calls": (plan.calls[0].model_copy(update={"links": (near,)}), *plan.calls[1:])})
    against = first(scene, plan, Now(disturbed=frozenset({"Potter"}))).against
    assert [one for one in against if "0.4 MHz away" in one]
    assert not first(scene, plan).against


def test_a_receiver_that_listens_there_says_what_it_hears() -> None:
    scene, plan = made()
    khz = first(scene, plan).khz
    scene, plan = made(locked_mhz=khz / 1000.0)
    plan = plan.model_copy(update={"calls": (with_spare(plan, khz), *plan.calls[1:])})
    assert (
        "the receiver of Miller hears -109 dBm there now"
        in first(scene, plan, Now(levels_dbm={"Miller": -109.0})).air
    )


def test_what_the_sweep_shows_is_told_and_goes_to_the_watch() -> None:
    empty = flat_sweep(518_000, 566_000)
    scene, plan = made(sweep=empty)
    assert "the sweep showed nobody" in first(scene, plan).air
    potter, *_ = expected_of(scene, plan)
    assert potter.swept is not None
    assert potter.swept.heard_dbm is None
    busy = flat_sweep(518_000, 566_000, bumps={potter.carrier_khz: -70.0})
    scene, _ = made(sweep=busy)
    potter, *_ = expected_of(scene, plan)
    assert potter.swept is not None
    assert potter.swept.heard_dbm is not None
    assert -75.0 < potter.swept.heard_dbm < -65.0


def test_a_link_without_a_carrier_is_told() -> None:
    scene, plan = made()
    with pytest.raises(InputError, match="Miller has no carrier in the call that is on"):
        spares_now(scene, plan, "Morning", "Miller", Now())

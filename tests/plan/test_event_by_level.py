"""An event whose venues hear each other, against plain loops over every pair of assignments (`by_level`)."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest
from bench.long_event import long_event
from tests.plan.by_level import assignments, away_m, from_elsewhere, loss_db

from linkwright.plan.chain import scene_of
from linkwright.plan.legs import plan_in_pieces
from linkwright.plan.neighbours import Far, FarSite
from linkwright.shoot.models import Shoot


def crowded(assignments: int = 240, venues: int = 8) -> Shoot:
    """Venues near each other, and kit that tunes a little of what there is: they have to share carriers."""
    shoot = long_event(assignments, seed=3, venues=venues)
    narrow = {"low": ((470.0, 480.0),), "high": ((614.0, 622.0),)}
    kit = {
        name: kind.model_copy(update={"tunes_mhz": narrow[name]}) if name in narrow else kind
        for name, kind in shoot.transmitter.items()
    }
    return shoot.model_copy(update={"transmitter": kit})


def test_what_other_venues_bring_is_what_plain_loops_come_to() -> None:
    scene = scene_of(crowded(), {})
    plan = plan_in_pieces(scene, effort=0.0).plan
    every = list(assignments(scene, plan))
    heard = 0
    for at, link in every:
        rows = [row for row in link.ledger.rows if row.part.startswith("links at ")]
        found = from_elsewhere(scene, [sent for sent, _ in every], at, link)
        assert {row.part.removeprefix("links at "): row.dbm for row in rows} == pytest.approx(found, abs=0.05)
        heard += len(found)
    assert heard > 5  # somebody is heard, or nothing was looked at


def test_the_plain_loss_is_free_space_where_sites_touch() -> None:
    """ITU-R P.525: 32.45 + 20 lg 600 + 20 lg 0.03 dB."""
    site = scene_of(long_event(40, seed=3), {}).used_sites[0].model_copy(update={"surroundings": "hall"})
    assert away_m(site, site) == 0.0
    assert loss_db(site, site, 600.0) == pytest.approx(57.55, abs=0.05)


def test_what_may_arrive_at_another_site_raises_the_noise_there_by_a_decibel() -> None:
    scene = scene_of(long_event(40, seed=3), {})
    (call, *_), site = scene.calls_on(scene.used_sites[0]), scene.used_sites[0]
    chain = SimpleNamespace(noise_dbm=-100.0, heard_gain_db=3.0, transmitter=SimpleNamespace(bandwidth_khz=200))
    far = FarSite.of(site, [Far(chain, 600_000, call, sends=False)])  # type: ignore[arg-type]
    noise_mw = 10.0 ** ((-100.0 - 3.0) / 10.0)
    assert 10.0 * math.log10(1.0 + float(far.room_mw[0]) / noise_mw) == pytest.approx(1.0)

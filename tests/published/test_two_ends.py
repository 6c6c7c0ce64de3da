"""What both ends of a link come to: losses into vehicles, how fast two moving ends fade, a block in its channel."""

from __future__ import annotations

import numpy as np
import pytest
from tests.published.test_rules import ON

from linkwright.physics.fading import doppler_hz
from linkwright.reach.arriving import arriving
from linkwright.reach.body import INTO_VEHICLE_DB, VEHICLE_SPREAD_DB
from linkwright.reach.budget import BudgetRequest, stand_of
from linkwright.reach.ends import Carried, Ends
from linkwright.rules import allowance, territory
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Site, Spot


@pytest.mark.published("3GPP TR 38.901, clause 7.4.3.2: a car (read where it is quoted)")
def test_loss_into_a_car() -> None:
    assert INTO_VEHICLE_DB["car"] == 9.0
    assert INTO_VEHICLE_DB["coated-car"] == 20.0
    assert VEHICLE_SPREAD_DB == 5.0


@pytest.mark.published("Akki and Haber 1986: root of f1^2 + f2^2 between two moving ends (memory)")
def test_two_moving_ends_fade_as_their_doppler_shifts_add_in_power() -> None:
    a, b = (Spot(name=name, x_m=x, y_m=0.0) for name, x in (("A", 0.0), ("B", 30.0)))
    tunes = ((518.0, 542.0),)
    kit = (
        Transmitter(form="body-worn", tunes_mhz=tunes, raster_khz=25, powers_mw=(10.0,)),
        Receiver(tunes_mhz=tunes),
    )
    walking, running = Carried("mounted", does="walking"), Carried("mounted", does="running")
    for listener, hz in ((walking, np.hypot(1.4, 1.4)), (running, np.hypot(1.4, 4.0))):
        ends = Ends(Site(name="S"), *kit, "pocket", a, listener=listener, way=(a, b))
        found = arriving([stand_of(BudgetRequest(ends, (b,), 600.0))])
        assert found.doppler_hz == pytest.approx(doppler_hz(600.0, float(hz)))


@pytest.mark.published("47 CFR 74.861(e)(5): a wideband system inside one TV channel, 470 + 6 n MHz")
@pytest.mark.parametrize(
    ("carrier_khz", "allowed"), [(473_000, True), (473_025, False), (476_000, False), (605_000, True)]
)
def test_a_wideband_system_lies_inside_one_tv_channel(carrier_khz: int, *, allowed: bool) -> None:
    found = allowance(
        territory("US"), ["us-part-74"], np.array([carrier_khz]), 6000, "body-worn", 0.0, ON, kind="wideband"
    )
    assert (found.most_mw[0] > 0.0) == allowed

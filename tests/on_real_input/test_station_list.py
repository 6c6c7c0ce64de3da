"""The public list of US stations of 2017, as it comes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from linkwright.air.predicted import ReceivingPlace
from linkwright.air.stations import Stations, read_stations
from linkwright.desk.tv import predicted_tv, tv_separations
from linkwright.rules import territory

LIST = Path(__file__).parents[3] / "shared" / "data" / "tv" / "us_post_auction_2017.csv"
pytestmark = pytest.mark.skipif(not LIST.exists(), reason=f"the shared data is missing: {LIST.name}")


@pytest.fixture(scope="module")
def stations() -> Stations:
    return read_stations(LIST, LIST.name, "US")


def test_every_row_is_read(stations: Stations) -> None:
    assert len(stations) == 2047
    assert not any("left out" in note for note in stations.notes)
    assert stations.longitude.min() > -180.0
    assert stations.longitude.max() < -60.0
    assert np.all((stations.latitude > 13.0) & (stations.latitude < 72.0))
    assert stations.erp_kw.max() == 1000.0
    assert int((~stations.height_known).sum()) == 376


def test_a_city_and_a_desert(stations: Stations) -> None:
    city = predicted_tv(territory("US"), ReceivingPlace(40.75, -73.99), stations)
    desert = predicted_tv(territory("US"), ReceivingPlace(38.5, -117.0), stations)
    closed = {channel.channel for channel in city.channels if channel.state == "closed"}
    # The stations of one tower in that city: 4.5 km away, each with a contour of 90 km and more.
    assert {"7", "11", "12", "34", "35", "36"} <= closed
    assert not [channel for channel in desert.channels if channel.state == "closed"]
    assert len([channel for channel in desert.channels if channel.state == "free"]) > 25
    kept = {
        tv_separation.channel.number: tv_separation.is_kept
        for tv_separation in tv_separations(territory("US"), city)
    }
    assert not any(kept[number] for number in ("7", "11", "12", "34", "35", "36"))

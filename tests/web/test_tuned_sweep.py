"""Lines of a receiver that is tuned, as the command sends them, on the pages: rounds that look at parts."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from itertools import islice
from typing import Any

import numpy as np
from fastapi.testclient import TestClient
from tests.air.recorded_band import Band
from tests.web.conftest import desk_of_client

from linkwright.air.tuning.spectrum import Samples
from linkwright.air.tuning.sweeping import Sweeping, SweepWanted
from linkwright.cli.sweep_live import _stated

#: A look takes so long [s].
LOOK_S = 0.01


class Tuner:
    """A receiver of a band that can change while it is looked at."""

    def __init__(self, band: Band) -> None:
        self.name, self.rate_hz, self.lost, self.band, self.looks = "cart", band.rate_hz, 0, band, 0

    def places_hz(self) -> None:
        return

    def look(self, centre_hz: float, count: int) -> tuple[float, Samples]:
        self.looks += 1
        return centre_hz, self.band.samples(centre_hz, count)

    def now_s(self) -> float:
        return LOOK_S * self.looks

    def close(self) -> None:
        pass


def send(client: TestClient, sweeping: Sweeping, lines: Iterator[bytes], rounds: int) -> None:
    for line in islice(lines, rounds):
        record = {"rows": line.decode(), "source": "cart", "site": "Pans", **_stated(sweeping.options)}
        answer = client.post(
            "/log/sweeps", content=json.dumps(record), headers={"content-type": "application/json"}
        )
        told = answer.json()
        assert (told["passes"], told["refused"], told["says"]) == (1, 0, [])
        sweeping.follow(tuple((low, high) for low, high in told["ours_khz"]))


def test_rounds_of_a_receiver_show_who_is_new_on_a_spare(demo: TestClient) -> None:
    calls = demo.get("/plan.json").json()["calls"]
    links: list[dict[str, Any]] = [link for call in calls if call["site"] == "Pans" for link in call["links"]]
    spare = next(khz for link in links for khz in link["spares_khz"])
    band = Band(noise_db=-60.0)
    tuner = Tuner(band)
    wanted = SweepWanted(spare - 4_000.0, spare + 4_000.0, look_s=LOOK_S, offset_db=-40.0)
    sweeping = Sweeping(tuner, wanted)
    lines = sweeping.lines()
    airing = desk_of_client(demo).airing
    began_s = time.time()
    airing.clock = lambda: began_s + 100.0 * tuner.now_s()  # a hundred times as slow
    send(demo, sweeping, lines, 12)
    page = demo.get("/air/now?site=Pans").text
    assert "nobody" in page
    assert sweeping.plan is not None
    assert len(sweeping.plan.rounds) > 3, "a round looks at the spare and at a part of the rest"
    tones = [(spare * 1e3 + off, -40.0) for off in np.linspace(-50e3, 50e3, 11)]
    tuner.band = Band(tones, noise_db=-60.0, seed=8)
    send(demo, sweeping, lines, 1)
    assert f"omebody on the spare {spare / 1000:.3f}" in demo.get("/live/alarms").text
    page = demo.get("/air/now?site=Pans").text
    assert "ours and a part of the rest every " in page
    assert ", all of the band within " in page
    assert "dBm" in page
    assert demo.get("/air?site=Pans").status_code == 200

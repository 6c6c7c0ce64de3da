"""Predicting TV at a place from 2000 stations, against predicting each of them alone.

Baseline: the same stations one by one, in the same run. The stations are drawn, not real. About 15 s.
"""

from __future__ import annotations

import time

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from linkwright.air.predicted import Predicted, ReceivingPlace
from linkwright.air.stations import Stations
from linkwright.desk.tv import predicted_tv
from linkwright.rules import territory

#: Stations drawn, and how many of them are predicted alone for the baseline.
STATIONS = 2000
ALONE = 100
HERE = ReceivingPlace(40.0, -95.0)


def drawn(number: int) -> Stations:
    draw = np.random.default_rng(1546)
    return Stations(
        name=tuple(f"S{n}" for n in range(number)),
        channel=tuple(str(n) for n in draw.integers(2, 37, number)),
        frequency_mhz=np.full(number, np.nan),
        latitude=draw.uniform(37.0, 43.0, number),
        longitude=draw.uniform(-99.0, -91.0, number),
        erp_kw=10.0 ** draw.uniform(-2.0, 3.0, number),
        height_m=draw.uniform(30.0, 600.0, number),
        height_known=np.ones(number, dtype=np.bool_),
        antenna_m=np.full(number, np.nan),
        directional=np.zeros(number, dtype=np.bool_),
        notes=(),
    )


def test_a_list_at_one_place(benchmark: BenchmarkFixture) -> None:
    region, stations = territory("US"), drawn(STATIONS)

    def predict() -> Predicted:
        return predicted_tv(region, HERE, stations)

    predict()  # loads the tables
    begun = time.perf_counter()
    for n in range(ALONE):
        predicted_tv(region, HERE, stations.only(np.array([n])))
    alone_s = (time.perf_counter() - begun) / ALONE
    benchmark(predict)
    assert benchmark.stats is not None
    benchmark.extra_info["ratio_to_one_by_one"] = benchmark.stats["mean"] / (alone_s * STATIONS)

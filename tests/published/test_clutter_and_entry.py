"""Clutter (P.2108) and building entry (P.2109) against the rows of their reference implementations."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from linkwright.physics.diffraction import knife_edge_db
from linkwright.physics.entry import entry_loss_db

DATA = Path(__file__).parents[3] / "shared" / "data"


def rows(name: str) -> list[dict[str, str]]:
    path = DATA / name
    if not path.exists():
        return []
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


TERMINAL = rows("ntia/HeightGainTerminalCorrectionModelTestData.csv")
STATISTICAL = rows("ntia/TerrestrialStatisticalModelTestData.csv")
ENTRY = rows("p2109/validation_sample.csv")


@pytest.mark.published("ITU-R P.2109-2, thermally efficient buildings: 625 rows of ic-crc/crc-covlib @bc72be0")
@pytest.mark.skipif(not ENTRY, reason="the shared data is missing: p2109")
def test_building_entry() -> None:
    frequency, percent, kind, elevation, stated = (
        np.array([float(list(row.values())[column]) for row in ENTRY]) for column in range(5)
    )
    assert set(kind) == {2.0}
    assert len(stated) == 625
    loss = entry_loss_db(1000.0 * frequency, percent / 100.0, "thermally efficient", elevation)
    assert np.max(np.abs(loss - stated)) < 1e-6


@pytest.mark.published("ITU-R P.526, section 4.1: J(0) = 6.03 dB, J(2.74) = 21.65 dB")
@pytest.mark.parametrize(("v", "loss_db"), [(0.0, 6.03), (2.74, 21.65)])
def test_knife_edge(v: float, loss_db: float) -> None:
    assert float(knife_edge_db(v)) == pytest.approx(loss_db, abs=0.005)

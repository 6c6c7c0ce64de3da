"""The demo's made-up sweep: the same from the same seed, and everything placed in it is found."""

from __future__ import annotations

import hashlib
import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from linkwright.air.carriers import carriers
from linkwright.air.occupancy import MeasuredAir
from linkwright.air.readers import read_sweep
from linkwright.air.sweep import Sweep

SCRIPT = Path(__file__).parents[2] / "scripts" / "make_demo_sweep.py"
FROZEN = "383bd69235a9b955f17509611ccee0627773de5c2afc06cfc8109f93ef470be7"


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo_sweep", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def sweep(script: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Sweep:
    path = tmp_path_factory.mktemp("demo") / "quay.csv"
    assert script.main(["-o", str(path), "--seed", "1"]) == 0
    assert path.stat().st_size < 1_500_000
    return read_sweep(path, "quay.csv")


def test_the_seed_decides_every_byte(script: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    """Frozen output of this script with seed 1, written to standard output."""
    assert script.main(["-o", "-", "--seed", "1"]) == 0
    written = capsys.readouterr().out.encode()
    assert hashlib.sha256(written).hexdigest() == FROZEN


def test_it_is_read_as_what_it_is(script: ModuleType, sweep: Sweep) -> None:
    assert sweep.format == "13 columns, separated by commas"
    assert sweep.levels_db.shape == (script.SWEEPS, 8961)
    assert (sweep.from_khz, sweep.to_khz, sweep.step_khz) == (469_987.5, 694_012.5, 25.0)
    assert sweep.started == script.STARTED
    assert sweep.averages == 16
    assert sweep.lasted_s == 55.0
    assert np.isfinite(sweep.levels_db).all()


def test_everything_placed_is_found_and_little_else(script: ModuleType, sweep: Sweep) -> None:
    air = MeasuredAir.of([sweep])
    (judged,) = air.judged
    truth = np.array([script.floor_db(khz) for khz in judged.frequencies_khz.tolist()])
    assert np.sqrt(np.mean((judged.floor_db - truth) ** 2)) < 0.1
    found = carriers(judged)
    for placed in script.PLACED:
        middle = round((placed.from_khz + placed.to_khz) / 2)
        slot = air.slot_levels(np.array([middle]), 200)
        assert slot.busy[0], placed.name
        if placed.kind == "multiplex":
            inside = np.arange(int(placed.from_khz) + 100, int(placed.to_khz) - 100, 25)
            levels = air.slot_levels(inside, 200)
            assert levels.busy.all()
            assert np.median(levels.excess_db) == pytest.approx(placed.over_floor_db, abs=0.6)
            continue
        (carrier,) = [c for c in found if abs(c.centre_khz - middle) <= 12.5]
        assert carrier.excess_db == pytest.approx(placed.over_floor_db, abs=1.5)
        assert carrier.duty == pytest.approx(len(placed.on_in) / script.SWEEPS)
    narrow = sum(placed.kind != "multiplex" for placed in script.PLACED)
    assert sum(c.excess_db > 6 for c in found) == narrow
    slots = np.arange(470_100, 693_800, 25)
    near = np.zeros(slots.size, dtype=bool)
    for placed in script.PLACED:
        near |= (slots > placed.from_khz - 138) & (slots < placed.to_khz + 138)
    assert air.slot_levels(slots, 200).busy[~near].mean() < 0.02

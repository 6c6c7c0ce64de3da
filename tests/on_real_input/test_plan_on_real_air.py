"""A GB shoot planned on a real recorded sweep: nobody stands on one of its spurs or in its hump."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.plan.shoots import HEADER, links, shoot

from linkwright.air.readers import read_sweep
from linkwright.plan.pipeline import make_plan

SWEEPS = Path(__file__).parents[2].parent / "shared" / "data" / "sweeps"
FOUND = sorted(SWEEPS.glob("*_uhf_470-854MHz_UK_scan0.csv"))


@pytest.mark.skipif(not FOUND, reason="the folder of real sweeps, ../shared/data/sweeps, is not here")
def test_no_carrier_or_spare_stands_on_a_spur_or_in_the_hump() -> None:
    sweep = read_sweep(FOUND[0], "uk.csv")
    header = HEADER.replace('["gb-coordinated"]', '["gb-coordinated", "gb-shared"]')
    plan = make_plan(
        shoot('[[site]]\nname = "Yard"\n' + links(12, "uhf-body-worn", more="spares = 2"), header),
        {"Yard": [sweep]},
    )
    carriers = [khz for link in plan.calls[0].links for khz in (link.carrier_khz, *link.spares_khz)]
    assert len(plan.calls[0].links) == 12
    assert len(carriers) == 36
    # Independent of the program's own floor: a spur is a bin 10 dB over the median of the 2 MHz about it.
    frequency, level = sweep.frequencies_khz, sweep.levels_db[0]
    first = np.searchsorted(frequency, frequency - 1000, side="right")
    end = np.searchsorted(frequency, frequency + 1000)
    middles = [np.median(level[a:b]) for a, b in zip(first, end, strict=True)]
    spurs = [khz for khz, db, middle in zip(frequency, level, middles, strict=True) if db > middle + 10.0]
    assert 40 <= len(spurs) <= 400
    assert min(abs(khz - spur) for khz in carriers for spur in spurs) > 100 + 6.25 / 2
    assert not [khz for khz in carriers if 605_000 <= khz <= 625_000]

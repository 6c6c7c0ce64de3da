"""What cells give, and phantom power, one a value."""

from __future__ import annotations

import pytest

from linkwright.physics.battery import CELLS, PHANTOM_EFFICIENCY, Draw, capacity_ah, phantom_mw, run_time_h


@pytest.mark.published(
    "published capacities at 500 mA, of data sheets by way of secondary sources: AA cells, in Ah"
)
@pytest.mark.parametrize(
    ("chemistry", "least_ah", "most_ah"),
    [("alkaline", 1.8, 2.6), ("nimh", 2.2, 2.9), ("lithium", 2.7, 3.4)],
    ids=["LR6", "HR6", "FR6"],
)
def test_capacity_at_500_ma(chemistry: str, least_ah: float, most_ah: float) -> None:
    assert least_ah <= capacity_ah(CELLS["AA", chemistry], 0.5) <= most_ah


@pytest.mark.published("the same ranges: an LR6 rated at 2.5 Ah and 50 mA needs Peukert's exponent at most 1.14")
def test_exponent_of_alkaline_cells() -> None:
    assert 1.0 < CELLS["AA", "alkaline"].peukert <= 1.14
    assert pytest.approx(1.81, abs=0.005) == 2.5 * 10.0 ** (1.0 - 1.14)


@pytest.mark.published("Peukert's law, exact arithmetic: ten times the current takes 10^(1-k) of the capacity")
def test_peukert() -> None:
    cell = CELLS["AA", "alkaline"]
    ratio = capacity_ah(cell, 0.5) / capacity_ah(cell, 0.05)
    assert ratio == pytest.approx(10.0 ** (1.0 - cell.peukert), rel=1e-12)


@pytest.mark.published("exact arithmetic: 2 x 1.4 V at 630 mW draw 225 mA; 3.2 Ah (225/50)^-0.02 last 13.80 h")
def test_a_run_time_by_hand() -> None:
    cell = CELLS["AA", "lithium"]
    assert Draw(550.0, 8.0).total_mw(10.0) == 630.0
    assert (cell.capacity_ah, cell.rated_a, cell.peukert, cell.voltage_v) == (3.2, 0.05, 1.02, 1.4)
    assert run_time_h(cell, 2, 630.0) == pytest.approx(13.80, abs=0.005)


@pytest.mark.published("IEC 61938 (from memory): P48 shorted gives 48 V / 6.8 kohm = 7.06 mA a leg")
def test_phantom_power_costs_what_48_volts_deliver() -> None:
    assert pytest.approx(7.06, abs=0.005) == 48.0 / 6.8
    assert phantom_mw(2 * 48.0 / 6.8) * PHANTOM_EFFICIENCY == pytest.approx(48.0 * 14.12, abs=0.5)

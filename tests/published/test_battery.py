"""What cells give, and phantom power, one a value."""

from __future__ import annotations

from typing import Final

import numpy as np
import pytest
import scipy.optimize

from linkwright.physics.battery import CELLS, PHANTOM_EFFICIENCY, Draw, capacity_ah, phantom_mw, run_time_h

#: Readings of AA cells, (A, Ah); shop-bought cells of several makes, unnamed here. No table of a maker is kept.
TESTS = "the web page `Discharge tests of AA Batteries, Alkaline and NiMH`, tests of 2006 and 2020 to 0.1 V"
COMPARED = "the web page `Comparison of AA battery chemistries`, quoting a data sheet"
SHEETS = "four data sheets read to 0.8 V, by way of a secondary source"
HANDBOOK = "Linden's Handbook of Batteries, fig. 14.74, 25 to 1000 mA at 21 degrees: about 3 Ah throughout"
READINGS: Final[dict[str, tuple[tuple[float, float, str], ...]]] = {
    "alkaline": (
        (0.025, 2.9, COMPARED), (0.1, 2.13, TESTS), (0.1, 2.20, TESTS),
        (0.5, 1.17, TESTS), (0.5, 1.28, TESTS), (0.5, 1.30, TESTS), (0.5, 1.31, TESTS), (0.5, 1.84, TESTS),
        (0.5, 1.40, COMPARED), (0.5, 1.4, SHEETS), (0.5, 1.9, SHEETS),
        (1.0, 0.83, TESTS), (1.0, 0.93, TESTS), (1.0, 0.95, TESTS), (1.0, 0.98, TESTS), (1.0, 1.41, TESTS),
        (1.0, 1.0, SHEETS), (1.0, 1.4, SHEETS),
    ),
    "lithium": ((0.5, 2.7, "secondary sources"), (0.5, 3.4, "secondary sources"), (2.0, 2.8, TESTS)),
    "nimh": ((0.5, 2.2, "secondary sources"), (0.5, 2.9, "secondary sources")),
}  # fmt: skip


@pytest.mark.published(
    f"readings of AA alkaline cells: {TESTS}; {COMPARED}; {SHEETS}: two parameters fitted to all of them"
)
def test_the_curve_of_alkaline_cells_is_the_fit_of_published_readings() -> None:
    current_a, capacity = np.array([reading[:2] for reading in READINGS["alkaline"]]).T
    fitted = scipy.optimize.least_squares(
        lambda p: np.log(p[0] / (1.0 + current_a / p[1])) - np.log(capacity), (2.0, 1.0)
    ).x
    cell = CELLS["AA", "alkaline"]
    assert (cell.capacity_ah, cell.halving_a) == pytest.approx(fitted, rel=0.01)


@pytest.mark.published(f"the same readings, {HANDBOOK}, and 500 mA by way of secondary sources: AA cells, in Ah")
@pytest.mark.parametrize(
    ("chemistry", "at_a", "least_ah", "most_ah"),
    [
        ("alkaline", 0.1, 2.13, 2.9), ("alkaline", 0.5, 1.4, 1.9), ("alkaline", 1.0, 1.0, 1.4),
        ("lithium", 0.1, 2.7, 3.4), ("lithium", 0.5, 2.7, 3.4), ("lithium", 1.0, 2.7, 3.4),
        ("lithium", 2.0, 2.7, 2.9),
        ("nimh", 0.1, 2.2, 2.9), ("nimh", 0.5, 2.2, 2.9), ("nimh", 1.0, 2.2, 2.9),
    ],
)  # fmt: skip
def test_capacity_lies_within_published_readings(
    chemistry: str, at_a: float, least_ah: float, most_ah: float
) -> None:
    assert least_ah <= capacity_ah(CELLS["AA", chemistry], at_a) <= most_ah


@pytest.mark.published("IEC 61951-2 (from memory): a NiMH cell gives 80 % and more of its rated capacity at 1 C")
def test_a_stated_capacity_is_that_at_a_fifth_of_it() -> None:
    cell = CELLS["AA", "nimh"].with_stated(2000.0, None)
    assert capacity_ah(cell, 0.4) == pytest.approx(2.0, rel=1e-12)
    assert 1.6 <= capacity_ah(cell, 2.0) < 2.0


@pytest.mark.arithmetic("exact arithmetic: at the current that halves it a cell gives half of that at no load")
def test_half_of_the_capacity() -> None:
    cell = CELLS["AA", "alkaline"]
    assert capacity_ah(cell, cell.halving_a) == pytest.approx(0.5 * capacity_ah(cell, 0.0), rel=1e-12)


@pytest.mark.arithmetic("exact arithmetic: 2 x 1.4 V at 630 mW draw 225 mA; 3.2 Ah / (1 + 0.225 / 16) last 14.02 h")
def test_a_run_time_by_hand() -> None:
    cell = CELLS["AA", "lithium"]
    assert Draw(550.0, 8.0).total_mw(10.0) == 630.0
    assert (cell.capacity_ah, cell.halving_a, cell.voltage_v) == (3.2, 16.0, 1.4)
    assert run_time_h(cell, 2, 630.0) == pytest.approx(14.02, abs=0.005)


@pytest.mark.published("IEC 61938 (from memory): P48 shorted gives 48 V / 6.8 kohm = 7.06 mA a leg")
def test_phantom_power_costs_what_48_volts_deliver() -> None:
    assert pytest.approx(7.06, abs=0.005) == 48.0 / 6.8
    assert phantom_mw(2 * 48.0 / 6.8) * PHANTOM_EFFICIENCY == pytest.approx(48.0 * 14.12, abs=0.5)

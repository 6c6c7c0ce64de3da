"""How long cells last: what a transmitter draws, what cells give at that current and in the cold, what logs teach.

P = base + P_RF / eta + P_48 / eta_48. Capacity by two parameters, C(I) = C_0 / (1 + I / I_h): C_0 at no load, half
of it at I_h (the form of Liebenow, 1897; from memory), times a factor of temperature. One exponent after Peukert
cannot follow an alkaline cell from 25 mA to 1 A. C_0 and I_h of AA cells are fitted to published discharge readings
(tests/published/test_battery.py); other sizes keep their chemistry's I_h / C_0, which is assumed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

#: What phantom power delivers [V]; IEC 61938 (from memory). The converter in the transmitter gives this share.
PHANTOM_V: Final = 48.0
PHANTOM_EFFICIENCY: Final = 0.6
#: What a microphone draws from phantom power where nobody said [mA] (assumed, common practice).
PHANTOM_MA: Final = 3.0
#: Cells are rated at this temperature [degrees Celsius]; warmer ones are counted as giving no more.
RATED_C: Final = 20.0
#: However cold, this share of the capacity is left (assumed).
LEAST_SHARE: Final = 0.1
#: How far constants that nobody measured may be off, as standard deviations of their logarithms (assumed):
#: capacity, base drain, drain for each radiated milliwatt; and how far one logged run time scatters.
PRIOR: Final = (0.15, 0.2, 0.3)
RUN_SCATTER: Final = 0.06
STEPS: Final = 60


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: capacity at no load [Ah], the current that halves it [A], mean voltage [V], loss by cold [1/K].

    rated_c : the rate at which a printed capacity is given, as a multiple of it [1/h]: 0.2 for rechargeable cells
    (IEC 61951-2 and 61960, from memory), no load for others.
    """

    capacity_ah: float
    halving_a: float
    voltage_v: float
    cold_per_k: float
    rated_c: float

    def with_stated(self, capacity_mah: float | None, voltage_v: float | None) -> Cell:
        """The same with what is stated of it: capacity as printed on it, and mean voltage."""
        halving_c, by = self.halving_a / self.capacity_ah, 1.0
        if capacity_mah is not None:
            over = (1.0 + math.sqrt(1.0 + 4.0 * self.rated_c / halving_c)) / 2.0  # at no load over what is printed
            by = capacity_mah / 1000.0 * over / self.capacity_ah
        return replace(
            self,
            capacity_ah=self.capacity_ah * by,
            halving_a=self.halving_a * by,
            voltage_v=self.voltage_v if voltage_v is None else voltage_v,
        )


#: By chemistry: the current that halves the capacity as a multiple of it [1/h], loss by cold [1/K] (assumed), and
#: the rate of printed capacities [1/h].
CHEMISTRIES: Final[Mapping[str, tuple[float, float, float]]] = {
    "alkaline": (0.25, 0.018, 0.0),
    "lithium": (5.0, 0.003, 0.0),
    "nimh": (9.0, 0.007, 0.2),
    "li-ion": (9.0, 0.008, 0.2),
}
#: Printed capacity [Ah] and mean voltage [V] by size and chemistry. IEC names: AA LR6, FR6, HR6; AAA LR03, FR03,
#: HR03; 9 V 6LR61 and 6HR61. Alkaline and lithium AA are fitted, the others assumed (common practice, no source).
SIZES: Final[Mapping[tuple[str, str], tuple[float, float]]] = {
    ("AA", "alkaline"): (2.6, 1.2), ("AA", "lithium"): (3.2, 1.4),
    ("AA", "nimh"): (2.5, 1.2), ("AA", "li-ion"): (1.7, 1.5),
    ("AAA", "alkaline"): (1.15, 1.2), ("AAA", "lithium"): (1.2, 1.4),
    ("AAA", "nimh"): (0.9, 1.2), ("AAA", "li-ion"): (0.6, 1.5),
    ("9V", "alkaline"): (0.55, 7.4), ("9V", "lithium"): (1.1, 8.4),
    ("9V", "nimh"): (0.2, 8.4), ("9V", "li-ion"): (0.6, 7.4),
    ("pack", "nimh"): (2.0, 2.4), ("pack", "li-ion"): (1.8, 3.7),
}  # fmt: skip
CELLS: Final[Mapping[tuple[str, str], Cell]] = {
    (size, chemistry): Cell(1.0, halving_c, voltage_v, cold_per_k, rated_c).with_stated(1000.0 * printed_ah, None)
    for (size, chemistry), (printed_ah, voltage_v) in SIZES.items()
    for halving_c, cold_per_k, rated_c in (CHEMISTRIES[chemistry],)
}


def cold_share(cell: Cell, temperature_c: float) -> float:
    """The share of its rated capacity that a cell gives at a temperature [degrees Celsius]."""
    return max(LEAST_SHARE, 1.0 - cell.cold_per_k * max(0.0, RATED_C - temperature_c))


def capacity_ah(cell: Cell, current_a: float, temperature_c: float = RATED_C) -> float:
    """What a cell gives at a steady current [A] and a temperature, in Ah."""
    return cell.capacity_ah / (1.0 + current_a / cell.halving_a) * cold_share(cell, temperature_c)


def run_time_h(cell: Cell, count: int, drain_mw: float, temperature_c: float = RATED_C) -> float:
    """How long `count` cells in series last at a steady drain [mW], in hours; infinite where nothing is drawn."""
    current_a = drain_mw / 1000.0 / (count * cell.voltage_v)
    if current_a <= 0.0:  # also where so little is drawn that it is no number any more
        return math.inf
    return capacity_ah(cell, current_a, temperature_c) / current_a


def phantom_mw(current_ma: float) -> float:
    """What phantom power costs the cells [mW]: 48 V times the current, over the converter's efficiency."""
    return PHANTOM_V * current_ma / PHANTOM_EFFICIENCY


@dataclass(frozen=True, slots=True)
class Draw:
    """What a transmitter draws: without radiated power [mW], and for each radiated milliwatt (1 / eta)."""

    base_mw: float
    per_radiated: float

    def total_mw(self, power_mw: float, phantom_ma: float = 0.0) -> float:
        """The drain at a conducted power [mW] with a microphone that draws from phantom power [mA]."""
        return self.base_mw + self.per_radiated * power_mw + phantom_mw(phantom_ma)


@dataclass(frozen=True, slots=True)
class Powering:
    """A transmitter with its cells: what predicts run times, and how far they may be off.

    sigma : standard deviation of the logarithm of a run time. runs : how many logged runs it rests on.
    """

    cell: Cell
    count: int
    draw: Draw
    covariance: tuple[tuple[float, ...], ...] = ()
    runs: int = 0

    def run_time_h(self, power_mw: float, temperature_c: float = RATED_C, phantom_ma: float = 0.0) -> float:
        """How long a fresh set lasts [h]."""
        return run_time_h(self.cell, self.count, self.draw.total_mw(power_mw, phantom_ma), temperature_c)

    def sigma(self, power_mw: float, phantom_ma: float = 0.0) -> float:
        """How far that may be off: standard deviation of its logarithm."""
        slope = _slope(self, power_mw, phantom_ma)
        spread = np.array(self.covariance) if self.covariance else np.diag(np.square(PRIOR))
        return math.sqrt(float(slope @ spread @ slope) + RUN_SCATTER**2)


@dataclass(frozen=True, slots=True)
class Ran:
    """A logged run: how long a fresh set lasted [h], at which power [mW], temperature and phantom current [mA]."""

    ran_h: float
    power_mw: float
    temperature_c: float = RATED_C
    phantom_ma: float = 0.0


def refit(powering: Powering, runs: Sequence[Ran]) -> Powering:
    """The constants as logged run times make them: capacity, base drain and drain for radiated power.

    The most probable three where each starts from its assumed value with the spread `PRIOR` and each log scatters
    by `RUN_SCATTER`, both log-normal (Gauss-Newton on logarithms). Without runs nothing changes.
    """
    if not runs:
        return powering
    logs = np.zeros(3)
    precision = np.diag(1.0 / np.square(PRIOR))
    for _ in range(STEPS):
        now = _scaled(powering, logs)
        gaps = np.array(
            [math.log(r.ran_h / now.run_time_h(r.power_mw, r.temperature_c, r.phantom_ma)) for r in runs]
        )
        slopes = np.array([_slope(now, r.power_mw, r.phantom_ma) for r in runs])
        weight = precision + slopes.T @ slopes / RUN_SCATTER**2
        step = np.linalg.solve(weight, slopes.T @ gaps / RUN_SCATTER**2 - precision @ logs)
        logs = logs + np.clip(step, -0.5, 0.5)
        if float(np.abs(step).max()) < 1e-10:
            break
    covariance = tuple(tuple(float(value) for value in row) for row in np.linalg.inv(weight))
    return replace(_scaled(powering, logs), covariance=covariance, runs=len(runs))


def _scaled(powering: Powering, logs: np.ndarray) -> Powering:
    """The constants times exp(logs): capacity, base, radiated."""
    by = [float(value) for value in np.exp(logs)]
    cell = powering.cell
    return replace(
        powering,
        cell=replace(cell, capacity_ah=cell.capacity_ah * by[0]),
        draw=Draw(powering.draw.base_mw * by[1], powering.draw.per_radiated * by[2]),
    )


def _slope(powering: Powering, power_mw: float, phantom_ma: float) -> np.ndarray:
    """How the logarithm of a run time goes with those of capacity, base drain and drain for radiated power."""
    total = powering.draw.total_mw(power_mw, phantom_ma)
    if total <= 0.0:
        return np.array([1.0, 0.0, 0.0])
    cell = powering.cell
    current_a = total / 1000.0 / (powering.count * cell.voltage_v)
    k = 1.0 + current_a / (cell.halving_a + current_a)
    return np.array([1.0, -k * powering.draw.base_mw / total, -k * powering.draw.per_radiated * power_mw / total])

"""The real sweeps of the shared data folder, read and judged. Skipped where the folder is missing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from linkwright.air.carriers import carriers
from linkwright.air.judgement import JudgedSweep, judge
from linkwright.air.multiplexes import multiplexes
from linkwright.air.occupancy import MeasuredAir
from linkwright.air.readers import read_file, read_sweep, read_sweeps
from linkwright.air.report import sweep_document
from linkwright.air.series import series
from linkwright.air.survey import survey
from linkwright.air.sweep import Sweep
from linkwright.rules import territory, tv_channels
from linkwright.shoot.errors import InputError

FOLDER = Path(__file__).parents[2].parent / "shared" / "data" / "sweeps"
pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the real sweeps (../shared/data/sweeps) are not here")


def one(pattern: str) -> Sweep:
    (path,) = sorted(FOLDER.glob(pattern))
    return read_sweep(path, pattern)


def fields(pattern: str) -> list[list[str]]:
    """The rows of a file, split by hand."""
    (path,) = sorted(FOLDER.glob(pattern))
    return [line.split(",") for line in path.read_text().splitlines() if line]


@pytest.mark.parametrize(
    ("pattern", "sweeps", "bins", "from_khz", "to_khz", "step_khz", "averages"),
    [
        ("*_power_*_13sweeps.csv", 13, 72 * 16, 1_050_000, 1_150_000, 86.8055, 256),
        ("*_power_*_30sweeps.csv", 30, 8 * 16, 890_000, 900_000, 78.125, 768),
        ("*_power_*_1sweep.csv", 1, 8 * 32, 90_000, 110_000, 78.125, 5120),
        ("*_power_j*.csv", 32, 8 * 32, 88_000, 108_000, 78.125, 3328),
    ],
)
def test_rows_of_the_first_utility(
    pattern: str, sweeps: int, bins: int, from_khz: float, to_khz: float, step_khz: float, averages: int
) -> None:
    sweep = one(pattern)
    assert sweep.levels_db.shape == (sweeps, bins)
    assert np.isfinite(sweep.levels_db).all()
    assert sweep.format == "rows of the first generic SDR sweep utility"
    # The first bin is centred at the lowest edge, the last one a step under the highest (which is cut to hertz).
    assert sweep.frequencies_khz[0] == from_khz
    assert sweep.frequencies_khz[-1] == pytest.approx(to_khz - step_khz, abs=0.1)
    assert np.diff(sweep.frequencies_khz) == pytest.approx(step_khz, abs=0.01)
    assert sweep.step_khz == step_khz
    assert sweep.averages == averages
    rows = fields(pattern)
    assert all(float(row[-1]) == float(row[-2]) for row in rows)
    first = rows[0]
    assert sweep.levels_db[0, : len(first) - 7].tolist() == [float(value) for value in first[6:-1]]
    last = rows[-1]
    assert sweep.levels_db[-1, 7 - len(last) :].tolist() == [float(value) for value in last[6:-1]]
    # Each hop's middle bin is a copy of its upper neighbour, in every sweep.
    middle = np.flatnonzero(sweep.copied)
    assert middle.size == bins // (len(first) - 7)
    assert np.array_equal(sweep.levels_db[:, middle], sweep.levels_db[:, middle + 1])


def test_rows_of_the_second_utility() -> None:
    sweep = one("*_sweep_2300-2500MHz.csv")
    assert sweep.format == "rows of the second generic SDR sweep utility"
    assert sweep.levels_db.shape == (1, 40 * 51)
    assert sweep.averages == 1
    assert sweep.from_khz == pytest.approx(2_300_000, abs=0.01)
    assert sweep.to_khz == pytest.approx(2_500_000, abs=0.01)
    assert np.diff(sweep.frequencies_khz) == pytest.approx(5000 / 51, abs=0.01)
    assert not sweep.copied.any()
    for row in fields("*_sweep_2300-2500MHz.csv"):
        low_khz, step_khz = float(row[2]) / 1e3, float(row[4]) / 1e3
        at = int(np.searchsorted(sweep.frequencies_khz, low_khz))
        assert sweep.frequencies_khz[at] == pytest.approx(low_khz + step_khz / 2, abs=0.01)
        assert sweep.levels_db[0, at : at + 51].tolist() == [float(value) for value in row[6:]]


def test_the_samples_column_is_the_number_of_looks_where_nothing_else_scatters() -> None:
    """Over 13 sweeps each bin of the quiet band scatters by 4.34 / sqrt(256) dB, within a tenth (median)."""
    sweep = one("*_power_*_13sweeps.csv")
    scatter = float(np.median(sweep.levels_db.std(axis=0, ddof=1)))
    assert scatter == pytest.approx(10 / np.log(10) / np.sqrt(256), rel=0.1)


@pytest.mark.parametrize(("scan", "bins"), [("scan0", 53_808), ("scan2", 45_961)])
def test_uhf_scans(scan: str, bins: int) -> None:
    sweep = one(f"*_uhf_470-854MHz_UK_{scan}.csv")
    assert sweep.levels_db.shape == (1, bins)
    assert sweep.frequencies_khz[0] == 470_500.0
    assert sweep.frequencies_khz[-1] == 853_500.0
    assert sweep.step_khz == 6.25
    assert (sweep.unit, sweep.averages, sweep.calibrated) == ("dB", None, False)


@pytest.fixture(scope="module")
def scan0() -> JudgedSweep:
    if not FOLDER.is_dir():
        pytest.skip("the real sweeps (../shared/data/sweeps) are not here")
    return judge(one("*_uhf_470-854MHz_UK_scan0.csv"))


def spurs(frequency: NDArray[np.float64], level: NDArray[np.float64]) -> list[float]:
    """Frequencies [kHz] of the highest bin of each run that is 10 dB over the median of 1 MHz around it."""
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(level, 80, mode="edge"), 161)
    over = np.flatnonzero(level > np.median(windows, axis=1) + 10.0)
    runs = np.split(over, np.flatnonzero(np.diff(over) > 1) + 1)
    return [float(frequency[run[np.argmax(level[run])]]) for run in runs]


def test_every_spur_is_busy_and_in_a_carrier(scan0: JudgedSweep) -> None:
    found = spurs(scan0.frequencies_khz, scan0.mean_db)
    assert 60 <= len(found) <= 80  # "some 70 spurs" by eye
    slots = MeasuredAir((scan0,)).slot_levels(np.rint(found).astype(np.int64), 25)
    assert slots.busy[slots.covered].all()
    assert slots.covered.sum() >= len(found) - 3  # the others stand at the edge of a 1 MHz hole
    narrow = carriers(scan0)
    low = np.array([c.centre_khz - c.bandwidth_khz for c in narrow])
    high = np.array([c.centre_khz + c.bandwidth_khz for c in narrow])
    held = [bool(np.any((low <= khz) & (khz <= high))) for khz in found]
    assert np.mean(held) >= 0.9


def test_the_hump_is_busy_and_quiet_parts_are_not(scan0: JudgedSweep) -> None:
    air = MeasuredAir((scan0,))
    hump = air.slot_levels(np.arange(605_200, 625_000, 25), 200)
    covered = hump.covered
    assert covered.mean() > 0.8  # 1 MHz holes
    assert hump.busy[covered].mean() > 0.97
    assert hump.raised[covered].all()
    assert np.median(hump.excess_db[covered]) > 8.0
    quiet = air.slot_levels(np.concatenate([np.arange(728_200, 733_400, 25), np.arange(840_200, 845_400, 25)]), 200)
    assert quiet.busy[quiet.covered].mean() < 0.1
    assert np.median(quiet.excess_db[quiet.covered]) < 0.5
    holes = air.slot_levels(np.array([478_000, 486_000, 566_000]), 200)
    assert not holes.covered.any()


def test_both_scans_agree_where_both_looked(scan0: JudgedSweep) -> None:
    """Two scans of one place: the floors are within 2 dB of each other nine times out of ten."""
    scan2 = judge(one("*_uhf_470-854MHz_UK_scan2.csv"))
    _, first, second = np.intersect1d(scan0.frequencies_khz, scan2.frequencies_khz, return_indices=True)
    difference = np.abs(scan0.floor_db[first] - scan2.floor_db[second])
    assert np.quantile(difference, 0.9) < 2.0


def test_four_traces_of_an_analyzer() -> None:
    """Header lines with exclamation marks, BEGIN and END; 401 points, four traces named in a DATA line."""
    (path,) = sorted(FOLDER.glob("*_4traces.csv"))
    sweeps = read_sweeps(path, "four")
    assert [sweep.trace for sweep in sweeps] == ["SA Clear-Write", "SA Max Hold", "SA Min Hold", "SA Average"]
    assert [sweep.detector for sweep in sweeps] == ["unknown", "peak", "lowest", "unknown"]
    rows = [line.split(",") for line in path.read_text().splitlines() if line[:1].isdigit()]
    for number, sweep in enumerate(sweeps, start=1):
        assert (sweep.unit, sweep.sweeps, sweep.frequencies_khz.size) == ("dBm", 1, 401)
        assert sweep.frequencies_khz.tolist() == [float(row[0]) / 1e3 for row in rows]
        assert sweep.levels_db[0].tolist() == [float(row[number]) for row in rows]
    chosen = read_sweep(path, "four")
    assert chosen.trace == "SA Average"
    assert any("of 4 traces" in note for note in chosen.understood)


def test_two_traces_with_a_byte_order_mark() -> None:
    sweeps = read_sweeps(next(FOLDER.glob("*_bom.csv")), "two")
    assert [sweep.trace for sweep in sweeps] == ["Maximum [dB\u00b5V/m]", "Minimum [dB\u00b5V/m]"]
    for sweep in sweeps:
        assert (sweep.unit, sweep.calibrated, sweep.resolution_khz) == ("dBuV/m", False, 3000.0)
        assert sweep.frequencies_khz[[0, -1]].tolist() == [600_000.0, 1_600_000.0]
        assert sweep.frequencies_khz.size == 711
        assert "reference level 69.72 dB\u00b5V/m" in sweep.understood
    assert sweeps[0].levels_db[0, 0] == 32.3436508178711
    assert sweeps[1].levels_db[0, -1] == 38.6023406982422


def test_a_matrix_whose_columns_are_sweeps() -> None:
    sweep = one("*_matrix_cols_are_sweeps.csv")
    assert sweep.levels_db.shape == (50, 615)
    assert sweep.frequencies_khz[0] == 87_500.0
    assert sweep.frequencies_khz[-1] == pytest.approx(108_000.0)
    assert sweep.step_khz == pytest.approx(33.387, abs=0.001)
    rows = fields("*_matrix_cols_are_sweeps.csv")[1:]
    assert sweep.levels_db[:, 0].tolist() == [float(value) for value in rows[0]]
    assert sweep.levels_db[49].tolist() == [float(row[49]) for row in rows]
    assert any("without a unit" in warning for warning in sweep.warnings)


def test_a_frequency_and_five_sweeps() -> None:
    sweep = one("*_freq+5sweeps.csv")
    assert sweep.levels_db.shape == (5, 600)
    assert sweep.unit == "dB"
    assert any("taken as sweeps" in guess for guess in sweep.guessed)
    rows = fields("*_freq+5sweeps.csv")
    assert sweep.levels_db[:, 7].tolist() == [float(value) for value in rows[7][1:]]


def test_frequency_level_and_two_blanks() -> None:
    sweep = one("*_1-900MHz_450pts.csv")
    assert sweep.levels_db.shape == (1, 450)
    assert sweep.levels_db[0, 0] == -3.53


def test_one_megahertz_bins_named_by_their_lower_edges() -> None:
    sweep = one("excerpt_*_1MHz_bins_dB.csv")
    assert sweep.frequencies_khz[0] == 476_500.0
    assert judge(sweep).uncertain


def test_nothing_but_nan_is_refused() -> None:
    with pytest.raises(InputError, match="every level is NaN"):
        one("*_allNaN.csv")


def test_an_under_sampled_analyzer_export_is_read_and_covers_nothing() -> None:
    (path, *_) = sorted(FOLDER.glob("swept_*.CSV"))
    sweep = read_sweep(path, "export")
    assert sweep.levels_db.shape == (1, 461)
    assert (sweep.unit, sweep.detector, sweep.resolution_khz) == ("dBm", "peak", 1.0)
    assert not MeasuredAir.of([sweep]).slot_levels(np.arange(470_200, 690_000, 1000), 200).covered.any()


GB = tv_channels(territory("GB"))


def test_three_multiplexes_in_the_averaged_series_of_under_sampled_exports() -> None:
    """By eye (data/README.md): 550-558, 598-606 and 614-622 MHz. The third shows in the series only."""
    files = sorted(FOLDER.glob("swept_*.CSV"))
    (joined,) = series([read_sweep(path, path.name) for path in files])
    found = multiplexes(judge(joined), GB)
    assert [(one.from_khz, one.to_khz) for one in found] == [
        (550_000, 558_000),
        (598_000, 606_000),
        (614_000, 622_000),
    ]
    assert {one.kind for one in found} == {"wideband or packed"}, "points 2.2 MHz apart cannot say more"


@pytest.mark.parametrize("pattern", ["*_4traces.csv", "*_bom.csv"])
def test_no_multiplex_in_files_with_noise_only(pattern: str) -> None:
    for region in ("GB", "US", "AU"):
        for sweep in read_sweeps(next(FOLDER.glob(pattern)), pattern):
            assert multiplexes(judge(sweep), tv_channels(territory(region))) == ()


@pytest.mark.parametrize("scan", ["scan0", "scan2"])
def test_no_clean_multiplex_in_the_uhf_scans(scan: str) -> None:
    found = multiplexes(judge(one(f"*_uhf_470-854MHz_UK_{scan}.csv")), GB)
    assert [one for one in found if one.kind == "multiplex"] == []


def test_one_megahertz_bins_of_a_real_run_show_the_channels_and_no_more() -> None:
    """Levels of 21 dB fill 476-482, 572-578, 584-590 and 602-608 MHz: channels 15, 31, 33 and 36."""
    found = multiplexes(judge(one("excerpt_*_1MHz_bins_dB.csv")), tv_channels(territory("US")))
    channels = {each.channel: each for each in found}
    assert {"15", "31", "33", "36"} <= set(channels)
    assert "14" not in channels
    assert {each.kind for each in found} == {"wideband or packed"}


def test_everything_together_says_what_it_is_worth() -> None:
    for path in sorted(FOLDER.iterdir()):
        if path.suffix.lower() == ".csv" and "allNaN" not in path.name:
            document = sweep_document(survey([read_file(path, path.name)], GB))
            assert document["files"][0]["sweeps"] >= 1
            assert 0.0 < document["missed"] <= 1.0
            assert not (document["floor"]["uncertain"] and document["clean"])

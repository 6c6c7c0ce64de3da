"""Several traces, matrices without frequencies, hand-typed lists, and what a person states instead."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.air.occupancy import MeasuredAir
from linkwright.air.readers import ReadOptions, Readout, evidence, read_stream, read_sweep_bytes
from linkwright.air.readers.text import HEAD_BYTES
from linkwright.shoot.errors import InputError


def read(text: str, options: ReadOptions | None = None) -> Readout:
    return read_stream(io.BytesIO(text.encode()), "x.csv", options or ReadOptions())


TRACES = """! MODEL none
! Average Type: Log Pwr
! DATA Freq,Clear-Write,Max Hold,Min Hold,Average
! FREQ UNIT Hz
! DATA UNIT dBm
BEGIN
470000000,-100,-90,-110,-101.5
470025000,-101,-91,-111,-102.5
END
"""


def test_traces_of_different_kinds_are_sweeps_of_their_own() -> None:
    sweeps = read(TRACES).sweeps
    assert [sweep.trace for sweep in sweeps] == ["Clear-Write", "Max Hold", "Min Hold", "Average"]
    assert [sweep.detector for sweep in sweeps] == ["log-average", "peak", "lowest", "log-average"]
    assert [sweep.levels_db[0, 1] for sweep in sweeps] == [-101, -91, -111, -102.5]
    assert {sweep.unit for sweep in sweeps} == {"dBm"}
    assert [sweep.trace for sweep in evidence(sweeps)] == ["Clear-Write", "Max Hold", "Average"]
    one = read_sweep_bytes(TRACES.encode(), "x.csv")
    assert one.trace == "Average"
    assert one.to_power_mean_db == pytest.approx(2.51, abs=0.01)


def test_tables_one_after_the_other_are_sweeps() -> None:
    body = TRACES[TRACES.index("BEGIN") :]
    sweeps = read(TRACES + body).sweeps
    assert [sweep.sweeps for sweep in sweeps] == [2, 2, 2, 2]


@pytest.mark.parametrize(
    ("titles", "traces", "sweeps"),
    [
        ("", 1, 3),
        ("MHz;Sweep 1;Sweep 2;Sweep 3\n", 1, 3),
        ("MHz;08:30:00;08:30:05;08:30:10\n", 1, 3),
        ("MHz;maximum;minimum;mean\n", 3, 1),
        ("MHz;north;south;mast\n", 1, 3),
    ],
)
def test_columns_behind_a_frequency(titles: str, traces: int, sweeps: int) -> None:
    found = read(titles + "470,0;-80,5;-81;-82\n470,1;-83;-84;-85\n").sweeps
    assert (len(found), found[0].sweeps) == (traces, sweeps)
    assert sum(sweep.levels_db.sum() for sweep in found) == -495.5
    stated = read(titles + "470,0;-80,5;-81;-82\n470,1;-83;-84;-85\n", ReadOptions(columns="traces")).sweeps
    assert len(stated) == (1 if "Sweep" in titles or ":" in titles else 3)
    assert read("470,0;-80;-81;-82\n470,1;-83;-84;-85\n", ReadOptions(columns="sweeps")).sweeps[0].sweeps == 3


def test_equal_sweeps_are_no_looks_of_their_own() -> None:
    sweep = read("470.0,-80,-81,-80\n470.1,-83,-84,-83\n").sweeps[0]
    assert any("3 of 1" in warning for warning in sweep.warnings)


MATRIX = "-80,-90,-100\n-81,-91,-101\n-82,-92,-102\n-83,-93,-103\n"


def test_a_matrix_asks_for_its_band() -> None:
    with pytest.raises(InputError, match="--from-mhz and --to-mhz"):
        read(MATRIX)
    options = ReadOptions(from_khz=470_000.0, to_khz=470_075.0)
    (sweep,) = read(MATRIX, options).sweeps
    assert sweep.levels_db.shape == (3, 4)
    assert sweep.frequencies_khz.tolist() == [470_000, 470_025, 470_050, 470_075]
    assert any("more lines than columns" in guess for guess in sweep.guessed)
    (sweep,) = read(MATRIX, ReadOptions(from_khz=470_000.0, step_khz=25.0, columns="bins")).sweeps
    assert sweep.levels_db.shape == (4, 3)
    assert sweep.levels_db[0].tolist() == [-80, -90, -100]
    assert sweep.step_khz == 25.0


def test_a_matrix_with_its_band_in_the_header_or_in_its_first_line() -> None:
    head = "Start,470000000,Stop,470050000,Points,3\n"
    (sweep,) = read(head + MATRIX).sweeps
    assert sweep.levels_db.shape == (4, 3)
    assert sweep.step_khz == 25.0
    (sweep,) = read("470.0;470.025;470.05\n-80;-90;-100\n-81;-91;-101\n").sweeps
    assert sweep.levels_db.tolist() == [[-80, -90, -100], [-81, -91, -101]]


def test_one_column_of_levels() -> None:
    options = ReadOptions(from_khz=470_000.0, to_khz=470_025.0, sweeps=2)
    (sweep,) = read("-80\n-81\n-82\n-83\n", options).sweeps
    assert sweep.levels_db.tolist() == [[-80, -81], [-82, -83]]
    with pytest.raises(InputError, match="are not 3 sweeps"):
        read("-80\n-81\n-82\n-83\n", ReadOptions(from_khz=470_000.0, to_khz=470_025.0, sweeps=3))


LISTS = [
    "474.2 -60\n518.35 -55\n606.3 -71\n640.125 -80\n",
    "MHz;level\n474,2;-60\n518,35;-55\n606,3;-71\n640,125;-80\n",
    "474.2 MHz  -60 dBm\n518.35 MHz -55 dBm  the other crew\n# lunch\n606.3 MHz -71 dBm intercom\n"
    "640.125 MHz -80 dBm\n",
    "474.2\n518.35 strong\n606.3\n640.125\n",
]


@pytest.mark.parametrize("text", LISTS)
def test_a_list_of_carriers_is_no_sweep(text: str) -> None:
    found = read(text)
    assert found.sweeps == ()
    assert [one.centre_khz for one in found.heard] == pytest.approx([474_200, 518_350, 606_300, 640_125])
    with pytest.raises(InputError, match=r"list of 4 carriers.*\[\[other\]\]"):
        read_sweep_bytes(text.encode(), "x")


def test_names_units_and_what_is_stated_in_a_list() -> None:
    found = read(LISTS[2]).heard
    assert [one.unit for one in found] == ["dBm"] * 4
    assert [one.name for one in found] == ["", "the other crew", "intercom", ""]
    even = "566.0 -60\n566.4 -61\n566.8 -62\n"
    assert len(read(even).sweeps) == 1
    assert len(read(even, ReadOptions(columns="carriers")).heard) == 3
    # Even spacing without a word that it is a list: bins too wide to call any slot clean.
    air = MeasuredAir.of(read(even).sweeps)
    assert not air.slot_levels(np.array([566_200, 566_400]), 200).covered.any()
    with pytest.raises(InputError, match="no list of carriers"):
        read("call at 08:30\nlunch\n", ReadOptions(columns="carriers"))


def test_what_is_stated_overrides_and_is_shown() -> None:
    options = ReadOptions(
        unit="dBm", resolution_khz=30.0, detector="peak", averages=100, lasted_s=60.0, frequency_unit="MHz"
    )
    (sweep,) = read("kHz,dBuV\n470.0,-80\n470.1,-81\n", options).sweeps
    assert (sweep.unit, sweep.resolution_khz, sweep.detector, sweep.averages) == ("dBm", 30.0, "peak", 100)
    assert sweep.lasted_s == 60.0
    assert sweep.frequencies_khz.tolist() == [470_000, 470_100]
    assert sum("stated by hand" in note for note in sweep.understood) == 5
    assert sweep.to_power_mean_db == pytest.approx(-7.15, abs=0.01)
    row = "2027-05-14, 08:00:00, 470000000, 470100000, 25000.00, 16, -50, -51, -52, -53, -53\n"
    (sweep,) = read(row, options).sweeps
    assert (sweep.unit, sweep.averages, sweep.guessed) == ("dBm", 100, ())


@pytest.mark.parametrize(
    "wrong",
    [{"averages": 0}, {"step_khz": -1.0}, {"from_khz": -1.0}, {"from_khz": 2.0, "to_khz": 1.0}, {"lasted_s": -1.0}],
)
def test_what_cannot_be_stated(wrong: dict[str, float]) -> None:
    with pytest.raises(InputError, match="stated"):
        ReadOptions(**wrong)  # type: ignore[arg-type]


@given(st.integers(0, 40), st.sampled_from(["\n", "\r\n", "\r"]), st.sampled_from(["utf-8", "utf-16", "latin-1"]))
def test_blocks_are_cut_at_lines(shift: int, end: str, encoding: str) -> None:
    """A file of several blocks, with the cut anywhere in a line."""
    count = HEAD_BYTES // 16 + 1000
    lines = ["# \u00b5" + "x" * shift] + [f"{470 + n / 1000:.3f};-{n % 90}.5" for n in range(count)]
    sweep = read_sweep_bytes((end.join(lines)).encode(encoding), "x")
    assert sweep.levels_db.shape == (1, count)
    assert sweep.levels_db[0].tolist() == [-(n % 90) - 0.5 for n in range(count)]


def test_a_line_without_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linkwright.air.readers.text.LINE_BYTES", 1000)
    with pytest.raises(InputError, match="a line of more than"):
        read_sweep_bytes(b"1" * (HEAD_BYTES + 5), "x")

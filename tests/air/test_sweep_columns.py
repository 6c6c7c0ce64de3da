"""Two columns in every dress: what was written comes back, what is guessed says so."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.air.readers import read_sweep_bytes
from linkwright.shoot.errors import InputError

UNITS = {"Hz": 1000, "kHz": 1, "MHz": 0.001}
DRESS = st.tuples(
    st.sampled_from(["Hz", "kHz", "MHz"]),
    st.sampled_from(
        [("\t", False), (";", False), (",", False), ("  ", False), ("\t", True), (";", True), (" ", True)]
    ),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(
        ["", "Frequency,Level\n", "# a remark\nFrequency;Level (dB\u00b5V)\n\n", "Sweep of the quay\n"]
    ),
    st.booleans(),
)


@given(
    st.lists(st.integers(-15000, 5000), min_size=2, max_size=30),
    st.sampled_from([5, 25, 125, 1000]),
    DRESS,
)
def test_round_trip(
    hundredths: list[int], step_khz: int, dress: tuple[str, tuple[str, bool], str, str, str, bool]
) -> None:
    unit, (separator, decimal_comma), encoding, end, header, last_end = dress
    levels = np.array(hundredths) / 100.0
    khz = 470_000 + step_khz * np.arange(levels.size)
    lines = [f"{f * UNITS[unit]:.3f}{separator}{v:.2f}" for f, v in zip(khz.tolist(), levels.tolist(), strict=True)]
    body = end.join(line.replace(".", ",") if decimal_comma else line for line in lines)
    text = header.replace("\n", end) + body + (end if last_end else "")
    sweep = read_sweep_bytes(text.encode(encoding), "x.csv")
    assert np.allclose(sweep.frequencies_khz, khz, rtol=0, atol=1e-6)
    assert np.allclose(sweep.levels_db[0], levels, rtol=0, atol=1e-9)
    assert np.isclose(sweep.step_khz, step_khz)
    assert sweep.unit == ("dBuV" if "\u00b5" in header else "dB")
    assert any(unit in note for note in sweep.guessed)


@pytest.mark.parametrize(
    ("header", "unit", "calibrated"),
    [
        ("freq_khz,level_dbm", "dBm", True),
        ("Frequency (kHz),Level [dB\u03bcV]", "dBuV", True),
        ("Frequency (kHz),Field dBuV/m", "dBuV/m", False),
        ("Frequency (kHz),Power dBFS", "dB", False),
        ("Frequency (kHz),Level dBmV", "dB", False),
        ("Frequency (kHz),Density dBm/Hz", "dB", False),
        ("kHz,dBm", "dBm", True),
    ],
)
def test_units_come_from_the_header_or_are_relative(header: str, unit: str, calibrated: bool) -> None:
    sweep = read_sweep_bytes(f"{header}\n470000,-80\n470025,-81\n".encode(), "x")
    assert sweep.unit == unit
    assert sweep.calibrated is calibrated
    assert sweep.from_khz == 469_987.5
    assert not any("frequencies taken" in note for note in sweep.guessed)


def test_microvolts_over_50_ohm_become_dbm() -> None:
    # 0 dBuV over 50 ohm: (1e-6 V)^2 / 50 ohm = 2e-14 W = 2e-11 mW = -106.99 dBm, by arithmetic.
    sweep = read_sweep_bytes(b"kHz,dBuV\n470000,0\n470025,1\n", "x")
    assert np.isclose(sweep.dbm_offset, 10 * np.log10(2e-11))


def test_resolution_and_detector_from_the_header() -> None:
    text = b"RBW,10000,Hz\nTrace Type,Max Hold\nX Axis Unit,Hz\nY Axis Unit,dBm\n470000000,-80\n470025000,-81\n"
    sweep = read_sweep_bytes(text, "x")
    assert sweep.resolution_khz == 10.0
    assert sweep.detector == "peak"
    assert sweep.unit == "dBm"
    assert any("finer than the step" in warning for warning in sweep.warnings)


def test_lower_edges_named_in_the_header_are_moved_to_the_centre() -> None:
    sweep = read_sweep_bytes(b"freq_mhz_low,db\n476,21.2\n477,21.1\n478,21.3\n", "x")
    assert sweep.frequencies_khz.tolist() == [476_500.0, 477_500.0, 478_500.0]


def test_falling_repeated_and_unsorted_frequencies() -> None:
    falling = read_sweep_bytes(b"470.05 -3\n470.025 -2\n470.0 -1\n", "x")
    assert falling.levels_db.tolist() == [[-1.0, -2.0, -3.0]]
    repeated = read_sweep_bytes(b"470.0 -1\n470.025 -2\n470.0 -3\n470.025 -4\n", "x")
    assert repeated.levels_db.tolist() == [[-1.0, -2.0], [-3.0, -4.0]]
    lines = [f"{470 + 0.025 * i:.3f} -{i + 1}" for i in range(12)]
    moved = read_sweep_bytes("\n".join(lines[6:] + lines[:6] + ["470.000 -0.5"]).encode(), "x")
    assert moved.levels_db[0].tolist() == [-0.5] + [-float(i + 1) for i in range(1, 12)]
    assert any("higher counts" in note for note in moved.understood)


def test_trailing_delimiters_quotes_units_blank_lines_and_remarks() -> None:
    text = b'"Frequency","Level"\n"470,025","-104,5"\n\n"470,050","-103,5"\n'
    assert read_sweep_bytes(text, "x").levels_db.tolist() == [[-104.5, -103.5]]
    text = b"470.025 MHz,-104.5,,\n\n# lunch\n470.050 MHz,-103.5,,\n"
    assert read_sweep_bytes(text, "x").levels_db.tolist() == [[-104.5, -103.5]]
    text = "470,025\t\N{MINUS SIGN}104,5\n470,050\tNaN\n".encode()
    sweep = read_sweep_bytes(text, "x")
    assert sweep.levels_db[0, 0] == -104.5
    assert np.isnan(sweep.levels_db[0, 1])


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("470,500,000;-104,5\n470,525,000;-104,5\n", 1, "thousands"),
        ("470.500.000\t-104\n470.525.000\t-104\n", 1, "thousands"),
        ("470 500 000;-104\n470 525 000;-104\n", 1, "thousands"),
        ("470'500'000;-104\n470'525'000;-104\n", 1, "thousands"),
        ("Frequency,A,B\n470000,-80,-81\n", None, "at least two"),
        ("-80;-81;-82;-83\n-80;-81;-82;-83\n", 1, "4 columns of levels without a frequency column"),
        ("93100000.0,nan,nan\n93100333.0,nan,nan\n", None, "every level"),
        ("-80\n-81\n-82\n", 1, "without a frequency column; say which band"),
        ("470,025,-104,5\n470,050,-103,5\n", 1, "a comma may stand between columns or before decimals"),
        ("470.0,-80\n470.1,-81\noops\n", 3, "oops"),
        ("470.0;-80\n470.1;\n470.2;-81\n", 2, "separated by semicolons"),
        ("470.0;-80\n\n470.1,-81\n", 3, "separated by semicolons"),
        ("470.0 -80\n470.1 -81 -82\n", 2, "separated by spaces"),
        ("470.0,-80\n,-81 -82\n470.2,-81\n", 2, "separated by commas"),
        ("470.0,nan\n470.1,nan\n", None, "every level"),
        ("470.0,-80\n", None, "at least two"),
        ("1,2\n3,4\n", None, "radio frequencies"),
        ("freq_mhz,db\n470000000,-80\n470000001,-80\n", None, "radio frequencies"),
        ("MHz,dB\n470.0,-80\n\n470.1,-999\n", 4, "decibels"),
        ("".join(f"{f},-80\n" for f in (500, 480, 510, 490, 520, 470, 530)), None, "neither rise"),
        ("".join(f"{f},-80\n" for f in (500, 470, 510, 480, 505, 600, 471)), None, "list of 7 carriers"),
        ("Dear all,\nthe call is at 08:30.\n", 1, "expected columns of numbers"),
    ],
)
def test_what_is_no_pair_of_columns_is_refused_with_the_reason(text: str, line: int | None, says: str) -> None:
    with pytest.raises(InputError) as caught:
        read_sweep_bytes(text.encode(), "quay.csv")
    assert caught.value.line == line
    assert caught.value.path == "quay.csv"
    assert says in caught.value.says
    assert "\n" not in caught.value.says

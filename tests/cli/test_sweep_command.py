"""`linkwright sweep` from outside."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.air.test_occupancy import BINS, CENTRES, noise, with_signal
from tests.cli.calling import call

Capture = pytest.CaptureFixture[str]
DEMO = Path(__file__).parents[2] / "src" / "linkwright" / "demo" / "sweep.csv"


def written(path: Path, bands: list[tuple[float, float, float]], seed: int = 1, unit: str = "dBm") -> str:
    levels = noise(seed, 64, (BINS,), with_signal(bands))
    rows = [f"{khz:.1f};{level:.2f}" for khz, level in zip(CENTRES, levels, strict=True)]
    path.write_text("\n".join([f"kHz;{unit}", *rows]) + "\n", "utf-8")
    return str(path)


def document(text: str) -> Any:
    return json.loads(text)


def test_the_demo_sweep_as_json(capsys: Capture) -> None:
    said = call(capsys, "sweep", str(DEMO), "--region", "GB", "--json")
    assert said.status == 0
    assert said.err == ""
    found = document(said.out)
    (file,) = found["files"]
    assert {"path", "format", "unit", "sweeps", "from_khz", "to_khz", "step_khz", "resolution_khz", "averages",
            "warnings"} <= set(file)  # fmt: skip
    assert (file["sweeps"], file["averages"], file["unit"], file["step_khz"]) == (12, 16, "dB", 25)
    assert found["floor"]["uncertain"] is False
    assert [one["channel"] for one in found["tv"]] == ["24", "27", "31"]
    assert all(one["kind"] == "multiplex" for one in found["tv"])
    assert (found["tv"][0]["from_khz"], found["tv"][0]["to_khz"]) == (494_000, 502_000)
    centres = [one["centre_khz"] for one in found["carriers"]]
    assert centres == pytest.approx(
        [480_000, 571_600, 576_000, 585_250, 600_000, 606_300, 624_000, 640_125], abs=13
    )
    assert {one["centre_khz"]: one["duty"] for one in found["carriers"]}[571_600.0] == pytest.approx(
        2 / 12, abs=1e-3
    )
    assert 0.5 < found["missed"] < 1.0
    assert all(set(one) >= {"level_db", "bandwidth_khz"} for one in found["carriers"])


def test_the_demo_sweep_as_text(capsys: Capture) -> None:
    said = call(capsys, "sweep", str(DEMO), "--region", "GB")
    assert said.out.startswith("Found 3 TV multiplexes and 8 carriers; ")
    assert "guessed: levels taken as relative" in said.out
    assert "having missed somebody who is on 5 % of the time" in " ".join(said.out.split())
    assert said.out.count("84 %") >= 2, "beside every clean stands what may have been missed"
    assert "TV was not looked for" in call(capsys, "sweep", str(DEMO)).out


def test_a_calibrated_floor_is_told_as_a_density(capsys: Capture, tmp_path: Path) -> None:
    """Worked out: -110 dBm in a Hann bin of 25 kHz is -155.74 dBm/Hz and -102.73 dBm in 200 kHz."""
    path = tmp_path / "flat.csv"
    rows = [f"{khz:.1f};-110.00" for khz in CENTRES]
    path.write_text("\n".join(["kHz;dBm", *rows]), "utf-8")
    arguments = (
        "sweep",
        str(path),
        "--resolution-khz",
        "37.5",
        "--averages",
        "1000",
        "--detector",
        "rms",
        "--json",
    )
    floor = document(call(capsys, *arguments).out)["floor"]
    assert floor["density_dbm_hz"] == pytest.approx(-155.74, abs=0.06)
    assert floor["in_200_khz_dbm"] == pytest.approx(-102.73, abs=0.06)
    log = document(call(capsys, *arguments[:-3], "--detector", "log-average", "--json").out)["floor"]
    assert log["density_dbm_hz"] - floor["density_dbm_hz"] == pytest.approx(2.51, abs=0.06)


def test_several_files_are_one_series_and_a_deaf_one_is_refused(capsys: Capture, tmp_path: Path) -> None:
    air = [(502_200.0, 509_800.0, 20.0), (600_000.0, 600_200.0, 25.0)]
    paths = [written(tmp_path / f"{n}.csv", air, n) for n in (1, 2)]
    said = call(capsys, "sweep", *paths, "--region", "GB", "--json")
    assert said.status == 0
    found = document(said.out)
    assert [one["sweeps"] for one in found["files"]] == [1, 1]
    assert [one["channel"] for one in found["tv"]] == ["25"]
    assert len(found["look"]["sweeps"]) == 1
    deaf = written(tmp_path / "deaf.csv", [], 3)
    said = call(capsys, "sweep", paths[0], deaf, "--region", "GB")
    assert said.status == 1
    assert "heard nothing and is refused" in " ".join(said.out.split())
    found = document(call(capsys, "sweep", paths[0], deaf, "--region", "GB", "--json").out)
    assert found["files"][0]["refused"] is None
    assert "antenna" in found["files"][1]["refused"]
    assert any("antenna" in warning for warning in found["files"][1]["warnings"])


def test_nothing_is_clean_where_bins_are_too_wide(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "wide.csv"
    path.write_text("MHz;dBm\n" + "".join(f"{470 + n};{-100 - n % 3 / 10}\n" for n in range(200)), "utf-8")
    found = document(call(capsys, "sweep", str(path), "--json").out)
    assert found["clean"] == []
    assert found["floor"]["uncertain"] is True
    assert "nothing can be called clean" in " ".join(call(capsys, "sweep", str(path)).out.split())


def test_a_list_and_a_sweep_together(capsys: Capture, tmp_path: Path) -> None:
    listed = tmp_path / "heard.txt"
    listed.write_text("474.2 -60 stage\n518.35 -55\n606.3 -71 dBm intercom\n640.125\n", "utf-8")
    alone = document(call(capsys, "sweep", str(listed), "--json").out)
    assert alone["files"][0]["format"] == "list of carriers, typed by hand"
    assert [one["centre_khz"] for one in alone["heard"]] == [474_200, 518_350, 606_300, 640_125]
    assert (alone["clean"], alone["missed"], alone["floor"]["typical_db"]) == ([], 1.0, None)
    sweep = written(tmp_path / "quiet.csv", [])
    both = document(call(capsys, "sweep", sweep, str(listed), "--json").out)
    assert not any(low["from_khz"] < 518_350 < low["to_khz"] for low in both["clean"])
    assert any(low["from_khz"] < 530_000 < low["to_khz"] for low in both["clean"])
    assert "intercom" in call(capsys, "sweep", str(listed)).out


def test_standard_input_and_options(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    matrix = "\n".join(",".join(f"{level:.1f}" for level in row) for row in noise(1, 16, (300, 4), -90.0))
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(matrix.encode())))
    said = call(capsys, "sweep", "-", "--from-mhz", "470", "--step-khz", "25", "--unit", "dBm", "--json")
    (file,) = document(said.out)["files"]
    assert (file["path"], file["sweeps"], file["unit"]) == ("standard input", 4, "dBm")
    assert file["to_khz"] == 470_000 + 25 * 299.5


@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_a_picture(capsys: Capture, tmp_path: Path, suffix: str) -> None:
    picture = tmp_path / f"air.{suffix}"
    said = call(capsys, "sweep", str(DEMO), "--region", "GB", "--picture", str(picture))
    assert said.status == 0
    data = picture.read_bytes()
    if suffix == "png":
        assert data.startswith(b"\x89PNG")
    else:
        text = data.decode()
        assert "Found 3 TV multiplexes and 8 carriers" in text
        assert ">24<" in text
        assert "606.300" in text
        assert str(tmp_path) not in text
    assert [path.name for path in tmp_path.iterdir()] == [picture.name]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere.csv"], "nowhere.csv: there is no such file"),
        (["nowhere.csv", "neither.csv"], "neither.csv: there is no such file"),
        ([str(DEMO), "--region", "QQ"], 'no rules are known for region "QQ"'),
        ([str(DEMO), "--unit", "watt"], "expected one of dBm"),
        ([str(DEMO), "--detector", "peek"], 'did you mean "peak"?'),
        ([str(DEMO), "--columns", "rows"], "expected one of traces"),
        ([str(DEMO), "--averages", "0"], "averages stated is 0"),
        ([str(DEMO), "--from-mhz", "600", "--to-mhz", "500"], "not above its beginning"),
        ([str(DEMO), "--picture", "air.gif"], "ends in .svg or .png"),
        ([str(DEMO), "--picture", "no/such/folder/air.svg"], "cannot be written"),
    ],
)
def test_bad_input(capsys: Capture, arguments: list[str], words: str) -> None:
    said = call(capsys, "sweep", *arguments)
    assert said.status == 2
    assert words in said.err
    assert said.out == ""


def test_the_same_files_give_the_same_picture(capsys: Capture, tmp_path: Path) -> None:
    pictures = [tmp_path / f"{n}.svg" for n in range(2)]
    for picture in pictures:
        call(capsys, "sweep", str(DEMO), "--picture", str(picture))
    assert np.array_equal(pictures[0].read_bytes(), pictures[1].read_bytes())

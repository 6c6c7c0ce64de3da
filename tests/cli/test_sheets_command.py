"""`linkwright sheets` and `linkwright neighbours` as somebody calls them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.calling import call

QUAY = (Path(__file__).parents[1] / "shoot" / "data" / "quay.toml").read_text("utf-8")
WITHOUT_SWEEP = QUAY.replace('sweeps = ["quay-0830.csv"]', "")


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    path = tmp_path / "quay.toml"
    path.write_text(WITHOUT_SWEEP, "utf-8")
    return path


def test_all_files_are_there_and_told(shoot: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = call(capsys, "sheets", str(shoot), "-o", str(tmp_path / "out"), "--paper", "us-letter", "--json")
    assert told.status == 0
    files = json.loads(told.out)["files"]
    assert {file["file"] for file in files} == {path.name for path in (tmp_path / "out").iterdir()}
    assert all((tmp_path / "out" / file["file"]).stat().st_size == file["bytes"] for file in files)


def test_one_file_only(shoot: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = call(capsys, "sheets", str(shoot), "-o", str(tmp_path / "out"), "--only", "day.ics")
    assert told.status == 0
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["day.ics"]
    assert "the day as a calendar" in told.out


def test_bad_calls_are_one_sentence(shoot: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("x")
    for arguments, says in (
        (["--paper", "a5"], "expected a4 or us-letter"),
        (["--only", "crew.doc"], "there is no sheet crew.doc"),
        (["-o", str(tmp_path / "file")], "cannot be made a folder"),
    ):
        given = ["sheets", str(shoot), "-o", str(tmp_path / "out"), *arguments]
        told = call(capsys, *given)
        assert told.status == 2
        assert says in told.err
        assert "Traceback" not in told.err


def test_carriers_are_swapped(shoot: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ours = tmp_path / "ours.csv"
    assert call(capsys, "neighbours", str(shoot), "--export", str(ours)).status == 0
    grown = tmp_path / "grown.toml"
    told = call(capsys, "neighbours", str(shoot), str(ours), "-o", str(grown))
    assert told.status == 1
    assert "would not hold any more" in told.out
    assert grown.read_text().count("[[other]]") > WITHOUT_SWEEP.count("[[other]]")
    assert call(capsys, "check", str(grown)).status in (0, 1)
    then, now = tmp_path / "then.csv", tmp_path / "now.csv"
    then.write_text("name,carrier_mhz\nStage,606.3\nRadio car,608.5\n")
    now.write_text("name,carrier_mhz\nStage,609.9\n")
    kept = tmp_path / "kept.csv"
    since = call(capsys, "neighbours", str(shoot), str(now), "--before", str(then), "--keep", str(kept), "--json")
    assert [one["says"] for one in json.loads(since.out)["since_before"]] == [
        "Radio car is gone, was on 608.500 MHz", "Stage: 606.300 to 609.900 MHz",
    ]  # fmt: skip
    assert kept.read_text() == now.read_text()
    assert call(capsys, "neighbours", str(shoot), "http://127.0.0.1:1/list").status == 2
    assert call(capsys, "neighbours", str(shoot)).status == 2
    assert call(capsys, "neighbours", str(shoot), str(tmp_path / "none.csv")).status == 2

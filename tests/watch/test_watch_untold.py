"""A rack that goes dark and tells nothing, by a log as `diagnose` reads it; and a plug that is loose."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.cli.calling import call

COLUMNS = "time,link,rf_a_dbm,rf_b_dbm,audio_dbfs,quality,battery,muted"
LINKS = ("Boom", "Singer", "Pilot", "Host")
DARK_S = (150.0, 171.0)


def log(path: Path, dark: str, crackles: str = "") -> Path:
    """Five minutes of four links at five a second; in the dark their receivers tell `dark` of everything."""
    rng = np.random.default_rng(7)
    rows = [COLUMNS]
    for t in np.arange(0.0, 300.0, 0.2):
        stamp = f"2027-05-14T09:{int(t) // 60:02d}:{t % 60:06.3f}+00:00"
        for link in LINKS:
            a, b = rng.normal(-62.0, 2.0, 2)
            loose = link == crackles and 100.0 < t < 140.0 and rng.random() < 0.3
            audio = -78.0 if loose else rng.normal(-50.0, 1.0) + 25.0 * (int(t) // 7 % 2)
            told = dark if DARK_S[0] <= t < DARK_S[1] and not crackles else f"{a:.0f},{b:.0f},{audio:.0f},1,0.8,0"
            rows.append(f"{stamp},{link},{told}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("dark", [",,,,,1", ",,,,,"], ids=["muted", "empty"])
def test_a_rack_that_tells_nothing_has_no_power(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, dark: str
) -> None:
    told = call(capsys, "diagnose", str(log(tmp_path / "day.csv", dark)), "--json")
    episodes = json.loads(told.out)["episodes"]
    assert {episode["link"] for episode in episodes} == set(LINKS)
    assert {episode["cause"] for episode in episodes} == {"receiver"}
    assert all("told no level" in episode["because"] for episode in episodes)
    assert "nan" not in told.out.lower()


@pytest.mark.parametrize("part", [",,,,0.8,", ",,-40,,,", ",,,1,,"], ids=["gauge", "audio", "quality"])
def test_a_reading_of_one_thing_alone_is_no_silence(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, part: str
) -> None:
    told = call(capsys, "diagnose", str(log(tmp_path / "day.csv", part)), "--json")
    assert json.loads(told.out)["episodes"] == []


def test_a_loose_plug_is_told_though_no_gap_in_it_is_long(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    told = call(capsys, "diagnose", str(log(tmp_path / "day.csv", "", crackles="Singer")), "--json")
    (episode,) = json.loads(told.out)["episodes"]
    assert (episode["link"], episode["cause"]) == ("Singer", "audio-path")

"""What people write instead of what a file wants: each gets a sentence of its own that says what to write."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.plan.shoots import QUAY

Capture = pytest.CaptureFixture[str]
SHOOT = """[shoot]
title = "Yard"
region = "GB"
permits = ["gb-coordinated"]
date = 2027-05-14

[[site]]
name = "Yard"
tv = ["24"]

[[link]]
name = "Pilot"
transmitter = "uhf-body-worn"
receiver = "uhf-camera-slot"
locked_mhz = 566.125

[[call]]
name = "Day"
from = 09:00:00
to = 17:00:00
breaks = [{ from = 13:00:00, to = 13:45:00 }]
"""


def check(capsys: Capture, tmp_path: Path, text: str | bytes) -> str:
    path = tmp_path / "yard.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    said = call(capsys, "check", str(path))
    assert "Traceback" not in said.err
    return said.err.replace(str(path), "yard.toml").strip()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("= 09:00:00", "= 9:00", "line 19: 9:00 is a time without seconds; write 09:00:00"),
        ("from = 13:00:00", "from = 13:00", "line 21: 13:00 is a time without seconds; write 13:00:00"),
        (
            "2027-05-14",
            "14/05/2027",
            "line 5: 14/05/2027 is no day that is understood everywhere; write 2027-05-14",
        ),
        ("2027-05-14", "14.5.2027", "line 5: 14.5.2027 is no day that is understood everywhere; write 2027-05-14"),
        ("2027-05-14", "05/04/2027", "write 2027-, then the month, -, then the day"),
        ("566.125", "566,125", "line 15: 566,125 has a comma; write 566.125"),
        (
            '"Yard"\nregion',
            "Harbour pilots\nregion",
            'line 2: Harbour pilots is text, which stands in quotes; write "Har',
        ),
        ("[[link]]", "[link]", "link is a table; there may be several: write [[link]]"),
        ("566.125", "566125", 'line 15: link "Pilot", locked_mhz is 566125; write MHz: 566.125'),
        ("date = 2027-05-14", "date = 2027-05-14 or so", "is not valid TOML"),
    ],
)
def test_a_slip_gets_its_own_sentence(capsys: Capture, tmp_path: Path, old: str, new: str, says: str) -> None:
    assert says in check(capsys, tmp_path, SHOOT.replace(old, new, 1))


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-8-sig"])
def test_a_file_of_an_editor_that_writes_utf_16_is_read(capsys: Capture, tmp_path: Path, encoding: str) -> None:
    mark = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}.get(encoding, b"")
    assert check(capsys, tmp_path, mark + SHOOT.encode(encoding)) == ""


def test_a_tv_channel_may_be_a_number(capsys: Capture, tmp_path: Path) -> None:
    assert check(capsys, tmp_path, SHOOT.replace('["24"]', "[24]")) == ""


@pytest.mark.parametrize("more", ["carrier_mhz = 566.5\n", "from_mhz = 470\nto_mhz = 478\n"])
def test_another_transmitter_needs_only_its_carrier(capsys: Capture, tmp_path: Path, more: str) -> None:
    assert check(capsys, tmp_path, f"{SHOOT}\n[[other]]\n{more}") == ""
    found = json.loads(call(capsys, "check", str(tmp_path / "yard.toml"), "--json").out)
    assert any("Nobody said where Somebody on" in one["says"] for one in found["findings"])


def test_days_that_are_far_off_are_asked_about(capsys: Capture, tmp_path: Path) -> None:
    assert "the day is 2127-05-14" in check(capsys, tmp_path, SHOOT.replace("2027", "2127"))
    far = SHOOT.replace('name = "Day"', 'name = "Day"\ndate = 2027-09-14')
    assert 'call "Day" is on 2027-09-14, 123 days from 2027-05-14; is that meant?' in check(capsys, tmp_path, far)


@pytest.mark.parametrize("words", [["rules", "GB"], ["plan", str(QUAY)], ["schema", "shoot"]])
def test_a_pipe_that_is_closed_ends_it_quietly(words: list[str]) -> None:
    reads, writes = os.pipe()
    os.close(reads)
    done = subprocess.run(
        [sys.executable, "-m", "linkwright.cli", *words], stdout=writes, stderr=subprocess.PIPE, check=False
    )
    os.close(writes)
    assert (done.returncode, done.stderr) == (0, b"")

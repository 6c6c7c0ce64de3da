"""Bad input: one clear sentence, exit status 2, nothing half-written, never a traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.cli.calling import call
from tests.plan.shoots import HEADER, QUAY, links, pocket

from linkwright.cli import main

Capture = pytest.CaptureFixture[str]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["plan", "nowhere.toml"], "nowhere.toml: there is no such file"),
        (["plan", "."], "is a folder"),
        (["plan"], "shoot"),
        (["plan", str(QUAY), "--keep", "nowhere.json"], "nowhere.json: there is no such file"),
        (["plan", str(QUAY), "--keep", str(QUAY)], "is not a plan"),
        (["plan", str(QUAY), "-o", "no/such/folder/plan.json"], "cannot be written"),
        (["why", str(QUAY), "Pilt"], 'did you mean "Pilot"?'),
        (["why", str(QUAY), "Pilot", "571.12345"], "no whole number of kHz"),
        (["why", str(QUAY), "Pilot", "nan"], "no whole number of kHz"),
        (["why", str(QUAY), "Pilot", "1e300"], "no frequency of a wireless microphone"),
        (["why", str(QUAY), "Pilot", "0"], "no frequency of a wireless microphone"),
        (["why", str(QUAY), "Pilot", "high"], "high"),
        (["rules", "QQ"], 'no rules are known for region "QQ"'),
        (["rules", "GB", "--at", "here"], "expected LAT,LON"),
        (["rules", "GB", "--at", "91,0"], "-90..90"),
        (["rules", "GB", "--date", "tomorrow"], "expected a day"),
        (["schema", "sheet"], "sheet"),
        (["plann", str(QUAY)], "plann"),
        (["plan", "--fast"], "--fast"),
    ],
)
def test_one_sentence_and_status_2(capsys: Capture, arguments: list[str], words: str) -> None:
    said = call(capsys, *arguments)
    assert said.status == 2
    assert words in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


def test_json_errors_are_json(capsys: Capture) -> None:
    said = call(capsys, "plan", "nowhere.toml", "--json")
    assert json.loads(said.out) == {"error": "nowhere.toml: there is no such file"}


def test_several_mistakes_are_told_at_once(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(HEADER.replace('"GB"', '"gb"') + pocket() + links(1) + "spare = 1\nworn = 'hat'\n", "utf-8")
    said = call(capsys, "check", str(path))
    assert len(said.err.strip().splitlines()) == 3
    assert 'did you mean "spares"?' in said.err


SITE = '[[site]]\nname = "Yard"\nsweeps = ["sweep.csv"]\n'


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (bytes(range(256)) * 40, "text"),
        (b"Dear diary,\ntoday nothing happened.\n", "sweep.csv"),
        (b"470000000,nan\n470025000,nan\n470050000,nan\n", "sweep.csv"),
    ],
)
def test_a_bad_sweep_is_named(capsys: Capture, tmp_path: Path, content: bytes, words: str) -> None:
    (tmp_path / "sweep.csv").write_bytes(content)
    shoot = tmp_path / "shoot.toml"
    shoot.write_text(HEADER + SITE + pocket() + links(1), "utf-8")
    said = call(capsys, "plan", str(shoot), "-o", str(tmp_path / "plan.json"))
    assert said.status == 2
    assert words in said.err
    assert "sweep.csv" in said.err
    assert len(said.err.strip().splitlines()) == 1
    assert not (tmp_path / "plan.json").exists()


def test_a_sweep_of_500_mb_is_refused_before_it_is_read(capsys: Capture, tmp_path: Path) -> None:
    with (tmp_path / "sweep.csv").open("wb") as out:
        out.truncate(500_000_000)
    shoot = tmp_path / "shoot.toml"
    shoot.write_text(HEADER + SITE + pocket() + links(1), "utf-8")
    said = call(capsys, "plan", str(shoot))
    assert said.status == 2
    assert "MiB" in said.err or "bytes" in said.err


def test_a_missing_sweep_is_named(capsys: Capture, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot.toml"
    shoot.write_text(HEADER + SITE + pocket() + links(1), "utf-8")
    assert "sweep.csv: there is no such file" in call(capsys, "plan", str(shoot)).err


def test_10_000_links(capsys: Capture, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot.toml"
    shoot.write_text(HEADER + pocket() + links(10_000), "utf-8")
    said = call(capsys, "plan", str(shoot))
    assert said.status == 2
    assert "10000 links live at once; expected at most 1000" in said.err


def test_an_old_plan_is_not_lost_when_the_new_one_cannot_be_made(capsys: Capture, tmp_path: Path) -> None:
    out = tmp_path / "plan.json"
    out.write_text("precious", "utf-8")
    call(capsys, "plan", "nowhere.toml", "-o", str(out))
    assert out.read_text("utf-8") == "precious"


@settings(max_examples=60)
@given(data=st.data())
def test_a_mangled_shoot_never_makes_a_traceback(data: st.DataObject) -> None:
    text = QUAY.read_text("utf-8")
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        length = data.draw(st.integers(0, 30))
        patch = data.draw(st.sampled_from(["", "-", "nan", "[", "]", "=", '"', "1e400", "\n", "9" * 400, "{", "é"]))
        text = text[:at] + patch + text[at + length :]
    path = Path(os.environ.get("TMPDIR", "/tmp")) / f"linkwright-mangled-{os.getpid()}.toml"
    path.write_text(text, "utf-8")
    try:
        with pytest.raises(SystemExit) as left:
            main(["check", str(path)])
        assert left.value.code in (0, 1, 2)
    finally:
        path.unlink()


def test_interrupted_says_so(tmp_path: Path) -> None:
    shoot = tmp_path / "shoot.toml"
    shoot.write_text(HEADER + pocket() + links(1), "utf-8")
    code = (
        "import linkwright.plan.pipeline as p\n"
        "def stop(*_, **__):\n    raise KeyboardInterrupt\n"
        "p.make_plan = stop\n"
        "from linkwright.cli import main\n"
        f"main(['plan', {str(shoot)!r}, '-o', {str(tmp_path / 'plan.json')!r}])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 130
    assert "Stopped; no file is half written." in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "plan.json").exists()

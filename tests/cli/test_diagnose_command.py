"""`linkwright simulate` and `linkwright diagnose` from outside: what is played is found again, with recordings
too."""

from __future__ import annotations

import datetime
import json
import threading
import zoneinfo
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from tests.cli.calling import call

from linkwright.watch.log.live import Intake

SHOOT = """
[shoot]
title = "Yard"
region = "GB"
permits = ["gb-coordinated"]
date = 2027-05-14

[[site]]
name = "Yard"
surroundings = "open"
spots = [{ name = "Camera", x_m = 0, y_m = 0, z_m = 1.6 }, { name = "Gate", x_m = 40, y_m = 9, z_m = 1.3 }]

[[link]]
name = "Potter"
transmitter = "uhf-body-worn"
receiver = "uhf-camera-slot"
route = ["Gate"]

[[link]]
name = "Cook"
transmitter = "uhf-body-worn"
receiver = "uhf-camera-slot"
route = ["Gate"]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("yard")
    (made / "yard.toml").write_text(SHOOT, "utf-8")
    return made


@pytest.fixture
def yard(folder: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """The folder with a plan, a log and what was played."""
    if not (folder / "log.csv").exists():
        call(capsys, "plan", str(folder / "yard.toml"), "-o", str(folder / "plan.json"), "--effort", "0")
        said = simulate(capsys, folder, "-o", str(folder / "log.csv"), "--truth", str(folder / "truth.json"))
        assert said.status == 0, said.err
        assert said.out.startswith("Played 2 links with")
    return folder


def simulate(capsys: pytest.CaptureFixture[str], folder: Path, *more: str) -> Any:
    given = ("simulate", str(folder / "yard.toml"), "--plan", str(folder / "plan.json"), "--hours", "0.5")
    return call(capsys, *given, "--each", "30", "--faults", "switched-off,interference,audio-path,battery", *more)


def diagnosed(capsys: pytest.CaptureFixture[str], yard: Path, *more: str) -> dict[str, Any]:
    said = call(capsys, "diagnose", str(yard / "log.csv"), "--json", *more)
    assert said.status == 1, said.err
    found: dict[str, Any] = json.loads(said.out)
    return found


def test_what_is_played_is_found_again(capsys: pytest.CaptureFixture[str], yard: Path) -> None:
    truth = json.loads((yard / "truth.json").read_text())["faults"]
    plan = ("--shoot", str(yard / "yard.toml"), "--plan", str(yard / "plan.json"))
    found = diagnosed(capsys, yard, *plan)["episodes"]
    assert len(truth) >= 8
    hits = [
        any(e["link"] == t["link"] and e["cause"] == t["cause"] and e["from"] < t["to"] > t["from"] for e in found)
        for t in truth
    ]
    assert sum(hits) >= 0.9 * len(truth)
    for one in found:
        assert {"link", "from", "to", "cause", "probability", "because", "do"} <= set(one)
        assert one["from"] <= one["to"]


def test_the_same_seed_is_the_same_log_and_parquet_says_the_same(
    capsys: pytest.CaptureFixture[str], yard: Path
) -> None:
    again = yard / "again.csv"
    simulate(capsys, yard, "-o", str(again))
    assert again.read_bytes() == (yard / "log.csv").read_bytes()
    simulate(capsys, yard, "-o", str(yard / "log.parquet"))
    said = call(capsys, "diagnose", str(yard / "log.parquet"), "--json")
    here = json.loads(said.out)["episodes"]
    there = diagnosed(capsys, yard)["episodes"]
    assert [(e["link"], e["cause"]) for e in here] == [(e["link"], e["cause"]) for e in there]


def test_a_person_reads_the_answer_first(capsys: pytest.CaptureFixture[str], yard: Path) -> None:
    said = call(capsys, "diagnose", str(yard / "log.csv"))
    assert said.status == 1
    assert "things went wrong in 30 min of 2 links" in said.out.splitlines()[0]
    assert "switched-off" in said.out
    assert "See whether the transmitter is on" in " ".join(said.out.split())


def test_nothing_wrong_leaves_with_0(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    rows = "".join(f"2027-05-14T09:00:{n // 10:02d}.{n % 10}Z,A,-60,-61,1\n" for n in range(300))
    path = tmp_path / "good.csv"
    path.write_text("time,link,rf_a_dbm,rf_b_dbm,quality\n" + rows, "utf-8")
    said = call(capsys, "diagnose", str(path))
    assert said.status == 0
    assert said.out.startswith("Nothing went wrong in 0 min of one link.")


LATE_S, BEGINS_S = 3.0, (11.3, 19.9, 33.1, 41.7, 58.2, 66.4, 80.9)


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    """A log in which Potter breaks seven times, and a recording of it that begins three seconds later."""
    rate, rows = 48_000, []
    for n in range(1000):
        bad = any(0.0 <= n / 10.0 - begin < 0.7 for begin in BEGINS_S)
        for link, quality in (("Potter", 0 if bad else 1), ("Cook", 1)):
            rows.append(f"2027-05-14T09:{n // 600:02d}:{n // 10 % 60:02d}.{n % 10}Z,{link},-60,-61,{quality}\n")
    (tmp_path / "log.csv").write_text("time,link,rf_a_dbm,rf_b_dbm,quality\n" + "".join(rows), "utf-8")
    rng = np.random.default_rng(1)
    sound = 0.05 * rng.standard_normal(rate * 95)
    for begin in (*BEGINS_S, 53.0):
        sound[round((begin - LATE_S) * rate) : round((begin - LATE_S + 0.7) * rate)] = 0.0
    soundfile.write(str(tmp_path / "scene.wav"), sound, rate, "PCM_24")
    return tmp_path


def with_audio(capsys: pytest.CaptureFixture[str], folder: Path, log: str, *more: str) -> Any:
    return call(capsys, "diagnose", str(folder / log), "--audio", str(folder / "scene.wav"), *more)


def test_a_recording_is_laid_along_its_link(capsys: pytest.CaptureFixture[str], recorded: Path) -> None:
    found = json.loads(with_audio(capsys, recorded, "log.csv", "--json").out)
    (laid,) = found["recordings"]
    assert (laid["link"], laid["channel"], laid["also"], laid["matched"]) == ("Potter", 1, [], 7)
    assert laid["begins"].startswith("2027-05-14T09:00:0")
    assert float(laid["begins"][17:23]) == pytest.approx(LATE_S, abs=0.12)
    assert laid["clock_ahead_s"] is None
    (alone,) = laid["unexplained"]
    assert (alone["at_s"], alone["kind"]) == (50.0, "mute"), "the log shows nothing wrong at 53 s"
    assert all("has a fault then" in one["because"] for one in found["episodes"] if one["link"] == "Potter")
    assert all(one["heard"] for one in found["episodes"])
    for one in found["episodes"]:
        assert sum(one["causes"].values()) == pytest.approx(1.0, abs=0.1)


def test_a_log_out_of_order_says_the_same(capsys: pytest.CaptureFixture[str], recorded: Path) -> None:
    head, *rows = (recorded / "log.csv").read_text("utf-8").splitlines(keepends=True)
    (recorded / "mixed.csv").write_text(head + "".join(rows[1000:] + rows[:1000]), "utf-8")
    there, here = (json.loads(with_audio(capsys, recorded, log, "--json").out) for log in ("log.csv", "mixed.csv"))
    assert here["recordings"] == there["recordings"]
    assert here["episodes"] == there["episodes"]


def test_how_the_clocks_went_is_said_in_words(capsys: pytest.CaptureFixture[str], recorded: Path) -> None:
    said = " ".join(with_audio(capsys, recorded, "log.csv").out.split())
    assert "track 1, is Potter from 09:00:0" in said
    assert "has no time of its own; where it lies is known by 7 breaks that fall together" in said
    assert (
        "One of its losses lies in no episode, the readings show nothing wrong then: mute at 0:00:50.000." in said
    )


def test_readings_are_sent_as_they_would_come(capsys: pytest.CaptureFixture[str], yard: Path) -> None:
    live = Intake()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            live.take(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            return

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        address = f"http://127.0.0.1:{server.server_port}/readings"
        said = simulate(capsys, yard, "--rate", "1", "--live", address, "--speed", "10000")
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert said.status == 0, said.err
    assert live.counts().taken == 2 * 1800
    assert live.counts().refused == 0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["diagnose", "no.csv"], "there is no such file"),
        (["diagnose", "yard.toml"], 'has no column "time"'),
        (["diagnose", "log.csv", "--plan", "plan.json"], "--plan needs the shoot"),
        (["diagnose", "log.csv", "--shoot", "no.toml"], "no.toml"),
        (["diagnose", "log.csv", "--mapping", "yard.toml"], 'unknown key "shoot"'),
        (["diagnose", "log.csv", "--audio", "log.csv"], "log.csv"),
        (["simulate", "yard.toml"], "nowhere to put the readings"),
        (["simulate", "yard.toml", "--faults", "bodies", "-o", "x.csv"], 'did you mean "body"?'),
        (["simulate", "yard.toml", "--json", "-o", "-"], "expected one of them"),
        (["simulate", "yard.toml", "--plan", "truth.json", "-o", "x.csv"], "truth.json"),
        (["simulate", "yard.toml", "--plan", "plan.json", "-o", "no/x.csv"], "cannot be written"),
        (["simulate", "yard.toml", "--plan", "plan.json", "--live", "ftp://x"], "is no address"),
        (["simulate", "yard.toml", "--plan", "plan.json", "--live", "http://127.0.0.1:9/x"], "cannot be reached"),
    ],
)
def test_bad_input_gets_one_sentence(
    capsys: pytest.CaptureFixture[str], yard: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], says: str
) -> None:
    monkeypatch.chdir(yard)
    said = call(capsys, *arguments)
    assert said.status == 2
    assert says in said.err
    assert len(said.err.strip().splitlines()) == 1


def test_a_person_reads_the_clock_of_the_shoot(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """In London in May clocks are an hour ahead of UTC."""
    log, shoot = tmp_path / "log.csv", tmp_path / "yard.toml"
    shoot.write_text(SHOOT, "utf-8")
    call(capsys, "simulate", str(shoot), "--hours", "0.15", "--each", "30", "-o", str(log))
    told = json.loads(call(capsys, "diagnose", str(log), "--shoot", str(shoot), "--json").out)
    first = datetime.datetime.fromisoformat(told["episodes"][0]["from"])
    local = first.astimezone(zoneinfo.ZoneInfo("Europe/London"))
    said = call(capsys, "diagnose", str(log), "--shoot", str(shoot)).out
    assert "from (Europe/London)" in said
    assert f"{local:%H:%M:%S}" in said
    assert f"{first.astimezone(datetime.UTC):%H:%M:%S}" not in said
    assert "from (UTC)" in call(capsys, "diagnose", str(log)).out

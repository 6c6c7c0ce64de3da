"""`linkwright sweep --live --samples` and `--receiver`: known signals, judged here or sent to the pages."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.air.recorded_band import Band
from tests.cli.calling import call

from linkwright.cli import sweep_live

STAND_IN = Path(__file__).parents[1] / "air" / "soapy"
CENTRES = [600e6 + 300e3 * n for n in range(6)]
BAND = ("--from-mhz", "599.8", "--to-mhz", "602.2")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Somebody of 10 kHz comes up at 600.3 MHz in the second half, at -30 dB."""
    place = tmp_path_factory.mktemp("band")
    quiet = Band(noise_db=-60.0)
    quiet.record(place, CENTRES, 0.3)
    tones = [(600.3e6 + off, -40.0) for off in np.linspace(-5e3, 5e3, 10)]
    loud = Band(tones, noise_db=-60.0, seed=6)
    for centre_hz in CENTRES:
        with (place / f"{centre_hz / 1e3:.0f}.sigmf-data").open("ab") as file:
            loud.samples(centre_hz, 100_000).tofile(file)
    return place


def test_recordings_are_judged_as_a_sweep_that_goes_on(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = call(capsys, "sweep", "--live", "--samples", str(folder))
    assert said.status == 0, said.err
    *news, last = said.out.splitlines()
    assert len(news) == 1
    assert " 600.30" in news[0]
    assert " MHz, new: \N{MINUS SIGN}30 dB, " in news[0]
    assert last == "20 passes, 0 rows left out. 120 looks."
    assert said.err == f"{folder.name}: all of the band every 0.12 s.\n"


def test_levels_are_dbm_where_the_receiver_is_calibrated(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = call(capsys, "sweep", "--live", "--samples", str(folder), "--level-offset-db", "-40", "--json")
    document = json.loads(said.out)
    assert (document["passes"], document["refused"], document["looks"]) == (20, 0, 120)
    assert (document["looks_lost"], document["looks_overdriven"]) == (0, 0)
    (somebody,) = document["new"]
    assert somebody["unit"] == "dBm"
    assert somebody["level_db"] == pytest.approx(-70.0, abs=0.5)
    assert somebody["centre_khz"] == pytest.approx(600_300.0, abs=8.0)


def test_carriers_of_a_shoot_are_looked_at_more_often(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "shoot.toml").write_text(SHOOT, "utf-8")
    band = Band(noise_db=-60.0)
    centres = [522e6 + 300e3 * n for n in range(12)]
    band.record(tmp_path / "band", centres, 0.5)
    given = ("--samples", str(tmp_path / "band"), "--shoot", str(tmp_path / "shoot.toml"))
    said = call(capsys, "sweep", "--live", *given)
    assert said.status == 0, said.err
    # 523.025 to 523.225 MHz: in three of twelve recordings (522.9, 523.2 and 523.5 MHz; 0.06 to 0.375 MHz beside
    # the middle). Twice a pass is 24 looks: 9 of the rest, 15 of ours in five rounds of 3 and at most 2 others.
    assert said.err.splitlines()[-1].endswith(
        "our carriers and spares are looked at every 0.10 s, all of the band every 0.48 s."
    )


SHOOT = """
[shoot]
title = "Quay"
region = "GB"
permits = ["gb-coordinated"]
date = 2027-05-14
timezone = "Europe/London"

[[site]]
name = "Quay"
latitude = 49.9
longitude = -7.5
surroundings = "street"

[[link]]
name = "Pilot"
transmitter = "body-worn, 470-694 MHz"
receiver = "camera slot receiver, 470-694 MHz"
locked_mhz = 523.125
spares = 0
"""


class Pages(BaseHTTPRequestHandler):
    """Stands for the pages: takes records, and answers as they do."""

    taken: list[dict[str, Any]]
    ours_khz: tuple[tuple[float, float], ...] = ()

    def do_POST(self) -> None:
        record = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        self.taken.append(record)
        passes = record["rows"].count("\n")
        body = json.dumps({"passes": passes, "refused": 0, "says": [], "ours_khz": self.ours_khz}).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_args: object) -> None:
        pass


@pytest.fixture
def pages() -> Iterator[tuple[str, list[dict[str, Any]]]]:
    Pages.taken = []
    with HTTPServer(("127.0.0.1", 0), Pages) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}/log/sweeps", Pages.taken
        server.shutdown()
        thread.join()


def test_rows_are_sent_to_the_pages(
    folder: Path, pages: tuple[str, list[dict[str, Any]]], capsys: pytest.CaptureFixture[str]
) -> None:
    address, taken = pages
    said = call(capsys, "sweep", address, "--live", "--samples", str(folder), "--level-offset-db", "-40")
    assert said.status == 0, said.err
    assert said.out == "20 passes sent, 0 rows left out. 120 looks.\n"
    assert sum(record["rows"].count("\n") for record in taken) == 20
    about = {key: value for key, value in taken[0].items() if key != "rows"}
    assert about == {
        "source": folder.name, "unit": "dBm", "from_khz": 599_625.0, "step_khz": 7.8125, "resolution_khz": 11.71875,
        "detector": "rms", "averages": 295, "columns": "bins",
    }  # fmt: skip  # 311 segments, each over half of 128 of 20 000 samples; 311 / (1 + 2/36)


def test_carriers_that_the_pages_answer_with_are_followed(
    folder: Path,
    pages: tuple[str, list[dict[str, Any]]],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sweep_live, "LOOK_S", 0.0)  # every line is sent at once
    monkeypatch.setattr(Pages, "ours_khz", ((600_420.0, 600_500.0),))
    said = call(capsys, "sweep", pages[0], "--live", "--samples", str(folder))
    assert said.status == 0, said.err
    # Two of six recordings hold it (600.3 and 600.6 MHz): within 12 looks four rounds of those and one other.
    says = "our carriers and spares are looked at every 0.06 s, all of the band every 0.24 s."
    assert said.err == f"{folder.name}: {says}\n"


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.delitem(sys.modules, "SoapySDR", raising=False)
    monkeypatch.syspath_prepend(STAND_IN)
    yield
    monkeypatch.delitem(sys.modules, "SoapySDR", raising=False)


@pytest.mark.usefixtures("stand_in")
def test_a_receiver_that_is_unplugged_loses_nothing_of_before(capsys: pytest.CaptureFixture[str]) -> None:
    said = call(capsys, "sweep", "--live", "--receiver", "driver=band,gone=45", *BAND, "--look-ms", "5", "--json")
    assert said.status == 2
    document = json.loads(said.out)
    assert document["looks"] == 44
    assert document["passes"] > 5
    assert {round(each["centre_khz"] / 100.0) for each in document["new"]} == {6003, 6012, 6021}
    assert said.err.splitlines()[-1].endswith("failed (STREAM_ERROR); is it still plugged in?")


@pytest.mark.usefixtures("stand_in")
def test_a_receiver_that_is_gone_before_the_first_pass(capsys: pytest.CaptureFixture[str]) -> None:
    said = call(capsys, "sweep", "--live", "--receiver", "driver=band,silent=1", *BAND)
    assert said.status == 2
    assert "gave no samples in 30 reads" in said.err


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("--live",), "found no file" ),
        ((), "expected sweeps, recordings or -"),
        (("--receiver", "driver=band"), "--receiver goes with --live"),
        (("--live", "--receiver", "driver=band"), "give --from-mhz and --to-mhz"),
        (("--live", "--receiver", "driver=band", "--samples", "x"), "expected one of them"),
        (("--live", "--receiver", "driver=band", "rows.csv"), 'found "rows.csv" beside a receiver'),
        (("--live", "--receiver", "driver=band", "--unit", "dBm"), "--unit is for rows of other programs"),
        (("--live", "--receiver", "driver=other", *BAND), "driver=band,serial=7"),
        (("--live", "--samples", "nowhere"), "found no recording"),
        (("--live", "--samples", "x", "--gain-db", "3"), "--gain-db is for --receiver"),
        (("-", "--look-ms", "3"), "--look-ms is for --receiver and --samples"),
        (("--live", "--receiver", "driver=band", *BAND, "--all-within-s", "0.01"), "expected more time"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("stand_in")
def test_what_does_not_go_together_is_one_sentence(
    given: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = call(capsys, "sweep", *given)
    assert said.status == 2
    assert says in said.err
    assert "Traceback" not in said.err


def test_ctrl_c_ends_it_with_what_was_kept() -> None:
    there = os.environ | {"PYTHONPATH": os.pathsep.join([*sys.path, str(STAND_IN)])}
    live = ["sweep", "--live", "--receiver", "driver=band", *BAND, "--json"]
    command = [sys.executable, "-m", "linkwright.cli", *live]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=there) as run:
        assert run.stderr is not None
        assert "all of the band every" in run.stderr.readline()
        run.send_signal(signal.SIGINT)
        out, err = run.communicate(timeout=60)
    assert run.returncode == 0, err
    assert err == ""
    document = json.loads(out)
    assert document["passes"] >= 1
    assert document["looks"] >= 5

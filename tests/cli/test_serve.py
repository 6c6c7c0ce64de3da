"""`linkwright serve` and `demo` from outside: a process, its pages, its end."""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.cli.calling import call

from linkwright.desk import kept_readings
from linkwright.shoot.errors import InputError
from linkwright.store import Store
from linkwright.work import compiling

QUAY = Path(__file__).parents[1] / "shoot" / "data" / "quay.toml"


@contextmanager
def serving(*arguments: str, folder: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command, until it has said where its pages are; it is ended by Ctrl-C."""
    started = subprocess.Popen(
        [sys.executable, "-X", "faulthandler", "-m", "linkwright.cli", *arguments],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert started.stdout is not None
    url = ""
    for line in started.stdout:
        found = re.search(r"http://127\.0\.0\.1:\d+", line)
        if found:
            url = found[0]
            break
    try:
        yield started, url
    finally:
        started.send_signal(signal.SIGINT)
        out, err = started.communicate(timeout=20)
        assert "Traceback" not in out + err


@pytest.mark.parametrize(("number", "status"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129), (signal.SIGINT, 130)])
def test_however_it_is_ended_the_job_is_one_file_and_holds_what_was_acknowledged(
    number: signal.Signals, status: int, tmp_path: Path
) -> None:
    shutil.copy(QUAY, tmp_path / "quay.toml")
    one = {"time": "2027-05-14T09:00:00Z", "link": "Pilot", "rf_a_dbm": -60.0, "quality": 1.0}
    with serving("serve", "quay.toml", "--port", "0", folder=tmp_path) as (running, url):
        told = urllib.request.Request(
            f"{url}/log/readings", json.dumps([one] * 100).encode(), {"content-type": "application/json"}
        )
        with urllib.request.urlopen(told, timeout=20) as answered:
            assert json.load(answered)["taken"] == 100
        running.send_signal(number)
        assert running.wait(20) == status
    assert sorted(path.name for path in tmp_path.iterdir()) == ["quay.lwjob", "quay.toml"]
    with Store.open(tmp_path / "quay.lwjob", read_only=True) as store:
        assert sum(map(len, kept_readings.newest(store, 9))) == 100


def test_who_ends_it_while_it_is_being_prepared_waits_for_no_compiler(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copy(QUAY, tmp_path / "quay.toml")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "code"))
    (tmp_path / "code").mkdir()
    (tmp_path / "code" / compiling.AT_WORK).write_text(str(os.getpid()), "utf-8")  # not in a process beside it
    with serving("serve", "quay.toml", "--port", "0", folder=tmp_path) as (running, _):
        (tmp_path / "code" / compiling.AT_WORK).unlink()
        while not workers_of(running.pid):
            assert running.poll() is None
            time.sleep(0.1)
        ours = workers_of(running.pid)
        running.send_signal(signal.SIGINT)
        assert running.wait(20) == 130
    assert not [pid for pid in ours if Path(f"/proc/{pid}").exists()]


def workers_of(process: int) -> list[int]:
    """The processes that it started to compile in."""
    children = Path(f"/proc/{process}/task").glob("*/children")
    all_of = [int(pid) for listed in children for pid in listed.read_text("ascii").split()]
    return [pid for pid in all_of if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()]


def test_a_job_that_is_open_can_be_copied_alone_when_nobody_types(tmp_path: Path) -> None:
    shutil.copy(QUAY, tmp_path / "quay.toml")
    with serving("serve", "quay.toml", "--port", "0", folder=tmp_path):
        for _ in range(100):
            time.sleep(0.2)
            shutil.copy(tmp_path / "quay.lwjob", tmp_path / "alone.lwjob")
            with contextlib.suppress(InputError), Store.open(tmp_path / "alone.lwjob") as store:
                if store.document().at("link"):
                    return
    pytest.fail("the job alone never held the shoot")


def read(url: str) -> str:
    with urllib.request.urlopen(url, timeout=20) as answered:
        return str(answered.read().decode())


def test_a_shoot_file_becomes_a_job_that_is_opened_again(tmp_path: Path) -> None:
    shoot = tmp_path / "quay.toml"
    shoot.write_bytes(QUAY.read_bytes())
    with serving("serve", "quay.toml", "--port", "0", folder=tmp_path) as (_, url):
        assert "Harbour pilots" in read(f"{url}/shoot")
        with pytest.raises(urllib.error.HTTPError) as refused:
            read(urllib.request.Request(f"{url}/shoot", headers={"host": "evil.example"}))  # type: ignore[arg-type]
        assert refused.value.code == 421
        refused.value.close()
    job = tmp_path / "quay.lwjob"
    assert job.exists()
    assert not list(tmp_path.glob("quay.lwjob-*")), "a closed job is one file"
    with serving("serve", "quay.lwjob", "--port", "0", folder=tmp_path) as (_, url):
        assert "Harbour pilots" in read(f"{url}/shoot")


def test_the_demo_serves_its_pages(tmp_path: Path) -> None:
    with serving("demo", "--port", "0", folder=tmp_path) as (_, url):
        assert "Salt works" in read(f"{url}/plan")


def test_what_cannot_be_served_is_one_sentence(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    missing = call(capsys, "serve", str(tmp_path / "nothing.toml"), "--port", "0")
    assert missing.status == 2
    assert "there is no such file" in missing.err
    wrong = tmp_path / "wrong.lwjob"
    wrong.write_text("this is no job")
    refused = call(capsys, "serve", str(wrong))
    assert refused.status == 2
    assert "Traceback" not in refused.err

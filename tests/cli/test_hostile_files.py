"""Files of strangers, at the command line: pipes, files of others, texts that take for ever, sounds that are none.

Every one is answered with a sentence and status 2, within seconds.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.cli.calling import Said, call

from linkwright.desk.files import import_shoot, named_files
from linkwright.shoot.errors import InputError
from linkwright.shoot.toml import parse_toml
from linkwright.store import Store

QUAY = Path(__file__).parents[1] / "shoot" / "data" / "quay.toml"


def refused(said: Said, *words: str) -> None:
    assert said.status == 2, said.err
    last = said.err.rstrip("\n").split("\n")[-1]
    assert "Traceback" not in said.err
    for word in words:
        assert word in last


@contextmanager
def within(seconds: float) -> Iterator[None]:
    began = time.process_time()
    yield
    assert time.process_time() - began < seconds


@pytest.mark.parametrize(
    "command",
    [
        ["plan", "PIPE"], ["plan", "SHOOT", "--keep", "PIPE"], ["walk", "SHOOT", "PIPE"], ["sweep", "PIPE"],
        ["diagnose", "PIPE"], ["listen", "PIPE"], ["serve", "PIPE", "--port", "0"],
        ["why", "SHOOT", "Pilot", "--plan", "PIPE"],        ["diagnose", "SHOOT", "--mapping", "PIPE"],
    ],
    ids=" ".join,
)  # fmt: skip
def test_a_pipe_is_not_waited_for(
    command: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    os.mkfifo("PIPE")
    Path("SHOOT").write_bytes(QUAY.read_bytes())
    refused(call(capsys, *command), "PIPE", "pipe")


def test_a_pipe_that_a_shoot_names_is_not_waited_for(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    os.mkfifo("air.csv")
    text = QUAY.read_text("utf-8")
    Path("quay.toml").write_text(text.replace("[[site]]", '[[site]]\nsweeps = ["air.csv"]', 1), "utf-8")
    refused(call(capsys, "plan", "quay.toml"), "air.csv", "pipe")
    refused(call(capsys, "serve", "quay.toml", "--port", "0"), "air.csv", "pipe")


def test_a_shoot_takes_no_file_from_elsewhere_unasked(tmp_path: Path) -> None:
    place = tmp_path / "shoot"
    place.mkdir()
    (tmp_path / "secret.csv").write_text("secret")
    (place / "air.csv").write_text("470,-100")
    (place / "leads-out.csv").symlink_to(tmp_path / "secret.csv")
    names = ["/etc/passwd", "../secret.csv", "leads-out.csv", "air.csv", str(tmp_path / "secret.csv")]
    (place / "shoot.toml").write_text(f"[[site]]\nname = 'House'\nsweeps = {json.dumps(names)}\n")
    told: list[str] = []
    with Store.open(tmp_path / "job.lwjob", create=True) as store:
        import_shoot(store, place / "shoot.toml", told.append)
        assert [one.name for one in store.attachment_list()] == ["air.csv"]
        assert len([line for line in told if line.startswith("left out")]) == 4
        assert named_files(store.document().document) == names
    with Store.open(tmp_path / "asked.lwjob", create=True) as store:
        import_shoot(store, place / "shoot.toml", told.append, lambda name: name == "../secret.csv")
        assert [one.name for one in store.attachment_list()] == ["../secret.csv", "air.csv"]


DOTTED = ".".join("a" * 16_000)


@pytest.mark.parametrize("text", [f"{DOTTED} = 1", f"[{DOTTED}]", f"x = {{{DOTTED.replace('.', ' . ')} = 1}}"])
def test_a_key_of_thousands_of_parts_takes_no_time(text: str) -> None:
    with within(1.0), pytest.raises(InputError, match="a key of more than 32 parts"):
        parse_toml(text, "shoot.toml")


@pytest.mark.parametrize("text", [f"a = {'9' * 5000}", f"a = {'[' * 5000}", f'x = "{DOTTED}"'])
def test_toml_that_is_too_much_is_one_sentence(
    text: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "log.toml").write_text(text)
    (tmp_path / "log.csv").write_text("time,link\n")
    refused(
        call(capsys, "diagnose", str(tmp_path / "log.csv"), "--mapping", str(tmp_path / "log.toml")), "log.toml"
    )


@pytest.mark.parametrize("khz", [566_000_000_000, 0, -5])
def test_a_plan_to_keep_with_a_carrier_out_of_this_world(
    khz: int, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    said = call(capsys, "plan", str(QUAY), "-o", str(tmp_path / "plan.json"))
    document = json.loads((tmp_path / "plan.json").read_text())
    assert said.status in (0, 1)
    document["calls"][0]["links"][0]["carrier_khz"] = khz
    (tmp_path / "other.json").write_text(json.dumps(document))
    refused(call(capsys, "plan", str(QUAY), "--keep", str(tmp_path / "other.json")), "other.json", "carrier_khz")
    (tmp_path / "other.json").write_text("[" * 100_000)
    refused(call(capsys, "plan", str(QUAY), "--keep", str(tmp_path / "other.json")), "other.json")


@pytest.mark.parametrize(
    ("value", "words"), [(1e18, "which is no audio"), (np.nan, "no number"), (3e5, "which is no audio")]
)
def test_samples_that_are_no_audio_are_told(
    value: float, words: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    samples = np.zeros(48_000, np.float32)
    samples[24_000] = value
    soundfile.write(tmp_path / "boom.wav", samples, 48_000, "FLOAT")
    said = call(capsys, "listen", str(tmp_path / "boom.wav"))
    assert "0.500 s" in said.out + said.err
    assert words in said.out + said.err


@pytest.mark.parametrize(("form", "name"), [("AIFF", "a.wav"), ("OGG", "a.wav"), ("AU", "a.flac")])
def test_no_other_decoder_is_reached(
    form: str, name: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    soundfile.write(tmp_path / name, np.zeros(4800), 48_000, format=form)
    said = call(capsys, "listen", str(tmp_path / name))
    assert "WAV and FLAC are read" in said.err or "is neither WAV nor FLAC" in said.err

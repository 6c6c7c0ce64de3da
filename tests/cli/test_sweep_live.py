"""`linkwright sweep - --live`: a pipe, a file that grows, a folder; judged here or sent on."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from tests.web.test_live_sweep import rows

from linkwright.cli import sweep_live

RUN = [sys.executable, "-m", "linkwright.cli", "sweep"]


def test_a_pipe_is_judged_as_it_comes() -> None:
    rng = np.random.default_rng(1)
    with subprocess.Popen([*RUN, "-", "--live", "--unit", "dBm"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, text=True) as run:  # fmt: skip
        assert run.stdin is not None
        for n in range(14):
            run.stdin.write(rows(rng, [(570_000.0, -60.0)] if n > 11 else []))
            run.stdin.flush()
            time.sleep(0.05)
        run.stdin.write("no row at all\n")
        out, err = run.communicate(timeout=60)
    assert run.returncode == 1, err
    lines = out.splitlines()
    assert len(lines) == 2, out
    assert any(place in lines[0] for place in (" 569.99", " 570.00"))
    assert "new: \N{MINUS SIGN}6" in lines[0]
    assert "dBm" in lines[0]
    assert lines[1] == "14 passes, 1 row left out."
    assert "no row at all" in err


def test_json_is_one_document() -> None:
    rng = np.random.default_rng(2)
    text = "".join(rows(rng) for _ in range(3))
    run = subprocess.run([*RUN, "-", "--live", "--json"], input=text, capture_output=True, text=True, check=False)
    assert json.loads(run.stdout) == {"passes": 3, "refused": 0, "new": []}
    assert run.returncode == 0


@pytest.mark.parametrize("text", ["", "junk\n"])
def test_nothing_of_use_is_one_sentence(text: str) -> None:
    run = subprocess.run([*RUN, "-", "--live"], input=text, capture_output=True, text=True, check=False)
    assert run.returncode == 2
    assert "sweep" in run.stderr
    assert "Traceback" not in run.stderr
    run = subprocess.run([*RUN, "-", "--live", "--json"], input=text, capture_output=True, text=True, check=False)
    assert "sweep" in json.loads(run.stdout)["error"]


def test_a_file_that_grows_and_one_that_appears_are_read_on(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    first = tmp_path / "old.csv"
    first.write_text(rows(rng))
    pieces = sweep_live._pieces([str(tmp_path)])
    assert next(pieces) == ("", b"")  # what stood there before is not of now
    with first.open("a") as file:
        file.write("more\n")
    (tmp_path / "new.csv").write_text("fresh\n")
    found = dict(piece for piece in (next(pieces), next(pieces)))
    assert found == {"old.csv": b"more\n", "new.csv": b"fresh\n"}
    first.write_text("anew\n")
    assert next(piece for piece in pieces if piece[1]) == ("old.csv", b"anew\n")


def test_a_place_that_is_not_there_and_two_addresses_are_refused() -> None:
    for given, says in ((["nowhere"], "no such file"), (["-", "http://a/", "http://b/"], "addresses")):
        run = subprocess.run([*RUN, *given, "--live"], input="", capture_output=True, text=True, check=False)
        assert run.returncode == 2
        assert says in run.stderr

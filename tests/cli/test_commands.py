"""The commands from outside: output, JSON, exit status, files."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest
from tests.cli.calling import call
from tests.plan.shoots import HEADER, QUAY, links, pocket

from linkwright.cli import COMMANDS
from linkwright.plan.model import Plan

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def six(tmp_path: Path) -> str:
    path = tmp_path / "six.toml"
    path.write_text(HEADER + pocket() + links(6), "utf-8")
    return str(path)


def document(text: str) -> Any:
    return json.loads(text)


def test_plan_prints_the_answer_first(capsys: Capture, six: str) -> None:
    said = call(capsys, "plan", six)
    assert said.status == 0
    assert said.out.startswith("All six links hold; the weakest is L")
    assert "● holds" in said.out
    assert "\x1b" not in said.out, "no colour where standard output is no terminal"
    assert said.err == ""


def test_plan_json_is_one_document_and_the_file_has_the_same(capsys: Capture, six: str, tmp_path: Path) -> None:
    out = tmp_path / "plan.json"
    said = call(capsys, "plan", six, "--json", "-o", str(out))
    assert said.out == out.read_text("utf-8")
    plan = Plan.model_validate_json(said.out)
    assert plan.all_hold
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan.json", "six.toml"]


def test_plan_to_standard_output(capsys: Capture, six: str) -> None:
    said = call(capsys, "plan", six, "-o", "-")
    assert Plan.model_validate_json(said.out).all_hold


def test_plan_reads_standard_input(capsys: Capture, six: str, monkeypatch: pytest.MonkeyPatch) -> None:
    text = io.TextIOWrapper(io.BytesIO(Path(six).read_bytes()))
    monkeypatch.setattr(sys, "stdin", text)
    assert call(capsys, "plan", "-").status == 0


def test_plan_that_does_not_hold_leaves_with_1(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "crowd.toml"
    path.write_text(HEADER + pocket("[[518.0, 520.0]]") + links(9), "utf-8")
    said = call(capsys, "plan", str(path))
    assert said.status == 1
    assert "four have no carrier" in said.out


def test_keep_moves_nobody(capsys: Capture, six: str, tmp_path: Path) -> None:
    first = tmp_path / "first.json"
    call(capsys, "plan", six, "-o", str(first))
    second = call(capsys, "plan", six, "--keep", str(first), "--json")
    old, new = Plan.model_validate_json(first.read_text("utf-8")), Plan.model_validate_json(second.out)
    assert [link.carrier_khz for link in old.calls[0].links] == [link.carrier_khz for link in new.calls[0].links]


def test_check(capsys: Capture) -> None:
    said = call(capsys, "check", str(QUAY))
    assert said.status == 0
    assert said.out.startswith("Harbour pilots, day 2: 1 link; nothing stops it.")
    found = document(call(capsys, "check", str(QUAY), "--json").out)
    assert [one["code"] for one in found["findings"]] == ["sweep-missing", "sight-assumed"]


def test_why_shows_the_ledger(capsys: Capture) -> None:
    said = call(capsys, "why", str(QUAY), "Pilot")
    assert "the straight wave loses" in said.out
    assert "in hand, at Gangway" in said.out
    assert "If all the time at Gangway" in said.out
    assert "kTB + 6 dB" in said.out
    found = document(call(capsys, "why", str(QUAY), "Pilot", "--json").out)
    assert found["calls"][0]["carrier_khz"] == 523_125


ASKED = """
[[site]]
name = "Yard"
tv = ["27"]
[[other]]
name = "Crew"
carrier_mhz = 540.0
radiated_mw = 50
at = { x_m = 10, y_m = 0 }
"""


@pytest.mark.parametrize(
    ("mhz", "code", "words"),
    [
        ("500.0", "tuning", "does not tune 500.000 MHz"),
        ("530.01", "raster", "next are 530.000 and 530.025 MHz"),
        ("520.0", "tv-cochannel", "TV channel 27 (518.000 to 526.000 MHz)"),
        ("534.075", "tv-edge", "nearer than 100 kHz"),
        ("540.0", "other-cochannel", "Crew is there with"),
        ("610.0", "closed", "MHz"),
    ],
)
def test_why_not_a_frequency(capsys: Capture, tmp_path: Path, mhz: str, code: str, words: str) -> None:
    path = tmp_path / "asked.toml"
    path.write_text(HEADER + ASKED + pocket("[[518.0, 566.0], [608.0, 612.0]]") + links(3), "utf-8")
    said = call(capsys, "why", str(path), "L1", mhz)
    assert said.status == 0
    assert words in said.out
    found = document(call(capsys, "why", str(path), "L1", mhz, "--json").out)
    assert code in [reason["code"] for reason in found["calls"][0]["reasons"]]


def test_why_not_too_near_and_why_not_a_product(capsys: Capture, six: str) -> None:
    plan = Plan.model_validate_json(call(capsys, "plan", six, "--json").out)
    a, b = (link.carrier_khz for link in plan.calls[0].links[1:3])
    near = call(capsys, "why", six, "L1", f"{(a + 100) / 1000}").out
    assert "100 kHz from the carrier of L2" in near
    assert "the types need 400 kHz" in near
    product = call(capsys, "why", six, "L1", f"{(2 * b - a) / 1000}").out
    assert "2A-B of L3, L2 falls on L1" in product


def test_why_not_says_by_how_many_db(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "asked.toml"
    path.write_text(HEADER + ASKED + pocket("[[534.0, 566.0]]") + links(1), "utf-8")
    found = document(call(capsys, "why", str(path), "L1", "540.0", "--json").out)
    reason = next(one for one in found["calls"][0]["reasons"] if one["code"] == "other-cochannel")
    # 50 mW at 10 m is 17 - 47.1 dB = -30 dBm against a noise of -115 dBm in 200 kHz with 6 dB noise figure.
    # The receiver stands at 1.6 m and the crew at 1.5 m; P.525 at 540 MHz gives 47.1 dB, the ground adds half a dB.
    assert reason["db"] == pytest.approx(-30.1 + 0.5 + 114.96, abs=0.3)


def test_why_not_where_nothing_stands_against_it(capsys: Capture, six: str) -> None:
    plan = Plan.model_validate_json(call(capsys, "plan", six, "--json").out)
    link = plan.calls[0].links[0]
    said = call(capsys, "why", six, link.link, f"{link.carrier_khz / 1000}")
    assert "nothing stands against" in said.out


def test_fit(capsys: Capture, six: str) -> None:
    found = document(call(capsys, "fit", six, "--json").out)["types"]
    assert [one["transmitter"] for one in found] == ["pocket"]
    assert found[0]["placed"] == 6
    assert 0 < found[0]["more"] <= found[0]["bound"] - 6


def test_rules(capsys: Capture) -> None:
    found = document(call(capsys, "rules", "GB", "--json", "--date", "2027-05-14").out)
    assert {"id", "from_khz", "to_khz", "max_mw", "power_reference", "bandwidth_khz", "permit", "conditions",
            "source", "evidence", "as_of"} <= set(found["rows"][0])  # fmt: skip
    said = call(capsys, "rules", "US", "--at", "40.75,-74.0").out
    assert "New York" in said
    assert "608-614" in said


def test_schema_describes_what_is_read(capsys: Capture) -> None:
    shoot = document(call(capsys, "schema", "shoot").out)
    assert set(shoot["required"]) == {"shoot"}
    assert "carrier_khz" in json.dumps(document(call(capsys, "schema", "plan").out))


def test_demo(capsys: Capture) -> None:
    said = call(capsys, "demo", "--no-serve")
    assert said.status == 0
    assert "Presenter moves from" in said.out
    both = document(call(capsys, "demo", "--json").out)
    assert set(both) == {"plan", "after_hit"}


def test_help_lists_every_command(capsys: Capture) -> None:
    said = call(capsys, "--help")
    assert all(f"  {name} " in said.out for name in COMMANDS)
    assert said.status == 0


def test_version(capsys: Capture) -> None:
    from linkwright import __version__

    assert call(capsys, "--version").out == f"linkwright {__version__}\n"

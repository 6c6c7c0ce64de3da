"""Impossible jobs: what would help, in numbers that hold when they are tried."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests.cli.calling import call as command
from tests.plan.shoots import HEADER, links, pocket, shoot

from linkwright.plan.model import Finding, Plan
from linkwright.plan.pipeline import make_plan


def told(plan: Plan) -> Finding:
    (finding,) = [finding for finding in plan.findings if finding.code == "crowded"]
    return finding


def unplaced(plan: Plan) -> int:
    return sum(len(call.unplaced) for call in plan.calls)


FORTY = pocket("[[518.0, 526.0]]") + links(40, more="spares = 0")


@pytest.fixture(scope="module")
def forty() -> Plan:
    return make_plan(shoot(FORTY), {})


def test_the_most_that_can_be_on_is_what_is_placed(forty: Plan) -> None:
    assert "No more than 20 of these 40 can be on at once" in told(forty).says
    assert unplaced(forty) == 20


def test_so_much_more_band_places_all_and_less_does_not(forty: Plan) -> None:
    found = re.search(r"More band: ([\d.]+) MHz more", told(forty).says)
    assert found is not None
    more_mhz = float(found[1])
    wider = pocket(f"[[518.0, {526.0 + more_mhz}]]") + links(40, more="spares = 0")
    assert unplaced(make_plan(shoot(wider), {}, effort=0.0)) == 0
    less = pocket(f"[[518.0, {526.0 + more_mhz - 0.4}]]") + links(40, more="spares = 0")
    assert unplaced(make_plan(shoot(less), {}, effort=0.0)) > 0


def test_the_spacing_that_it_names_places_all(forty: Plan) -> None:
    found = re.search(r"Closer: at (\d+) kHz", told(forty).says)
    assert found is not None
    for spacing, nobody in ((int(found[1]), True), (int(found[1]) + 25, False)):
        kit = pocket("[[518.0, 526.0]]", f"spacing_khz = {spacing}") + links(40, more="spares = 0")
        assert (unplaced(make_plan(shoot(kit), {}, effort=0.0)) == 0) is nobody


def test_the_calls_that_it_splits_into_are_clean(forty: Plan) -> None:
    found = re.search(r"in (\w+) calls of (\d+) or fewer", told(forty).says)
    assert found is not None
    kit = pocket("[[518.0, 526.0]]") + links(int(found[2]), more="spares = 0")
    (call,) = make_plan(shoot(kit), {}).calls
    assert not call.unplaced
    assert call.criterion == "clean"


def test_on_the_command_line_it_takes_few_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "forty.toml"
    path.write_text(HEADER + FORTY, "utf-8")
    said = command(capsys, "plan", str(path))
    assert said.status == 1
    assert said.out.count("follow the reason that is given") == 0
    begins = said.out.index("warn  crowded")
    ends = said.out.index("\nwarn  ", begins + 1) if "\nwarn  " in said.out[begins + 1 :] else len(said.out)
    assert said.out[begins:ends].count("\n") <= 15
    assert said.out.count("\n") < 110, "the table and what must be known"

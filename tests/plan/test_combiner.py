"""Transmitters in one combiner: what couples from input to input is a figure, told in the ledger as it is known."""

from __future__ import annotations

import pytest
from tests.plan.ends import HEADER, link_of, two_ends

from linkwright.plan.model import LedgerLine, Plan
from linkwright.plan.pipeline import make_plan

#: 2A-B of the first two falls on the third: 2 x 530.0 - 528.8 = 531.2 MHz. The guards are put aside.
CARRIERS = {"Cue 1": 530.0, "Cue 2": 528.8, "Cue 3": 531.2}
BASE = """
[transmitter.base]
use = "uhf-in-ear-base"
tunes_mhz = [[518.0, 566.0]]
powers_mw = [10]
{more}
"""


def rack(more: str, spots: tuple[str, str, str] = ("Rack", "Rack", "Rack")) -> Plan:
    body = BASE.format(more=more) + "".join(
        f'[[link]]\nname = "{name}"\nserves = "in-ear"\nlocked_mhz = {mhz}\n'
        f'transmit = {{ kit = "base", at = "{spot}" }}\n'
        f'receive = [{{ kit = "ear", route = ["Left", "Right"] }}]\n'
        for (name, mhz), spot in zip(CARRIERS.items(), spots, strict=True)
    )
    return make_plan(two_ends(body, HEADER), {})


def radiated(plan: Plan) -> LedgerLine | None:
    told = (line for line in link_of(plan, "Cue 3").ledger if line.part == "2A-B radiated by Cue 1 with Cue 2")
    return next(told, None)


def test_without_a_combiner_it_is_told_that_a_metre_is_assumed() -> None:
    line = radiated(rack(""))
    assert line is not None
    assert "side by side, as if 1 m apart (assumed" in line.source


@pytest.mark.parametrize("isolation_db", [20.0, 30.0])
def test_the_product_is_as_far_down_as_isolation_and_conversion_say(isolation_db: float) -> None:
    """Radiated 2A-B over A: isolation + conversion loss; 20 dB is the class's (ITU-R SM.2021 gives the way)."""
    plan = rack(f"combiner_isolation_db = {isolation_db}")
    line = radiated(plan)
    assert line is not None
    assert line.dbm is not None
    assert f"through one combiner, {isolation_db:g} dB from input to input (stated)" in line.source
    apart = radiated(rack(f"combiner_isolation_db = {isolation_db + 3.0}"))
    assert apart is not None
    assert apart.dbm is not None
    assert line.dbm - apart.dbm == pytest.approx(3.0, abs=0.02)
    wanted = link_of(plan, "Cue 3").wanted_dbm
    assert line.dbm <= wanted - isolation_db - 20.0 + 25.0  # Cue 3 at its worst spot, the product at its strongest


def test_a_good_combiner_leaves_nothing_to_tell_and_another_spot_has_none() -> None:
    assert radiated(rack("combiner_isolation_db = 90")) is None
    away = radiated(rack("combiner_isolation_db = 20", ("Rack", "Door", "Rack")))
    assert away is None or "combiner" not in away.source

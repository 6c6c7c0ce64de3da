"""A law: no plan holds a carrier, in use or spare, on a closed range or over the strictest known limit.

Random rules, permits, acceptances, licences and kits, judged by `tests.plan.lawful`.
"""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan.lawful import wrong

from linkwright.plan import law as plan_law
from linkwright.plan.pipeline import make_plan
from linkwright.rules import Territory
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import shoot_from

coins = st.booleans()
FACT = {"source": "invented", "basis": "memory", "evidence": "assumed", "as_of": datetime.date(2027, 1, 1)}
EDGES = st.integers(2_000, 2_160).map(lambda n: 250 * n)  # 500 to 540 MHz
POWERS = st.sampled_from([0.5, 2.0, 10.0, 20.0, 50.0, 200.0])


@st.composite
def spans(draw: st.DrawFn, id_: str) -> dict[str, Any]:
    low = draw(EDGES)
    return {"id": id_, "from_khz": low, "to_khz": low + 250 * draw(st.integers(1, 120)), **FACT}


@st.composite
def rows(draw: st.DrawFn, id_: str) -> dict[str, Any]:
    row = {**draw(spans(id_)), "use": "test"}
    for key, values in {
        "permit": st.sampled_from(["gb-a", "gb-b"]), "bandwidth_khz": st.sampled_from([100, 200]),
        "raster_khz": st.sampled_from([25, 125]), "indoor": st.just(True), "service": st.just("aeronautical"),
        "carriers_khz": st.lists(st.integers(20_000, 21_600).map(lambda n: 25 * n), min_size=1, max_size=20),
    }.items():  # fmt: skip
        if draw(st.integers(0, 3)) == 0:
            row[key] = draw(values)
    if draw(st.integers(0, 3)):
        row |= {"max_mw": draw(POWERS), "power_reference": draw(st.sampled_from(["conducted", "erp", "eirp"]))}
        if draw(coins):
            row["max_body_worn_mw"] = draw(POWERS)
        if draw(coins):
            middle = (row["from_khz"] + row["to_khz"]) // 2
            row["step"] = [{"from_khz": row["from_khz"], "to_khz": middle, "max_mw": draw(POWERS)}]
    return row


@st.composite
def laws(draw: st.DrawFn) -> dict[str, Any]:
    ids = ["gb-r0", "gb-r1", "gb-r2", "gb-r3"][: draw(st.integers(1, 4))]
    warnings = [
        {
            **draw(spans(id_)),
            "about": "a",
            "says": "b",
            "do": "c",
            "severity": draw(st.sampled_from(["stop", "warn", "note"])),
            "settled_by": draw(st.lists(st.sampled_from(["gb-a", *ids]), max_size=1)),
        }
        for id_ in ["gb-w0", "gb-w1"][: draw(st.integers(0, 2))]
    ]
    closed = [{**draw(spans(id_)), "why": "test"} for id_ in ["gb-c0", "gb-c1"][: draw(st.integers(0, 2))]]
    return {"row": [draw(rows(id_)) for id_ in ids], "closed": closed, "warning": warnings}


@st.composite
def licences(draw: st.DrawFn, name: str, known: list[str]) -> dict[str, Any]:
    some = {"name": name, "only": draw(coins), "outranks": draw(st.lists(st.sampled_from(known), max_size=3))}
    if draw(coins):
        some |= {"max_mw": draw(POWERS), "power_reference": draw(st.sampled_from(["conducted", "erp", "eirp"]))}
    if draw(coins):
        some["ranges_mhz"] = [[draw(EDGES) / 1000, 541.0]]
    else:
        some["carriers_mhz"] = draw(st.lists(st.integers(20_000, 21_600).map(lambda n: n / 40), min_size=1))
    return some


@st.composite
def cases(draw: st.DrawFn) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any], dict[str, Any]]:
    law = draw(laws())
    known = [one["id"] for kind in law.values() for one in kind]
    wishes = [row["id"] for row in law["row"]]
    wishes += [f"{row['id']}/outdoors" for row in law["row"] if row.get("indoor")]
    wishes += [one["id"] for one in law["warning"] if one["severity"] == "warn"]
    held = draw(st.lists(st.sampled_from(["gb-a", "gb-b"]), unique=True))
    needs = {row["id"]: row.get("permit") for row in law["row"]}
    accepts = [id_ for id_ in draw(st.lists(st.sampled_from(wishes), unique=True, max_size=4))
               if needs.get(id_.removesuffix("/outdoors")) in (None, *held)]  # fmt: skip
    crew = {
        "permits": held,
        "accepts": accepts,
        "indoor": draw(coins),
        "licences": [draw(licences(f"P{n}", known)) for n in range(draw(st.integers(0, 2)))],
    }
    kit = {
        "width_khz": draw(st.sampled_from([100, 200])),
        "form": draw(st.sampled_from(["body-worn", "handheld"])),
        "gain_dbi": draw(st.sampled_from([-6.0, 0.0, 2.15])),
    }
    powers = sorted(draw(st.sets(st.sampled_from([0.4, 2.0, 8.0, 20.0, 60.0]), min_size=1, max_size=3)))
    return law, crew, kit, {"powers": powers, "power": draw(st.sampled_from(["least", "most"]))}


def the_shoot(crew: dict[str, Any], kit: dict[str, Any], more: dict[str, Any]) -> Shoot:
    document: dict[str, Any] = {
        "shoot": {"title": "T", "region": "GB", "date": datetime.date(2027, 5, 14), "permits": crew["permits"],
                  "accepts": crew["accepts"], "power": more["power"]},
        "site": [{"name": "Yard", "surroundings": "hall" if crew["indoor"] else "street"}],
        "transmitter": {"pocket": {
            "use": "uhf-body-worn", "tunes_mhz": [[500.0, 541.0]], "powers_mw": more["powers"], "form": kit["form"],
            "antenna_gain_dbi": kit["gain_dbi"], "bandwidth_khz": kit["width_khz"], "edge_khz": 0,
        }},
        "receiver": {"rack": {"use": "uhf-cart-rack", "tunes_mhz": [[500.0, 541.0]]}},
        "link": [{"name": name, "transmitter": "pocket", "receiver": "rack", "within_m": 60.0} for name in "AB"],
        "permit": crew["licences"],
    }  # fmt: skip
    return shoot_from(document, "", "drawn")


@settings(max_examples=150)
@given(cases())
def test_no_plan_breaks_the_law(
    case: tuple[dict[str, Any], dict[str, Any], dict[str, Any], dict[str, Any]],
) -> None:
    law, crew, kit, more = case
    permits = [{"id": id_, "name": id_, "note": "test"} for id_ in ("gb-a", "gb-b")]
    told = {"code": "GB", "name": "x", "regulator": "x", "about": "x", "permit": permits}
    where = Territory.model_validate(told | law)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan_law, "territory", lambda _region: where)
        plan = make_plan(the_shoot(crew, kit, more), {}, effort=0.0)
    for planned in plan.calls[0].links:
        for carrier_khz in (planned.carrier_khz, *planned.spares_khz):
            assert wrong(carrier_khz, planned.power_mw, law, crew, kit) is None

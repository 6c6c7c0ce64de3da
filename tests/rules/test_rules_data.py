"""The data files: complete, sourced, and carrying every fact that they were made from."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from linkwright.rules import Territory, known_codes, territory, territory_or_group
from linkwright.rules.library import implementation_table
from linkwright.rules.models import Row
from linkwright.shoot.errors import InputError

OWN = ("AU", "CA", "CN", "DE", "ES", "GB", "JP", "NZ", "US")
FACTS = Path(__file__).parents[3] / "shared" / "data" / "rules" / "rules.toml"


def all_territories() -> list[Territory]:
    return [territory_or_group("CEPT"), *(territory(code) for code in known_codes())]


def a_row(**changed: Any) -> dict[str, Any]:
    return {
        "id": "xx-row",
        "from_khz": 470_000,
        "to_khz": 608_000,
        "use": "test",
        "max_mw": 50,
        "power_reference": "erp",
        "source": "a document",
        "basis": "seen",
        "evidence": "stated",
        "as_of": "2027-01-01",
    } | changed


@pytest.mark.parametrize("one", all_territories(), ids=lambda one: one.code)
def test_every_fact_has_source_evidence_and_date(one: Territory) -> None:
    for fact in (*one.rows, *one.closed, *one.notes, *one.warnings):
        assert len(fact.source) > 5
        assert fact.evidence in ("stated", "assumed")
        assert 2010 < fact.as_of.year < 2100
    assert one.rows
    assert len(one.cautions) == 11


def test_row_ids_differ_over_all_territories() -> None:
    ids = [row.id for all_territory in all_territories() for row in all_territory.rows]
    assert len(ids) == len(set(ids))


def test_row_ids_begin_with_their_territory() -> None:
    for all_territory in all_territories():
        for name in [row.id for row in all_territory.rows] + [span.id for span in all_territory.closed]:
            assert name.startswith(f"{all_territory.code.lower()}-")


def test_a_known_limit_is_never_missing_from_a_stated_row() -> None:
    stated = [row for all_territory in all_territories() for row in all_territory.rows if row.evidence == "stated"]
    assert stated
    assert all(row.max_mw is not None for row in stated)


def testimplementation_table_without_a_file_are_assumed_throughout() -> None:
    for code in set(known_codes()) - set(OWN):
        assert {row.evidence for row in territory(code).rows} == {"assumed"}


def test_the_ten_territories_and_the_cept_countries_are_known() -> None:
    assert set(OWN) <= set(known_codes())
    assert len(known_codes()) == len({*OWN, "KR", "ZA", "AE"} | {*implementation_table().country}) == 54


@pytest.mark.parametrize(
    "changed",
    [
        {"from_khz": 608_000},
        {"from_khz": 470_000.5},
        {"basis": "memory"},
        {"evidence": "assumed"},
        {"max_mw": -1},
        {"max_mw": None},
        {"max_mw": None, "power_reference": None},
        {
            "max_mw": None,
            "power_reference": None,
            "max_body_worn_mw": 50,
            "evidence": "assumed",
            "doubt": "x",
        },
        {"power_reference": "radiated"},
        {"as_of": "last year"},
        {"source": ""},
        {"wattage": 1},
    ],
)
def test_a_row_that_does_not_hold_together_is_refused(changed: dict[str, Any]) -> None:
    Row.model_validate(a_row())
    with pytest.raises(ValidationError):
        Row.model_validate(a_row(**changed))


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([a_row(), a_row()], "stands twice"),
        ([a_row(permit="xx-licensed")], "unknown permit"),
    ],
)
def test_a_territory_that_does_not_hold_together_is_refused(rows: list[dict[str, Any]], says: str) -> None:
    told = {"code": "XX", "name": "Nowhere", "regulator": "nobody", "about": "invented"}
    with pytest.raises(ValidationError, match=says):
        Territory.model_validate(told | {"row": rows})


@pytest.mark.parametrize(("region", "hint"), [("UK", "GB"), ("EL", "GR"), ("XX", ""), ("", "")])
def test_an_unknown_region_names_the_known_ones(region: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        territory(region)
    assert "AU, AZ" in str(caught.value)
    assert not hint or f'did you mean "{hint}"' in str(caught.value)


@pytest.mark.parametrize("group", ["EU", "CEPT", "eu"])
def test_a_group_is_shown_and_is_no_place(group: str) -> None:
    assert territory_or_group(group).code == "CEPT"
    with pytest.raises(InputError, match="name the country"):
        territory(group)


def test_small_letters_will_do() -> None:
    assert territory("gb") == territory("GB")


def test_a_country_listed_as_not_having_a_row_does_not_get_it() -> None:
    for code, country in implementation_table().country.items():
        if code in OWN:
            continue
        missing = {row for row, letter in country.rows.items() if letter == "N"}
        assert missing.isdisjoint({row.table_row for row in territory(code).rows})
        assert len(territory(code).notes) >= len(missing)


def test_a_row_taken_over_has_the_doubt_of_cepts_own_and_where_it_was_read_for_cept_this_one_besides() -> None:
    of_cept = {row.id: row for row in territory_or_group("CEPT").rows}
    for code in {*implementation_table().country} - {*OWN}:
        for row in territory(code).rows:
            there = of_cept[row.id.replace(code.lower(), "cept", 1)]
            assert (row.basis == "memory") == (there.basis == "memory")
            assert row.doubt == ("read for CEPT, not for this country" if row.basis == "seen" else there.doubt)


@pytest.fixture(scope="module")
def facts() -> dict[str, Any]:
    if not FACTS.exists():
        pytest.skip("the fact set is not beside the project")
    return tomllib.loads(FACTS.read_text(encoding="utf-8"))


def pieces_cover(pieces: list[tuple[int, int]], from_khz: int, to_khz: int) -> bool:
    """Whether the pieces reach from edge to edge and never beyond."""
    return bool(pieces) and min(pieces)[0] == from_khz and max(high for _, high in pieces) == to_khz


@pytest.mark.parametrize("code", [*OWN, "CEPT"])
def test_every_fact_is_carried_with_its_power(facts: dict[str, Any], code: str) -> None:
    one = territory_or_group(code)
    for fact in facts["rules"][code]:
        low, high = (round(edge * 1000) for edge in fact["range_mhz"])
        if fact["use"].startswith("PROHIBITED"):
            assert (low, high) in [(span.from_khz, span.to_khz) for span in one.closed], fact
            continue
        within = [row for row in one.rows if low <= row.from_khz and row.to_khz <= high]
        if "max_power_mw" in fact:
            power = (fact["max_power_mw"], fact["power_ref"], fact.get("max_power_body_worn_mw"))
            within = [
                row
                for row in within
                if power[0] in (row.max_mw, row.max_body_worn_mw)
                and row.power_reference == power[1]
                and power[2] in (None, row.max_body_worn_mw)
            ]
        assert pieces_cover([(row.from_khz, row.to_khz) for row in within], low, high), fact


def test_nothing_is_stated_that_the_facts_did_not_see(facts: dict[str, Any]) -> None:
    for code in (*OWN, "CEPT"):
        for row in territory_or_group(code).rows:
            same = [
                fact
                for fact in facts["rules"][code]
                if round(fact["range_mhz"][0] * 1000) <= row.from_khz
                and row.to_khz <= round(fact["range_mhz"][1] * 1000)
            ]
            assert same or "memory" in row.source, row.id
            if row.evidence == "stated":
                assert any(fact["basis"] == "seen" for fact in same), row.id


def test_every_country_of_the_implementation_table_is_carried(facts: dict[str, Any]) -> None:
    table = facts["cept_implementation"]
    for name, letters in table.items():
        if not isinstance(letters, dict):
            continue
        row = name.split("_")[0]
        carried = {country.itu: country.rows[row] for country in implementation_table().country.values()}
        assert carried == letters

"""How old what is known is, and rows that a person read and corrected for all shoots."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.cli.test_law import a_shoot, kit, placed, planned, run

from linkwright.rules import use_corrections

Capture = pytest.CaptureFixture[str]
CORRECTED = """
document = "general assignment 12/2026, section 3"
read_on = 2027-05-02

[[row]]
id = "de-general-823-832"
max_mw = 20
power_reference = "eirp"
without = ["until"]
"""


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    folder = tmp_path / "data" / "linkwright" / "rules"
    folder.mkdir(parents=True)
    yield folder
    use_corrections(())


def test_the_least_sure_and_the_oldest_come_first(capsys: Capture) -> None:
    found = json.loads(call(capsys, "rules", "--stale", "--date", "2027-05-14", "--json").out)["rows"]
    order = ["memory", "seen_secondary", "computed", "seen"]
    keys = [(order.index(row["basis"]), row["as_of"]) for row in found]
    assert keys == sorted(keys)
    assert {row["id"].split("-")[0] for row in found} >= {"gb", "us", "de", "jp", "cept"}
    assert all(row["read"] and row["age_days"] >= 0 for row in found)
    said = call(capsys, "rules", "GB", "--stale", "--date", "2027-05-14")
    assert "gb-coordinated-960-1164" in said.out
    assert "us-part-15" not in said.out
    assert "from memory" in said.out
    assert call(capsys, "rules").status == 2


def test_a_row_that_was_read_is_corrected_for_all_shoots(capsys: Capture, own: Path, tmp_path: Path) -> None:
    text = a_shoot("DE", kit("[[823.2, 831.8]]"), permits='"de-general"')
    assert placed(planned(capsys, tmp_path, text)) == []
    (own / "germany.toml").write_text(CORRECTED, "utf-8")
    plan = planned(capsys, tmp_path, text)
    assert [one["power_mw"] for one in placed(plan)] == [10]
    assert not any(one["code"] == "assumed-rule" for one in plan["findings"])
    said = " ".join(run(capsys, tmp_path, "why", text, "L1", "827.0").out.split())
    assert "up to 20 mW conducted: row de-general-823-832" in said
    assert "general assignment 12/2026, section 3; stated; read by you, 2027-05-02" in said
    assert "read by you, 2027-05-02" in " ".join(call(capsys, "rules", "DE", "--date", "2027-05-14").out.split())
    last = json.loads(call(capsys, "rules", "DE", "--stale", "--json").out)["rows"][-1]
    assert (last["id"], last["read_on"]) == ("de-general-823-832", "2027-05-02")
    (own / "germany.toml").unlink()
    assert placed(planned(capsys, tmp_path, text)) == []


@pytest.mark.parametrize(
    ("was", "given", "words"),
    [
        (
            'document = "general assignment 12/2026, section 3"',
            "",
            "germany.toml: cannot be read as corrected rules",
        ),
        ("read_on = 2027-05-02", "", "read_on"),
        ("max_mw = 20", "max_mw = -20", 'the corrected row "de-general-823-832" does not fit: max_mw'),
        ("max_mw = 20", "wattage = 20", "does not fit"),
        ("max_mw = 20", 'permit = "de-quay"\nmax_mw = 20', "the corrected rules do not fit: "),
        ("de-general-823-832", "de-general-823-382", 'did you mean "de-general-823-832"?'),
        ("[[row]]", "[[row", "germany.toml"),
    ],
)
def test_a_correction_that_does_not_fit_is_one_sentence(
    capsys: Capture, own: Path, was: str, given: str, words: str
) -> None:
    (own / "germany.toml").write_text(CORRECTED.replace(was, given), "utf-8")
    said = call(capsys, "rules", "DE")
    assert said.status == 2
    assert words in said.err
    assert len(said.err.strip().splitlines()) == 1

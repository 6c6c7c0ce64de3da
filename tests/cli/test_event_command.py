"""`linkwright event` from outside: crews' files in, one plan out."""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from typing import Any

import pytest
from tests.cli.calling import call

EVENT = """[shoot]
title = "Harbour games"
region = "GB"
permits = ["gb-coordinated"]
accepts = ["gb-coordinated-470-606"]
date = 2027-06-28

[[site]]
name = "North stand"
latitude = 50.1
longitude = -5.0
spots = [{ name = "Gate", x_m = 10, y_m = 0 }]

[[site]]
name = "Slipway"
latitude = 50.2
longitude = -5.0
"""
CREW = """[shoot]
title = "{title}"
region = "GB"
date = 2027-06-28

[[site]]
name = "{site}"
latitude = {latitude}
longitude = -5.0
spots = [{{ name = "Cart", x_m = 0, y_m = 0, z_m = 1.6 }}, {{ name = "Gate", x_m = 8, y_m = 3 }}]

[transmitter.pack]
use = "uhf-body-worn"
tunes_mhz = [[{low}, {high}]]

[[link]]
name = "Presenter"
transmitter = "pack"
receiver = "uhf-cart-rack"
at = "Cart"
route = ["Gate"]

[[link]]
name = "Guest"
transmitter = "pack"
receiver = "uhf-cart-rack"
at = "Cart"
route = ["Gate"]

[[call]]
name = "Final"
site = "{site}"
from = {starts:02d}:00:00
to = {ends:02d}:00:00
"""


def crew(title: str, starts: int = 9, **more: object) -> str:
    given = {"site": "North stand", "latitude": 50.1, "low": 518.0, "high": 566.0, "ends": starts + 3, **more}
    return CREW.format(title=title, starts=starts, **given)


def written(folder: Path, **files: str) -> list[str]:
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text, "utf-8")
    return [f"{name}.toml" for name in files]


def test_crews_with_the_same_names_become_one_plan(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    names = written(tmp_path, event=EVENT, a=crew("Radio A"), b=crew("Radio B", 11), c=crew("Radio C", 14))
    done = call(capsys, "event", *names, "-o", "plan.json", "--write-shoot", "whole.toml")
    assert done.status == 0, done.err
    assert "Radio A" in done.out
    assert "Radio C" in done.out
    plan = json.loads((tmp_path / "plan.json").read_text("utf-8"))
    assert [call["call"] for call in plan["calls"]] == [f"Radio {one}: Final" for one in "ABC"]
    assert {call["site"] for call in plan["calls"]} == {"North stand"}
    of = [[link["carrier_khz"] for link in call["links"]] for call in plan["calls"]]
    assert [len(one) for one in of] == [2, 2, 2]
    for together in (of[0] + of[1], of[1] + of[2]):  # 9 to 12 and 11 to 14, 11 to 14 and 14 to 17 do not meet
        assert len(set(together)) == len(together) or together == of[1] + of[2]
    assert all(b - a >= 350 for a, b in itertools.pairwise(sorted(of[0] + of[1])))
    again = call(capsys, "plan", "whole.toml", "--json")
    assert json.loads(again.out) == plan


def test_the_same_files_give_the_same_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    names = written(tmp_path, event=EVENT, a=crew("Radio A"), b=crew("Radio B"))
    first, second = (call(capsys, "event", *names, "--json") for _ in range(2))
    assert first.out == second.out
    document = json.loads(first.out)
    assert [one["crew"] for one in document["crews"]] == ["Radio A", "Radio B"]
    assert [one["assignments"] for one in document["crews"]] == [2, 2]


def test_a_site_within_metres_is_the_same_with_spots_where_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    # 0.0001 degrees north: 11.1 m by 111.2 km a degree (a sphere of 6371 km).
    names = written(tmp_path, event=EVENT, a=crew("Radio A", site="Our gate", latitude=50.1001))
    assert call(capsys, "event", *names, "--write-shoot", "whole.toml", "-o", "plan.json").status == 0
    text = (tmp_path / "whole.toml").read_text("utf-8")
    assert "Our gate" not in text
    spots = text.partition('name = "North stand"')[2].partition("[[site]]")[0]
    assert "Radio A: Cart" in spots
    assert "y_m = 11.12" in spots


def test_who_does_not_fit_is_told_by_crew_with_what_helps(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    narrow: dict[str, Any] = {"low": 518.0, "high": 519.0}
    names = written(
        tmp_path, event=EVENT, a=crew("Radio A", **narrow), b=crew("Radio B", **narrow), c=crew("Radio C", **narrow)
    )
    done = call(capsys, "event", *names, "--json")
    assert done.status == 1
    document = json.loads(done.out)
    missing = [one for one in document["crews"] if one["unplaced"]]
    assert missing
    assert any("More band" in says for one in missing for says in one["helps"])
    told = call(capsys, "event", *names).out
    assert "has no carrier in" in told


def test_an_earlier_plan_is_kept_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    names = written(tmp_path, event=EVENT, a=crew("Radio A"), b=crew("Radio B"))
    call(capsys, "event", *names, "-o", "plan.json")
    before = json.loads((tmp_path / "plan.json").read_text("utf-8"))
    more = written(tmp_path, c=crew("Radio C"))
    call(capsys, "event", *names, *more, "--keep", "plan.json", "-o", "after.json")
    after = json.loads((tmp_path / "after.json").read_text("utf-8"))
    carriers = [
        {link["link"]: link["carrier_khz"] for call in plan["calls"] for link in call["links"]}
        for plan in (before, after)
    ]
    assert carriers[0].items() <= carriers[1].items()
    assert len(carriers[1]) == 6


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("empty", "", 'empty.toml: the shoot lacks "shoot"'),
        ("us", crew("Radio X").replace('"GB"', '"US"'), 'us.toml: has the region "US"; event.toml has "GB"'),
        ("late", crew("Radio X").replace("[[site]]", 'timezone = "UTC"\n[[site]]', 1), 'has the time zone "UTC"'),
        ("same", crew("Radio A"), 'same.toml: is of the crew "Radio A", as a.toml is'),
        ("far", crew("Radio X", latitude=51.0), 'far.toml: site "North stand" lies 100.1 km from the one of that'),
        ("long", crew("X" * 75), "is too long a name for the event; expected 80 characters"),
        ("bad", crew("Radio X").replace('route = ["Gate"]', 'route = ["Gat"]'), 'did you mean "Gate"?'),
        ("none", EVENT.replace("games", "crew"), "none.toml, line 1: the shoot has no link"),
        ("json", '{"format": "linkwright-plan/2"}', "json.toml"),
        ("binary", "\x00\x01\x02", "binary.toml"),
    ],
)
def test_what_is_no_crews_file_is_told_and_nothing_is_written(
    name: str,
    text: str,
    says: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    names = written(tmp_path, event=EVENT, a=crew("Radio A"), **{name: text})
    before = (tmp_path / "a.toml").read_bytes()
    done = call(capsys, "event", *names, "-o", "plan.json")
    assert done.status == 2
    assert says in done.err
    assert "Traceback" not in done.err
    assert not (tmp_path / "plan.json").exists()
    assert (tmp_path / "a.toml").read_bytes() == before


def test_every_broken_file_is_told_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    names = written(tmp_path, event=EVENT, a="[[[", b=crew("Radio B"))
    done = call(capsys, "event", *names, "missing.toml", "b.toml")
    assert done.status == 2
    assert "a.toml, line 1" in done.err
    assert "missing.toml: there is no such file" in done.err
    assert "b.toml: is a file that is named twice" in done.err


def test_wishes_and_licences_of_a_crew_stay_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    licence = '\n[[permit]]\nname = "Ours"\ncarriers_mhz = [520.0, 521.0]\nmax_mw = 20.0\npower_reference = "erp"\n'
    wishing = crew("Radio A").replace("date =", 'power = "most"\npermits = ["gb-shared"]\ndate =', 1) + licence
    names = written(tmp_path, event=EVENT, a=wishing, b=crew("Radio B"))
    done = call(capsys, "event", *names, "--write-shoot", "whole.toml", "--json")
    assert "a.toml: permits gb-shared are not those of event.toml" in " ".join(json.loads(done.out)["told"])
    text = (tmp_path / "whole.toml").read_text("utf-8")
    assert text.count('power = "most"') == 2
    assert '"Radio A: Presenter"' in text.partition("[[permit]]")[2]


def test_the_first_file_may_be_a_crews(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    own = crew("Radio A").replace("date =", 'permits = ["gb-coordinated"]\ndate =', 1)
    names = written(tmp_path, a=own, b=crew("Radio B"))
    done = call(capsys, "event", *names, "--json")
    assert [one["crew"] for one in json.loads(done.out)["crews"]] == ["Radio A", "Radio B"]

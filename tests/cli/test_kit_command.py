"""The bag from outside: kept for all shoots, carried elsewhere, written into a shoot, with what was measured."""

from __future__ import annotations

import io
import json
import os
import pty
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import pytest
from tests.cli.calling import Said, call

from linkwright.desk.archive import BAG, Packing, bag_in
from linkwright.shoot.catalogue import catalogue
from linkwright.shoot.errors import InputError
from linkwright.store import kitbook

Capture = pytest.CaptureFixture[str]
pytestmark = pytest.mark.usefixtures("home")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A person who has kept nothing yet, in an empty folder."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    return tmp_path


def kit(capsys: Capture, *words: str) -> dict[str, Any]:
    said = call(capsys, "kit", *words, "--json")
    assert said.status == 0, said.err
    found: dict[str, Any] = json.loads(said.out)
    return found


def figure(item: dict[str, Any], what: str) -> dict[str, str]:
    found: dict[str, str] = next(one for one in item["figures"] if one["what"] == what)
    return found


def test_an_empty_bag_offers_the_classes_in_words_and_no_ids(capsys: Capture, home: Path) -> None:
    said = call(capsys, "kit")
    assert said.status == 0
    for words in ("body-worn, 470-694 MHz", "in-ear transmitter, 863-865 MHz", "lapel microphone"):
        assert words in said.out
    assert not [name for kind in catalogue().values() for name in kind if f" {name} " in f" {said.out} "]
    assert not (home / "data").exists()


def test_an_item_is_added_shown_changed_and_taken_out(capsys: Capture) -> None:
    added = [
        "add",
        "Pocket",
        "--as",
        "body-worn 470-694",
        "--count",
        "3",
        "--mark",
        "red",
        "--cells",
        "2 AA nimh 2000",
    ]
    item = kit(capsys, *added)["item"]
    assert (item["class"], item["count"], item["mark"]) == ("body-worn, 470-694 MHz", 3, "red")
    assert figure(item, "Cells") == {
        "what": "Cells", "value": "2 AA nimh, 2000 mAh", "evidence": "stated", "source": "given",
    }  # fmt: skip
    assert figure(item, "Powers")["evidence"] == "assumed"
    changed = kit(capsys, "add", "pocket", "--serial", "7", "--with", "spacing_khz = 350")["item"]
    assert (changed["count"], changed["serial"], figure(changed, "Spacing")["value"]) == (3, "7", "350 kHz")
    assert [item["name"] for item in kit(capsys)["bag"]] == ["Pocket"]
    told = call(capsys, "kit", "show", "Pocket").out
    assert "Pocket: body-worn, 470-694 MHz, 3 of it, marked red, serial 7" in told
    kit(capsys, "remove", "Pocket")
    assert kit(capsys)["bag"] == []


def test_what_was_measured_outranks_and_says_how(capsys: Capture) -> None:
    kit(capsys, "add", "Slot", "--as", "camera 470-694")
    item = kit(
        capsys, "measure", "Slot", "noise-figure", "--is", "5.5", "--how", "noise source", "--on", "2027-05-01"
    )["item"]
    assert figure(item, "Noise figure") == {
        "what": "Noise figure", "value": "5.5 dB", "evidence": "measured",
        "source": "measured 2027-05-01, noise source",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["add", "Pocket"], "say what it is with --as"),
        (["add", "Pocket", "--as", "body-worn"], 'may be "body-worn, 470-694 MHz", "body-worn'),
        (["add", "Pocket", "--as", "trumpet"], "is no class of the catalogue"),
        (["add", "Pocket", "--as", "body-worn 470-694", "--cells", "two"], "expected how many, size, chemistry"),
        (["add", "Pocket", "--as", "body-worn 470-694", "--with", "powrs_mw = [5]"], 'did you mean "powers_mw"?'),
        (["add", "Pocket", "--as", "body-worn 470-694", "--carriers", "none.csv"], "there is no such file"),
        (["show", "Poket"], "is no class"),
        (["remove", "Pocket"], 'the bag has no "Pocket"'),
        (["ad", "Pocket"], 'did you mean "add"?'),
        (["measure", "Pocket"], "expected `linkwright kit measure NAME WHAT`"),
    ],
)
def test_what_cannot_be_done_is_told_in_a_sentence(
    capsys: Capture, home: Path, words: list[str], says: str
) -> None:
    said = call(capsys, "kit", *words)
    assert said.status == 2
    assert says in said.err
    assert "Traceback" not in said.err
    assert not (home / "data").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ["noise figure", "--is", "5", "--how", "x"],
            "is not measured of Pocket; of a transmitter that is run time",
        ),
        (["output power", "--is", "5"], "say with what it was measured"),
        (["output power", "--is", "much", "--how", "x"], "expected output power in mW"),
        (["output power", "--is", "5", "--how", "x"], "power_mw is the step"),
    ],
)
def test_a_measurement_that_is_none_is_refused(capsys: Capture, words: list[str], says: str) -> None:
    kit(capsys, "add", "Pocket", "--as", "body-worn 470-694")
    said = call(capsys, "kit", "measure", "Pocket", *words)
    assert (said.status, says in said.err) == (2, True), said.err


def test_a_damaged_bag_is_told_with_its_line(capsys: Capture, home: Path) -> None:
    file = home / "data" / "linkwright" / "kit.toml"
    file.parent.mkdir(parents=True)
    file.write_text('[[item]]\nname = "A"\nuse = "uhf-body-worn"\n\n[[item]]\nname = "B"\nuse = "lapel"\nspl = 3\n')
    said = call(capsys, "kit")
    assert said.status == 2
    assert "kit.toml, line 8" in said.err
    assert 'unknown key "spl"' in said.err


def test_it_goes_out_and_comes_in_again_alone_and_in_an_archive(
    capsys: Capture, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit(capsys, "add", "Pocket", "--as", "body-worn 470-694", "--mark", "red")
    before = kitbook.own_bag()
    assert kit(capsys, "export", "bag.toml")["items"] == ["Pocket"]
    archive = io.BytesIO()
    packing = Packing(archive)
    packing.put(BAG, [Path("bag.toml").read_bytes()])
    packing.finish("A job")
    Path("job.zip").write_bytes(archive.getvalue())
    for file in ("bag.toml", "job.zip"):
        monkeypatch.setenv("XDG_DATA_HOME", str(home / f"elsewhere-{file}"))
        assert kit(capsys, "import", file)["items"] == ["Pocket"]
        assert kitbook.own_bag() == before


def test_an_archive_without_a_bag_or_with_a_huge_one_is_refused(tmp_path: Path) -> None:
    for name, members in {"none.zip": {"x": b"1"}, "huge.zip": {BAG: b" " * (kitbook.MOST_BYTES + 1)}}.items():
        with zipfile.ZipFile(tmp_path / name, "w", zipfile.ZIP_DEFLATED) as archive:
            for member, data in members.items():
                archive.writestr(member, data)
        with pytest.raises(InputError, match=r"carries no bag|has more than"):
            bag_in(tmp_path / name)


def new_shoot(capsys: Capture, *more: str) -> Said:
    return call(
        capsys,
        "new",
        ".",
        "--where",
        "Quay",
        "--region",
        "GB",
        "--who",
        "Pilot, Cook, Mate",
        "--on",
        "2027-05-14",
        *more,
    )


def test_from_an_empty_folder_three_links_are_planned_in_two_commands(capsys: Capture) -> None:
    said = new_shoot(capsys)
    assert said.status == 0, said.err
    assert "linkwright plan shoot.toml" in said.out
    planned = call(capsys, "plan", "shoot.toml", "--json")
    assert planned.status in (0, 1), planned.err
    (one_call,) = json.loads(planned.out)["calls"]
    assert [link["link"] for link in one_call["links"]] == ["Pilot", "Cook", "Mate"]
    assert all(863_000 < link["carrier_khz"] < 865_000 for link in one_call["links"])  # exempt use in GB


def test_the_second_shoot_with_the_same_bag_takes_two_commands(capsys: Capture) -> None:
    kit(capsys, "add", "Pocket", "--as", "body-worn 470-694", "--count", "2", "--mark", "red")
    kit(capsys, "add", "Camera slots", "--as", "camera 470-694")
    measured = ["output power", "--is", "17", "--at-mw", "20", "--how", "power meter", "--on", "2027-05-01"]
    kit(capsys, "measure", "Pocket", *measured)
    kit(
        capsys,
        "measure",
        "Camera slots",
        "noise figure",
        "--is",
        "6",
        "--how",
        "noise source",
        "--on",
        "2027-05-01",
    )
    kit(capsys, "measure", "Camera slots", "intercept", "--is", "-12", "--how", "two tones", "--on", "2027-05-01")
    said = new_shoot(capsys, "--permit", "gb-coordinated", "--within", "10")
    assert "Mate gets nothing: no transmitter is left in the bag." in said.out
    document = tomllib.loads(Path("shoot.toml").read_text("utf-8"))
    assert document["transmitter"]["Pocket"]["mark"] == "red"
    assert document["shoot"]["timezone"] == "Europe/London"
    planned = call(capsys, "plan", "shoot.toml", "--json")
    links = json.loads(planned.out)["calls"][0]["links"]
    assert [link["link"] for link in links] == ["Pilot", "Cook"]
    for link in links:
        lines = {line["part"]: line for line in link["ledger"]}
        assert lines["output power"]["evidence"] == "measured"
        assert lines["output power"]["db"] == pytest.approx(-0.71, abs=0.01)  # 10 log10(17/20)
        assert lines["thermal"]["evidence"] == "measured"
        assert lines["thermal"]["dbm"] == pytest.approx(-115.0, abs=0.05)  # -174 + 53 + 6 dB
        assert link["wanted_dbm"] == pytest.approx(
            sum(x["db"] for x in link["ledger"] if x["what"] == "wanted"), abs=0.02
        )


def test_a_shoot_is_whole_without_the_bag_and_an_item_is_written_into_another(
    capsys: Capture, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit(capsys, "add", "Pocket", "--as", "body-worn 863", "--with", "powers_mw = [2]")
    new_shoot(capsys)
    monkeypatch.setenv("XDG_DATA_HOME", str(home / "nowhere"))
    planned = json.loads(call(capsys, "plan", "shoot.toml", "--json").out)
    assert {link["power_mw"] for link in planned["calls"][0]["links"]} == {2.0}
    monkeypatch.setenv("XDG_DATA_HOME", str(home / "data"))
    kit(capsys, "add", "Boom", "--as", "plug-on 863")
    assert call(capsys, "kit", "write", "Boom", "shoot.toml").status == 0
    assert tomllib.loads(Path("shoot.toml").read_text("utf-8"))["transmitter"]["Boom"]["use"] == "free-plug-on"
    again = call(capsys, "kit", "write", "Boom", "shoot.toml")
    assert (again.status, "has transmitter Boom already" in again.err) == (2, True)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--region", "QQ"], 'no rules are known for region "QQ"'),
        (["--region", "US"], 'say which time zone it is in, or where the place is: US has "America/New_York"'),
        (["--region", "US", "--timezone", "EST"], 'expected an IANA time zone; US has "America/New_York"'),
        (["--who", " , "], "nobody gets anything"),
        (["--kit", "trumpet"], '"trumpet" is no class of the catalogue'),
        (["--permit", "gb-shard"], "gb-shard"),
        (["--from", "9"], "--from"),
        (["--from", "09:00"], "stand together"),
        (["--on", "tomorrow"], "expected a day such as"),
        (["--surroundings", "forest"], "expected one of open, street"),
    ],
)
def test_what_cannot_begin_a_shoot_is_told_and_nothing_is_written(
    capsys: Capture, more: list[str], says: str
) -> None:
    said = new_shoot(capsys, *more)
    assert said.status == 2
    assert says in said.err
    assert not list(Path.cwd().iterdir())


def test_what_is_missing_is_named_where_nobody_can_be_asked(capsys: Capture) -> None:
    said = call(capsys, "new", "--region", "GB", "--who", "Pilot")
    assert (said.status, "--where is missing" in said.err) == (2, True)


def test_a_place_tells_the_time_zone_of_a_region_that_has_several(capsys: Capture) -> None:
    said = new_shoot(capsys, "--region", "US", "--at", "39.74,-104.99", "--from", "09:00", "--to", "17:00")
    assert said.status == 0, said.err
    document = tomllib.loads(Path("shoot.toml").read_text("utf-8"))
    assert document["shoot"]["timezone"] == "America/Denver"
    planned = json.loads(call(capsys, "plan", "shoot.toml", "--json").out)
    assert len(planned["calls"][0]["links"]) == 3


def test_nothing_is_written_over(capsys: Capture) -> None:
    new_shoot(capsys)
    again = new_shoot(capsys)
    assert (again.status, "shoot.toml: is there already" in again.err) == (2, True)


def test_on_a_terminal_what_was_not_said_is_asked(home: Path) -> None:
    ours, theirs = pty.openpty()
    answers = ["Quay", "gb", "2027-05-14", "Pilot, Cook", "body-worn 863-865"]
    os.write(ours, "".join(f"{answer}\n" for answer in answers).encode())
    done = subprocess.run(
        [sys.executable, "-m", "linkwright.cli", "new", "job"],
        stdin=theirs,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert [question in done.stderr for question in ("Where is it?", "With what?")] == [True, True]
    assert "Pilot, Cook: body-worn, 863-865 MHz." in done.stdout
    document = tomllib.loads((home / "work" / "job" / "shoot.toml").read_text("utf-8"))
    assert (document["shoot"]["region"], document["site"][0]["name"]) == ("GB", "Quay")

"""Places that were kept: what comes back, what is near, what is damaged, and whose folder it is."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from linkwright.shoot.errors import InputError
from linkwright.shoot.kept_place import KeptCarrier, KeptPlace
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.times import Run
from linkwright.store.placebook import PlaceBook, own_folder

LEARNT = Learnt(
    site="Quay", readings=900, nearest_m=3.0, farthest_m=60.0, reference_m=20.0, offset_db=-2.5, offset_low_db=-4.0,
    offset_high_db=-1.0, slope_db=1.0, slope_low_db=-3.0, slope_high_db=5.0, sigma_db=2.0,
)  # fmt: skip


def place(name: str = "Quay", latitude: float = 50.1550, day: int = 14) -> KeptPlace:
    return KeptPlace(
        name=name, shoot="Harbour pilots", date=datetime.date(2027, 5, day), latitude=latitude, longitude=-5.0450,
        tv=("21", "24"), carriers=(KeptCarrier(centre_mhz=606.3, bandwidth_khz=25.0, duty=0.5),),
        notes=('It says "no", and\nmore.',), learnt=LEARNT,
        run=(Run(transmitter="pocket", ran_h=6.5, power_mw=10.0),),
    )  # fmt: skip


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    book = PlaceBook(tmp_path / "deep" / "places")
    id_ = book.keep(place(), {"../../quay 0830.csv": b"1,2\n", "quay 0830.csv": b"3,4\n"})
    back = book.place(id_)
    assert back.model_copy(update={"sweeps": ()}) == place()
    assert [book.sweep(id_, name) for name in back.sweeps] == [b"1,2\n", b"3,4\n"]
    files = sorted(str(one.relative_to(tmp_path)) for one in tmp_path.rglob("*") if one.is_file())
    assert all(file.startswith("deep/places/quay-2027-05-14") for file in files)
    assert len(files) == 3


def test_nothing_that_is_kept_is_written_over(tmp_path: Path) -> None:
    book = PlaceBook(tmp_path)
    ids = {book.keep(place(), {"s.csv": bytes([n])}) for n in range(3)}
    assert ids == {"quay-2027-05-14", "quay-2027-05-14-2", "quay-2027-05-14-3"}
    assert sorted(book.sweep(id_, "1-s.csv") for id_ in ids) == [b"\0", b"\1", b"\2"]


def test_the_nearest_come_first_and_the_far_not_at_all(tmp_path: Path) -> None:
    book = PlaceBook(tmp_path)
    # a minute of arc of latitude is 1.853 km on the mean sphere (6371.0088 km x pi / 10800)
    for name, minutes in (("here", 0.0), ("a minute", 1.0), ("two", 2.0)):
        book.keep(place(name, 50.1550 + minutes / 60.0), {})
    book.keep(place("here later", 50.1550, 15), {})
    found = book.near(50.1550, -5.0450)
    assert [one.place.name for one in found] == ["here later", "here", "a minute"]
    assert found[2].away_km == pytest.approx(1.853, abs=0.001)


@pytest.mark.parametrize(
    "text", ["", "a = ", "format = 'linkwright-place/9'", "x = 1\n" * 300_000, "\0", "[a]\n" * 9]
)
def test_a_damaged_file_is_passed_over_and_told_by_its_name(tmp_path: Path, text: str) -> None:
    book = PlaceBook(tmp_path)
    book.keep(place(), {})
    (tmp_path / "bad.toml").write_text(text)
    (tmp_path / "worse.toml").write_bytes(b"\xff\xfe")
    assert len(book.near(50.1550, -5.0450)) == 1
    with pytest.raises(InputError, match=r"bad\.toml(, line \d+)?: "):
        book.place("bad")


@pytest.mark.parametrize("id_", ["../../etc/passwd", "", ".", "quay-2027-05-14/../x", "/etc/hostname"])
def test_an_id_is_never_a_path(tmp_path: Path, id_: str) -> None:
    book = PlaceBook(tmp_path)
    with pytest.raises(InputError, match="not kept any more"):
        book.place(id_)


def test_a_sweep_that_a_file_names_is_looked_for_beside_it_only(tmp_path: Path) -> None:
    book = PlaceBook(tmp_path / "places")
    id_ = book.keep(place(), {})
    path = tmp_path / "places" / f"{id_}.toml"
    (tmp_path / "secret").write_text("secret")
    path.write_text(path.read_text().replace("tv = [", 'sweeps = ["../secret", "../../secret"]\ntv = [', 1))
    for name in ("../secret", "../../secret"):
        with pytest.raises(InputError):
            book.sweep(id_, name)


@given(st.text(max_size=80).filter(bool))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_name_makes_a_file_of_its_own(tmp_path: Path, name: str) -> None:
    book = PlaceBook(tmp_path / "places")
    id_ = book.keep(place(name), {name: b"x"})
    assert book.place(id_).name == name
    inside = (tmp_path / "places", tmp_path / "places" / id_)
    assert all(one.parent in inside for one in tmp_path.rglob(f"{id_}*.toml"))


def test_a_folder_that_cannot_be_written_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="could not be kept"):
        PlaceBook(tmp_path / "file" / "places").keep(place(), {})


def test_the_folder_is_the_person_s_own() -> None:
    """XDG Base Directory Specification 0.8: relative paths are to be ignored, the default is ~/.local/share."""
    assert own_folder({"XDG_DATA_HOME": "/data"}) == Path("/data/linkwright/places")
    home = Path("~").expanduser() / ".local/share/linkwright/places"
    assert own_folder({}) == home
    assert own_folder({"XDG_DATA_HOME": "relative"}) == home

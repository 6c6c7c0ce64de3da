"""The archive: everything comes back, nothing is written over, and no hostile file gets anywhere."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.web.conftest import client_of, planned
from tests.web.wrapped import day_behind, log_csv

from linkwright.desk import archive
from linkwright.desk.archive import FORMAT, JOB, LIST, is_zip, open_beside, take_shoot
from linkwright.shoot.errors import InputError
from linkwright.store import Store
from linkwright.store.migrate import KINDS
from linkwright.watch.log.kept import unpacked
from linkwright.watch.log.reading import read_log


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """An archive, and the job that it was made of (closed)."""
    folder = tmp_path_factory.mktemp("archive")
    job, path = folder / "job.lwjob", folder / "day.zip"
    with Store.open(job, create=True) as store, day_behind(store) as client:
        client.post("/wrap/logs", files={"file": ("../rack.csv", log_csv(), "text/csv")})
        answered = client.get("/wrap/archive.zip")
        assert answered.status_code == 200, answered.text
        path.write_bytes(answered.content)
    return path, job


@pytest.fixture
def made(once: tuple[Path, Path], tmp_path: Path) -> tuple[Path, Path]:
    """Copies of both, the archive in a folder of its own."""
    job, path = tmp_path / "job.lwjob", tmp_path / "out" / "day.zip"
    path.parent.mkdir()
    shutil.copy(once[0], path)
    shutil.copy(once[1], job)
    return path, job


def test_everything_comes_back(made: tuple[Path, Path]) -> None:
    path, job = made
    target = open_beside(path)
    assert target == path.with_suffix(".lwjob")
    with Store.open(job) as before, Store.open(target) as after:
        assert after.document().document == before.document().document
        assert after.document().ids == before.document().ids
        assert after.happenings() == before.happenings()
        kept = before.attachment_list()
        assert after.attachment_list() == kept
        assert [after.attachment(one.id) for one in kept] == [before.attachment(one.id) for one in kept]
        with client_of(after) as client:
            planned(client)
            assert "One link broke up in" in client.get("/wrap").text or client.get("/wrap.csv").status_code == 200


def test_the_files_for_eyes_are_what_the_list_says(made: tuple[Path, Path], tmp_path: Path) -> None:
    with zipfile.ZipFile(made[0]) as archive:
        assert archive.testzip() is None
        about = json.loads(archive.read(LIST))
        assert about["format"] == FORMAT
        assert set(about["files"]) == set(archive.namelist()) - {LIST}
        for name, said in about["files"].items():
            data = archive.read(name)
            assert (len(data), hashlib.sha256(data).hexdigest()) == (said["bytes"], said["sha256"])
        names = set(archive.namelist())
        assert {JOB, "shoot.toml", "plan.json", "readings.csv", "episodes.json", "happenings.csv", "wrap.csv",
                "sheets/wrap.pdf", "sheets/crew.pdf", "logs/rack.csv", "files/sweep.csv"} <= names  # fmt: skip
        assert not any(".." in name or name.startswith("/") for name in names)
        (tmp_path / "readings.csv").write_bytes(archive.read("readings.csv"))
    log = read_log(tmp_path / "readings.csv")
    assert {track.link: track.time_ns.size for track in log.tracks} == {
        "Presenter": 3600,
        "Boom": 3600,
        "Raker": 300,
    }
    with Store.open(made[1]) as store:
        kept = [unpacked(store.attachment(one.id)) for one in store.attachment_list() if one.kind == "readings"]
    boom = log.track("Boom")
    assert boom is not None
    levels = [level for one in kept for level in one.rf_a_dbm[one.link == 1].tolist()]
    assert boom.values[:, 0].tolist() == levels


def test_the_same_job_gives_the_same_names(made: tuple[Path, Path]) -> None:
    with zipfile.ZipFile(made[0]) as archive:
        assert {one.date_time for one in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_never_over_a_job_that_is_there(made: tuple[Path, Path]) -> None:
    target = made[0].with_suffix(".lwjob")
    target.write_text("mine")
    with pytest.raises(InputError, match="is there already"):
        open_beside(made[0])
    assert target.read_text() == "mine"
    assert sorted(one.name for one in made[0].parent.iterdir()) == ["day.lwjob", "day.zip"]


def test_the_command_opens_it(made: tuple[Path, Path]) -> None:
    """`serve ARCHIVE` unpacks beside it; a second time it says that the job is there."""
    made[0].with_suffix(".lwjob").write_text("mine")
    done = subprocess.run(
        [sys.executable, "-m", "linkwright.cli", "serve", str(made[0]), "--port", "0"],
        capture_output=True, text=True, timeout=60, env={**os.environ}, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "is there already" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_page_shoot_takes_it(made: tuple[Path, Path], tmp_path: Path) -> None:
    with Store.open(tmp_path / "other.lwjob", create=True) as store, client_of(store) as client:
        answered = client.post("/api/import", files={"file": ("day.zip", made[0].read_bytes(), "application/zip")})
        assert answered.status_code == 200, answered.text
        assert (answered.json()["missing"], answered.json()["problems"]) == ([], 0)
        assert [one.name for one in store.attachment_list()] == ["sweep.csv"]
        assert client.post("/api/undo").json()["changed"]
        assert store.document().document == {}


def rewritten(path: Path, change: Callable[[dict[str, bytes]], object]) -> None:
    """The archive with other files."""
    with zipfile.ZipFile(path) as archive:
        files = {JOB: archive.read(JOB), LIST: archive.read(LIST)}
    change(files)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)


def listed(files: dict[str, bytes], data: bytes) -> None:
    """Put a job in, and say in the list that it is right."""
    files[JOB] = data
    said = {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
    files[LIST] = json.dumps({"format": FORMAT, "files": {JOB: said}}).encode()


HOSTILE: dict[str, Callable[[dict[str, bytes]], object]] = {
    "a path that climbs": lambda f: f.update({"../../evil": b"x"}),
    "an absolute path": lambda f: f.update({"/etc/evil": b"x"}),
    "a path of another system": lambda f: f.update({"..\\evil": b"x"}),
    "no list": lambda f: f.pop(LIST),
    "no job": lambda f: f.pop(JOB),
    "another format": lambda f: f.update({LIST: b'{"format": "something/1"}'}),
    "a list that is none": lambda f: f.update({LIST: b"[1, 2"}),
    "a list of nothing": lambda f: f.update({LIST: b"null"}),
    "another length": lambda f: f.update({JOB: f[JOB] + b"x"}),
    "another job": lambda f: f.update({JOB: bytes(len(f[JOB]))}),
    "a job that is no job": lambda f: listed(f, b"not a database at all"),
    "zeros that unpack to much": lambda f: listed(f, bytes(64 * 1024 * 1024)),
    "too many files": lambda f: f.update({f"f{n}": b"" for n in range(10_001)}),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_archive_is_refused_in_one_sentence(what: str, made: tuple[Path, Path]) -> None:
    rewritten(made[0], HOSTILE[what])
    with pytest.raises(InputError) as refused:
        open_beside(made[0])
    assert str(refused.value).count("\n") == 0
    assert sorted(one.name for one in made[0].parent.iterdir()) == ["day.zip"]


@pytest.mark.parametrize("cut", [4, 100, 5000, -30])
def test_a_cut_archive_is_refused(cut: int, made: tuple[Path, Path]) -> None:
    made[0].write_bytes(made[0].read_bytes()[:cut])
    assert is_zip(made[0])
    with pytest.raises(InputError):
        open_beside(made[0])
    assert sorted(one.name for one in made[0].parent.iterdir()) == ["day.zip"]


def test_a_length_that_lies_is_found_out(made: tuple[Path, Path]) -> None:
    """The directory of the zip file says less than comes out of it."""
    rewritten(made[0], lambda files: listed(files, b"x" * 100_000))
    data = bytearray(made[0].read_bytes())
    at = data.rfind(b"PK\x01\x02", 0, data.rfind(LIST.encode()))
    for start in (at, 0):
        place = start + (24 if start else 22)
        data[place : place + 4] = (10).to_bytes(4, "little")
    made[0].write_bytes(bytes(data))
    with pytest.raises(InputError):
        open_beside(made[0])


def test_an_office_document_is_a_zip_file_but_no_archive(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
    path = tmp_path / "list.xlsx"
    path.write_bytes(out.getvalue())
    with pytest.raises(InputError, match=r"without archive\.json"):
        open_beside(path)


@pytest.mark.parametrize("kind", KINDS)
def test_an_archive_of_every_kind_that_was_is_opened(kind: str, tmp_path: Path) -> None:
    """Each was made by the program that wrote that kind; its job says the same as this one's."""
    shutil.copy(Path(__file__).parents[1] / "store" / "kinds" / f"{kind}.zip", tmp_path / "rooms.zip")
    job = open_beside(tmp_path / "rooms.zip")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["rooms.lwjob", "rooms.zip"]
    with Store.open(job) as store:
        assert store.said == ()
        assert [link["name"] for link in store.document().document["link"]] == ["Pilot", "Chef"]
        (air,) = store.attachment_list()
        assert store.attachment(air.id) == b"470.000,-100\n470.025,-99\n" * 40
        assert [change.who for change in store.changes(0)][:2] == ["Potter", "Weaver"]
        undone = store.undo("Weaver")
        assert undone is not None
        assert undone.after == "Cook"
        with Store.open(tmp_path / "into.lwjob", create=True) as into, (tmp_path / "rooms.zip").open("rb") as file:
            assert take_shoot(file, "rooms.zip", into, "Cook") is not None


def test_an_archive_that_grows_too_much_is_not_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archive, "MOST_PLAIN", 1000)
    monkeypatch.setattr(archive, "MOST_GROWN", 10)
    shutil.copy(Path(__file__).parents[1] / "store" / "kinds" / f"{KINDS[-1]}.zip", tmp_path / "rooms.zip")
    with pytest.raises(InputError, match="would grow from"):
        open_beside(tmp_path / "rooms.zip")
    assert [path.name for path in tmp_path.iterdir()] == ["rooms.zip"]

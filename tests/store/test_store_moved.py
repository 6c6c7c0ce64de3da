"""A job that is moved, removed or replaced while it is open; and one that is reached by two names."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from linkwright.halfway import folder, half_of
from linkwright.shoot.errors import InputError
from linkwright.store import Store


def _replaced(job: Path) -> None:
    shutil.copy(job, job.with_name("copy"))
    job.with_name("copy").rename(job)


@pytest.mark.parametrize(
    "gone", [lambda job: job.unlink(), lambda job: job.rename(job.with_name("elsewhere.lwjob")), _replaced]
)
def test_nothing_is_acknowledged_into_a_file_that_is_not_there(
    gone: Callable[[Path], None], tmp_path: Path
) -> None:
    job = tmp_path / "job.lwjob"
    with Store.open(job, create=True) as store:
        store.insert(("link",), {"name": "Pilot"}, "Potter")
        gone(job)
        for _ in range(2):
            with pytest.raises(InputError, match="moved or removed while it was open") as refused:
                store.insert(("link",), {"name": "Cook"}, "Potter")
            found = re.search(r"is in (\S+): close this and open that", str(refused.value))
            assert found is not None
            assert Path(found[1]) == tmp_path / "job-saved.lwjob"
    with Store.open(tmp_path / "job-saved.lwjob") as store:
        assert [link["name"] for link in store.document().document["link"]] == ["Pilot"]


def test_a_folder_that_is_gone_is_told_and_the_job_is_saved_at_home(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    place = tmp_path / "stick"
    place.mkdir()
    with Store.open(place / "job.lwjob", create=True) as store:
        store.set_field(("shoot", "title"), None, "Five rooms", "Potter")
        shutil.rmtree(place)
        with pytest.raises(InputError, match=r"job-saved\.lwjob"):
            store.set_field(("shoot", "title"), "Five rooms", "Six", "Potter")
    with Store.open(tmp_path / "job-saved.lwjob") as store:
        assert store.document().at("shoot", "title") == "Five rooms"


@pytest.mark.parametrize("link", [os.symlink, os.link])
def test_another_name_of_a_job_is_locked_too(link: Callable[[Path, Path], None], tmp_path: Path) -> None:
    with Store.open(tmp_path / "job.lwjob", create=True) as store:
        link(tmp_path / "job.lwjob", tmp_path / "other.lwjob")
        with pytest.raises(InputError, match="is open"):
            Store.open(tmp_path / "other.lwjob")
        store.set_field(("shoot", "title"), None, "Five rooms", "Potter")
    with Store.open(tmp_path / "other.lwjob") as store:
        assert store.document().at("shoot", "title") == "Five rooms"


def test_nobody_else_on_the_machine_may_read_a_job(tmp_path: Path) -> None:
    with Store.open(tmp_path / "job.lwjob", create=True) as store:
        store.set_field(("shoot", "title"), None, "Five rooms", "Potter")
        store.backup(tmp_path / "backup.lwjob")
        assert {oct(path.stat().st_mode & 0o077) for path in tmp_path.iterdir()} == {"0o0"}


def test_what_a_killed_process_left_half_written_goes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    dead, alive = 2**22 + 1, os.getppid()  # above the largest number that Linux gives
    for pid in (dead, alive):
        for name in (f".a.zip.{pid}.half", f".b.zip.{pid}.half"):
            (tmp_path / name).write_bytes(b"x")
            os.utime(tmp_path / name, (0, 0))
        (tmp_path / f"linkwright-pid{pid}-x").mkdir()
        (tmp_path / f"linkwright-pid{pid}-x" / "job").write_bytes(b"x")
    half_of(tmp_path / "a.zip")
    with folder():
        left = sorted(path.name for path in tmp_path.iterdir() if str(os.getpid()) not in path.name)
    assert left == sorted(
        [f".b.zip.{dead}.half", f".a.zip.{alive}.half", f".b.zip.{alive}.half", f"linkwright-pid{alive}-x"]
    )

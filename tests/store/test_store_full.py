"""The disk is full, or refuses: one sentence, nothing lost, and work goes on when there is room."""

from __future__ import annotations

import contextlib
import resource
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from linkwright.shoot.errors import InputError
from linkwright.store import Store

BIG = "x" * 20_000


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of four megabytes."""
    disk = tmp_path / "disk"
    disk.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(disk)]
    if shutil.which("mount") is None or subprocess.run(command, capture_output=True, check=False).returncode != 0:
        pytest.skip("no small disk: mounting one takes root")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def fill(store: Store) -> tuple[list[str], str]:
    """Add until it is refused: the acknowledged ids, and what the refusal said."""
    told: list[str] = []
    try:
        while len(told) < 1000:
            told.append(store.insert(("link",), {"name": str(len(told)), "note": BIG}, "Potter").path[-1])
    except InputError as error:
        return told, str(error)
    pytest.fail("it was never refused")


def check(store: Store, told: list[str]) -> None:
    draft = store.document()
    assert list(draft.ids[("link",)]) == told
    assert draft.revision == len(told)


def test_a_full_disk_is_said_and_costs_nothing(small_disk: Path) -> None:
    filler = small_disk / "filler"
    filler.write_bytes(bytes(2_700_000))
    store = Store.open(small_disk / "job.db", create=True)
    told, said = fill(store)
    assert said == (
        f"{small_disk}/job.db: the disk is full: this last change was not saved, everything before it is safe; "
        "make room on the disk and do it again"
    )
    check(store, told)
    with pytest.raises(InputError, match="the disk is full"):
        store.attach("a.wav", BIG.encode() * 100, "Potter", most_bytes=10**8)
    with pytest.raises(InputError, match="the backup could not be written"):
        store.backup(small_disk / "copy.db")
    check(store, told)
    filler.unlink()
    told.append(store.insert(("link",), {"name": "with room again"}, "Potter").path[-1])
    check(store, told)
    store.close()
    assert [found.name for found in small_disk.iterdir()] == ["job.db"]
    with Store.open(small_disk / "job.db") as again:
        check(again, told)


def test_a_job_can_be_closed_and_read_on_a_full_disk(small_disk: Path) -> None:
    store = Store.open(small_disk / "job.db", create=True)
    told, _ = fill(store)
    store.close()
    with Store.open(small_disk / "job.db", read_only=True) as again:
        check(again, told)


def test_a_full_disk_while_a_job_is_made(small_disk: Path) -> None:
    filler = small_disk / "filler"
    with contextlib.suppress(OSError):
        filler.write_bytes(bytes(5_000_000))
    with pytest.raises(InputError, match=r"disk is full|cannot be locked for writing.*No space left"):
        Store.open(small_disk / "job.db", create=True)
    filler.unlink()
    with Store.open(small_disk / "job.db", create=True) as store:
        check(store, [store.insert(("link",), {}, "Potter").path[-1]])


def test_a_disk_that_refuses_is_said_and_costs_nothing(tmp_path: Path) -> None:
    """A limit on the size of files, which needs no rights: the write itself fails, with another error."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Store.open(tmp_path / "job.db", create=True) as store:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, hard))
        try:
            told, said = fill(store)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert "the disk reports an error: this last change was not saved, everything before it is safe" in said
        check(store, told)
        told.append(store.insert(("link",), {"name": "goes on"}, "Potter").path[-1])
    with Store.open(tmp_path / "job.db") as store:
        check(store, told)

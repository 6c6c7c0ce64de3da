"""A disk that changes bytes without a word: what is read was written, or one sentence; the rest is mended."""

from __future__ import annotations

import contextlib
import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from linkwright.cli import build
from linkwright.shoot.errors import InputError
from linkwright.store import Store
from linkwright.store.mend import mend

DAMAGES = 60


def fill(store: Store) -> None:
    """A document of some pages, a history, attachments, what was ticked off and noted."""
    store.replace({"shoot": {"title": "Five rooms"}}, "Potter")
    for n in range(60):
        change = store.insert(
            ("link",), {"name": f"Link {n}", "note": f"note {n} " * 20, "route": ["a", "b"]}, "Potter"
        )
        store.set_field((*change.path, "note"), f"note {n} " * 20, f"other {n} " * 20, "Cook")
    for n in range(3):
        store.attach(f"air {n}.csv", bytes([n]) * 30_000, "Potter", most_bytes=10**6)
    store.tick("set up", None, store._now(), "Potter")
    store.add_entry("Guest arrives", "Potter")
    store.happen("note", "Link 1", {"text": "loud"}, None, "Potter")


def read(store: Store) -> dict[str, Callable[[], Any]]:
    """Everything of a job that is checked, part by part."""
    whole: dict[str, Callable[[], Any]] = {
        "document": lambda: store.document().document,
        "history": lambda: [(c.revision, c.who, c.path, c.before, c.after) for c in store.changes(0)],
    }
    for n in range(3):
        whole[f"air {n}.csv"] = lambda n=n: next(  # type: ignore[misc]
            store.attachment(one.id) for one in store.attachment_list() if one.name == f"air {n}.csv"
        )
    return whole


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    place = tmp_path_factory.mktemp("whole") / "job.lwjob"
    with Store.open(place, create=True) as store:
        fill(store)
        return place, {name: part() for name, part in read(store).items()}


def damaged(whole: Path, target: Path, seed: int) -> None:
    """A copy with some bytes changed: a bit, a few bytes, or a sector of nothing, past the first page."""
    chance = random.Random(seed)
    data = bytearray(whole.read_bytes())
    for _ in range(chance.choice((1, 3, 10))):
        at = chance.randrange(4096, len(data) - 512)
        kind = chance.randrange(3)
        if kind == 0:
            data[at] ^= 1 << chance.randrange(8)
        elif kind == 1:
            data[at : at + 4] = chance.randbytes(4)
        else:
            data[at - at % 512 : at - at % 512 + 512] = bytes(512)
    target.write_bytes(data)


@pytest.mark.parametrize("first", range(0, DAMAGES, 20))
def test_a_changed_byte_is_never_believed_and_never_a_traceback(
    job: tuple[Path, dict[str, Any]], first: int, tmp_path: Path
) -> None:
    whole, written = job
    for seed in range(first, first + 20):
        place = tmp_path / "damaged.lwjob"
        damaged(whole, place, seed)
        said: list[str] = []
        try:
            with Store.open(place, read_only=True) as store:
                for name, part in read(store).items():
                    try:
                        assert part() == written[name], (seed, name)
                    except InputError as error:
                        said.append(str(error))
                    except StopIteration:
                        pass  # it is not in the list any more, which is no lie about its bytes
                for part in (store.ticks, store.entries, store.happenings, store.devices):
                    with contextlib.suppress(InputError):
                        part()
        except InputError as error:
            said.append(str(error))
        assert not any("\n" in one for one in said)


def test_what_is_whole_is_saved_and_the_rest_is_listed(job: tuple[Path, dict[str, Any]], tmp_path: Path) -> None:
    whole, written = job
    links = {link["name"]: link for link in written["document"]["link"]}
    saved = 0
    for seed in range(DAMAGES):
        place, target = tmp_path / "damaged.lwjob", tmp_path / "mended.lwjob"
        damaged(whole, place, seed)
        before = place.read_bytes()
        target.unlink(missing_ok=True)
        try:
            said = mend(place, target)
        except InputError:
            continue
        finally:
            assert place.read_bytes() == before
        with Store.open(target) as store:
            found = store.document().document.get("link", [])
            for link in found:
                assert link.items() <= links[link["name"]].items() if "name" in link else True
            names = [one.name for one in store.attachment_list()]
            for one in store.attachment_list():
                assert store.attachment(one.id) == written[one.name]
            everything = found == written["document"]["link"] and len(names) == 3
            assert said or everything, seed
            store.insert(("link",), {"name": "New"}, "Potter")
        saved += len(found)
    assert saved > 0.8 * len(links) * DAMAGES


def test_where_the_end_of_the_history_is_lost_no_id_is_given_twice(
    job: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    place, target = tmp_path / "damaged.lwjob", tmp_path / "mended.lwjob"
    shutil.copy(job[0], place)
    with sqlite3.connect(place) as raw:
        raw.execute("DELETE FROM change WHERE revision > 73")
        raw.execute("DELETE FROM happening")
    mend(place, target)
    with Store.open(target) as store:
        before = {link["name"] for link in store.document().document["link"]}
        made = [store.insert(("link",), {"name": f"New {n}"}, "Potter") for n in range(60)]
        store.attach("air 9.csv", b"later", "Potter", most_bytes=10**6)
        assert len(before) == 60
        names = {link["name"] for link in store.document().document["link"]}
        assert names == before | {f"New {n}" for n in range(60)}
        first = store.changes(73)[0]
        assert (first.revision, first.area, first.what) == (made[0].revision - 1, "job", "mend")
        assert len({attachment.id for attachment in store.attachment_list()}) == 4


def test_a_whole_job_is_mended_whole_and_nothing_is_written_over(
    job: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    shutil.copy(job[0], tmp_path / "job.lwjob")
    answered = CliRunner().invoke(build(), ["mend", str(tmp_path / "job.lwjob")])
    assert (answered.exit_code, answered.output.startswith("All is whole")) == (0, True)
    with Store.open(tmp_path / "job-mended.lwjob") as store:
        assert {name: part() for name, part in read(store).items()} == job[1]
    with pytest.raises(InputError, match="is there already"):
        mend(tmp_path / "job.lwjob", tmp_path / "job-mended.lwjob")
    (tmp_path / "other").write_bytes(b"something else")
    with pytest.raises(InputError, match=r"nothing of it can be read|holds no shoot"):
        mend(tmp_path / "other", tmp_path / "new.lwjob")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job-mended.lwjob", "job.lwjob", "other"]

"""Where the tests store: a file of SQLite, and a PostgreSQL where its programs are on this machine."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

#: A PostgreSQL to test with, as a URL; without it one is started where its programs are found.
GIVEN = "LINKWRIGHT_TEST_POSTGRESQL"
_numbers = itertools.count(1)


def _programs() -> Path | None:
    found = shutil.which("initdb")
    if found:
        return Path(found).parent
    return max(Path("/usr/lib/postgresql").glob("*/bin"), default=None)


@contextmanager
def running_postgresql() -> Iterator[tuple[str, Callable[[], None]] | str]:
    """The URL of an empty PostgreSQL and what restarts it at once; or why there is none."""
    programs = _programs()
    user = "postgres" if os.geteuid() == 0 else None  # it refuses to run as root
    if programs is None:
        yield f"no PostgreSQL: its programs are not here, and {GIVEN} is not set"
        return
    if user is not None and user not in {entry.pw_name for entry in pwd.getpwall()}:
        yield "no PostgreSQL: run as root, without a user postgres"
        return
    with tempfile.TemporaryDirectory(prefix="linkwright-pg-") as folder:
        if user is not None:
            shutil.chown(folder, user)
        data = Path(folder) / "data"

        def run(*command: str) -> None:
            subprocess.run(command, check=True, capture_output=True, user=user, cwd=folder, env={"LC_ALL": "C"})

        run(str(programs / "initdb"), "-D", str(data), "-U", "postgres", "--auth=trust", "--no-sync", "-E", "UTF8")
        options = f"-c listen_addresses='' -c fsync=off -k {folder}"
        control = [str(programs / "pg_ctl"), "-D", str(data), "-w", "-l", str(Path(folder) / "log"), "-o", options]
        run(*control, "start")
        try:
            yield (
                f"postgresql://postgres@/postgres?host={folder}",
                lambda: run(*control, "-m", "immediate", "restart"),
            )
        finally:
            run(str(programs / "pg_ctl"), "-D", str(data), "-w", "-m", "immediate", "stop")


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """The URL of an empty PostgreSQL, without options."""
    if os.environ.get(GIVEN):
        yield os.environ[GIVEN]
        return
    with running_postgresql() as started:
        if isinstance(started, str):
            pytest.skip(started)
        yield started[0]


@pytest.fixture
def schema(postgresql: str) -> Callable[[], str]:
    """Makes the URLs of new, empty stores in the PostgreSQL."""

    def new() -> str:
        import psycopg

        name = f"t{os.getpid()}_{next(_numbers)}"
        with psycopg.connect(postgresql, autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {name}")  # type: ignore[arg-type,unused-ignore]
        return f"{postgresql}{'&' if '?' in postgresql else '?'}options=-csearch_path%3D{name}"

    return new


@pytest.fixture(params=["sqlite", "postgresql"])
def new_place(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Makes new places for stores, of either kind."""
    if request.param == "postgresql":
        made: Callable[[], str] = request.getfixturevalue("schema")
        return made
    return lambda: str(tmp_path / f"{next(_numbers)}.db")


@pytest.fixture
def place(new_place: Callable[[], str]) -> str:
    """A new place for one store."""
    return new_place()

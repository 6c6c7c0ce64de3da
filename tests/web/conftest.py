"""A job in a store, its pages by a client without a network, and by a browser over loopback."""

from __future__ import annotations

import functools
import importlib.resources
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from fastapi.testclient import TestClient

from linkwright.desk.desk import Desk
from linkwright.desk.files import import_shoot
from linkwright.desk.planning import KEY
from linkwright.shoot.models import Shoot
from linkwright.store import Draft, Store
from linkwright.web.app import create_app
from linkwright.web.serving import Serving

HOST = "testserver"
GROUNDS = ("paper", "dusk", "sun")
ORIGIN = {"origin": f"http://{HOST}"}
#: Debian's Chromium without the windows that nobody looks at: a page takes it a third of the processor.
CHROMIUM = shutil.which("chromium-headless-shell") or shutil.which("chromium")
CHROMIUM_ARGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip


def demo_into(store: Store) -> None:
    """The built-in shoot, with its sweep, and with its plan as a desk keeps it: that is made once for all."""
    _import_demo(store)
    document, plan = _planned_demo()
    if store.document() == document:
        store.cache_put(KEY, plan)


def _import_demo(store: Store) -> None:
    with importlib.resources.as_file(importlib.resources.files("linkwright.demo")) as folder:
        import_shoot(store, folder / "shoot.toml", lambda _what: None)


@functools.cache
def _planned_demo() -> tuple[Draft, bytes]:
    """The document of the built-in shoot in a new store, and what a desk keeps of the plan that it makes of it."""
    with TemporaryDirectory() as folder, Store.open(Path(folder) / "job.lwjob", create=True) as store:
        _import_demo(store)
        desk = Desk(store)
        desk.start()
        wait_for_plan(desk)
        desk.close()
        plan = store.cache_get(KEY)
        assert plan is not None
        return store.document(), plan


@functools.cache
def _empty_job() -> bytes:
    """The file of a new job."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "job.lwjob"
        Store.open(path, create=True).close()
        return path.read_bytes()


@contextmanager
def new_store(path: Path) -> Iterator[Store]:
    """An empty job, or the one that is there."""
    if not path.exists():
        path.write_bytes(_empty_job())
    with Store.open(path) as opened:
        yield opened


def shoot_into(store: Store, shoot: Shoot) -> None:
    """A shoot as a person's document."""
    store.replace(shoot.model_dump(mode="json", by_alias=True, exclude_unset=True), "laptop")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty job."""
    with new_store(tmp_path / "job.lwjob") as opened:
        yield opened


@contextmanager
def _briskly() -> Iterator[None]:
    """Nobody types here, and what lasts is not set aside anew for each of hundreds of servers in one process."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("linkwright.desk.planning.SETTLE_S", 0.05)
        patch.setattr("linkwright.web.serving.set_aside", lambda: None)
        yield


@contextmanager
def client_of(store: Store, hosts: frozenset[str] = frozenset({HOST}), **more: Any) -> Iterator[TestClient]:
    """The pages of a store, without a network; what is sent comes from their own origin."""
    with _briskly(), TestClient(create_app(store, hosts, **more), headers=ORIGIN) as client:
        yield client


@pytest.fixture
def empty(store: Store) -> Iterator[TestClient]:
    """The pages of an empty job."""
    with client_of(store) as client:
        yield client


@pytest.fixture
def demo(store: Store) -> Iterator[TestClient]:
    """The pages of the built-in shoot."""
    demo_into(store)
    with client_of(store) as client:
        planned(client)
        yield client


def desk_of_client(client: TestClient) -> Desk:
    """The desk behind a client."""
    desk: Desk = client.app.state.pages.desk  # type: ignore[attr-defined]
    return desk


def planned(client: TestClient) -> None:
    """Wait until there is a plan of the job as it is."""
    wait_for_plan(desk_of_client(client))


def wait_for_plan(desk: Desk) -> None:
    """Wait until there is a plan of the job as it is, and the watch goes by it and knows its links."""
    for _ in range(1200):
        desk.planning.background.wait(60.0)
        snapshot = desk.snapshot()
        there = snapshot.made is not None and not snapshot.plan_is_old and not snapshot.planning.busy
        watching = desk.watching
        if there and not watching._new_plan and set(watching._links) <= set(watching.board.names):
            return
        time.sleep(0.02)
    raise AssertionError(f"no plan: {desk.snapshot().planning}")


@dataclass(frozen=True)
class Served:
    """Pages on loopback."""

    url: str
    store: Store
    desk: Desk


@contextmanager
def served(path: Path, with_demo: bool = False, briskly: bool = True, **more: Any) -> Iterator[Served]:
    """The pages of a job, on a free port of loopback; not `briskly`: as they are for people."""
    with _briskly() if briskly else nullcontext(), new_store(path) as store:
        if with_demo:
            demo_into(store)
        sock = socket.socket()
        sock.bind(("127.0.0.1", 0))
        host = f"127.0.0.1:{sock.getsockname()[1]}"
        app = create_app(store, frozenset({host}), **more)
        server = Serving(app)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield Served(f"http://{host}", store, app.state.pages.desk)
        finally:
            server.should_exit = True
            thread.join(timeout=10)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's Chromium; where it is not installed the tests by hand are skipped."""
    if CHROMIUM is None:
        pytest.skip("there is no Chromium here; make test installs Debian's")
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=20_000)  # a busy machine is no fault of a page
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        yield opened
        opened.close()


SIZES = {"laptop": (1280, 800), "telephone": (390, 844)}


@pytest.fixture(params=list(SIZES.values()), ids=list(SIZES))
def page(request: pytest.FixtureRequest, browser: Any) -> Iterator[Any]:
    """A page of a browser of its own size; what it complains of fails the test."""
    wide, tall = request.param
    context = browser.new_context(viewport={"width": wide, "height": tall}, has_touch=wide < 700)
    opened = context.new_page()
    opened.set_default_timeout(10_000)
    complaints: list[str] = []
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    yield opened
    context.close()
    # A refusal is shown to the person.
    expected = ("409", "400")
    assert not [complaint for complaint in complaints if not any(part in complaint for part in expected)], (
        complaints
    )


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The built-in shoot with its plan, for tests that leave it as it is."""
    with served(tmp_path_factory.mktemp("job") / "demo.lwjob", with_demo=True) as pages:
        wait_for_plan(pages.desk)
        yield pages


@pytest.fixture(scope="module")
def crowds(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[int, Served]]:
    """Jobs of as many links as pages are looked at with, by their number."""
    from tests.web.crowded import CROWDS, crowd

    with ExitStack() as stack:
        folder = tmp_path_factory.mktemp("crowds")
        yield {links: stack.enter_context(crowd(folder / f"{links}.lwjob", links)) for links in CROWDS}


def on_ground(page: Any, ground: str) -> None:
    """The page on paper, at dusk or in the sun."""
    page.locator("[data-ground-choice]").select_option(ground)
    page.wait_for_timeout(150)

"""Pictures of all pages for the README, by Debian's Chromium: python scripts/make_page_pictures.py FOLDER."""

from __future__ import annotations

import datetime
import shutil
import socket
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linkwright.desk.desk import Desk

PAGES = ("shoot", "air", "plan", "ground", "sound", "day", "sheets", "live", "wrap")
#: What is kept as readings for the pages Live and Wrap: simulated, so long [h], faults an hour and link, the seed.
PLAYED_H, FAULTS_H, SEED = 0.5, 6.0, 14
SIZES = {"laptop": (1280, 800), "telephone": (390, 844)}


def main(folder: Path) -> int:
    """Serve the built-in shoot and take a picture of every page at both sizes."""
    import importlib.resources

    from playwright.sync_api import sync_playwright

    from linkwright.desk.files import import_shoot
    from linkwright.store import Store
    from linkwright.web.app import create_app
    from linkwright.web.serving import Serving

    chromium = shutil.which("chromium-headless-shell") or shutil.which("chromium")
    if chromium is None:
        print("there is no chromium here; make test installs it")
        return 1
    folder.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as place,
        importlib.resources.as_file(importlib.resources.files("linkwright.demo")) as demo,
        Store.open(Path(place) / "demo.lwjob", create=True) as store,
    ):
        import_shoot(store, demo / "shoot.toml", lambda _what: None)
        sock = socket.socket()
        sock.bind(("127.0.0.1", 0))
        host = f"127.0.0.1:{sock.getsockname()[1]}"
        app = create_app(store, frozenset({host}))
        server = Serving(app)
        desk = app.state.pages.desk
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=chromium, args=["--headless", "--no-sandbox"])
            page = browser.new_page()
            page.goto(f"http://{host}/plan")
            page.wait_for_selector(".link-row .name")
            page.close()
            keep_readings(desk)
            for size, (wide, tall) in SIZES.items():
                page = browser.new_page(viewport={"width": wide, "height": tall})
                page.goto(f"http://{host}/plan")
                page.wait_for_selector(".link-row .name")
                for name in PAGES:
                    page.goto(f"http://{host}/{name}")
                    page.wait_for_timeout(800)
                    if name == "air":
                        page.evaluate("document.querySelector('.score').scrollIntoView()")
                        page.locator("#score").focus()
                        page.keyboard.press("ArrowLeft")
                    if name == "ground" and size == "laptop":
                        page.evaluate("document.querySelector('.ground').scrollIntoView()")
                    if name == "live":
                        page.get_by_text("Readings, levels, sound").click()
                        page.get_by_role("button", name="Play simulated readings").click()
                        page.evaluate("window.scrollTo(0, 0)")
                    if name == "wrap":
                        desk.wrapping.wait(300.0)
                        page.goto(f"http://{host}/{name}")
                    page.wait_for_timeout({"sheets": 2500, "live": 45_000, "wrap": 2500}.get(name, 200))
                    page.screenshot(path=folder / f"{name}-{size}.png")
                page.close()
            browser.close()
        server.should_exit = True
        thread.join(timeout=10)
    return 0


def keep_readings(desk: Desk) -> None:
    """Half an hour of simulated readings and two takes, as a day would have left them."""
    from linkwright.desk.expecting import courses_of
    from linkwright.desk.kept_readings import MOST_BYTES, name_of
    from linkwright.store import READINGS
    from linkwright.watch.log.kept import packed
    from linkwright.watch.log.stretches import stretch_of
    from linkwright.watch.play.effects import CAUSES
    from linkwright.watch.play.faults import draw_faults
    from linkwright.watch.play.simulate import simulate

    made = desk.snapshot().planned()
    courses = courses_of(made.scene, made.plan, made.shoot, PLAYED_H)[:4]
    faults = draw_faults(courses, CAUSES, seed=SEED, each_h=FAULTS_H)
    for batch in simulate(courses, faults, seed=SEED):
        stretch = stretch_of(batch)
        desk.store.attach(name_of(stretch), packed(stretch), "receivers", most_bytes=MOST_BYTES, kind=READINGS)
    starts = made.scene.calls[0].starts
    assert starts is not None
    for n, minutes in enumerate((6, 17)):
        desk.store.happen(
            "take", "", {"text": f"Take {n + 1}"}, starts + datetime.timedelta(minutes=minutes), "laptop"
        )


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1] if len(sys.argv) > 1 else "docs/pictures")))

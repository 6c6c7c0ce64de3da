"""Pictures of all pages for the README, by Debian's Chromium: python scripts/make_page_pictures.py FOLDER."""

from __future__ import annotations

import shutil
import socket
import sys
import tempfile
import threading
import time
from pathlib import Path

PAGES = ("shoot", "air", "plan", "ground", "sound", "day", "sheets")
SIZES = {"laptop": (1280, 800), "telephone": (390, 844)}


def main(folder: Path) -> int:
    """Serve the built-in shoot and take a picture of every page at both sizes."""
    import importlib.resources

    from playwright.sync_api import sync_playwright

    from linkwright.store import Store
    from linkwright.web.app import create_app
    from linkwright.web.job import import_shoot
    from linkwright.web.serving import Pages

    chromium = shutil.which("chromium")
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
        server = Pages(create_app(store, frozenset({host})))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=chromium, args=["--headless", "--no-sandbox"])
            for size, (wide, tall) in SIZES.items():
                page = browser.new_page(viewport={"width": wide, "height": tall})
                page.goto(f"http://{host}/plan")
                page.wait_for_selector("table.plan strong")
                for name in PAGES:
                    page.goto(f"http://{host}/{name}")
                    page.wait_for_timeout(800)
                    if name == "air":
                        page.evaluate("document.querySelector('.score').scrollIntoView()")
                        page.locator("#score").focus()
                        page.keyboard.press("ArrowLeft")
                    if name == "ground" and size == "laptop":
                        page.evaluate("document.querySelector('.ground').scrollIntoView()")
                    page.wait_for_timeout(2500 if name == "sheets" else 200)
                    page.screenshot(path=folder / f"{name}-{size}.png")
                page.close()
            browser.close()
        server.should_exit = True
        thread.join(timeout=10)
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1] if len(sys.argv) > 1 else "docs/pictures")))

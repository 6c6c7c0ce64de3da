"""A live day with everything changing at once: twelve links, ten readings a second, and a script that never rests.

`make soak` runs it for ten minutes; the tests run a quarter of a minute of it, played twenty times as fast.
Meanwhile somebody taps, renames, adds, removes, takes back and plans again once a second, and a browser looks on.
At the end the episodes of the watch are those that the readings alone give, each acknowledged edit is in the job's
log, nothing that works in the background has died, the browser's console is clean and the memory steady.
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from tests.web.conftest import CHROMIUM, CHROMIUM_ARGS, Served, served, wait_for_plan

from linkwright.desk import kept_readings
from linkwright.desk.expecting import courses_of, expected_of
from linkwright.desk.snapshot import Made
from linkwright.desk.watching import _by_id
from linkwright.shoot.reading import parse_document
from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.log.writing import json_records
from linkwright.watch.play.effects import CAUSES
from linkwright.watch.play.faults import draw_faults
from linkwright.watch.play.replay import paced
from linkwright.watch.play.simulate import simulate

LINKS, RATE_HZ, FAULTS_H, SEED = 12, 10.0, 30.0, 5
#: The memory that may be added between the first third and the end [MiB].
MOST_MORE_MIB: Final = 60.0
HEAD: Final = '[shoot]\ntitle = "Soak"\nregion = "GB"\npermits = ["gb-coordinated"]\ndate = 2027-05-14\n'
SITE: Final = """
[[site]]
name = "Yard"
surroundings = "open"
spots = [{ name = "Cart", x_m = 0, y_m = 0 }, { name = "Far", x_m = 25, y_m = 0 }]
"""
LINK: Final = '\n[[link]]\nname = "Talent {n}"\ntransmitter = "{transmitter}"\nreceiver = "{receiver}"\n'


@dataclass
class Told:
    """What a soak came to."""

    edits: list[int] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    console: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    readings: int = 0
    episodes: int = 0
    differ: list[str] = field(default_factory=list)
    lost: list[int] = field(default_factory=list)
    first_mib: float = 0.0
    last_mib: float = 0.0

    def wrong(self) -> list[str]:
        """All that is not as it should be."""
        said = [f"refused: {one}" for one in self.refused] + [f"console: {one}" for one in self.console]
        said += self.faults + self.differ + [f"edit {one} is not in the log" for one in self.lost]
        if self.last_mib - self.first_mib > MOST_MORE_MIB:
            said.append(f"memory went from {self.first_mib:.0f} to {self.last_mib:.0f} MiB")
        if not self.episodes:
            said.append("no episode was seen")
        return said


def shoot() -> dict[str, Any]:
    """Twelve links on one site, of the catalogue's first types."""
    from linkwright.shoot.catalogue import catalogue_names

    transmitter = next(name for name in catalogue_names("transmitter") if "uhf" in name and "body" in name)
    receiver = next(name for name in catalogue_names("receiver") if "uhf" in name)
    links = "".join(LINK.format(n=n + 1, transmitter=transmitter, receiver=receiver) for n in range(LINKS))
    return parse_document(HEAD + SITE + links, "soak")


def mib() -> float:
    """The memory of this process [MiB]."""
    pages = int(Path("/proc/self/statm").read_text("utf-8").split()[1])
    return pages * 4096 / 2**20


def post(url: str, body: Any, headers: dict[str, str] | None = None) -> tuple[int, dict[str, Any]]:
    """Send JSON as a page does; the status, and what was told."""
    origin = "/".join(url.split("/")[:3])
    given = {"Content-Type": "application/json", "Origin": origin, **(headers or {})}
    request = urllib.request.Request(url, json.dumps(body).encode(), given, method="POST")
    try:
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.status, json.loads(answer.read())
    except urllib.error.HTTPError as error:
        return error.code, json.loads(error.read())


def actions(job: Served) -> Iterator[Callable[[], tuple[int, dict[str, Any]]]]:
    """What the script does, for ever: each is one request."""
    store, url = job.store, job.url
    added: list[str] = []

    def link(n: int) -> str:
        return store.document().ids["link",][n % LINKS]

    def rename(n: int) -> tuple[int, dict[str, Any]]:
        path = ["link", link(n), "name"]
        now = store.document().at(*path)
        return post(
            f"{url}/api/field", {"path": path, "seen": json.dumps(now), "text": f"Talent {n % LINKS + 1} v{n}"}
        )

    def add(_n: int) -> tuple[int, dict[str, Any]]:
        status, told = post(f"{url}/api/entry", {"path": ["link"], "value": {"name": "Guest"}})
        added.append(told["path"][1])
        return status, told

    def remove(_n: int) -> tuple[int, dict[str, Any]]:
        path = ["link", added.pop()]
        return post(f"{url}/api/remove", {"path": path, "revision": store.revision})

    def acknowledge(_n: int) -> tuple[int, dict[str, Any]]:
        alarms = [alarm for alarm in job.desk.watching.shown() if not alarm.acknowledged]
        if not alarms:
            return 200, {}
        status, told = post(f"{url}/log/acknowledge", {"key": alarms[-1].key})
        return (200 if "does not stand any more" in str(told) else status), told

    steps: tuple[Callable[[int], tuple[int, dict[str, Any]]], ...] = (
        lambda n: post(f"{url}/log/happen", {"kind": "take", "text": f"Take {n}"}, {"x-once": f"take-{n}"}),
        rename,
        lambda n: post(f"{url}/tick/changed", {"link": link(n)}),
        add,
        lambda n: post(f"{url}/log/happen", {"kind": "note", "text": f"Note {n}"}),
        remove,
        acknowledge,
        rename,
        lambda _n: post(f"{url}/api/undo", {}),
        lambda _n: post(f"{url}/plan/again?how=keep", {}),
    )
    for n in itertools.count():
        yield lambda n=n: steps[n % len(steps)](n)  # type: ignore[misc]


def feed(job: Served, made: Made, seconds: float, speed: float, told: Told) -> None:
    """Readings of the plan with faults, as a receiver's bridge sends them."""
    courses = courses_of(made.scene, made.plan, made.shoot, seconds * speed / 3600.0)
    faults = draw_faults(courses, CAUSES, seed=SEED, each_h=FAULTS_H)
    batches = simulate(courses, faults, seed=SEED, rate_hz=RATE_HZ)
    for batch in paced(batches, speed, clock=time.monotonic, sleep=time.sleep):
        status, answer = post(f"{job.url}/log/readings", json_records(batch))
        told.readings += answer.get("taken", 0)
        if status != 200 or answer["lost"] or answer["refused"]:
            told.refused.append(f"readings: {answer}")


def soak(seconds: float, speed: float, browser: Any = None, every_s: float = 1.0) -> Told:
    """Run it, a step of the script each `every_s`; the browser, where there is one, looks at the page Live."""
    told = Told()
    with tempfile.TemporaryDirectory() as folder, served(Path(folder) / "job.lwjob", briskly=False) as job:
        job.store.replace(shoot(), "laptop")
        wait_for_plan(job.desk)
        made = job.desk.snapshot().planned()
        page = None if browser is None else browser.new_page()
        if page is not None:
            page.on("console", lambda said: told.console.append(said.text) if said.type == "error" else None)
            page.on("pageerror", lambda error: told.console.append(str(error)))
            page.goto(f"{job.url}/live")
        feeding = threading.Thread(target=feed, args=(job, made, seconds, speed, told))
        feeding.start()
        began, doing = time.monotonic(), actions(job)
        while feeding.is_alive():
            status, answer = next(doing)()
            if status != 200:
                told.refused.append(f"{status} {answer}")
            if answer.get("change"):
                told.edits.append(answer["change"])
            if page is not None:
                page.wait_for_timeout(1000 * every_s)
            else:
                time.sleep(every_s)
            if not told.first_mib and time.monotonic() - began > seconds / 3:
                told.first_mib = mib()
        feeding.join()
        told.last_mib = mib()
        if page is not None:
            page.close()
        judged(job, made, told)
    return told


def judged(job: Served, made: Made, told: Told) -> None:
    """Hold what came of it against the readings alone, and against the job's log."""
    desk = job.desk
    for _ in range(200):
        if desk.watching._came.empty() and not desk.watching.intake.counts().waiting:
            break
        time.sleep(0.05)
    time.sleep(1.0)
    for name, work in desk.works.items():
        if work.state.fault or work.state.began_anew:
            told.faults.append(f"{name}: {work.state.fault}")
        if name in ("looking", "judging") and not work.state.busy:
            told.faults.append(f"{name} has died")
    ours = [
        (episode.link, episode.cause, round(episode.from_ns / 1e9)) for episode in desk.watching._watcher.episodes()
    ]
    desk.watching.close()
    alone = Watcher(_by_id(expected_of(made.scene, made.plan), made.names))
    for batch in kept_readings.newest(job.store, 1_000_000):
        alone.add(batch)
    told.episodes = len(ours)
    theirs = [(episode.link, episode.cause, round(episode.from_ns / 1e9)) for episode in alone.episodes()]
    if sorted(ours) != sorted(theirs):
        told.differ.append(f"live {sorted(set(ours) - set(theirs))}, afterwards {sorted(set(theirs) - set(ours))}")
    known = {change.revision for change in job.store.changes(0, most=100_000)}
    told.lost = [revision for revision in told.edits if revision not in known]


def main() -> int:
    """What `make soak` runs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    minutes = parser.parse_args().minutes
    if CHROMIUM is None:
        told = soak(60 * minutes, 1.0)
    else:
        from playwright.sync_api import sync_playwright

        with sync_playwright() as play:
            told = soak(60 * minutes, 1.0, play.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS))
    print(f"{told.readings} readings, {told.episodes} episodes, {len(told.edits)} edits")
    print(f"memory: {told.first_mib:.0f} MiB after a third, {told.last_mib:.0f} MiB at the end")
    print("\n".join(told.wrong()) or "All as it should be.")
    return 1 if told.wrong() else 0


if __name__ == "__main__":
    sys.exit(main())

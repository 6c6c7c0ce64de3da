"""The job that the pages show: the stored document, the shoot that it makes, and the plan that follows from it.

Everything derived is kept for the revision that it came from and worked out again when somebody changed something.
"""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from linkwright.air.predicted import Predicted
from linkwright.air.readers import Readout, read_stream
from linkwright.desk.telling import Listeners
from linkwright.plan.chain import Scene, scene_of
from linkwright.plan.model import Plan
from linkwright.progress import Stopped
from linkwright.shoot.errors import InputError, InputErrors
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import MOST_BYTES, parse_document, read_text
from linkwright.store import Draft, Problem, Store

#: How long after a change the plan is made again, so that several changes make one plan [s].
SETTLE_S: Final = 0.4
#: How often progress is told to the pages [s].
TELL_S: Final = 0.2
#: Largest file that a page may send [bytes].
MOST_UPLOAD: Final = 256 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Document:
    """What was typed so far, the shoot if it is whole, and what keeps it from being one, by path."""

    draft: Draft
    shoot: Shoot | None
    problems: tuple[Problem, ...]

    @property
    def revision(self) -> int:
        """The change that it stands at."""
        return self.draft.revision

    def said_of(self, path: tuple[str, ...]) -> tuple[str, ...]:
        """What is wrong with the value at a path (with ids for entries)."""
        return tuple(one.says for one in self.problems if tuple(map(str, one.path)) == path)


@dataclass(frozen=True, slots=True)
class Planned:
    """The newest plan: of which revision, and what is being done about a newer one."""

    plan: Plan | None = None
    of_revision: int = -1
    error: str | None = None
    busy: bool = False
    what: str = ""
    share: float = 0.0


@dataclass
class Job:
    """One job, open in a store. Safe to use from several threads."""

    store: Store
    hub: Listeners
    planned: Planned = field(default_factory=Planned)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _document: Document | None = None
    _scene: tuple[int, Scene, tuple[str, ...]] | None = None
    _readouts: dict[str, Readout] = field(default_factory=dict)
    _tv: dict[tuple[Any, ...], Predicted] = field(default_factory=dict)
    _wanted: threading.Event = field(default_factory=threading.Event)
    _stop: threading.Event = field(default_factory=threading.Event)
    _closing: bool = False
    _again: str = "keep"
    _thread: threading.Thread | None = None
    _planned_from: tuple[Shoot, tuple[str, ...]] | None = None

    def start(self) -> None:
        """Begin to watch the store and to plan."""
        self.store.subscribe(self._changed)
        self._thread = threading.Thread(target=self._plan_forever, name="planning", daemon=True)
        self._thread.start()
        self.plan_again("keep")

    def close(self) -> None:
        """Stop planning; the store is the caller's."""
        self._closing = True
        self._stop.set()
        self._wanted.set()
        if self._thread is not None:
            self._thread.join(timeout=10)

    # The document

    def document(self) -> Document:
        """The document as it stands now."""
        with self._lock:
            if self._document is None or self._document.revision != self.store.revision:
                draft = self.store.document()
                problems = tuple(draft.problems())
                self._document = Document(draft, None if problems else draft.shoot(), problems)
            return self._document

    def _changed(self, revision: int) -> None:
        self.hub.tell("changed", {"revision": revision})
        self.plan_again("keep")

    # What the sites' files hold

    def sweeps(self, shoot: Shoot) -> tuple[dict[str, tuple[Readout, ...]], list[str]]:
        """The readable sweeps of every site, and a sentence for each that is not."""
        by_name = {one.name: one for one in self.store.attachment_list()}
        found: dict[str, tuple[Readout, ...]] = {}
        troubles = []
        for site in shoot.site:
            readouts = []
            for name in site.sweeps:
                if name not in by_name:
                    troubles.append(f"{name}: there is no such file in this job; drop it on the page Air")
                    continue
                try:
                    readouts.append(self.readout(by_name[name].id, name))
                except InputErrors as errors:
                    troubles += [str(error) for error in errors.errors]
                except InputError as error:
                    troubles.append(str(error))
            found[site.name] = tuple(readouts)
        return found, troubles

    def readout(self, attachment: str, name: str) -> Readout:
        """What a sweep file holds, read once. Raises InputError."""
        with self._lock:
            if attachment not in self._readouts:
                data = self.store.attachment(attachment)
                self._readouts[attachment] = read_stream(io.BytesIO(data), name, size=len(data))
            return self._readouts[attachment]

    def tv(self, shoot: Shoot) -> tuple[dict[str, Predicted], list[str]]:
        """Predicted TV of every site that names a list of stations, and what is wrong with the others."""
        from linkwright.air.predicted import Place
        from linkwright.air.stations import parse_stations
        from linkwright.desk.tv import predicted_tv
        from linkwright.rules import territory

        by_name = {one.name: one for one in self.store.attachment_list()}
        found: dict[str, Predicted] = {}
        troubles = []
        for site in shoot.site:
            if site.stations is None:
                continue
            there = by_name.get(site.stations)
            if there is None or site.latitude is None or site.longitude is None:
                lacks = "there is no such file in this job" if there is None else f"{site.name} has no position"
                troubles.append(f"{site.stations}: {lacks}")
                continue
            place = Place(site.latitude, site.longitude, site.surroundings)
            key = (there.id, place, shoot.shoot.region)
            try:
                if key not in self._tv:
                    region = territory(shoot.shoot.region)
                    data = self.store.attachment(there.id)
                    self._tv[key] = predicted_tv(region, place, parse_stations(data, site.stations, region.code))
                found[site.name] = self._tv[key]
            except InputError as error:
                troubles.append(str(error))
        return found, troubles

    def scene(self) -> Scene | None:
        """The shoot with everything looked up, the air too; None while it is not whole. Raises InputError."""
        with self._lock:
            document = self.document()
            if document.shoot is None:
                return None
            if self._scene is None or self._scene[0] != document.revision:
                (sweeps, one), (tv, other) = self.sweeps(document.shoot), self.tv(document.shoot)
                self._scene = document.revision, scene_of(document.shoot, sweeps, tv), (*one, *other)
            return self._scene[1]

    def troubles(self) -> list[str]:
        """What is wrong with the files that the sites name."""
        return list(self._scene[2]) if self.scene() is not None and self._scene is not None else []

    # The plan

    def plan_again(self, how: str) -> None:
        """Make the plan again soon: "keep" as many carriers as it can, or "fresh" from nothing."""
        self._again = "fresh" if how == "fresh" else self._again
        self._stop.set()
        self._wanted.set()

    def stop_planning(self) -> None:
        """Stop the plan that is being made; the earlier one stays."""
        self._stop.set()

    def _set(self, **changes: Any) -> None:
        with self._lock:
            self.planned = replace(self.planned, **changes)
        told = self.planned
        self.hub.tell(
            "plan",
            {"revision": told.of_revision, "busy": told.busy, "what": told.what, "share": round(told.share, 3)},
        )

    def _plan_forever(self) -> None:
        while not self._closing:
            self._wanted.wait()
            time.sleep(SETTLE_S)
            self._wanted.clear()
            self._stop.clear()
            if self._closing:
                return
            how, self._again = self._again, "keep"
            try:
                self._plan_once(how)
            except Stopped:
                self._set(busy=False, what="stopped")
            except InputErrors as errors:
                self._set(busy=False, error="; ".join(str(error) for error in errors.errors))
            except InputError as error:
                self._set(busy=False, error=str(error))

    def _plan_once(self, how: str) -> None:
        from linkwright.plan.pipeline import make_plan

        document = self.document()
        if document.shoot is None or not document.shoot.link:
            self._set(plan=None, of_revision=document.revision, error=None, busy=False, what="")
            return
        if how != "fresh" and document.revision == self.planned.of_revision and self.planned.plan is not None:
            return
        given = document.shoot, tuple(one.id for one in self.store.attachment_list())
        if how != "fresh" and self.planned.plan is not None and given == self._planned_from:
            # only something beside the shoot changed: a step ticked off, cells changed
            self._set(of_revision=document.revision, busy=False, what="", share=1.0)
            return
        sweeps, _ = self.sweeps(document.shoot)
        tv, _ = self.tv(document.shoot)
        earlier = None if how == "fresh" else self.planned.plan
        self._set(busy=True, what="planning", share=0.0, error=None)
        said = time.monotonic()

        def tell(what: str, share: float) -> None:
            nonlocal said
            if self._stop.is_set() or self._closing:
                raise Stopped
            if time.monotonic() - said > TELL_S:
                said = time.monotonic()
                self._set(what=what, share=share)

        plan = make_plan(document.shoot, sweeps, earlier, tell, tv=tv)
        self._planned_from = given
        self._set(plan=plan, of_revision=document.revision, busy=False, what="", share=1.0)


def import_shoot(store: Store, path: Path, tell: Callable[[str], None]) -> None:
    """Put a shoot file, finished or not, and the files that it names into a store. Raises InputError."""
    document = parse_document(read_text(path, str(path), MOST_BYTES), str(path))
    for name in named_files(document):
        tell(f"taking in {name}")
        file = path.parent / name
        try:
            with file.open("rb") as stream:
                store.attach(name, stream, "laptop", most_bytes=MOST_UPLOAD, kind="sweep")
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", path=name) from None
    store.replace(document, "laptop")


def named_files(document: dict[str, Any]) -> list[str]:
    """The files that a document's sites name: sweeps and lists of stations."""
    found: dict[str, None] = {}
    sites = document.get("site")
    for site in sites if isinstance(sites, list) else []:
        if isinstance(site, dict):
            sweeps = site.get("sweeps")
            for name in (*(sweeps if isinstance(sweeps, list) else []), site.get("stations")):
                if isinstance(name, str) and name:
                    found[name] = None
    return list(found)

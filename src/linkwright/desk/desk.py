"""The desk: one job, open in a store, with everything that is at work on it. Commands and pages use it alike."""

from __future__ import annotations

import contextlib
import datetime
import threading
import time
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from linkwright.desk.airing import SWEEP, Airing
from linkwright.desk.background import Background, WorkState
from linkwright.desk.crews import concerned, given_of
from linkwright.desk.current import site_now
from linkwright.desk.document import Document, document_of
from linkwright.desk.event import KeptDays
from linkwright.desk.files import Files, Read
from linkwright.desk.fitting import Fitting
from linkwright.desk.hunts import Suspecting
from linkwright.desk.listening import Listening
from linkwright.desk.names import Names, names_of
from linkwright.desk.newcomers import may_be_on, new_on_air, ours_of
from linkwright.desk.planning import Planning
from linkwright.desk.playing import Playing
from linkwright.desk.snapshot import Made, Snapshot, is_same
from linkwright.desk.sources import Sources
from linkwright.desk.telling import Listeners, Nobody
from linkwright.desk.troubles import Trouble, dying, reported
from linkwright.desk.watching import Watching
from linkwright.desk.wrap_run import Wrapping
from linkwright.shoot.clock import zone_of
from linkwright.shoot.errors import InputError
from linkwright.store import Away, Draft, Store
from linkwright.store.history import DOCUMENT
from linkwright.store.store import MOST_CHANGES
from linkwright.store.watch import MISSED
from linkwright.units import with_capital
from linkwright.work.compiling import is_prepared, is_started, prepare

if TYPE_CHECKING:
    from linkwright.plan.chain import Scene
    from linkwright.shoot.models import Shoot
    from linkwright.store.placebook import PlaceBook

#: Every kind of work in the background: its name, what it does, whether it lasts all day.
WORKS: Final = (
    ("preparing", "preparing this program for this machine", False),
    ("planning", "the planning", False),
    ("looking", "taking in readings", True),
    ("judging", "the watch", True),
    ("listening", "listening to the recordings", False),
    ("wrapping", "going through the readings", False),
    ("laying", "laying the recordings along the readings", False),
    ("playing", "playing simulated readings", False),
    ("fitting", "looking whether a request would fit", False),
    ("hunting", "looking who is in the way", False),
    ("mqtt", "taking readings from the broker", True),
    ("osc", "taking readings by OSC", True),
    ("airing", "the live sweep", True),
)


@dataclass
class Desk:
    """One job. Safe to use from several threads.

    listeners : who is told of what happens. places : where what was learnt of places is kept; None: nowhere.
    dask : the scheduler whose workers plan large events, if any.
    """

    store: Store
    listeners: Listeners = field(default_factory=Nobody)
    places: PlaceBook | None = None
    sources: Sources | None = None
    dask: str = ""
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _scenes: threading.RLock = field(default_factory=threading.RLock)
    _document: Document | None = None
    _names: Names = field(default_factory=Names)
    _named: int = 0
    _good: Draft | None = None
    _scene: tuple[Shoot | None, tuple[str, ...], Read, Scene | str] | None = None
    _seen: int = 0

    def __post_init__(self) -> None:
        self.works = {name: Background(name, about, self.listeners, lasts) for name, about, lasts in WORKS}
        self.files = Files(self.store)
        self.airing = Airing(self.store, self.listeners, self.works["airing"])
        self.planning = Planning(
            self.store, self.files, self.works["planning"], self.document, self._planned,
            self.airing.for_plan, self.airing.marks, self._give, dask=self.dask,
        )  # fmt: skip
        self.airing.changed = self.planning.follow
        self.listening = Listening(self.store, self.listeners, self.works["listening"])
        self.watching = Watching(self.store, self.listeners, self.works["looking"], self.works["judging"])
        self.watching.besides = self._besides
        self.airing.is_on, self.airing.site = self._is_on, self._site_now
        self.airing.news = self.watching.ask_besides
        self.watching.known_before, self.watching.known_of_kit = self._confirmed_near, self._confirmed_of_kit
        self.watching.compiled = lambda: self.works["preparing"].state == WorkState()
        self.wrapping = Wrapping(self.store, self.listening.path, self.works["wrapping"], self.works["laying"])
        self.fitting = Fitting(self.planning, self.listeners, self.works["fitting"])
        self.event = KeptDays()
        self.hunting = Suspecting(self.store, self.listeners, self.works["hunting"])
        self.playing = Playing(self.watching.intake, self.works["playing"])

    def start(self) -> None:
        """Begin: the plan that was kept is there at once, then whatever came since."""
        if is_started() and not is_prepared():
            self.works["preparing"].begin(lambda run: prepare(run.tell))
        self._seen = self.store.revision
        self.store.subscribe(self._changed)
        self.store.on_signal(self._signalled)
        self.store.on_handed(self._handed)
        self.planning.recall()
        self.watching.start()
        self.airing.start()
        self.planning.follow()
        if self.sources is not None:
            self.sources.start(self.watching.intake.take, self.works["mqtt"], self.works["osc"])

    def close(self) -> None:
        """End everything; the store is the caller's."""
        if self.sources is not None:
            self.sources.stop()
        for work in self.works.values():
            work.stop()  # all at once: each may need a moment to come to an end
        for name in ("preparing", "mqtt", "osc", "playing", "fitting", "hunting", "wrapping", "laying"):
            self.works[name].close()
        self.listening.close()
        self.watching.close()
        self.airing.close()
        self.works["planning"].close()
        self.planning.duty.close()

    # The job at one moment

    def document(self) -> tuple[Document, Names]:
        """The document and its names as they stand now."""
        with self._lock:
            if self._document is not None:
                self._document = self._as_late(self._document)
            if self._document is None or self._document.revision != self.store.revision:
                draft = self.store.document()
                if self._good is None and self.planning.made is not None:
                    self._good = self.planning.made.used
                self._document = document_of(draft, self._good)
                if self._document.whole:
                    self._good = draft
                self._names = names_of(draft, self.store.names_given(self._named), self._names)
                self._named = draft.revision
                shoot = self._document.shoot
                zone = datetime.UTC if shoot is None else zone_of(shoot)
                self.watching.show([id_ for id_, _ in draft.entries("link")], self._names, zone)
            return self._document, self._names

    def _as_late(self, document: Document) -> Document:
        """The document at the newest revision, where nothing of it has changed since: it need not be read again."""
        since = self.store.changes(document.revision) if document.revision != self.store.revision else ()
        if not since or len(since) >= MOST_CHANGES or any(change.area == DOCUMENT for change in since):
            return document
        draft = replace(document.draft, revision=since[-1].revision)
        return replace(document, draft=draft, used=draft if document.used is document.draft else document.used)

    def names(self) -> Names:
        """The names as they stand now."""
        return self.document()[1]

    def snapshot(self) -> Snapshot:
        """The job as it stands now, frozen."""
        document, names = self.document()
        read, scene = self._looked_up(document)
        return Snapshot(document, names, read, scene, self.planning.made, self.planning.background.state)

    def _looked_up(self, document: Document) -> tuple[Read, Scene | str]:
        """The shoot with everything looked up, or why there is none; the same while the shoot and its files are."""
        from linkwright.plan.chain import scene_of

        shoot = document.shoot
        if shoot is None:
            return Read(), "the shoot is not whole yet; the page Shoot says what it lacks"
        with self._scenes:
            attachments = self.planning.attachments(shoot)
            made = self.planning.made
            if made is not None and is_same(made.shoot, shoot) and made.attachments == attachments:
                return made.read, made.scene
            if self._scene is None or self._scene[0] != shoot or self._scene[1] != attachments:
                try:
                    read = self.planning.read(shoot)
                    scene: Scene | str = scene_of(shoot, read.sweeps, read.tv)
                except InputError as error:
                    read, scene = Read(troubles=(str(error),)), str(error)
                self._scene = shoot, attachments, read, scene
            return self._scene[2], self._scene[3]

    # What happens

    def slept(self, since: datetime.datetime, until: datetime.datetime) -> str:
        """The laptop slept: kept among what happened, so that nobody takes the gap for silence. What is told."""
        zone = self.snapshot().zone
        at, end = (f"{moment.astimezone(zone):%H:%M:%S}" for moment in (since, until))
        text = f"the laptop slept, or its clock was set, from {at} to {end}: nothing was taken in meanwhile"
        with contextlib.suppress(InputError):
            self.store.happen("slept", "", {"text": text}, since, "laptop")
        return f"{with_capital(text)}."

    def _signalled(self, word: str) -> None:
        """A process that has the job open said something; where that may be incomplete, all is looked at again."""
        if word == MISSED:
            self._changed(self.store.revision)
        self.planning.signalled(word)

    def _handed(self, kind: str, data: bytes) -> None:
        """What came to another process: readings, rows of a sweep, or that somebody saw or answered an alarm."""
        if kind == SWEEP:
            self.airing.hear(data)
        else:
            self.watching.hear(kind, data)

    def _changed(self, revision: int) -> None:
        """Something was changed, which is saved: no fault of the telling may reach who did it. Where the database
        is away, what is missed now is told when it is back."""
        with contextlib.suppress(Away):
            self._tell_changes(revision)

    def _tell_changes(self, revision: int) -> None:
        self.listeners.tell("changed", {"revision": revision})
        with self._lock:
            news = self.store.changes(self._seen)
            self._seen = max(self._seen, revision)
        for change in news:
            if change.area == "device" and change.what in ("remove", "set"):
                self.listeners.tell("forgotten", {"device": str(change.path[0])})
        if any(change.area in ("document", "attachment") for change in news):
            self.planning.follow()
        for crew in concerned(news, self.store.document()) if news else ():
            self.listeners.tell("own", {"crew": crew})

    def troubles(self) -> tuple[Trouble, ...]:
        """What is amiss besides what the readings say."""
        snapshot = self.snapshot()
        cells = dying(self.store, snapshot, self.watching.gauges())
        return (*reported(self.store, snapshot), *cells, *new_on_air(self.airing, snapshot))

    def _is_on(self, link: str) -> bool | None:
        """Whether a link transmits: as its receiver tells; not where its calls are all an hour away."""
        told = self.watching.transmits(link)
        made = self.planning.made
        if told is not None or made is None:
            return told
        return None if may_be_on(made.scene.calls, link, self.store.now()) else False

    def _site_now(self) -> str:
        made = self.planning.made
        return "" if made is None else site_now(self.snapshot(), time.time_ns(), list(made.scene.air))

    def _confirmed_near(self) -> Counter[str]:
        """Which causes were confirmed near here on other days."""
        from linkwright.desk.places import confirmed_near

        return Counter() if self.places is None else confirmed_near(self.store.document(), self.places)

    def _confirmed_of_kit(self) -> Mapping[str, Counter[str]]:
        """Which causes were confirmed on other days with the kit of each link, by its id."""
        from linkwright.desk.kit_causes import confirmed_with

        document, names = self.document()
        return confirmed_with(document.shoot, names)

    def _besides(self) -> tuple[str, ...]:
        try:
            return tuple(trouble.says for trouble in self.troubles())
        except InputError:
            return ()  # the job cannot be read now, which is told elsewhere

    def _planned(self, made: Made | None) -> None:
        self.watching.expect(made)
        self.airing.expect(ours_of(made))
        self.listeners.tell("plan", {"revision": made.revision if made is not None else -1})

    def _give(self, made: Made) -> None:
        """Tell crews what a plan gives them."""
        given, over = given_of(made, self.store.now())
        self.store.tell_carriers(given, over=over)

    def told(self) -> dict[str, Any]:
        """How things stand, for a page that begins to listen."""
        made = self.planning.made
        return {
            "revision": self.document()[0].revision,
            "plan": made.revision if made is not None else -1,
            "works": [work.told() for work in self.works.values()],
            **self.watching.told(),
        }

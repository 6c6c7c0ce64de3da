"""The plan of the job: made again in the background as the shoot changes, kept with what it was made from."""

from __future__ import annotations

import contextlib
import datetime
import itertools
import json
import secrets
import threading
import time
import zlib
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from linkwright import __version__
from linkwright.desk.background import Background, WorkRun
from linkwright.desk.document import Document
from linkwright.desk.files import Files, Read
from linkwright.desk.follow import followed, planned_apart
from linkwright.desk.given_up import GivenUp, given_up, with_findings, without_findings
from linkwright.desk.names import Names, names_of
from linkwright.desk.relabel import relabelled
from linkwright.desk.snapshot import Made
from linkwright.shoot.errors import InputError
from linkwright.store import Away, Draft, Store
from linkwright.store.watch import MISSED

if TYPE_CHECKING:
    from linkwright.air.readers import Readout
    from linkwright.plan.chain import Scene
    from linkwright.plan.model import Plan
    from linkwright.plan.pieces import Pieces
    from linkwright.shoot.models import Shoot

#: How long after a change the plan is made again, so that several changes make one plan [s].
SETTLE_S: Final = 0.4
#: Where changes have waited for a plan so long, what is under way is finished before the next: else a crew that
#: changes much, many times a second even, never gets one [s].
PATIENT_S: Final = 2.0
#: How often a process without the duty looks whether it is free, or a database that is away is back [s].
TURN_S: Final = 0.5
#: After so many looks the kept plan is read, even where nobody said that there is another.
LOOK_TURNS: Final = 10
#: From so many assignments on, links in calls, only what a change touches is planned again.
LARGE: Final = 200
#: So many plans are remembered: where the shoot is again what one of them was made for, as after an undo, that plan
#: stands again, with its carriers and spares.
REMEMBERED: Final = 20
#: Under which key the newest plan is kept in the store.
KEY: Final = f"made/{__version__}"


@dataclass
class Planning:
    """Makes plans.

    asked : gives the document and the names of now. told : hears that there is a new plan. heard, marks : who
    else is on the air now, by site, and what tells one such list from another. given : hears of a plan that was
    made here, to tell others what it gives them. dask : a scheduler whose workers plan large events; none: this
    machine does.

    Where several processes have the job open (PostgreSQL), the one that has the duty plans; the others wait for
    what it makes, and one of them takes the duty over when it is gone.
    """

    store: Store
    files: Files
    background: Background
    asked: Callable[[], tuple[Document, Names]]
    told: Callable[[Made | None], None]
    heard: Callable[[], dict[str, Readout]] = field(default=dict)
    marks: Callable[[], tuple[str, ...]] = field(default=tuple)
    given: Callable[[Made], None] = field(default=lambda _made: None)
    dask: str = ""
    made: Made | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _fresh: bool = False
    _given_up: GivenUp = field(default_factory=dict)
    _for: tuple[Shoot | None, tuple[str, ...]] | None = None
    _since_s: float | None = None
    _pieces: tuple[Made, Pieces] | None = None
    _before: deque[Made] = field(default_factory=lambda: deque(maxlen=REMEMBERED))
    _me: str = field(default_factory=lambda: f"plan:{secrets.token_hex(8)}")
    _news: bool = False
    _mine: bool = False

    def __post_init__(self) -> None:
        self.duty = self.store.duty("planning")

    def signalled(self, word: str) -> None:
        """A process that has the job open said something: another's plan is there, or something may have been
        missed."""
        if word == MISSED or (word.startswith("plan:") and word != self._me):
            self._news = True
            self.follow()

    def follow(self) -> None:
        """The job has changed: make the plan again soon, where the shoot or its files are others."""
        now_s = time.monotonic()
        with self._lock:
            self._since_s = now_s if self._since_s is None else self._since_s
            lasts = self.background.state.busy and now_s - self._since_s > PATIENT_S
        self.background.begin(self._plan, instead=True, patient=lasts)

    def again(self, *, fresh: bool) -> None:
        """Make the plan again: keeping as many carriers as it can, or `fresh` from nothing."""
        with self._lock:
            self._fresh, self._for = self._fresh or fresh, None
        self.follow()

    def attachments(self, shoot: Shoot | None) -> tuple[str, ...]:
        """The ids of the files that the sites of a shoot name."""
        sites = () if shoot is None else shoot.site
        names = {name for site in sites for name in (*site.sweeps, site.stations) if name}
        ids = tuple(file.id for file in self.store.attachment_list() if file.name in names) if names else ()
        return (*ids, *self.marks())

    def read(self, shoot: Shoot) -> Read:
        """What the files of a shoot hold, and who else is on the air now. Raises InputError."""
        read = self.files.of(shoot)
        sweeps = dict(read.sweeps)
        for site, heard in self.heard().items():
            if any(known.name == site for known in shoot.site):
                sweeps[site] = (*sweeps.get(site, ()), heard)
        return replace(read, sweeps=sweeps)

    def _plan(self, run: WorkRun) -> None:
        """One plan, of the job as it stands when it begins: made here, or by the process that has the duty. A
        database that is away is waited for."""
        run.wait(SETTLE_S)
        self._plan_or_wait(run)
        with self._lock:
            self._since_s = None

    def _plan_or_wait(self, run: WorkRun) -> None:
        for turn in itertools.count():
            with contextlib.suppress(Away):
                if self._news or turn % LOOK_TURNS == LOOK_TURNS - 1:
                    self._news = False
                    self.recall()
                if self.duty.take():
                    if not self._mine and self.made is not None:
                        self.given(self.made)  # whoever had the duty may have gone before it told
                    self._mine = True
                    self._plan_here(run)
                    return
                self._mine = False
                if self._is_planned():
                    return
            run.wait(TURN_S)

    def _is_planned(self) -> bool:
        """Whether the plan that is there is of the job as it stands, or none can be made of that."""
        shoot = self.asked()[0].shoot
        return shoot is None or self._for == (shoot, self.attachments(shoot))

    def _plan_here(self, run: WorkRun) -> None:
        document, names = self.asked()
        given = document.shoot, self.attachments(document.shoot)
        with self._lock:
            if given == self._for:
                return
            fresh, self._fresh = self._fresh, False
        if given[0] is not None:
            self._made(run, document, names, given[0], given[1], fresh)
        elif not document.draft.at("link"):
            self._set(None)  # nothing is left to plan; else the last plan stays
        with self._lock:
            self._for = given

    def _made(
        self,
        run: WorkRun,
        document: Document,
        names: Names,
        shoot: Shoot,
        attachments: tuple[str, ...],
        fresh: bool,
    ) -> None:
        """Make a plan, and keep it."""
        from linkwright.plan.chain import scene_of

        run.tell("planning", 0.0)
        read = self.read(shoot)
        at = datetime.datetime.now(datetime.UTC)
        same = (made for made in reversed(self._before) if (made.shoot, made.attachments) == (shoot, attachments))
        there = None if fresh else next(same, None)
        if there is not None and there is not self.made:
            self._done(run, replace(there, names=names, used=document.used, at=at))
            return
        earlier = None if fresh or self.made is None else relabelled(self.made.plan, self.made.names, names)
        scene = scene_of(shoot, read.sweeps, read.tv)
        pieces = None if fresh else self._followed(run, scene, read, names)
        pieces = pieces or planned_apart(scene, earlier, run.tell, self.dask)
        plan = pieces.plan
        news = given_up(earlier, plan, self.heard())
        self._given_up = {} if fresh else {**self._given_up, **news}
        plan = with_findings(plan, self._given_up)
        for (_, link, _), why in news.items():
            with contextlib.suppress(InputError):
                self.store.happen("note", names.id_of("link", link), {"text": why}, None, "the live sweep")
        made = Made(plan, shoot, pieces.scene, read, names, document.used, attachments, at)
        self._pieces = made, pieces
        self._done(run, made)

    def _followed(self, run: WorkRun, scene: Scene, read: Read, names: Names) -> Pieces | None:
        """The pieces of a large shoot of which only what a change touches is planned again; None where all is to be
        planned."""
        made, count = self.made, sum(len(call.links) for call in scene.calls)
        if made is None or count < LARGE:
            return None
        return followed(made, self.pieces(made), scene, names, read, run.tell)

    def pieces(self, made: Made) -> Pieces:
        """A plan in its pieces: as they were made here, else as far as the plan tells."""
        from linkwright.plan.replan import pieces_of

        known = self._pieces
        if known is None or known[0] is not made:
            known = self._pieces = made, pieces_of(made.scene, without_findings(made.plan))
        return known[1]

    def _done(self, run: WorkRun, made: Made) -> None:
        """There is a plan: it is shown, kept, and told to whom it gives something."""
        self._set(made)
        while True:
            with contextlib.suppress(Away):
                self._keep(made)
                self.given(made)
                return
            run.wait(TURN_S)

    def _set(self, made: Made | None) -> None:
        self.made = made
        if made is not None:
            self._before.append(made)
        self.told(made)

    def _keep(self, made: Made) -> None:
        """Keep the plan in the job, so that it is there at once after a restart, whole shoot or not."""
        ids = [[list(path), list(own)] for path, own in made.used.ids.items()]
        kept = {
            "plan": made.plan.model_dump(mode="json"), "document": made.used.document, "ids": ids,
            "revision": made.revision, "at": made.at.isoformat(), "attachments": list(made.attachments),
        }  # fmt: skip
        written = json.dumps(kept, separators=(",", ":")).encode()
        self.store.cache_put(KEY, zlib.compress(written, 1), self._me)  # of an event more than a store keeps else

    def recall(self) -> None:
        """Take up the plan that was kept, if it can still be worked with."""
        data = self.store.cache_get(KEY)
        if data is None:
            return
        try:
            kept = json.loads(data if data[:1] == b"{" else zlib.decompress(data))
            if self.made is not None and kept["at"] == self.made.at.isoformat():
                return
            made = self._recalled(kept)
        except Away:
            raise
        except (InputError, ValueError, KeyError, TypeError, zlib.error):
            return  # of another version, or damaged: it is made again
        with self._lock:
            self._for = made.shoot, made.attachments
        self._set(made)

    def _recalled(self, kept: dict[str, Any]) -> Made:
        from linkwright.plan.chain import scene_of
        from linkwright.plan.model import Plan

        ids = {tuple(path): tuple(own) for path, own in kept["ids"]}
        used = Draft(kept["document"], ids, int(kept["revision"]))
        plan: Plan = Plan.model_validate(kept["plan"])
        shoot = used.shoot()
        read = self.read(shoot)
        scene = scene_of(shoot, read.sweeps, read.tv)
        at = datetime.datetime.fromisoformat(kept["at"])
        return Made(plan, shoot, scene, read, names_of(used, ()), used, tuple(kept["attachments"]), at)

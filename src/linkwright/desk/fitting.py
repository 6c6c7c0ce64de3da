"""Would it fit? A plan with what a crew asks for, made beside the job's own, which stays as it is."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from linkwright.desk.background import Background, WorkRun
from linkwright.desk.crewkit import sent_kit
from linkwright.desk.crews import links_wanted, with_fields
from linkwright.desk.follow import followed, planned_apart
from linkwright.desk.planning import Planning
from linkwright.desk.relabel import relabelled
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.telling import Listeners
from linkwright.shoot.errors import InputError
from linkwright.store import CrewRequest

if TYPE_CHECKING:
    from linkwright.plan.model import PlannedCall
    from linkwright.shoot.models import Shoot

#: So many answers are remembered.
MOST: Final = 100


@dataclass(frozen=True, slots=True)
class Fit:
    """What granting a request would do: at which revision of the job, how many links find a carrier and hold, the
    least in hand of them [dB], why others find none, and whose carriers would move: link, from, to [kHz]."""

    revision: int
    wanted: int
    placed: int
    holding: int
    least_db: float | None
    because: tuple[str, ...]
    moved: tuple[tuple[str, int, int], ...]

    @property
    def says(self) -> str:
        """The answer in a few words."""
        if self.placed < self.wanted:
            return "It does not fit as it is"
        if self.holding < self.wanted:
            return "There is room, but not every link would hold"
        return "It fits, but others move" if self.moved else "It fits"


@dataclass
class Fitting:
    """Answers for one job. Safe to use from several threads."""

    planning: Planning
    listeners: Listeners
    background: Background
    _answers: dict[str, Fit | str] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, snapshot: Snapshot, request: CrewRequest) -> None:
        """Look whether a request would fit; the answer is told when it is there."""
        with self._lock:
            self._answers.pop(request.id, None)
        self.background.begin(lambda run: self._fit(run, snapshot, request), instead=True)

    def of(self, request_id: str) -> Fit | str | None:
        """The answer; a sentence why there is none; None while nobody asked, or it is being looked at."""
        with self._lock:
            return self._answers.get(request_id)

    def _fit(self, run: WorkRun, snapshot: Snapshot, request: CrewRequest) -> None:
        try:
            kit = sent_kit(self.planning.store.hatch(request.crew).kit())
            fields = links_wanted(snapshot.document.used, request, kit)
            new = [str(value["name"]) for path, _, value in fields if path == ("link",)]
            shoot = with_fields(snapshot.document.used, fields).shoot()
            earlier, calls = self._planned(run, snapshot, shoot)
            answer: Fit | str = fit_of(snapshot.revision, calls, earlier, new)
        except InputError as error:
            answer = str(error)
        with self._lock:
            while len(self._answers) >= MOST:
                self._answers.pop(next(iter(self._answers)))
            self._answers[request.id] = answer
        self.listeners.tell("fitted", {"request": request.id})

    def _planned(
        self, run: WorkRun, snapshot: Snapshot, shoot: Shoot
    ) -> tuple[Sequence[PlannedCall], Sequence[PlannedCall]]:
        """The calls as they are planned, and as they would be in a shoot that has more.

        Only what the new ones touch is planned, where the plan is of the job as it is.
        """
        from linkwright.plan.chain import scene_of

        made, read = snapshot.made, self.planning.read(shoot)
        scene = scene_of(shoot, read.sweeps, read.tv)
        if made is not None and not snapshot.plan_is_old:
            pieces = followed(made, self.planning.pieces(made), scene, snapshot.names, read, run.tell)
            if pieces is not None:
                return made.plan.calls, list(pieces.calls.values())
        earlier = None if made is None else relabelled(made.plan, made.names, snapshot.names)
        calls = planned_apart(scene, earlier, run.tell, self.planning.dask).plan.calls
        return () if earlier is None else earlier.calls, calls


def fit_of(revision: int, calls: Sequence[PlannedCall], earlier: Sequence[PlannedCall], new: Sequence[str]) -> Fit:
    """What planned calls give the new links, and whom they move from earlier ones."""
    mine = [link for call in calls for link in call.links if link.link in new]
    without = {none.link: none.because for call in calls for none in call.unplaced if none.link in new}
    falls = {link.link for link in mine if link.verdict != "holds"} | without.keys()
    placed = {link.link for link in mine} - without.keys()
    before = {(call.call, link.link): link.carrier_khz for call in earlier for link in call.links}
    moved = [
        (link.link, old, link.carrier_khz)
        for call in calls
        for link in call.links
        if (old := before.get((call.call, link.link))) not in (None, link.carrier_khz)
    ]
    return Fit(
        revision, len(new), len(placed), len(placed - falls), min((link.in_hand_db for link in mine), default=None),
        tuple(dict.fromkeys(without.values())), tuple(dict.fromkeys(moved)),
    )  # fmt: skip

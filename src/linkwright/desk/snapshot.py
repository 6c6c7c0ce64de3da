"""The job at one moment, frozen: whatever one answer shows is read from one snapshot, and nothing else."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

from linkwright.desk.background import WorkState
from linkwright.desk.document import Document
from linkwright.desk.files import Read
from linkwright.desk.names import Names
from linkwright.latest import latest
from linkwright.shoot.clock import zone_of
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.store import Draft

if TYPE_CHECKING:
    from linkwright.plan.chain import Scene
    from linkwright.plan.model import Plan

T = TypeVar("T")


@dataclass(frozen=True, eq=False, slots=True)
class Made:
    """A plan and all that it was made from: they belong together, whatever the job has become since.

    used : the document of which the shoot is. attachments : ids of all files that were there.
    """

    plan: Plan
    shoot: Shoot
    scene: Scene
    read: Read
    names: Names
    used: Draft
    attachments: tuple[str, ...]
    at: datetime.datetime
    _known: dict[str, Any] = field(default_factory=dict, init=False)

    def once(self, what: str, work: Callable[[], T]) -> T:
        """What is worked out of this plan, once: of a large one it takes longer than an answer may."""
        if what not in self._known:
            self._known[what] = work()
        known: T = self._known[what]
        return known

    @property
    def revision(self) -> int:
        """The change that the plan was made for."""
        return self.used.revision

    @property
    def clock(self) -> str:
        """When it was made, on the clock of the shoot."""
        return f"{self.at.astimezone(zone_of(self.shoot)):%H:%M}"


@dataclass(frozen=True, eq=False, slots=True)
class Snapshot:
    """The job at one moment.

    document : what was typed, and the shoot that can be worked with. scene : that shoot with everything looked up,
    or why there is none. made : the newest plan with what it was made from. planning : how the next one stands.
    """

    document: Document
    names: Names
    read: Read
    scene_or_why: Scene | str
    made: Made | None
    planning: WorkState

    @property
    def revision(self) -> int:
        """The change that it stands at."""
        return self.document.revision

    @property
    def shoot(self) -> Shoot | None:
        """The shoot that can be worked with."""
        return self.document.shoot

    @property
    def scene(self) -> Scene | None:
        """The shoot with everything looked up, the air too; None where there is none."""
        return None if isinstance(self.scene_or_why, str) else self.scene_or_why

    @property
    def plan(self) -> Plan | None:
        """The newest plan."""
        return None if self.made is None else self.made.plan

    @property
    def plan_is_old(self) -> bool:
        """Whether the shoot is another than the plan was made for."""
        return self.made is not None and (self.shoot is None or not is_same(self.made.shoot, self.shoot))

    @property
    def zone(self) -> datetime.tzinfo:
        """The clock of the shoot."""
        return datetime.UTC if self.shoot is None else zone_of(self.shoot)

    def whole_shoot(self) -> Shoot:
        """The shoot. Raises InputError while there is none that can be worked with."""
        if self.shoot is None:
            raise InputError("the shoot is not whole yet; the page Shoot says what it lacks")
        return self.shoot

    def whole_scene(self) -> Scene:
        """The shoot with everything looked up. Raises InputError while there is none."""
        self.whole_shoot()
        if isinstance(self.scene_or_why, str):
            raise InputError(self.scene_or_why)
        return self.scene_or_why

    def planned(self) -> Made:
        """The newest plan with what it was made from. Raises InputError while there is none."""
        if self.made is None:
            raise InputError("there is no plan yet; the pages Shoot and Plan say what is lacking")
        return self.made

    def marks(self) -> tuple[str, ...]:
        """What of this answer is not as the job was typed, sentences: an older plan, entries that are set aside."""
        said = [f"{aside.says}" for aside in self.document.aside]
        if self.made is not None and self.plan_is_old:
            said.insert(0, f"The plan is as of {self.made.clock}, before {self.before()}.")
        return tuple(said)

    def before(self) -> str:
        """What became of the job since the plan, in words: "Boom was added"."""
        assert self.made is not None
        return changed_since(self.made.used, self.document.used)


@latest
def is_same(a: Shoot, b: Shoot) -> bool:
    """Whether two shoots say the same: of an event it takes longer to see than a page may."""
    return a == b


def changed_since(before: Draft, now: Draft) -> str:
    """The first thing in which two drafts differ, in words: "Boom was added"."""
    for kind in ("link", "site", "call", "other"):
        old, new = dict(before.entries(kind)), dict(now.entries(kind))
        for id_, value in new.items():
            if id_ not in old:
                return f"{_called(kind, value)} was added"
            if old[id_] != value:
                called, was = _called(kind, value), _called(kind, old[id_])
                return f"{was} was renamed to {called}" if called != was else f"{called} was changed"
        for id_, value in old.items():
            if id_ not in new:
                return f"{_called(kind, value)} was removed"
    return "the job was changed"


def _called(kind: str, value: dict[str, object]) -> str:
    name = value.get("name")
    return name if isinstance(name, str) and name else f"a {kind}"

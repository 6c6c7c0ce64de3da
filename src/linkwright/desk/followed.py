"""The plan of a large shoot as it goes on: only what a change touches is planned again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from linkwright.desk.files import Read
from linkwright.progress import Tell

if TYPE_CHECKING:
    from linkwright.plan.chain import Scene
    from linkwright.plan.pieces import Pieces


def followed(before: Pieces, scene: Scene, then: Read, now: Read, tell: Tell) -> Pieces | None:
    """The pieces of a scene that follows on a planned one, with what was read for each; None where so much differs
    that all is to be planned."""
    from linkwright.plan.changes import changes
    from linkwright.plan.replan import replan

    changed = changes(before.scene, scene, _read_otherwise(then, now))
    return None if changed is None else replan(before, changed.scene, changed.calls, tell)


def _read_otherwise(then: Read, now: Read) -> set[str]:
    """The names of the sites of which other sweeps or another prediction of TV are there."""
    names = {*then.sweeps, *now.sweeps, *then.tv, *now.tv}
    return {name for name in names if _ids(then, name) != _ids(now, name)}


def _ids(read: Read, site: str) -> list[int]:
    """What is known of a site, as the objects that they are: each file is read once."""
    return [*map(id, read.sweeps.get(site, ())), id(read.tv.get(site))]

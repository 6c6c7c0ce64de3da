"""The plan of a large job as it goes on: only what a change touches is planned again, a new name included."""

from __future__ import annotations

import logging
import os
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Final, TypeVar

from linkwright.desk.crews import with_fields
from linkwright.desk.editing import Path, references_renamed
from linkwright.desk.files import Read
from linkwright.desk.given_up import without_findings
from linkwright.desk.names import Names
from linkwright.desk.relabel import relabelled
from linkwright.desk.snapshot import Made
from linkwright.progress import Tell
from linkwright.shoot.errors import InputError

if TYPE_CHECKING:
    from linkwright.plan.chain import Scene
    from linkwright.plan.model import Finding, Plan
    from linkwright.plan.pieces import Pieces

LOG: Final = logging.getLogger(__name__)
Known = TypeVar("Known")
#: By kind and id, what an entry was called and is called.
Renamed = Mapping[tuple[str, str], tuple[str, str]]


def followed(made: Made, pieces: Pieces, scene: Scene, names: Names, read: Read, tell: Tell) -> Pieces | None:
    """The pieces of a scene that follows on a planned one; None where so much differs that all is to be planned."""
    from linkwright.plan.changes import changes
    from linkwright.plan.replan import pieces_of, replan

    renamed = _renamed(made.names, names)
    if any((kind, now) in made.names.now for (kind, _), (_, now) in renamed.items()):
        return None  # what was called so then is another, and a plan tells things apart by their names
    if renamed:
        made = _under_new_names(made, names, renamed)
        pieces = pieces_of(made.scene, made.plan)
    changed = changes(pieces.scene, scene, _read_otherwise(made.read, read))
    if changed is None:
        return None
    again = changed.calls | _calling(changed.scene, renamed)  # what is said of them has the old name
    return replan(pieces, changed.scene, again, tell)


def planned_apart(scene: Scene, earlier: Plan | None, tell: Tell, dask: str = "") -> Pieces:
    """The pieces of a scene of which all is planned: of a large one in other processes, so that pages answer
    meanwhile, and one core is left to them; or on the workers of the scheduler at `dask`. Where that fails it is
    done here: the day goes on."""
    from linkwright.plan.legs import plan_in_pieces
    from linkwright.work.carriers import on_dask, on_processes, worth_processes

    if not worth_processes(sum(len(call.links) for call in scene.calls), len(scene.calls), bool(dask)):
        return plan_in_pieces(scene, earlier, tell)
    last = ("planning", 0.0)

    def told(what: str, share: float) -> None:
        nonlocal last
        last = what, share
        tell(what, share)

    def look() -> None:
        tell(*last)

    if dask:
        try:
            with on_dask(dask, look) as carry:
                return plan_in_pieces(scene, earlier, told, run=carry)
        except InputError as error:
            LOG.warning("planned on this machine: %s", error)
    with on_processes(max(1, (os.cpu_count() or 1) - 1), look) as carry:
        return plan_in_pieces(scene, earlier, told, run=carry)


def _renamed(then: Names, now: Names) -> Renamed:
    """What is called otherwise than it was."""
    return {
        (kind, id_): (name, called)
        for (kind, name), id_ in then.now.items()
        if (called := now.called.get(id_, name)) != name
    }


def _under_new_names(made: Made, names: Names, renamed: Renamed) -> Made:
    """What was made as if everything had been called then what it is called now."""
    from linkwright.plan.chain import scene_of

    draft = made.used
    for (kind, id_), (was, now) in renamed.items():
        path: Path = (*(("site", kind.removeprefix("spot "), "spots") if " " in kind else (kind,)), id_, "name")
        draft = with_fields(draft, [(path, was, now), *references_renamed(draft, names, kind, id_, now)])
    sites = {was: now for (kind, _), (was, now) in renamed.items() if kind == "site"}
    read = replace(made.read, sweeps=_keyed(made.read.sweeps, sites), tv=_keyed(made.read.tv, sites))
    old = {was for was, _ in renamed.values()}
    plan = without_findings(relabelled(made.plan, made.names, names))
    plan = plan.model_copy(update={"findings": tuple(told for told in plan.findings if not _names_any(told, old))})
    shoot = draft.shoot()
    return replace(made, plan=plan, shoot=shoot, scene=scene_of(shoot, read.sweeps, read.tv), read=read, used=draft)


def _names_any(finding: Finding, names: Collection[str]) -> bool:
    """Whether a finding is about one of some names, or has one of them in quotation marks, as calls stand in it."""
    return finding.about in names or any(f'"{name}"' in finding.says for name in names)


def _keyed(values: Mapping[str, Known], names: Mapping[str, str]) -> dict[str, Known]:
    return {names.get(name, name): value for name, value in values.items()}


def _calling(scene: Scene, renamed: Renamed) -> set[str]:
    """The calls that have something to do with what is called otherwise."""
    called = {(kind, now) for (kind, _), (_, now) in renamed.items()}
    spots = {now for kind, now in called if kind.startswith("spot ")}
    return {
        call.name
        for call in scene.calls
        if not called.isdisjoint({("call", call.name), ("site", call.site.name)})
        or any(("link", link.name) in called for link in call.links)
        or not spots.isdisjoint(spot.name for spot in call.site.spots)
    }


def _read_otherwise(then: Read, now: Read) -> set[str]:
    """The names of the sites of which other sweeps or another prediction of TV are there."""
    names = {*then.sweeps, *now.sweeps, *then.tv, *now.tv}
    return {name for name in names if _ids(then, name) != _ids(now, name)}


def _ids(read: Read, site: str) -> list[int]:
    """What is known of a site, as the objects that they are: each file is read once."""
    return [*map(id, read.sweeps.get(site, ())), id(read.tv.get(site))]

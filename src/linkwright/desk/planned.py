"""A shoot with its plan: the one in a file, the one that lies beside the shoot, or a new one."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from linkwright.air.predicted import Predicted
from linkwright.desk.loading import MOST_PLAN_BYTES, load_plan, load_sweeps, load_tv
from linkwright.plan.chain import Scene, Sweeps, scene_of
from linkwright.plan.misfits import misfits
from linkwright.plan.model import Plan
from linkwright.plan.pipeline import make_plan
from linkwright.progress import Tell
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.regular import open_regular

#: What a plan's file begins with, in so many bytes.
BEGINS, HEAD_BYTES = b'"linkwright-plan/2"', 200
#: How many differences between a plan and its shoot are told.
MOST_TOLD = 4


@dataclass(frozen=True, eq=False, slots=True)
class Planned:
    """A shoot with everything looked up, and its plan; `path` is the plan's file, None for one just made."""

    scene: Scene
    sweeps: Sweeps
    tv: Mapping[str, Predicted]
    plan: Plan
    path: str | None


def planned_scene(shoot: Shoot, shoot_path: str, plan: str | None, tell: Tell) -> Planned:
    """The shoot with the plan in a file, else with the newest beside the shoot that fits it, else with a new one.

    Which one it is, is told on standard error. Raises InputError; for a plan that does not fit, with what differs.
    """
    sweeps, tv = load_sweeps(shoot, shoot_path), load_tv(shoot, shoot_path)
    scene = scene_of(shoot, sweeps, tv)
    there = standing(scene, shoot_path, plan)
    if there is None:
        there = make_plan(shoot, sweeps, None, tell, tv=tv), None
    return Planned(scene, sweeps, tv, *there)


def standing(scene: Scene, shoot_path: str, plan: str | None) -> tuple[Plan, str | None] | None:
    """The plan in a file, else the newest beside the shoot that fits it, with its path; None where there is none.

    Which one it is, is told on standard error. Raises InputError as `planned_scene` does.
    """
    if plan is not None:
        given = load_plan(plan)
        differs = list(misfits(scene, given))
        if differs:
            raise InputError(f"is not a plan of this shoot as it is now: {_few(differs)}", path=plan)
        return given, plan
    for path in _beside(shoot_path):
        beside = _fitting(scene, path)
        if beside is not None:
            older = path.stat().st_mtime_ns < Path(shoot_path).stat().st_mtime_ns
            _say(f"by the plan in {path}{', which is older than the shoot file' if older else ''}")
            return beside, str(path)
    return None


def _few(differs: list[str]) -> str:
    more = f"; and {len(differs) - MOST_TOLD} more" if len(differs) > MOST_TOLD else ""
    return "; ".join(differs[:MOST_TOLD]) + more


def _beside(shoot_path: str) -> list[Path]:
    """Files beside the shoot that begin as a plan does, the newest first."""
    if shoot_path == "-":
        return []
    plans = []
    try:
        for path in Path(shoot_path).parent.glob("*.json"):
            if path.is_file() and path.stat().st_size <= MOST_PLAN_BYTES:
                with open_regular(path, path.name) as file:
                    if BEGINS in file.read(HEAD_BYTES):
                        plans.append((-path.stat().st_mtime_ns, path.name, path))
    except OSError:
        return []
    return [path for _, _, path in sorted(plans)]


def _fitting(scene: Scene, path: Path) -> Plan | None:
    """The plan in a file if it is one of this shoot; where it is one of an earlier state, what differs is told."""
    try:
        plan = load_plan(str(path))
    except InputError as error:
        _say(f"{path} is passed over: {error.says}")
        return None
    if plan.shoot != scene.shoot.shoot.title:
        return None
    differs = list(misfits(scene, plan))
    if differs:
        _say(f"{path} is passed over: {_few(differs)}")
    return None if differs else plan


def _say(what: str) -> None:
    sys.stderr.write(f"{what}\n")

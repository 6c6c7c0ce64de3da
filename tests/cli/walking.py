"""The link of a shoot with one, as it is at work; for tests that walk."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from linkwright.plan.chain import scene_of
from linkwright.reach.ground import AtWork
from linkwright.shoot.reading import read_shoot


def potter(path: Path) -> AtWork:
    """The only link of the shoot, on 570 MHz with 10 mW, looking where the talent walks."""
    scene = scene_of(read_shoot(path), {})
    (call,) = scene.calls
    chain = scene.chain(call.links[0], call.site)
    ends = replace(chain.ends, facing="walking")
    return AtWork(chain.link.name, ends, 570_000, 10.0, chain.route)

"""Periods of a long event: stretches of time that no call reaches out of, such as its days.

Nobody of one period meets anybody of another, so each is planned by itself, in turn; a pack keeps its
carrier from one to the next where that is clean.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from linkwright.plan.chain import Scene

#: Up to so many assignments (a link in a call) a shoot is planned as a whole, with one carrier a pack all along.
WHOLE_UP_TO: Final = 1_000


def periods(scene: Scene) -> list[Scene]:
    """The scene in its periods, in the order of time; as it is where it has one or is no long event.

    Calls without times last for ever. The calls of a period stand in the order of the shoot.
    """
    if sum(len(call.links) for call in scene.calls) <= WHOLE_UP_TO:
        return [scene]
    spans = sorted((*call.span_s, n) for n, call in enumerate(scene.calls))
    groups: list[list[int]] = []
    until = -float("inf")
    for starts, ends, n in spans:
        if not groups or starts >= until:
            groups.append([])
        groups[-1].append(n)
        until = max(until, ends)
    if len(groups) == 1:
        return [scene]
    every = [tuple(scene.calls[n] for n in sorted(group)) for group in groups]
    return [replace(scene, calls=calls) for calls in every]

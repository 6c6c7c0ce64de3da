"""What of a shoot is another than before, as far as a plan goes: which calls have to be planned again."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Final

from linkwright.plan.chain import Scene
from linkwright.shoot.bag import KINDS
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import LiveCall, others_during, sites

#: What is looked at entry by entry, and what no carrier hangs on. Where anything else differs, all is planned anew.
BY_ENTRY: Final = frozenset({"site", "link", "other", "call", *KINDS})
ASIDE: Final = frozenset({"crew", "contact", "run"})


@dataclass(frozen=True, eq=False, slots=True)
class ChangedScene:
    """A scene that shares with the one before whatever is as it was, and the names of the calls that differ."""

    scene: Scene
    calls: frozenset[str]


def changes(before: Scene, now: Scene, air: Collection[str] = ()) -> ChangedScene | None:
    """What of a scene differs from one that was planned; None where all of it is to be planned anew.

    `air` names the sites where something else was measured or predicted than before.
    """
    if before.law.on != now.law.on or any(
        getattr(before.shoot, name) != getattr(now.shoot, name)
        for name in Shoot.model_fields.keys() - BY_ENTRY - ASIDE
    ):
        return None
    types = _types(before.shoot, now.shoot)
    if any(
        level.link in types for scene in (before, now) for site in scene.shoot.site for level in site.measured_level
    ):
        return None  # a level that was measured with a type of transmitter, whoever has one
    links, were_sites = _links(before, now, types), {site.name: site for site in sites(before.shoot)}
    others = {name: frozenset(before.others.get(name, ())) ^ frozenset(now.others[name]) for name in now.others}
    places = {
        site.name
        for site in sites(now.shoot)
        if site != were_sites.get(site.name) or not links.isdisjoint(now.read_with(site))
    }
    were = {call.name: call for call in before.calls}
    calls = tuple(_as_it_was(call, were.get(call.name)) for call in now.calls)
    elsewhere = places | set(air)
    again = frozenset(
        call.name
        for call in calls
        if call is not were.get(call.name)
        or call.site.name in elsewhere
        or not links.isdisjoint(link.name for link in call.links)
        or others_during(others[call.site.name], call)
    )
    return ChangedScene(replace(now, calls=calls).with_chains_of(before, links, places), again)


def _as_it_was(call: LiveCall, was: LiveCall | None) -> LiveCall:
    """The very call of before where nothing of it differs, so that this is seen at once."""
    return was if was is not None and was == call and was.seats == call.seats else call


def _types(before: Shoot, now: Shoot) -> set[str]:
    """The names of the types of equipment that are new, gone or other than they were."""
    tables = [(getattr(before, kind), getattr(now, kind)) for kind in KINDS]
    return {name for were, are in tables for name in were.keys() | are.keys() if were.get(name) != are.get(name)}


def _links(before: Scene, now: Scene, types: set[str]) -> set[str]:
    """The names of the links that are new, gone or other than they were, or whose kit is, and of those that share
    their carrier."""
    were, are = ({link.name: link for link in scene.shoot.link} for scene in (before, now))
    links = {name for name in were.keys() | are.keys() if were.get(name) != are.get(name)}
    links |= {name for name, link in are.items() if types and not types.isdisjoint(kit_of(link))}
    links |= {name for name in are if before.blocks.carrier_of(name) != now.blocks.carrier_of(name)}
    return links | {mate for scene in (before, now) for name in links for mate in scene.blocks.mates(name)}


def kit_of(link: Link) -> set[str | None]:
    """The types of equipment that a link names."""
    return {link.microphone, link.recorder, link.sends.kit, *(end.kit for end in link.hears)}

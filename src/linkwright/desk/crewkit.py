"""The kit that a crew sent along: what it may ask with, and what of it comes into the shoot when it is granted."""

from __future__ import annotations

import functools
from collections.abc import Iterator

from linkwright.desk.bag import class_item, tune_together
from linkwright.desk.editing import Field
from linkwright.shoot.bag import Bag, Item
from linkwright.shoot.catalogue import catalogue
from linkwright.shoot.equipment import Tuned
from linkwright.shoot.errors import InputError
from linkwright.shoot.writing import equipment_document
from linkwright.store import Draft, WantedLinks
from linkwright.store.hatch import SentKit, kit_name
from linkwright.store.kitbook import bag_of
from linkwright.store.values import plain


def sent_kit(sent: SentKit | None) -> Bag:
    """What is in the kit that a crew sent last; nothing where it sent none."""
    return Bag() if sent is None else _read(sent.toml)


@functools.lru_cache(maxsize=256)
def _read(toml: str) -> Bag:
    return bag_of(toml.encode(), "the kit")


def pairs(kit: Bag) -> Iterator[tuple[Item, Item]]:
    """Each transmitter of a kit with each of its receivers that tunes with it; where none does, with the class of
    the catalogue that has most of its range."""
    for sends in kit.of("transmitter"):
        mine = [hears for hears in kit.of("receiver") if tune_together(sends, hears)]
        yield from ((sends, hears) for hears in mine or [_class_for(sends)])


def _class_for(sends: Item) -> Item:
    classes = [class_item(name) for name in catalogue()["receiver"]]
    return max(classes, key=lambda hears: _in_common_khz(sends, hears))


def _in_common_khz(sends: Item, hears: Item) -> int:
    """How much of what one tunes the other tunes."""
    if not isinstance(sends.equipment, Tuned) or not isinstance(hears.equipment, Tuned):
        return 0
    return sum(
        max(0, min(to_khz, end_khz) - max(from_khz, begin_khz))
        for from_khz, to_khz in sends.equipment.tunes_khz
        for begin_khz, end_khz in hears.equipment.tunes_khz
    )


def types_wanted(kit: Bag, crew: str, draft: Draft, wanted: WantedLinks) -> Iterator[Field]:
    """What of a crew's kit the links that it asks for need in the shoot. Raises InputError where it is there no
    more."""
    for kind, name in (("transmitter", wanted.transmitter), ("receiver", wanted.receiver)):
        there = draft.at(kind, name)
        item = next((item for item in kit.item if item.kind == kind and kit_name(crew, item.name) == name), None)
        if item is not None:
            figures = plain(equipment_document(item.equipment))
            if figures != there:
                yield (kind, name), there, figures
        elif there is None and name not in catalogue()[kind]:
            raise InputError(f'"{name}" is no kit that the crew sends any more; refuse, and let it ask again')

"""The bag changed, from the pages and the command line alike: an item at a time, noted, with its way back."""

from __future__ import annotations

import datetime
import json
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from linkwright.desk.bag import NO_FIGURES, cells_said, class_item, class_named, in_short, plain, tunes_said
from linkwright.desk.form.fields import Field, entered, fields_of, shown
from linkwright.desk.form.sections import INNER, KINDS, FieldCell, path_json
from linkwright.shoot.bag import OWN, Held, Item, Kind, causes_of, item_of
from linkwright.shoot.carrier_list import display_carriers
from linkwright.shoot.catalogue import called
from linkwright.shoot.equipment import MEASURES, Cells, Tuned
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.writing import as_toml
from linkwright.store import Conflict
from linkwright.store.kitbook import BagChange, Swap, change_bag, changes, own_bag
from linkwright.units import counted

#: Fields of every item beside its figures.
ABOUT: Final = (
    Field("name", "Name", "", "text", "what the crew calls it", needed=True),
    Field("count", "How many", "", "whole", "how many of it there are"),
    Field("mark", "Mark", "", "text", "by what it is told apart, such as a colour of tape"),
    Field("serial", "Serial", "", "text", "its serial number"),
)
CELLS: Final = Field("cells", "Cells", "", "text", "how many, size, chemistry and perhaps mAh: 2 AA nimh 2000")
#: What makes an item of an item, None for either is no item.
Alter = Callable[[Item | None], Item | None]


def change(name: str, alter: Alter, who: str, now: datetime.datetime) -> BagChange | None:
    """Change the item of a name, add one or take it out; None where it stood so already. Raises InputError."""
    there = own_bag().named(name)
    return change_bag([Swap(there, alter(there))], who, now)


def owned(item: Item | None, name: str) -> Item:
    """The item of the bag. Raises InputError where there is none."""
    if item is None:
        names = [owned_item.name for owned_item in own_bag().item]
        near = did_you_mean(name, names) or f"; it has {', '.join(names[:12]) or 'nothing yet'}"
        raise InputError(f'the bag has no "{name}"{near}')
    return item


def take_in(held: Sequence[Held], who: str, now: datetime.datetime) -> BagChange | None:
    """Items and licences into the bag, in the place of those of their names; None where all stand so already."""
    bag = own_bag()
    return change_bag([Swap(bag.like(item), item) for item in held], who, now)


def take_out_permit(name: str, who: str, now: datetime.datetime) -> BagChange | None:
    """A licence out of the bag. Raises InputError where there is none of the name."""
    there = own_bag().licence(name)
    if there is None:
        raise InputError(f'the bag has no permit "{name}"{did_you_mean(name, [p.name for p in own_bag().permit])}')
    return change_bag([Swap(there, None)], who, now)


def permit_lists(permit: PermitHeld) -> str:
    """What a licence lists, where and how long, in a line."""
    carriers = [f"{mhz:.3f}" for mhz in permit.carriers_mhz[:4]] + (["..."] if len(permit.carriers_mhz) > 4 else [])
    ranges = [f"{low:g}-{high:g}" for low, high in permit.ranges_mhz]
    where = (
        "" if permit.place is None else f"within {permit.radius_m:g} m of {permit.place[0]:g}, {permit.place[1]:g}"
    )
    ends = [f"{word} {day}" for word, day in (("from", permit.starts), ("to", permit.ends)) if day is not None]
    most = "" if permit.max_mw is None else f"{permit.max_mw:g} mW {permit.power_reference}"
    return "; ".join(filter(None, (f"{', '.join([*ranges, *carriers])} MHz", most, where, " ".join(ends))))


def added(words: str, name: str, count: int) -> Alter:
    """A new item of a class, by its words."""

    def alter(there: Item | None) -> Item:
        if there is not None:
            raise InputError(f"the bag has {there.name} already; change that, or give this another name")
        return item_of({"name": name, "use": class_named(words), "count": count})

    return alter


def set_to(name: str, keys: Sequence[str], seen: str, text: str) -> Alter:
    """One field of an item as somebody typed it, where `seen` stood, as JSON. Raises Conflict, InputError."""

    def alter(there: Item | None) -> Item:
        item = owned(there, name)
        field = next((cell.field for cell in cells_of(item) if cell.path[2:] == tuple(keys)), None)
        if field is None:
            raise InputError(f"{', '.join(keys)} is no field of {item.name}")
        document = item.document()
        now = _at(document, keys)
        if as_seen(now) != seen:
            raise Conflict(
                ("item", name, *keys), json.loads(as_seen(now)), "", None, f"{field.label.lower()} of {name}"
            )
        value = cells_meant(text) if field == CELLS and text.strip() else entered(field, text)
        return item_of(_with(document, item, tuple(keys), value))

    return alter


def as_seen(value: Any) -> str:
    """A value as a page says that it saw it."""
    return json.dumps(None if value is None else as_toml(value), default=str)


def _at(document: dict[str, Any], keys: Sequence[str]) -> Any:
    value: Any = document
    for key in keys:
        value = value.get(key) if isinstance(value, dict) else None
    return value


def _with(document: dict[str, Any], item: Item, keys: tuple[str, ...], value: Any) -> dict[str, Any]:
    """The fields of an item with one set, or left to its class where the value is None."""
    if len(keys) == 2:  # a part of a table: the rest of it is as its class has it
        table = plain(getattr(item.equipment, keys[0])) or {}
        value = {**table, keys[1]: value} if isinstance(table, dict) and value is not None else None
    left = {key: old for key, old in document.items() if key != keys[0]}
    return left if value is None else {**left, keys[0]: value}


def cells_meant(text: str) -> dict[str, Any]:
    """Cells as people say them. Raises InputError."""
    parts = text.replace("mAh", "").replace(",", " ").split()
    if len(parts) not in (3, 4) or not parts[0].isdigit() or not all(part.isdigit() for part in parts[3:]):
        raise InputError(
            f'the cells are "{text[:40]}"; expected how many, size, chemistry and perhaps mAh: "2 AA nimh 2000"'
        )
    rated = {"capacity_mah": float(parts[3])} if len(parts) == 4 else {}
    return {"count": int(parts[0]), "type": parts[1], "chemistry": parts[2].lower(), **rated}


def measured(name: str, what: str, value: str | None, how: str, at_mw: float | None, on: datetime.date) -> Alter:
    """A measurement more, its value as it was typed."""

    def alter(there: Item | None) -> Item:
        item, quantity = owned(there, name), what.replace("-", " ").strip().lower()
        known = measures(item.kind)
        if quantity not in known:
            near = did_you_mean(quantity, known) or f"; of a {item.kind} that is {' or '.join(known)}"
            raise InputError(f'"{quantity}" is not measured of {item.name}{near}')
        number = entered(Field("", "", "", "number", ""), value or "")
        if not isinstance(number, int | float):
            raise InputError(f'the value is "{value or ""}"; expected {quantity} in {known[quantity]}')
        if not how.strip():
            raise InputError("say with what it was measured, and by whom, so that the ledger can tell")
        entry = {"what": quantity, "value": float(number), "unit": known[quantity], "when": on, "how": how.strip()}
        if at_mw is not None:
            entry["power_mw"] = at_mw
        document = item.document()
        return item_of({**document, "measured": [*document.get("measured", ()), entry]})

    return alter


def measures(kind: Kind) -> dict[str, str]:
    """What may be measured of a kind, with its unit."""
    return {name: unit for (of, name), (unit, _) in MEASURES.items() if of == kind}


def unmeasured(name: str, number: int) -> Alter:
    """The item without one of its measurements."""

    def alter(there: Item | None) -> Item:
        item = owned(there, name)
        document = item.document()
        kept = [measure for n, measure in enumerate(document.get("measured", ())) if n != number]
        return item_of({**{key: value for key, value in document.items() if key != "measured"}, "measured": kept})

    return alter


def listing(name: str, text: str) -> Alter:
    """The item with what its display shows, from the text of a table; with none where that is empty."""

    def alter(there: Item | None) -> Item:
        item = owned(there, name)
        document = {key: value for key, value in item.document().items() if key != "carriers"}
        return item_of({**document, "carriers": display_carriers(text, "the list") if text.strip() else ()})

    return alter


def goes_along(item: Item) -> list[str]:
    """What would go with an item, were it taken out."""
    of = item.equipment
    listed = len(of.carriers) if isinstance(of, Tuned) else 0
    figures, causes = len(of.measured), len(item.confirmed)
    return [
        *([f"its list of {counted(listed, 'carrier')}"] if listed else ()),
        *([counted(figures, "measured figure")] if figures else ()),
        *([counted(causes, "confirmed cause")] if causes else ()),
    ]


def take_back(number: int, who: str, now: datetime.datetime) -> BagChange | None:
    """Take back a change; None where it is not there any more, or does not stand. Raises InputError."""
    lines = changes()
    line = next((entry for entry in lines if entry.number == number), None)
    if line is None or any(entry.of == number for entry in lines):
        return None
    return change_bag([Swap(swap.new, swap.old, swap.place) for swap in line.swaps], who, now, of=number)


def undo(who: str, now: datetime.datetime) -> BagChange | None:
    """Take back the newest change of a person that still stands; None where there is none. Raises InputError."""
    lines = changes()
    gone = {entry.of for entry in lines}
    line = next(
        (entry for entry in reversed(lines) if entry.who == who and entry.of is None and entry.number not in gone),
        None,
    )
    return None if line is None else take_back(line.number, who, now)


def says(line: BagChange) -> str:
    """A change in words, each value before and after."""
    told = [_swap_says(swap.old, swap.new) for swap in line.swaps]
    more = f", and {len(told) - 1} more with it" if len(told) > 1 else ""
    return f"{'' if line.of is None else 'Taken back: '}{told[0]}{more}."


def _swap_says(old: Held | None, new: Held | None) -> str:
    named = new or old
    if not isinstance(old, Item) or not isinstance(new, Item):
        what = "added to" if old is None else "taken out of" if new is None else "changed in"
        return f"{'' if named is None else named.name} {what} the bag"
    before, after = old.document(), new.document()
    keys = [key for key in {**before, **after} if before.get(key) != after.get(key)]
    first = keys[0] if keys else "name"
    counts = {"carriers": "display carrier", "measured": "measured figure", "confirmed": "confirmed cause"}
    if of := counts.get(first):
        was, now = (len(value.get(first, ())) for value in (before, after))
        dropped = f"; {old.listed_in} is not read any more" if old.listed_in and new.listed_in is None else ""
        return f"{new.name}: {counted(now, of)}, was {was}{dropped}"
    field = next((about for about in (*ABOUT, CELLS, *_figures(new)) if about.key == first), None)
    values = ["nothing" if key is None else _shown(field, key) for key in (after.get(first), before.get(first))]
    label = first if field is None else field.label.lower()
    more = f", and {len(keys) - 1} more with it" if len(keys) > 1 else ""
    return f"{label} of {new.name}: {values[0]}, was {values[1]}{more}"


def _shown(field: Field | None, value: Any) -> str:
    if field == CELLS and isinstance(value, dict):
        return cells_said(Cells.model_validate(value))
    return str(value) if field is None else shown(field, as_toml(value))


def _figures(item: Item) -> Iterator[Field]:
    without = NO_FIGURES | set(OWN)
    yield from fields_of(KINDS[item.kind], frozenset(without))


def cells_of(item: Item) -> list[FieldCell]:
    """Every field of an item, with what was given there, and what counts where nothing was."""
    document = item.document()
    usual = class_item(item.equipment.use).equipment if item.equipment.use else None
    cells = []

    def cell(field: Field, *keys: str) -> None:
        if field.key == "tunes_mhz" and isinstance(item.equipment, Tuned) and item.equipment.carriers:
            return  # its list says what it tunes
        value, counts = _at(document, keys), _usual(usual or item.equipment, keys)
        text, usually = ("" if number is None else _shown(field, number) for number in (value, counts))
        cells.append(FieldCell(("bag", item.name, *keys), field, text, as_seen(value), (), usually))

    for about in ABOUT:
        cell(about, about.key)
    for field in _figures(item):
        inner = INNER.get(field.key)
        if field.key == "cells":
            cell(CELLS, "cells")
        elif inner is not None and field.kind == "inline":
            for part in fields_of(inner):
                label = f"{field.label}: {part.label.lower()}"
                cell(Field(part.key, label, part.unit, part.kind, part.help, part.options), field.key, part.key)
        else:
            cell(field, field.key)
    return cells


def _usual(equipment: object, keys: Sequence[str]) -> Any:
    """What counts where nothing is given."""
    if keys[0] in OWN:
        return None
    usual = plain(getattr(equipment, keys[0], None))
    return _at(usual, keys[1:]) if isinstance(usual, dict) and len(keys) > 1 else usual


@dataclass(frozen=True, slots=True)
class ItemCard:
    """An item for the pages: the item, what it is, its figures in short, its fields, what may be measured of it,
    how often which cause of faults was confirmed with it."""

    item: Item
    what: str
    short: str
    cells: tuple[FieldCell, ...]
    measures: dict[str, str]
    causes: Counter[str]

    @property
    def path_json(self) -> str:
        """Its path, as the page sends it back."""
        return path_json(("bag", self.item.name))


def card(item: Item) -> ItemCard:
    """An item for the pages."""
    of = item.equipment
    what = called(of.use) if of.use else f"{item.kind}, {tunes_said(of)}".rstrip(", ")
    return ItemCard(item, what, in_short(of), tuple(cells_of(item)), measures(item.kind), causes_of(item.confirmed))

"""The bag at work: what a class or an item is in words, which class a person means, who gets what of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.desk.form.fields import fields_of, shown
from linkwright.shoot.bag import KINDS, Bag, Item, Kind, item_of
from linkwright.shoot.catalogue import about_class, called, catalogue_names
from linkwright.shoot.equipment import MEASURES, Cells, Equipment, Microphone, Receiver, Transmitter, Tuned
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.evidence import Evidence
from linkwright.units import counted

#: What of a type is no figure.
NO_FIGURES: Final = frozenset({"use", "mark", "serial", "measured", "carriers", "count"})


def class_named(words: str, kinds: Sequence[Kind] = KINDS) -> str:
    """The class that a person means by its name or by words of what it is called. Raises InputError."""
    classes = [name for kind in kinds for name in catalogue_names(kind)]
    plain = words.strip().casefold()
    exact = [name for name in classes if plain in (name, called(name).casefold())]
    parts = plain.replace(",", " ").replace("\N{EN DASH}", "-").split()
    named = exact or [name for name in classes if parts and all(part in called(name).casefold() for part in parts)]
    if len(named) == 1:
        return named[0]
    if named:
        raise InputError(f'"{words}" may be {_or(named)}; say more of it')
    near = did_you_mean(words, [called(name) for name in classes])
    raise InputError(f'"{words}" is no class of the catalogue{near or "; `linkwright kit` lists them"}')


def _or(names: Sequence[str]) -> str:
    said = [f'"{called(name)}"' for name in names[:6]]
    return " or ".join([", ".join(said[:-1]), said[-1]]) + (" or others" if len(names) > 6 else "")


def class_item(name: str) -> Item:
    """A class of the catalogue as an item of the bag that nobody changed."""
    return item_of({"name": called(name)[:80], "use": name})


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a piece of equipment in words: what, how much with its unit, how it is known, from where."""

    what: str
    value: str
    evidence: Evidence
    source: str


def figures(equipment: Equipment) -> Iterator[Figure]:
    """Every figure that a piece of equipment has, by its own words, its class or by default."""
    given = equipment.model_fields_set
    about = None if equipment.use is None else about_class(equipment.use)
    own = item_fields(equipment)
    by_measure = {figure: what for (kind, what), (_, figure) in MEASURES.items() if kind == equipment.kind()}
    for field in fields_of(type(equipment), NO_FIGURES):
        value = getattr(equipment, field.key)
        if value is None or value == ():
            continue
        known: Evidence = "stated" if field.key in own else "assumed"
        source = "given" if field.key in own else about.called if about and field.key in given else "by default"
        measured = [measure for measure in equipment.measured if measure.what == by_measure.get(field.key)]
        if measured:
            known, source = "measured", max(measured, key=lambda measure: measure.when).says
        text = cells_said(value) if isinstance(value, Cells) else shown(field, plain(value))
        yield Figure(field.label, f"{text} {field.unit}".strip(), known, source)
    for measure in equipment.measured:
        at = f" at {measure.power_mw:g} mW" if measure.power_mw else ""
        if MEASURES[equipment.kind(), measure.what][1] is None:
            yield Figure(
                measure.what.capitalize(), f"{measure.value:g} {measure.unit}{at}", "measured", measure.says
            )


def item_fields(equipment: Equipment) -> frozenset[str]:
    """The figures that were given and are not those of a class."""
    from linkwright.shoot.writing import equipment_document

    return frozenset(equipment_document(equipment))


def plain(value: object) -> object:
    """A figure as its file has it."""
    return value.model_dump(exclude_none=True) if hasattr(value, "model_dump") else value


def cells_said(cells: Cells) -> str:
    """Cells in words."""
    rated = "" if cells.capacity_mah is None else f", {cells.capacity_mah:g} mAh"
    return f"{cells.count} {cells.type} {cells.chemistry}{rated}"


def in_short(equipment: Equipment) -> str:
    """The figures that a person chooses by, in a line."""
    if isinstance(equipment, Transmitter):
        steps = ", ".join(f"{step:g}" for step in sorted(equipment.powers_mw))
        powered = "" if equipment.cells is None else cells_said(equipment.cells)
        carriers = f"{counted(len(equipment.carriers), 'carrier')} listed" if equipment.carriers else ""
        finds = "finds its own carriers" if equipment.coordinates_itself else carriers
        return "; ".join(filter(None, (f"{steps} mW", finds or f"{equipment.raster_khz} kHz apart", powered)))
    if isinstance(equipment, Receiver):
        channels = f"{counted(equipment.channels, 'channel')}"
        branches = "two branches" if equipment.branches > 1 else "one branch"
        needs = f"needs {equipment.required_cnr_db:g} dB"
        return f"{channels}, {branches}; noise figure {equipment.noise_figure_db:g} dB; {needs}"
    if isinstance(equipment, Microphone):
        power = "; needs phantom power" if equipment.phantom else ""
        noise, most = f"{equipment.self_noise_dba:g} dB(A)", f"{equipment.max_spl_db:g} dB"
        return f"{equipment.sensitivity_mv_pa:g} mV/Pa; {noise} to {most}{power}"
    return "digital" if getattr(equipment, "digital", False) else "analogue"


def tunes_said(equipment: Equipment) -> str:
    """What it tunes, as people say it; "" for what does not tune."""
    if not isinstance(equipment, Tuned):
        return ""
    return ", ".join(f"{low:g}-{high:g}" for low, high in equipment.tunes_mhz) + " MHz"


@dataclass(frozen=True, slots=True)
class Outfit:
    """What somebody gets of the bag: a transmitter, a channel of a receiver, a microphone if there is one."""

    name: str
    transmitter: Item
    receiver: Item
    microphone: Item | None


def outfits(names: Iterable[str], bag: Bag) -> tuple[list[Outfit], list[str]]:
    """Who gets what, in the order of the names and of the bag; and sentences on those who get nothing."""
    packs = [item for item in bag.of("transmitter") for _ in range(item.count)]
    channels = [
        item for item in bag.of("receiver") for _ in range(item.count * getattr(item.equipment, "channels", 1))
    ]
    capsules = [item for item in bag.of("microphone") for _ in range(item.count)]
    pairs: list[Outfit] = []
    lacking = []
    for name in names:
        pair = next(((pack, ear) for pack in packs for ear in channels if tune_together(pack, ear)), None)
        if pair is None:
            lacks = (
                "transmitter"
                if not packs
                else "receiver channel"
                if not channels
                else "receiver for its transmitter"
            )
            lacking.append(f"{name} gets nothing: no {lacks} is left in the bag.")
            continue
        packs.remove(pair[0])
        channels.remove(pair[1])
        capsule = next((own_capsule for own_capsule in capsules if suits(pair[0], own_capsule)), None)
        if capsule is not None:
            capsules.remove(capsule)
        pairs.append(Outfit(name, *pair, capsule))
    return pairs, lacking


def tune_together(transmitter: Item, receiver: Item) -> bool:
    """Whether a receiver tunes anything that a transmitter does."""
    sends, hears = transmitter.equipment, receiver.equipment
    if not isinstance(sends, Transmitter) or not isinstance(hears, Receiver):
        return False
    return any(a <= d and c <= b for a, b in sends.tunes_mhz for c, d in hears.tunes_mhz)


def suits(transmitter: Item, microphone: Item) -> bool:
    """Whether a microphone can be fed by a transmitter: one that needs phantom power by one that gives it."""
    sends, picks = transmitter.equipment, microphone.equipment
    needs = isinstance(picks, Microphone) and picks.phantom
    return needs == (isinstance(sends, Transmitter) and bool(sends.phantom_ma))

"""The page Shoot as data: a card for each entry, and its fields with what stands in them.

A card is a line until it is opened. Opened, it shows what is usually said of such a thing and what is said of this
one; what is usual as it is stands behind "more", with what counts where nothing is said.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeGuard

from pydantic import BaseModel

from linkwright.desk.document import Document
from linkwright.desk.form.fields import Field, fields_of, shown
from linkwright.desk.part import LookedFor, Part
from linkwright.rules import known_codes, territory
from linkwright.shoot.antennas import Antenna, Preamplifier
from linkwright.shoot.catalogue import called, catalogue_entry, catalogue_names
from linkwright.shoot.end import EndTable, Listener
from linkwright.shoot.equipment import Cells, Drain, Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.models import Break, Call, Contact, Crew, Guard, Header, Link
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.place import Floor, MaterialLoss, Other, Point, Site, Spot, Wall
from linkwright.shoot.times import Run, SetUp
from linkwright.shoot.zones import zones_of
from linkwright.units import counted, together

Path = tuple[str, ...]

#: Tables inside a table, which have fields of their own.
INNER: Final[dict[str, type[BaseModel]]] = {
    "guard_khz": Guard, "cells": Cells, "drain_mw": Drain, "at": Point,
    "preamplifier": Preamplifier, "set_up": SetUp, "transmit": EndTable,
}  # fmt: skip
#: Lists of tables inside an entry.
LISTS: Final[dict[str, type[BaseModel]]] = {
    "spots": Spot,
    "walls": Wall,
    "floors": Floor,
    "materials": MaterialLoss,
    "antennas": Antenna,
    "breaks": Break,
    "receive": Listener,
}
#: Those whose entries are rows of a table; entries of all others are cards.
ROWS: Final = ("spots", "walls", "floors", "materials", "breaks")
#: What an entry of a list is called, where that is not the list's own name.
CALLED: Final = {"receive": "listener", "other": "transmitter of others", "run": "run time"}
#: What a card's line leaves out: its name stands before it, and a map says better where it is.
UNSAID: Final = ("name", "latitude", "longitude")
#: The types of equipment.
KINDS: Final[dict[str, type[BaseModel]]] = {
    "transmitter": Transmitter, "receiver": Receiver, "microphone": Microphone, "recorder": Recorder,
}  # fmt: skip
#: What a shoot holds, by its key in the file.
MODELS: Final[dict[str, type[BaseModel]]] = {
    "shoot": Header, "site": Site, "link": Link, "other": Other, "call": Call, "run": Run, "permit": PermitHeld,
    "contact": Contact, "crew": Crew, **KINDS,
}  # fmt: skip
#: What is usually said of each, by its keys in the order of the page; of all others everything.
USUAL: Final[dict[type[BaseModel], tuple[str, ...]]] = {
    Header: ("title", "region", "date", "timezone"),
    Site: ("name", "surroundings", "latitude", "longitude"),
    Link: ("name", "transmitter", "receiver", "microphone", "serves", "route", "within_m", "worn"),
    Call: ("name", "site", "from", "to", "links"),
    Other: ("name", "carrier_mhz", "radiated_mw", "site", "heard_dbm"),
    PermitHeld: ("name", "number", "carriers_mhz", "ranges_mhz", "max_mw"),
    Run: ("transmitter", "ran_h", "power_mw"),
    Transmitter: ("use", "tunes_mhz", "powers_mw", "latency_ms"),
    Receiver: ("use", "tunes_mhz", "channels", "count", "latency_ms"),
    Microphone: ("use", "sensitivity_mv_pa", "self_noise_dba", "max_spl_db"),
    Recorder: ("use", "latency_ms", "digital"),
    Listener: ("name", "kit", "at", "route", "worn"),
    Antenna: ("name", "at", "branch", "pattern", "gain_dbi"),
}
#: What has a place of its own on the pages, or is written by the program: a field only where it is wrong.
ELSEWHERE: Final = frozenset({
    "permits", "accepts", "measured_level", "learnt", "set_mhz", "set_at", "heard_at", "carriers", "measured",
    "document_sha256",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class AtPath:
    """Something that stands at a path of the shoot."""

    path: Path

    @property
    def path_json(self) -> str:
        """The path as the page sends it back."""
        return path_json(self.path)


@dataclass(frozen=True, slots=True)
class FieldCell(AtPath):
    """One field with what stands in it: its path, the value as shown and as stored, what is wrong with it, what
    counts where nothing stands there, what may be chosen, each value with its words, what is offered, and of what
    some are ticked (nothing typed: all)."""

    field: Field
    text: str
    seen: str
    wrong: tuple[str, ...]
    usual: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    offers: tuple[str, ...] = ()
    ticks: tuple[str, ...] = ()

    @property
    def options(self) -> tuple[tuple[str, str], ...]:
        """What may be chosen, each value with its words; nothing where it is typed."""
        known = ("yes", "no") if self.field.kind == "yes" else self.field.options
        return self.choices or tuple((option, option) for option in known)

    @property
    def id(self) -> str:
        """An id for the page."""
        return "f-" + "-".join(self.path).replace(" ", "_")


@dataclass(frozen=True, slots=True)
class Card(AtPath):
    """An entry as a line: its path, what it is called, what is said of it, and how much of it is wrong."""

    name: str
    says: str
    wrong: int


@dataclass(frozen=True, slots=True)
class Entry(AtPath):
    """An entry opened: the fields that are shown, those that are usual as they are, and lists inside."""

    name: str
    cells: tuple[FieldCell, ...]
    more: tuple[FieldCell, ...]
    inside: tuple[Listing | Cards, ...]


@dataclass(frozen=True, slots=True)
class Cards(AtPath):
    """A list of entries as cards: its path, what one is called, and the cards, of a long list a part."""

    noun: str
    cards: Part[Card]


@dataclass(frozen=True, slots=True)
class EntryRow(AtPath):
    """An entry as a row of a table."""

    name: str
    cells: tuple[FieldCell, ...]


@dataclass(frozen=True, slots=True)
class Listing(AtPath):
    """A list of entries as a table: its path, what one is called, and the rows."""

    noun: str
    entries: tuple[EntryRow, ...]


def path_json(path: Path) -> str:
    """A path as pages send it back."""
    return json.dumps(path, separators=(",", ":"))


def cards(document: Document, kind: str, looked: LookedFor) -> Cards:
    """The entries of a list of the shoot, or its own types of a kind of equipment."""
    path, noun = (kind,), _entry_noun(kind)
    if kind in KINDS:
        there = document.draft.at(kind)
        entries = [(n, v, n) for n, v in there.items()] if isinstance(there, dict) else []
    else:
        entries = _entries(document, path)
    some = looked.part(kind, entries, lambda entry: _found_by(entry[1], entry[2]), lambda entry: entry[0])
    return Cards(path, noun, some.each(lambda entry: _card(document, (*path, entry[0]), MODELS[kind], *entry[1:])))


def _found_by(value: Any, name: str) -> str:
    """All that an entry is found by: its name, and the words and numbers that stand in it."""
    table = value if isinstance(value, dict) else {}
    said = (str(told) for told in table.values() if not isinstance(told, dict | list))
    return " ".join((name, *said))


def _cards(document: Document, path: Path, model: type[BaseModel]) -> Cards:
    each = tuple(_card(document, (*path, id_), model, v, name) for id_, v, name in _entries(document, path))
    return Cards(path, _entry_noun(path[-1]), Part(each, 0, len(each), len(each)))


def _entries(document: Document, path: Path) -> list[tuple[str, Any, str]]:
    """The id, the table and the name of each entry of a list."""
    noun, there = _entry_noun(path[-1]), document.draft.entries(*path)
    return [(id_, value, _name(value, f"{noun} {n + 1}")) for n, (id_, value) in enumerate(there)]


def _card(document: Document, path: Path, model: type[BaseModel], value: Any, name: str) -> Card:
    table = value if isinstance(value, dict) else {}
    wrong = sum(tuple(map(str, problem.path[: len(path)])) == path for problem in document.problems)
    return Card(path, name, " · ".join(_said(document, path, model, table)), wrong)


def _said(document: Document, path: Path, model: type[BaseModel], table: Mapping[str, Any]) -> Iterator[str]:
    """What is said of an entry, in short."""
    usual = _usual(model)
    for cell in sorted(_cells(document, path, model, table, offers=False), key=lambda cell: _order(usual, cell)):
        known = cell.path[-1] in usual or cell.path[-2:] == ("transmit", "kit")
        if cell.text and known and cell.path[-1] not in UNSAID:
            names = table.get(cell.path[-1])
            text = together(names) if cell.field.kind == "words" and _are_names(names) else cell.text
            text = dict(cell.options).get(text, text)
            if cell.field.kind in ("number", "whole", "time"):
                text = f"{cell.field.label[:1].lower()}{cell.field.label[1:]} {text}"
            yield f"{text} {cell.field.unit}".strip()
    for key in LISTS:
        many = len(document.draft.entries(*path, key)) if key in table else 0
        if many:
            yield counted(many, _entry_noun(key))


def _entry_noun(key: str) -> str:
    """What one entry of a list is called."""
    return CALLED.get(key, key.removesuffix("s"))


def _are_names(value: Any) -> TypeGuard[list[str]]:
    return isinstance(value, list) and all(isinstance(name, str) for name in value)


def _usual(model: type[BaseModel]) -> tuple[str, ...]:
    return USUAL.get(model) or tuple(field.key for field in _plain(model))


def entry(document: Document, path: Path) -> Entry | None:
    """The entry at a path, opened; None where there is none."""
    model, value = model_at(path), document.draft.at(*path)
    value = {} if value is None and path == ("shoot",) else value
    if model is None or not isinstance(value, dict):
        return None
    usual = _usual(model)
    cells = sorted(_cells(document, path, model, value), key=lambda cell: _order(usual, cell))
    first = [cell for cell in cells if cell.text or cell.wrong or cell.path[-1] in usual]
    keys = {field.alias or name for name, field in model.model_fields.items()}
    inside = tuple(
        (_listing if key in ROWS else _cards)(document, (*path, key), of)
        for key, of in LISTS.items()
        if key in keys
    )
    name = _name(value, path[-1] if path[0] in KINDS else CALLED.get(path[-2] if len(path) > 1 else "", path[0]))
    return Entry(path, name, tuple(first), tuple(cell for cell in cells if cell not in first), inside)


def _order(usual: Sequence[str], cell: FieldCell) -> int:
    return usual.index(cell.path[-1]) if cell.path[-1] in usual else len(usual)


def _listing(document: Document, path: Path, model: type[BaseModel]) -> Listing:
    noun = _entry_noun(path[-1])
    rows = []
    for n, (id_, value) in enumerate(document.draft.entries(*path)):
        table = value if isinstance(value, dict) else {}
        cells = sorted(_cells(document, (*path, id_), model, table), key=lambda cell: cell.field.key != "name")
        rows.append(EntryRow((*path, id_), _name(value, f"{noun} {n + 1}"), tuple(cells)))
    return Listing(path, noun, tuple(rows))


def _plain(model: type[BaseModel]) -> tuple[Field, ...]:
    return tuple(field for field in fields_of(model) if field.key not in LISTS)


def _cells(
    document: Document, path: Path, model: type[BaseModel], table: Mapping[str, Any], *, offers: bool = True
) -> Iterator[FieldCell]:
    """The fields of an entry; without what each offers where it is only read."""
    use, kind, class_has = table.get("use"), path[0], dict[str, Any]()
    with contextlib.suppress(ValueError):
        class_has = catalogue_entry(kind, use) if kind in KINDS and isinstance(use, str) else class_has
    for field in _plain(model):
        inner, there = INNER.get(field.key), table.get(field.key)
        if inner is not None and field.kind == "inline":
            for part in fields_of(inner):
                named = replace(
                    part, label=f"{field.label}: {part.label[:1].lower()}{part.label[1:]}", needed=False
                )
                yield _cell(document, (*path, field.key, part.key), named, _of(there, part.key), offers)
            continue
        if field.key in class_has:
            field = replace(field, usual=shown(field, class_has[field.key]), needed=False)
        cell = _cell(document, (*path, field.key), field, there, offers)
        if field.key not in ELSEWHERE or cell.wrong:
            yield cell


def _of(table: Any, key: str) -> Any:
    return table.get(key) if isinstance(table, dict) else None


def _cell(document: Document, path: Path, field: Field, value: Any, offers: bool) -> FieldCell:
    wrong = document.said_of(path)
    choices = tuple(_choices(document, path))
    offered, ticked = (_offered(document, path), _ticked(document, path, value)) if offers else ((), ())
    return FieldCell(
        path, field, shown(field, value), json.dumps(value), wrong, field.usual, choices, offered, ticked
    )


def _choices(document: Document, path: Path) -> Iterator[tuple[str, str]]:
    """What may be chosen for a field, each value with its words; nothing where it is typed."""
    key, draft = path[-1], document.draft
    kind = {"kit": "transmitter" if "transmit" in path else "receiver"}.get(key, key)
    if key == "use":
        yield from ((name, called(name)) for name in catalogue_names(path[0]))
    elif kind in KINDS and path[0] not in KINDS:
        own = draft.at(kind)
        yield from ((name, name) for name in (own if isinstance(own, dict) else ()))
        yield from ((name, called(name)) for name in catalogue_names(kind))
    elif key == "site":
        yield from ((name, name) for _, site in draft.entries("site") if (name := _name(site, "")))
    elif key == "region":
        yield from sorted(((code, territory(code).name) for code in known_codes()), key=lambda pair: pair[1])


def _offered(document: Document, path: Path) -> tuple[str, ...]:
    """What is offered for a field that is typed: time zones of the region, spots, links."""
    draft, key = document.draft, path[-1]
    if key == "timezone":
        region = draft.at("shoot", "region")
        return tuple(zone.name for zone in zones_of(region)) if isinstance(region, str) else ()
    if key in ("at", "route"):
        spots = (spot for id_, _ in draft.entries("site") for _, spot in draft.entries("site", id_, "spots"))
        return tuple(dict.fromkeys(name for spot in spots if (name := _name(spot, ""))))
    return ()


def _ticked(document: Document, path: Path, value: Any) -> tuple[str, ...]:
    """Of what some are ticked: who is on a call, and whoever is said to be and is not there."""
    if path[0] != "call" or path[-1] != "links" or not (value is None or _are_names(value)):
        return ()
    there = (_name(link, "") for _, link in document.draft.entries("link"))
    return tuple(dict.fromkeys(name for name in (*there, *(value or ())) if name))


def model_at(path: Sequence[str]) -> type[BaseModel] | None:
    """What the entry at a path is; None where no shoot has one there."""
    model = MODELS.get(path[0]) if path and (path[0] == "shoot" or len(path) > 1) else None
    rest = list(path[1:] if path and path[0] == "shoot" else path[2:])
    while model is not None and rest:
        if rest[0] in LISTS and len(rest) > 1:
            model, rest = LISTS[rest[0]], rest[2:]
        elif rest[0] in INNER:
            model, rest = INNER[rest[0]], rest[1:]
        else:
            return None
    return model


def field_at(path: Sequence[str]) -> Field | None:
    """The field that a path leads to; None where no shoot has one there."""
    model = model_at(path[:-1]) if path else None
    fields = () if model is None else fields_of(model)
    return next((field for field in fields if field.key == path[-1]), None)


def _name(value: Any, otherwise: str) -> str:
    name = value.get("name") if isinstance(value, dict) else None
    return name if isinstance(name, str) and name else otherwise

"""The page Shoot as data: which sections there are, which fields each has, and what stands in them."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from pydantic import BaseModel

from linkwright.desk.document import Document
from linkwright.desk.form.fields import Field, fields_of, shown
from linkwright.shoot.antennas import Antenna, Preamplifier
from linkwright.shoot.end import EndTable, Listener
from linkwright.shoot.equipment import Cells, Drain, Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.models import Break, Call, Guard, Header, Link
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.place import Floor, MaterialLoss, Other, Point, Site, Spot, Wall
from linkwright.shoot.times import Run, SetUp

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
#: What an entry of such a list is called, where that is not the list's own name.
CALLED: Final = {"receive": "listener"}


@dataclass(frozen=True, slots=True)
class Cell:
    """One field with what stands in it: its path, the value as shown and as stored, what is wrong with it, and what
    counts where nothing stands there."""

    path: Path
    field: Field
    text: str
    seen: str
    wrong: tuple[str, ...]
    usual: str = ""

    @property
    def id(self) -> str:
        """An id for the page."""
        return "f-" + "-".join(self.path).replace(" ", "_")

    @property
    def path_json(self) -> str:
        """The path as the page sends it back."""
        return json.dumps(self.path, separators=(",", ":"))


@dataclass(frozen=True, slots=True)
class Entry:
    """A table with fields: what it is called, its cells, and lists of tables inside."""

    path: Path
    name: str
    cells: tuple[Cell, ...]
    inside: tuple[Listing, ...] = ()

    @property
    def path_json(self) -> str:
        """The path as the page sends it back."""
        return json.dumps(self.path, separators=(",", ":"))


@dataclass(frozen=True, slots=True)
class Listing:
    """A list of entries: its path, what one is called, its fields (for the heads), and the entries."""

    path: Path
    one: str
    fields: tuple[Field, ...]
    entries: tuple[Entry, ...]

    @property
    def path_json(self) -> str:
        """The path as the page sends it back."""
        return json.dumps(self.path, separators=(",", ":"))


def header(document: Document) -> Entry:
    """What, where by law, and when."""
    return entry(document, ("shoot",), Header, document.draft.at("shoot"), "The job")


def sites(document: Document) -> Listing:
    """The sites, each with its spots and walls."""
    return listing(document, ("site",), Site, "site")


def links(document: Document) -> Listing:
    """The links."""
    return listing(document, ("link",), Link, "link")


def others(document: Document) -> Listing:
    """The transmitters that are not ours."""
    return listing(document, ("other",), Other, "other transmitter")


def permits(document: Document) -> Listing:
    """The licences that are held."""
    return listing(document, ("permit",), PermitHeld, "permit")


def runs(document: Document) -> Listing:
    """How long cells lasted."""
    return listing(document, ("run",), Run, "run")


def calls(document: Document) -> Listing:
    """The calls, each with its breaks."""
    return listing(document, ("call",), Call, "call")


KINDS: Final[dict[str, type[BaseModel]]] = {
    "transmitter": Transmitter,
    "receiver": Receiver,
    "microphone": Microphone,
    "recorder": Recorder,
}


def equipment(document: Document) -> dict[str, tuple[Entry, ...]]:
    """The shoot's own types of equipment, by kind."""
    found: dict[str, tuple[Entry, ...]] = {}
    for kind, model in KINDS.items():
        there = document.draft.at(kind)
        names = list(there) if isinstance(there, dict) else []
        found[kind] = tuple(entry(document, (kind, name), model, there[name], name) for name in names)
    return found


def listing(document: Document, path: Path, model: type[BaseModel], one: str) -> Listing:
    """A list of tables at a path."""
    entries = tuple(
        entry(document, (*path, id_), model, value, _name(value, f"{one} {n + 1}"))
        for n, (id_, value) in enumerate(document.draft.entries(*path))
    )
    return Listing(path, one, _plain(model), entries)


def entry(document: Document, path: Path, model: type[BaseModel], value: Any, name: str) -> Entry:
    """One table."""
    table = value if isinstance(value, dict) else {}
    cells = tuple(_cells(document, path, model, table))
    inside = tuple(
        listing(document, (*path, key), inner, CALLED.get(key, key.rstrip("s")))
        for key, inner in LISTS.items()
        if key in {field.alias or n for n, field in model.model_fields.items()}
    )
    return Entry(path, name, cells, inside)


def _plain(model: type[BaseModel]) -> tuple[Field, ...]:
    return tuple(field for field in fields_of(model) if field.key not in LISTS)


def _cells(document: Document, path: Path, model: type[BaseModel], table: Mapping[str, Any]) -> Iterator[Cell]:
    for field in _plain(model):
        inner = INNER.get(field.key)
        if inner is not None and field.kind == "inline":
            there = table.get(field.key)
            for part in fields_of(inner):
                label = f"{field.label}: {part.label.lower()}"
                named = Field(part.key, label, part.unit, part.kind, part.help, part.options, part.needed)
                yield cell(document, (*path, field.key, part.key), named, _of(there, part.key))
        else:
            yield cell(document, (*path, field.key), field, table.get(field.key))


def _of(table: Any, key: str) -> Any:
    return table.get(key) if isinstance(table, dict) else None


def cell(document: Document, path: Path, field: Field, value: Any) -> Cell:
    """One field with its value."""
    return Cell(path, field, shown(field, value), json.dumps(value), document.said_of(path))


def field_at(path: Sequence[str]) -> Field | None:
    """The field that a path leads to; None where no shoot has one there."""
    models: dict[str, type[BaseModel]] = {
        "shoot": Header, "site": Site, "link": Link, "other": Other, "call": Call, "run": Run,
        "permit": PermitHeld, **KINDS,
    }  # fmt: skip
    model = models.get(path[0]) if path else None
    rest = list(path[1:] if path and path[0] == "shoot" else path[2:])
    while model is not None and len(rest) > 1:
        if rest[0] in LISTS and len(rest) > 2:
            model, rest = LISTS[rest[0]], rest[2:]
        elif rest[0] in INNER:
            model, rest = INNER[rest[0]], rest[1:]
        else:
            return None
    if model is None or not rest:
        return None
    return next((field for field in fields_of(model) if field.key == rest[0]), None)


def _name(value: Any, otherwise: str) -> str:
    name = value.get("name") if isinstance(value, dict) else None
    return name if isinstance(name, str) and name else otherwise

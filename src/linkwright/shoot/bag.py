"""The bag: what a crew owns, kept for all shoots (docs/kit.md). Its file is `kit.toml`.

An item has the figures of a section [transmitter], [receiver], [microphone] or [recorder] of a shoot, beside a name
and how many there are; what a shoot uses of the bag is written into it under that name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from typing import Annotated, Any, Final, Literal, Self, get_args

import tomli_w
from pydantic import Field, model_validator

from linkwright.shoot.catalogue import about_class, as_frozen
from linkwright.shoot.equipment import Equipment, Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.errors import InputError
from linkwright.shoot.fields import Day, Frozen, Name
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.reading import errors_of, problems_with
from linkwright.shoot.toml import parse_toml
from linkwright.shoot.writing import as_toml, equipment_document

Kind = Literal["transmitter", "receiver", "microphone", "recorder"]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
#: Keys of an item that are no figures of its equipment.
OWN: Final = ("name", "kind", "count", "confirmed")
#: The carriers of a list by its file's name.
ReadList = Callable[[str], list[dict[str, Any]]]
ABOUT: Final = "# What this crew owns. `linkwright kit` lists it; docs/kit.md tells of every key.\n"


class Confirmed(Frozen):
    """A cause of faults that was confirmed with an item, how often on one job."""

    cause: Annotated[str, Field(min_length=1, max_length=40)] = Field(description="the cause, as in `diagnose`")
    times: Annotated[int, Field(ge=1, le=1000)] = Field(default=1, description="how often")
    shoot: Annotated[str, Field(max_length=200)] = Field(default="", description="on which job")
    date: Day = Field(description="and day")


def causes_of(confirmed: Iterable[Confirmed]) -> Counter[str]:
    """How often each cause was confirmed, all jobs together."""
    return sum((Counter({known.cause: known.times}) for known in confirmed), Counter())


class Item(Frozen):
    """Equipment that a crew owns, alike in all figures: exactly one of the four kinds."""

    name: Name = Field(description="what the crew calls it")
    kind: Kind = Field(description="what it is; default: what its class is")
    count: Annotated[int, Field(ge=1, le=1000)] = Field(default=1, description="how many of it there are")
    transmitter: Transmitter | None = Field(default=None, description="its figures, where it is one")
    receiver: Receiver | None = Field(default=None, description="its figures, where it is one")
    microphone: Microphone | None = Field(default=None, description="its figures, where it is one")
    recorder: Recorder | None = Field(default=None, description="its figures, where it is one")
    confirmed: tuple[Confirmed, ...] = Field(
        default=(), max_length=500, description="causes of faults that were confirmed with it"
    )
    listed_in: str | None = Field(default=None, description="the file beside the bag's that its carriers stand in")

    @model_validator(mode="before")
    @classmethod
    def _figures_are_of_its_kind(cls, given: Any) -> Any:
        """The figures stand beside the name in the file; here they are a table of their own."""
        if not isinstance(given, dict):
            return given
        figures = {key: value for key, value in given.items() if key not in OWN}
        about = about_class(figures["use"]) if isinstance(figures.get("use"), str) else None
        kind = given.get("kind", about.kind if about else None)
        if kind not in KINDS:
            raise ValueError(
                'what it is cannot be told; give use = "a class", as `linkwright kit` lists them, or kind = '
                f"one of {', '.join(KINDS)}"
            )
        if kind == "receiver" and "count" in given:
            figures["count"] = given["count"]
        return {**{key: given[key] for key in OWN if key in given}, "kind": kind, kind: figures}

    @property
    def equipment(self) -> Equipment:
        """Its figures."""
        own: Equipment = getattr(self, self.kind)
        return own

    def document(self) -> dict[str, Any]:
        """The item as its file has it."""
        figures = equipment_document(self.equipment)
        figures.pop("count", None)
        told = {"kind": self.kind} if self.equipment.use is None else {}
        confirmed = [known.model_dump() for known in self.confirmed]
        more = {"confirmed": confirmed} if confirmed else {}
        return {"name": self.name, **told, "count": self.count, **figures, **more}


#: What a bag holds.
Held = Item | PermitHeld


class Bag(Frozen):
    """What a crew owns, and the licences that it holds."""

    item: tuple[Item, ...] = Field(default=(), max_length=2_000, description="the items")
    permit: tuple[PermitHeld, ...] = Field(default=(), max_length=500, description="licences that the crew holds")

    @model_validator(mode="after")
    def _each_name_once(self) -> Self:
        for kind, names in (("item", [item.name for item in self.item]), ("permit", [p.name for p in self.permit])):
            for name in names:
                if names.count(name) > 1:
                    raise ValueError(f'{kind} "{name}" stands twice; each name once')
        return self

    def named(self, name: str) -> Item | None:
        """The item of that name, whatever its capitals."""
        return next((item for item in self.item if item.name.casefold() == name.casefold()), None)

    @property
    def held(self) -> tuple[Held, ...]:
        """The items, then the licences."""
        return (*self.item, *self.permit)

    def licence(self, name: str) -> PermitHeld | None:
        """The licence of that name, whatever its capitals."""
        return next((permit for permit in self.permit if permit.name.casefold() == name.casefold()), None)

    def like(self, held: Held) -> Held | None:
        """What stands in the bag under the name of an item or a licence."""
        return self.named(held.name) if isinstance(held, Item) else self.licence(held.name)

    def of(self, kind: Kind) -> tuple[Item, ...]:
        """The items of a kind, in their order."""
        return tuple(item for item in self.item if item.kind == kind)

    def swapped(self, old: Held | None, new: Held | None, place: int | None = None) -> Bag:
        """The bag with one item or licence in the place of another; None for either is none. Raises InputError.

        What is new comes last, or at its `place`. Carriers that are as they were stay in the file they stand in.
        """
        if new is not None:
            twin = self.like(new)
            if twin is not None and twin != old:
                raise InputError(f"the bag has {twin.name} already; give it another name")
        if isinstance(old, Item) and isinstance(new, Item):
            same = old.document().get("carriers") == new.document().get("carriers")
            new = new.model_copy(update={"listed_in": old.listed_in if same else None})
        key = "item" if isinstance(old or new, Item) else "permit"
        those: tuple[Held, ...] = getattr(self, key)
        at = (len(those) if place is None else place) if old is None else those.index(old)
        there = (*those[:at], *(() if new is None else (new,)), *those[at + (old is not None) :])
        return self.model_copy(update={key: there})


def parse_bag(text: str, name: str, read_list: ReadList) -> Bag:
    """The bag in a text; `read_list` reads the lists of display carriers that it names. Raises InputError(s)."""
    document = parse_toml(text, name)
    given, lists = document.get("item"), {}
    for n, item in enumerate(given if isinstance(given, list) else ()):
        if isinstance(item, dict) and isinstance(item.get("carriers"), str):
            lists[n] = item["carriers"]
            item["carriers"] = read_list(lists[n])
    bag, problems = problems_with(Bag, document)
    if bag is None:
        raise errors_of([problem.within(KINDS) for problem in problems], text, name)
    items = tuple(item.model_copy(update={"listed_in": lists.get(n)}) for n, item in enumerate(bag.item))
    return bag.model_copy(update={"item": items})


def permit_of(fields: Mapping[str, Any]) -> PermitHeld:
    """A licence from the fields of its file. Raises InputError."""
    bag, problems = problems_with(Bag, {"permit": [as_frozen(dict(fields))]})
    if bag is None:
        raise InputError("; ".join(problem.says for problem in problems))
    return bag.permit[0]


def item_of(fields: Mapping[str, Any]) -> Item:
    """An item from the fields of its file. Raises InputError."""
    bag, problems = problems_with(Bag, {"item": [as_frozen(dict(fields))]})
    if bag is None:
        raise InputError("; ".join(problem.says for problem in problems))
    return bag.item[0]


def write_bag(bag: Bag, *, lists_beside: bool = False) -> str:
    """The bag as the text of its file; `lists_beside`: the lists that it names are there beside that file."""
    items = [item.document() for item in bag.item]
    for item, fields in zip(bag.item, items, strict=True):
        if lists_beside and item.listed_in is not None:
            fields["carriers"] = item.listed_in
    tables = [("item", fields) for fields in items] + [("permit", permit_document(permit)) for permit in bag.permit]
    return "\n".join([ABOUT, *(entry(key, fields) for key, fields in tables)])


def entry(key: str, fields: dict[str, Any]) -> str:
    """A table of a list of tables as a file has it."""
    return tomli_w.dumps({key: as_toml(fields)}).replace(f"[{key}]", f"[[{key}]]", 1)


def permit_document(permit: PermitHeld) -> dict[str, Any]:
    """A licence as its file has it."""
    return permit.model_dump(by_alias=True, exclude_unset=True, exclude_none=True)


def section(held: Held) -> str:
    """An item as the section of a shoot file, a licence as its table."""
    if isinstance(held, PermitHeld):
        return entry("permit", permit_document(held))
    item = held
    return tomli_w.dumps({item.kind: {item.name: as_toml(equipment_document(item.equipment))}})

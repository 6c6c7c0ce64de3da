"""The bag of a person: `kit.toml` in a folder of their own, beside the places."""

from __future__ import annotations

import datetime
import json
import os
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NamedTuple

from linkwright.halfway import half_of
from linkwright.shoot.bag import Bag, Held, parse_bag, write_bag
from linkwright.shoot.carrier_list import display_carriers
from linkwright.shoot.errors import InputError
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.reading import read_text
from linkwright.store.placebook import own_folder

#: Largest file of a bag, and of a list of carriers [bytes].
MOST_BYTES: Final = 8 * 1024 * 1024
#: So many changes of the bag can be taken back.
MOST_CHANGES: Final = 100
_turn: Final = threading.Lock()


def bag_file(environment: Mapping[str, str] = os.environ) -> Path:
    """Where the bag is kept."""
    return own_folder(environment).with_name("kit.toml")


def bag_of(data: bytes, name: str) -> Bag:
    """The bag in the bytes of a file that came without others beside it. Raises InputError."""

    def refuse(of: str) -> list[dict[str, Any]]:
        raise InputError(f"names the list {of}, which did not come with it", path=name)

    try:
        return parse_bag(data.decode("utf-8-sig"), name, refuse)
    except UnicodeDecodeError:
        raise InputError("is not UTF-8 text", path=name) from None


def read_bag(path: Path, name: str | None = None) -> Bag:
    """The bag in a file, with the lists of carriers that it names beside it. Raises InputError."""
    name = str(path) if name is None else name
    return parse_bag(read_text(path, name, MOST_BYTES), name, lambda of: read_carriers(path.parent / of))


def read_carriers(path: Path) -> list[dict[str, Any]]:
    """What a display calls its carriers, from a CSV file. Raises InputError."""
    return display_carriers(read_text(path, str(path), MOST_BYTES), str(path))


def own_bag(environment: Mapping[str, str] = os.environ) -> Bag:
    """The person's bag; an empty one where nothing is kept yet. Raises InputError where it cannot be read."""
    path = bag_file(environment)
    return read_bag(path) if path.exists() else Bag()


class Swap(NamedTuple):
    """An item or licence as it was seen, as it is to be (None: not there), and where it stands or stood."""

    old: Held | None
    new: Held | None
    place: int | None = None


@dataclass(frozen=True, slots=True)
class BagChange:
    """One change of the bag: its number, when and by whom, what it put in the place of what, and the number of the
    change that it took back."""

    number: int
    when: datetime.datetime
    who: str
    swaps: tuple[Swap, ...]
    of: int | None = None


def change_bag(
    swaps: Sequence[Swap], who: str, when: datetime.datetime, of: int | None = None,
    environment: Mapping[str, str] = os.environ,
) -> BagChange | None:  # fmt: skip
    """Put items in the place of those that were seen: all or none, noted so that it can be taken back.

    None where nothing changes. Raises InputError where one is not as it was seen, or the bag cannot be written.
    """
    with _turn:
        bag, path, done = own_bag(environment), bag_file(environment), []
        for old, new, place in swaps:
            named = old or new
            if named is None or _text(old) == _text(new):
                continue
            there = bag.like(named)
            if _text(there) != _text(old):
                raise InputError(f"{named.name} was changed or taken out of the bag meanwhile; look at it again")
            at = place if there is None else bag.held.index(there)
            at = at - len(bag.item) if at is not None and isinstance(there, PermitHeld) else at
            done.append(Swap(old, new, at))
            bag = bag.swapped(there, new, place)
        if not done:
            return None
        _write(path, write_bag(bag, lists_beside=True))
        lines = changes(environment)
        line = BagChange(lines[-1].number + 1 if lines else 1, when, who, tuple(done), of)
        _write(_log_file(path), "".join(f"{_told(change)}\n" for change in [*lines[1 - MOST_CHANGES :], line]))
    return line


def changes(environment: Mapping[str, str] = os.environ) -> list[BagChange]:
    """The last changes of the bag, oldest first; none of a damaged record, which the next change begins anew."""
    path = _log_file(bag_file(environment))
    try:
        return (
            [_line(text) for text in read_text(path, path.name, MOST_BYTES).splitlines()] if path.exists() else []
        )
    except (InputError, ValueError, TypeError, KeyError):
        return []


def _log_file(path: Path) -> Path:
    return path.with_name("kit-changes.jsonl")


def _text(held: Held | None) -> str | None:
    return None if held is None else write_bag(Bag().swapped(None, held))


def _told(line: BagChange) -> str:
    swaps = [[_text(swap.old), _text(swap.new), swap.place] for swap in line.swaps]
    about = {"number": line.number, "when": line.when.isoformat(), "who": line.who, "of": line.of, "swaps": swaps}
    return json.dumps(about, ensure_ascii=True)


def _line(text: str) -> BagChange:
    def held(text: str | None) -> Held | None:
        bag = Bag() if text is None else bag_of(text.encode(), "the record of changes")
        return bag.held[0] if bag.held else None

    told = json.loads(text)
    swaps = tuple(Swap(held(old), held(new), place) for old, new, place in told["swaps"])
    return BagChange(
        int(told["number"]), datetime.datetime.fromisoformat(told["when"]), told["who"], swaps, told["of"]
    )


def _write(path: Path, text: str) -> None:
    """A file, whole or not at all. Raises InputError where it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        half = half_of(path)
        half.write_text(text, encoding="utf-8")
        half.replace(path)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", path=str(path)) from None

"""The bag of a person: `kit.toml` in a folder of their own, beside the places."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from linkwright.halfway import half_of
from linkwright.shoot.bag import Bag, parse_bag, write_bag
from linkwright.shoot.carrier_list import display_carriers
from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import read_text
from linkwright.store.placebook import own_folder

#: Largest file of a bag, and of a list of carriers [bytes].
MOST_BYTES: Final = 8 * 1024 * 1024


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


def keep_bag(bag: Bag, environment: Mapping[str, str] = os.environ) -> Path:
    """Keep the bag, whole or not at all; returns its file. Raises InputError where it cannot be written."""
    path = bag_file(environment)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        half = half_of(path)
        half.write_text(write_bag(bag), encoding="utf-8")
        half.replace(path)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", path=str(path)) from None
    return path

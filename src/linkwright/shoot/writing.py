"""Writing a shoot back to TOML, so that reading it again gives an equal shoot."""

from __future__ import annotations

import datetime
from typing import Any

import tomli_w

from linkwright.shoot.catalogue import catalogue_entry
from linkwright.shoot.equipment import Equipment, Tuned
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.models import Shoot


def write_shoot(shoot: Shoot) -> str:
    """The shoot as the text of a shoot.toml: what was given, and of catalogue equipment only what differs."""
    document = shoot.model_dump(by_alias=True, exclude_unset=True, exclude_none=True)
    for kind in ("transmitter", "receiver", "microphone", "recorder"):
        types: dict[str, Equipment] = getattr(shoot, kind)
        for name, model in types.items():
            document[kind][name] = equipment_document(model)
    return tomli_w.dumps(as_toml(document))


def equipment_document(equipment: Equipment) -> dict[str, Any]:
    """A type of equipment as its section has it: what was given, and of a class only what differs."""
    given = equipment.model_dump(by_alias=True, exclude_unset=True, exclude_none=True)
    given |= {key: value for key, value in equipment.as_stated().items() if key in given}
    if isinstance(equipment, Tuned) and equipment.carriers and given.get("tunes_mhz") == equipment.lists_mhz:
        del given["tunes_mhz"]  # a list without a range of its own
    if equipment.use is None:
        return given
    start = catalogue_entry(equipment.kind(), equipment.use)
    return {key: value for key, value in given.items() if key not in start or start[key] != value}


def write_learnt(learnt: Learnt) -> str:
    """What a walk test taught, as the text of the file that a site names under `measured`."""
    about = '# What a walk test taught. Name this file at the site, measured = "...", and plans use it.\n'
    return about + tomli_w.dumps(as_toml(learnt.model_dump(exclude_none=True)))


def as_toml(value: Any) -> Any:
    """The same value in the types that TOML has: lists for tuples, no empty tables for nothing."""
    if isinstance(value, dict):
        return {str(key): as_toml(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [as_toml(inner) for inner in value]
    if isinstance(value, str | bool | int | float | datetime.date | datetime.time):
        return value
    raise TypeError(f"a shoot cannot hold {type(value).__name__}")

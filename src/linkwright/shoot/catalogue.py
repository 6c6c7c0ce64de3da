"""The generic equipment catalogue: a few classes with openly assumed figures, in `catalogue.toml`."""

from __future__ import annotations

import functools
import importlib.resources
import tomllib
from typing import Any

from linkwright.shoot.errors import did_you_mean


@functools.cache
def catalogue() -> dict[str, dict[str, dict[str, Any]]]:
    """The catalogue as kind -> class -> fields; kinds are transmitter, receiver and microphone."""
    text = importlib.resources.files("linkwright.shoot").joinpath("catalogue.toml").read_text("utf-8")
    kinds: dict[str, dict[str, dict[str, Any]]] = _tuples(tomllib.loads(text))
    return kinds


def catalogue_names(kind: str) -> tuple[str, ...]:
    """The classes of a kind, in the order of the catalogue."""
    return tuple(catalogue()[kind])


def catalogue_entry(kind: str, name: str) -> dict[str, Any]:
    """The fields of one class. Raises ValueError, naming the nearest class, where there is none."""
    classes = catalogue()[kind]
    if name not in classes:
        known = ", ".join(sorted(classes))
        raise ValueError(f'the catalogue has no {kind} "{name}"{did_you_mean(name, classes)} (it has {known})')
    return dict(classes[name])


def _tuples(value: Any) -> Any:
    """The same value with every list as a tuple, as the frozen models ask for it."""
    if isinstance(value, dict):
        return {key: _tuples(inner) for key, inner in value.items()}
    return tuple(_tuples(inner) for inner in value) if isinstance(value, list) else value


as_frozen = _tuples

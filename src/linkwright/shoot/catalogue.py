"""The generic equipment catalogue: classes with openly assumed figures, in `catalogue.toml`."""

from __future__ import annotations

import functools
import importlib.resources
import tomllib
from dataclasses import dataclass
from typing import Any

from linkwright.shoot.errors import did_you_mean

#: Kind -> class -> fields.
Classes = dict[str, dict[str, dict[str, Any]]]


@dataclass(frozen=True, slots=True)
class About:
    """A class for people: its kind, what it is called, and the document behind its range and limits, if any."""

    kind: str
    called: str
    source: str


@functools.cache
def _read() -> tuple[Classes, dict[str, About]]:
    text = importlib.resources.files("linkwright.shoot").joinpath("catalogue.toml").read_text("utf-8")
    document = _tuples(tomllib.loads(text))
    kinds: Classes = {kind: {} for kind in ("transmitter", "receiver", "microphone", "recorder")}
    about: dict[str, About] = {}
    forms = {name: (kind, form) for kind, of in document["form"].items() for name, form in of.items()}
    for band in document["band"]:
        for name in band["classes"]:
            kind, form = forms[name]
            id_ = f"{band['id']}-{name}"
            kinds[kind][id_] = {**form, "tunes_mhz": band["tunes_mhz"], **band.get(kind, {})}
            about[id_] = About(kind, f"{form['called']}, {band['called']}", band["source"])
    for kind, own in kinds.items():
        for name, fields in document.get(kind, {}).items():
            about[name] = About(kind, fields["called"], "")
            own[name] = fields
        for fields in own.values():
            del fields["called"]
    return kinds, about


def catalogue() -> Classes:
    """The catalogue as kind -> class -> fields; kinds are transmitter, receiver, microphone and recorder."""
    return _read()[0]


@functools.cache
def _by_words() -> dict[str, str]:
    return {about.called: name for name, about in _read()[1].items()}


def class_of(name: str) -> str:
    """A class's own name, also where it is named by the words of what it is called; another name as it is."""
    return _by_words().get(name, name)


def about_class(name: str) -> About | None:
    """A class for people, by its name or its words; None where there is none."""
    return _read()[1].get(class_of(name))


def called(name: str) -> str:
    """What people call a type of equipment: a class of the catalogue in words, another by its own name."""
    about = about_class(name)
    return name if about is None else about.called


def catalogue_names(kind: str) -> tuple[str, ...]:
    """The classes of a kind, in the order of the catalogue."""
    return tuple(catalogue()[kind])


def catalogue_entry(kind: str, name: str) -> dict[str, Any]:
    """The fields of one class. Raises ValueError, naming the nearest class, where there is none."""
    classes = catalogue()[kind]
    if class_of(name) not in classes:
        words = {called(known): known for known in classes}
        near = did_you_mean(name, [*classes, *words]) or f"; it has {', '.join(words)}"
        raise ValueError(f'the catalogue has no {kind} "{name}"{near}')
    return dict(classes[class_of(name)])


def _tuples(value: Any) -> Any:
    """The same value with every list as a tuple, as the frozen models ask for it."""
    if isinstance(value, dict):
        return {key: _tuples(inner) for key, inner in value.items()}
    return tuple(_tuples(inner) for inner in value) if isinstance(value, list) else value


as_frozen = _tuples

"""Keys of the shoot file that have another name today: older files and jobs are read with the new one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

#: Kind of equipment -> the key of older files -> its name today.
RENAMED = {"transmitter": {"power_save_mw": "resting_mw"}}


def renamed(document: dict[str, Any]) -> Iterator[tuple[str, str, str, str]]:
    """Kind, name, old key and new key of every key with an older name in a parsed document."""
    for kind, keys in RENAMED.items():
        items = document.get(kind)
        for name, fields in items.items() if isinstance(items, dict) else ():
            for old, new in keys.items():
                if isinstance(fields, dict) and old in fields and new not in fields:
                    yield kind, name, old, new


def with_new_names(document: dict[str, Any]) -> dict[str, Any]:
    """The document with today's names; the same object where nothing in it has an older one."""
    for kind, name, old, new in renamed(document):
        fields = {new if key == old else key: value for key, value in document[kind][name].items()}
        document = {**document, kind: {**document[kind], name: fields}}
    return document


def renamed_sentences(document: dict[str, Any]) -> list[str]:
    """What a person is told of such keys, a sentence each."""
    return [
        f'{kind} "{name}": {old} is called {new} now and was read as that; write {new}'
        for kind, name, old, new in renamed(document)
    ]

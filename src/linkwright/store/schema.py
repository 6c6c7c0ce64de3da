"""What the models of a shoot say about where things stand: lists of tables, dates and times."""

from __future__ import annotations

import contextlib
import datetime
import functools
from collections.abc import Iterator, Sequence
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel

from linkwright.shoot.models import Shoot

#: Any name of a table, or any entry of a list.
ANY = "*"


def _fields(model: type[BaseModel], above: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every field beneath a model: its pattern, and its annotation."""
    for name, field in model.model_fields.items():
        here = (*above, field.alias or name)
        yield here, field.annotation
        yield from _inner(field.annotation, here)


def _inner(annotation: Any, here: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield from _fields(annotation, here)
    elif get_origin(annotation) in (tuple, dict):
        for inner in get_args(annotation):
            yield from _inner(inner, (*here, ANY))
    elif get_origin(annotation) is not Literal:
        for inner in get_args(annotation):
            yield from _inner(inner, here)


def _is_list_of_tables(annotation: Any) -> bool:
    if get_origin(annotation) is not tuple:
        return False
    return any(isinstance(inner, type) and issubclass(inner, BaseModel) for inner in get_args(annotation))


@functools.cache
def _patterns(kind: str) -> frozenset[tuple[str, ...]]:
    if kind == "list":
        return frozenset(here for here, annotation in _fields(Shoot) if _is_list_of_tables(annotation))
    wanted = {"date": datetime.date, "time": datetime.time, "moment": datetime.datetime}[kind]
    return frozenset(here for here, annotation in _fields(Shoot) if _names(annotation, wanted))


def _names(annotation: Any, wanted: type) -> bool:
    return annotation is wanted or any(_names(inner, wanted) for inner in get_args(annotation))


def _stands(path: Sequence[str | int], kind: str) -> bool:
    return any(
        len(pattern) == len(path) and all(p in (ANY, key) for p, key in zip(pattern, path, strict=True))
        for pattern in _patterns(kind)
    )


def is_list(path: Sequence[str | int]) -> bool:
    """Whether a list of tables stands here, whose entries have ids."""
    return _stands(path, "list")


def is_entry(path: Sequence[str | int]) -> bool:
    """Whether an entry of a list of tables stands here."""
    return bool(path) and is_list(path[:-1])


def typed(document: Any, path: tuple[str | int, ...] = ()) -> Any:
    """The document as TOML has it: where a date or a time belongs, its ISO text becomes one."""
    if isinstance(document, dict):
        return {key: typed(inner, (*path, key)) for key, inner in document.items()}
    if isinstance(document, list):
        return [typed(inner, (*path, number)) for number, inner in enumerate(document)]
    if not isinstance(document, str):
        return document
    for kind, read in (("date", datetime.date.fromisoformat), ("moment", datetime.datetime.fromisoformat)):
        if _stands(path, kind):
            with contextlib.suppress(ValueError):
                return read(document)
    try:
        if _stands(path, "time"):
            time = datetime.time.fromisoformat(document)
            return time if time.tzinfo is None else document  # a shoot has one time zone, its own
    except ValueError:
        pass  # stays as it was typed, for the models to say what was expected
    return document

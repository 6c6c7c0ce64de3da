"""Cells from a spreadsheet, put into a list of the shoot: entries take theirs in turn, further rows are new."""

from __future__ import annotations

from typing import Final

from linkwright.desk.editing import put
from linkwright.desk.form.fields import Field, entered, fields_of
from linkwright.desk.form.sections import INNER, LISTS
from linkwright.desk.names import Names
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Call, Link
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.place import Other, Site
from linkwright.shoot.times import Run
from linkwright.store import LoggedChange, Store

#: A paste of more cells than this is some other table.
MOST_CELLS: Final = 20_000
TOPS: Final = {"site": Site, "link": Link, "other": Other, "call": Call, "permit": PermitHeld, "run": Run}


def paste(
    store: Store, names: Names, path: tuple[str, ...], entry: str | None, key: str, text: str, who: str
) -> LoggedChange | None:
    """Put cells into the list at a path, from one entry and one field on. Raises InputError, Conflict."""
    fields = _fields_of_list(path)
    keys = [field.key for field in fields]
    if key not in keys:
        raise InputError(f"{key} is no column of this table")
    rows = [row.split("\t") for row in text.replace("\r", "").rstrip("\n").split("\n")]
    if sum(map(len, rows)) > MOST_CELLS:
        raise InputError(f"the paste has more than {MOST_CELLS} cells; paste it in parts")
    columns, draft = fields[keys.index(key) :], store.document()
    ids = list(draft.ids.get(path, ()))
    start = ids.index(entry) if entry in ids else len(ids)
    change = None
    for n, row in enumerate(rows):
        values = {field.key: entered(field, cell) for field, cell in zip(columns, row, strict=False)}
        if start + n < len(ids):
            for of, value in values.items():
                at = (*path, ids[start + n], of)
                change = put(store, names, at, draft.at(*at), value, who) or change
        elif any(value is not None for value in values.values()):
            change = store.insert(path, {of: value for of, value in values.items() if value is not None}, who)
    return change


def _fields_of_list(path: tuple[str, ...]) -> list[Field]:
    model = TOPS.get(path[0]) if len(path) == 1 else LISTS.get(path[-1]) if len(path) == 3 else None
    if model is None:
        raise InputError(f"{', '.join(path)} is no table that takes a paste")
    return [field for field in fields_of(model) if field.key not in LISTS and field.key not in INNER]

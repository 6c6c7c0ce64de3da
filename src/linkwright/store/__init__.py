"""The shoot, stored so that nothing is lost: field by field, with who changed what, and undo (docs/store.md)."""

from __future__ import annotations

from linkwright.store.attachments import LOG, READINGS, RECORDING, Attachment
from linkwright.store.conflict import Conflict
from linkwright.store.crew import Device, DoorLine, Entry, Passing, Role, Tick
from linkwright.store.draft import Draft, Problem, problems
from linkwright.store.happenings import Happening
from linkwright.store.history import Change
from linkwright.store.store import Store

__all__ = [
    "LOG",
    "READINGS",
    "RECORDING",
    "Attachment",
    "Change",
    "Conflict",
    "Device",
    "DoorLine",
    "Draft",
    "Entry",
    "Happening",
    "Passing",
    "Problem",
    "Role",
    "Store",
    "Tick",
    "problems",
]

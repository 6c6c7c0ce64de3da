"""The shoot, stored so that nothing is lost: field by field, with who changed what, and undo (docs/store.md).

What is named here is loaded when it is asked for: commands that read a kept place or the bag need no database.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from linkwright.store.attachments import LOG, READINGS, RECORDING, SWEPT, Attachment
    from linkwright.store.carrier_notices import Given, ToldCarrier
    from linkwright.store.conflict import Conflict
    from linkwright.store.crew import CrewNote, Device, DoorLine, Passing, Role, Tick
    from linkwright.store.draft import Draft, DraftProblem, problems
    from linkwright.store.faults import Away
    from linkwright.store.happenings import Happening
    from linkwright.store.hatch import KIT, NOTICE, CrewShare, Hatch, Notice
    from linkwright.store.history import LoggedChange
    from linkwright.store.hunts import HuntFact, HuntStart, HuntStep, KeptHunt
    from linkwright.store.requests import CrewRequest, RequestStep, WantedLinks
    from linkwright.store.store import Store

#: In which module of this package each is.
FROM: Final = {
    "LOG": "attachments", "READINGS": "attachments", "RECORDING": "attachments", "SWEPT": "attachments",
    "Attachment": "attachments",
    "Conflict": "conflict", "Device": "crew", "DoorLine": "crew", "CrewNote": "crew", "Passing": "crew",
    "Role": "crew", "Tick": "crew", "Draft": "draft", "DraftProblem": "draft", "problems": "draft",
    "Away": "faults", "Happening": "happenings",
    "KIT": "hatch", "NOTICE": "hatch", "Hatch": "hatch", "Notice": "hatch", "CrewShare": "hatch",
    "LoggedChange": "history", "CrewRequest": "requests", "RequestStep": "requests", "WantedLinks": "requests",
    "HuntStart": "hunts", "HuntStep": "hunts", "KeptHunt": "hunts", "HuntFact": "hunts",
    "Store": "store", "Given": "carrier_notices", "ToldCarrier": "carrier_notices",
}  # fmt: skip


def __getattr__(name: str) -> object:
    """What is asked for by its name. Raises AttributeError for what is not here."""
    if name not in FROM:
        raise AttributeError(f"module {__name__} has no attribute {name}")
    return getattr(importlib.import_module(f"{__name__}.{FROM[name]}"), name)


__all__ = [
    "KIT",
    "LOG",
    "NOTICE",
    "READINGS",
    "RECORDING",
    "SWEPT",
    "Attachment",
    "Away",
    "Conflict",
    "CrewNote",
    "CrewRequest",
    "CrewShare",
    "Device",
    "DoorLine",
    "Draft",
    "DraftProblem",
    "Given",
    "Happening",
    "Hatch",
    "HuntFact",
    "HuntStart",
    "HuntStep",
    "KeptHunt",
    "LoggedChange",
    "Notice",
    "Passing",
    "RequestStep",
    "Role",
    "Store",
    "Tick",
    "ToldCarrier",
    "WantedLinks",
    "problems",
]

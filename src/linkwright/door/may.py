"""Who may ask for what: one decision for every address and method, from which docs/roles.md is made too."""

from __future__ import annotations

from typing import Final

from linkwright.store import Role

SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
#: What may be asked for without a token: the page that takes one, and what it is drawn with.
OPEN_PATHS: Final = ("/join", "/static/")
#: What a device that may only log may send.
LOG_PATHS: Final = ("/log", "/tick")
#: Where devices are let in and forgotten: on the laptop itself.
LAPTOP_PATHS: Final = ("/connect",)
#: Where our list of carriers is, for other crews' programs: a key of the role "list" gets nothing else.
LIST_PATHS: Final = ("/list/",)
#: Where crews are served, by the hatch of the store alone; "/" leads there.
OWN_PATH: Final = "/own"
#: What may do more comes later; a crew's device and a key for our list are not in this order: each has its
#: own addresses, and no others.
ORDER: Final[dict[Role, int]] = {"look": 0, "log": 1, "edit": 2}


def is_own(path: str) -> bool:
    """Whether an address is one at which crews are served."""
    return path == OWN_PATH or path.startswith(f"{OWN_PATH}/")


def needed(method: str, path: str) -> Role:
    """The least role that an address asks for, of those that are of no crew."""
    return "look" if method in SAFE else "log" if path.startswith(LOG_PATHS) else "edit"


def why_not(role: Role | None, method: str, path: str, *, on_laptop: bool = False) -> str:
    """Why somebody of a role (None: not paired) gets nothing at an address; nothing where it is answered."""
    if path.startswith(OPEN_PATHS):
        return ""
    if role is None:
        return "This device is not paired. Scan the code on the laptop's page Connect."
    if role == "crew":
        leads = path == "/" and method in SAFE
        return "" if is_own(path) or leads else f"This device is of a crew; what is for it is at {OWN_PATH}."
    if role == "list":
        lists = method in SAFE and path.startswith(LIST_PATHS)
        return "" if lists else f"This key is for our list of carriers, which is at {LIST_PATHS[0]}carriers.json."
    if is_own(path):
        return "This page is for the telephone of a crew."
    if path.startswith(LAPTOP_PATHS) and not on_laptop:
        return "Devices are let in and forgotten on the laptop itself."
    least = needed(method, path)
    return "" if ORDER[role] >= ORDER[least] else f"This device may {role}; this needs one that may {least}."

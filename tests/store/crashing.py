"""Runs in a process of its own: edits a store without end, and says what was acknowledged."""

from __future__ import annotations

import threading
from multiprocessing.connection import Connection

from linkwright.store import Store


def edit(store: Store, who: str, tell: Connection, turn: threading.Lock) -> None:
    """One person's edits: a counter that goes up, and a new entry now and then."""
    mine = store.document().at("shoot", who)
    while True:
        following = (mine or 0) + 1
        store.set_field(("shoot", who), mine, following, who)
        mine = following
        with turn:
            tell.send((who, following))
        if following % 7 == 0:
            new = store.insert(("link",), {"name": f"{who} {following}", "note": "x" * 3000}, who).path[-1]
            with turn:
                tell.send(("link", new))


def two_people(place: str, tell: Connection) -> None:
    """Both edit at once, until the process is killed."""
    store = Store.open(place, create=True)
    turn = threading.Lock()
    for who in ("Potter", "Weaver"):
        threading.Thread(target=edit, args=(store, who, tell, turn), daemon=True).start()
    threading.Event().wait()

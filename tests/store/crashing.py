"""Run as a program: edits a store without end, and says on standard output what was acknowledged."""

from __future__ import annotations

import sys
import threading

from linkwright.store import Store


def edit(store: Store, who: str) -> None:
    """One person's edits: a counter that goes up, and a new entry now and then."""
    with_mine = store.document().at("shoot", who)
    while True:
        following = (with_mine or 0) + 1
        store.set_field(("shoot", who), with_mine, following, who)
        with_mine = following
        print(f"{who} {following}", flush=True)
        if following % 7 == 0:
            new = store.insert(("link",), {"name": f"{who} {following}", "note": "x" * 3000}, who).path[-1]
            print(f"link {new}", flush=True)


def main() -> None:
    """Two people at once, until the process is killed."""
    store = Store.open(sys.argv[1], create=True)
    for who in ("Anna", "Ben"):
        threading.Thread(target=edit, args=(store, who), daemon=True).start()
    threading.Event().wait()


if __name__ == "__main__":
    main()

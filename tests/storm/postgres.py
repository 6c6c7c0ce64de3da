"""PostgreSQL is restarted, and its lines are cut, while two people edit: what was acknowledged is there, once."""

from __future__ import annotations

import argparse
import contextlib
import threading
import time
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from tests.store.conftest import running_postgresql

from linkwright.shoot.errors import InputError
from linkwright.store import Store

#: Ends every line but our own.
CUT: Final = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid()"


def storm(
    restarts: int, seed: int, url: str, restart: Callable[[], None], tell: Callable[[str], None] = lambda _: None
) -> list[str]:
    """What was lost, or told wrongly, over so many restarts and as many cut lines."""
    import psycopg

    chance, told, refused, stop = np.random.default_rng(seed), dict[str, int](), [0], threading.Event()
    wrong: list[str] = []

    def edit(store: Store, who: str) -> None:
        count = 0
        while not stop.is_set():
            try:
                store.set_field(("shoot", who), count or None, count + 1, who)
            except InputError:
                refused[0] += 1
                with contextlib.suppress(InputError):
                    found = store.document().at("shoot", who) or 0
                    if found != count:
                        wrong.append(f"{who}'s edit {count + 1} was refused, and {found} stands there")
                        count = found
                time.sleep(0.02)
            except Exception as error:
                wrong.append(f"{type(error).__name__}: {error}")
                return
            else:
                count += 1
                told[who] = count

    with Store.open(url, create=True) as store:
        people = [threading.Thread(target=edit, args=(store, who)) for who in ("Potter", "Weaver")]
        for one in people:
            one.start()
        for n in range(2 * restarts):
            time.sleep(float(chance.uniform(0.2, 0.8)))
            if n % 2:
                restart()
            else:
                with psycopg.connect(url, autocommit=True) as other:
                    other.execute(CUT)
        time.sleep(1.0)
        stop.set()
        for one in people:
            one.join()
    with Store.open(url) as store:
        draft = store.document()
        there = {who: draft.at("shoot", who) for who in told}
        wrong += [f"{who}: {count} told, {there[who]} there" for who, count in told.items() if there[who] != count]
        if [change.revision for change in store.changes(0, most=10**6)] != list(range(1, draft.revision + 1)):
            wrong.append("a line of the history")
    edits = f"{sum(told.values())} edits acknowledged, {refused[0]} refused"
    tell(f"{restarts} restarts, all lines cut {restarts} times, {edits}; {len(wrong)} wrong")
    return wrong


def main(arguments: Sequence[str]) -> int:
    """Run it from the command line."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--restarts", type=int, default=50)
    given.add_argument("--seed", type=int, default=1)
    options = given.parse_args(arguments)
    with running_postgresql() as started:
        if isinstance(started, str):
            print(started)
            return 0
        wrong = storm(options.restarts, options.seed, *started, print)
    print("\n".join(wrong), end="")
    return int(bool(wrong))

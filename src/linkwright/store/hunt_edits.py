"""What a coordinator does with hunts that are kept: the part of a store that is about them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, cast

from linkwright.shoot.errors import InputError
from linkwright.store import history, hunts
from linkwright.store.asking import Asking
from linkwright.store.edits import Turn
from linkwright.store.hunts import HUNT, NOBODYS, Deed, HuntFact, HuntStart, HuntStep, KeptHunt


class Hunting(Asking):
    """Hunts: each deed says how many the person saw, and stands in the change log with who and when."""

    def hunts(self) -> list[KeptHunt]:
        """All hunts, the newest first."""
        return self._reading(hunts.listed)

    def hunt(self, hunt_id: str) -> KeptHunt:
        """One hunt. Raises InputError where there is none."""
        return self._reading(lambda connection: hunts.one_of(connection, hunt_id))

    def hunt_steps(self, hunt: KeptHunt) -> list[HuntStep]:
        """Who did what in a hunt, when, oldest first."""
        path = (hunt.start.crew or NOBODYS, hunt.id)
        steps = self._reading(lambda connection: history.of_area(connection, HUNT, path))
        return [
            HuntStep(step.when, step.who, cast(Deed, step.what), json.loads(step.stored_after or "{}"))
            for step in steps
        ]

    def begin_hunt(self, start: HuntStart, who: str) -> KeptHunt:
        """Begin a hunt. Raises InputError where that cannot be kept, or the report is looked into already."""
        start = hunts.checked(start)

        def job(turn: Turn) -> KeptHunt:
            hunt = hunts.begin(turn, start, self._now())
            self._hunt_note(turn, hunt, "begin", {"note": start.note})
            return hunt

        return self._writing(who, job)

    def learn(self, hunt_id: str, seen: int, learnt: HuntFact, who: str) -> KeptHunt:
        """Something was found out. Raises Conflict where the hunt is not as it was `seen` (its deeds)."""
        if learnt.dbm is not None and not -150.0 <= learnt.dbm <= 20.0:
            raise InputError("a level read is from -150 to 20 dBm")
        return self._deed(hunt_id, seen, "learn", who, learnt=learnt)

    def unlearn(self, hunt_id: str, seen: int, who: str) -> KeptHunt:
        """Take back what was found out last. Raises Conflict."""
        return self._deed(hunt_id, seen, "take back", who)

    def close_hunt(self, hunt_id: str, seen: int, verdict: str, who: str) -> KeptHunt:
        """End a hunt with a verdict. Raises Conflict."""
        if not verdict.strip():
            raise InputError("say what it was")
        return self._deed(hunt_id, seen, "close", who, verdict=hunts.said(verdict))

    def reopen_hunt(self, hunt_id: str, seen: int, who: str) -> KeptHunt:
        """Take back the end of a hunt. Raises Conflict."""
        return self._deed(hunt_id, seen, "reopen", who)

    def keep_found(self, hunt: KeptHunt, narrowed: Mapping[str, Any]) -> None:
        """Keep what is suspected in a hunt as it stands; where it does not stand so any more, nothing is kept."""
        text = json.dumps(narrowed, ensure_ascii=False, separators=(",", ":"))
        self._plainly(lambda connection: hunts.keep_found(connection, hunt.id, hunt.deeds, text))

    def _deed(self, hunt_id: str, seen: int, deed: Deed, who: str, **more: Any) -> KeptHunt:
        def job(turn: Turn) -> KeptHunt:
            hunt, told = hunts.do(turn, hunt_id, seen, deed, self._now(), **more)
            self._hunt_note(turn, hunt, deed, told)
            return hunt

        return self._writing(who, job)

    def _hunt_note(self, turn: Turn, hunt: KeptHunt, deed: Deed, told: Mapping[str, Any]) -> None:
        path = (hunt.start.crew or NOBODYS, hunt.id)
        self._note(turn, HUNT, deed, path, None, json.dumps(told, ensure_ascii=False, separators=(",", ":")))

"""What a coordinator does with what crews ask, and what crews are told: the part of a store that is about crews."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from linkwright.shoot.errors import InputError
from linkwright.store import carrier_notices, edits, history, rows
from linkwright.store import requests as asked
from linkwright.store.carrier_notices import CARRIER, Act, Given, ToldCarrier
from linkwright.store.edits import Edit, Turn
from linkwright.store.paths import Path, checked, fit
from linkwright.store.requests import (
    HELD,
    REQUEST,
    Becomes,
    CrewRequest,
    Kind,
    RequestStep,
    State,
    WantedLinks,
    links_of,
)
from linkwright.store.rows import unpacked
from linkwright.store.side_tables import Aside
from linkwright.store.values import clean_text, plain

#: The fields of a link that say where its ends stand; a crew's ticks write these and no others.
STANDS = ("set_mhz", "set_at", "heard_at")


class Asking(Aside):
    """Requests of crews, and the carriers that they were told."""

    def requests(self) -> list[CrewRequest]:
        """Everything that crews asked, oldest first."""
        return self._reading(asked.listed)

    def request(self, request_id: str) -> CrewRequest:
        """One request. Raises InputError where there is none."""
        return self._reading(lambda connection: asked.one_of(connection, request_id))

    def request_steps(self, request: CrewRequest) -> list[RequestStep]:
        """Who did what with a request, when, oldest first."""
        path = (request.crew, request.id)
        steps = self._reading(lambda connection: history.of_area(connection, REQUEST, path))
        taken = []
        for step in steps:
            (before, _), (after, says) = map(asked.step_of, (step.stored_before, step.stored_after))
            taken.append(RequestStep(step.when, step.who, before, after, says))
        return taken

    def grant(
        self, request_id: str, seen: str, fields: Sequence[tuple[Sequence[str | int], Any, Any]], who: str,
        says: str = "",
    ) -> CrewRequest:  # fmt: skip
        """Grant a request: its links go into the shoot by `fields` (as of `set_fields`), in the same moment.

        Raises Conflict where the request is not as it was `seen`, or a field is not; then nothing is changed.
        """
        plainly = [(checked(path), plain(old), plain(new)) for path, old, new in fields]

        def job(turn: Turn) -> CrewRequest:
            request = asked.one_of(turn.connection, request_id)
            edit = edits.set_fields(turn, plainly)
            added = () if edit is None else links_of([row.keys for row in unpacked(edit.after) or ()])
            self._log_and_on(turn, edit)
            return self._become(turn, request, seen, Becomes("granted", _said(says), added, says))

        return self._writing(who, job)

    def refuse(self, request_id: str, seen: str, says: str, who: str) -> CrewRequest:
        """Refuse a request, with the reason and what would do instead. Raises Conflict."""
        if not says.strip():
            raise InputError("say why, and what would do instead")
        return self._step(request_id, seen, Becomes("refused", _said(says), says=_said(says)), who)

    def answer(self, request_id: str, seen: str, says: str, who: str) -> CrewRequest:
        """Answer a crew's report of trouble. Raises Conflict."""
        return self._step(request_id, seen, Becomes("answered", _said(says), says=_said(says)), who)

    def reopen(self, request_id: str, seen: str, who: str) -> CrewRequest:
        """Take back what became of a request: it is asked again, and its links leave the shoot. Raises Conflict."""

        def job(turn: Turn) -> CrewRequest:
            request = asked.one_of(turn.connection, request_id)
            self._take_links(turn, request.links if request.state in HELD else ())
            return self._become(turn, request, seen, Becomes("asked", "", ()))

        return self._writing(who, job)

    def carriers_told(
        self, calls: Collection[str] | None = None, links: Collection[str] | None = None, unheard: int | None = None
    ) -> list[ToldCarrier]:
        """What every crew was told, in all calls or in some, of all links or of some (by id), the longest
        unanswered first; of those that are not heard the first so many, where that is said."""
        return self._reading(lambda connection: carrier_notices.listed(connection, None, calls, links, unheard))

    def carriers_waiting(self) -> dict[str, int]:
        """How many carriers were told and are not heard, by call (by id)."""
        return self._reading(carrier_notices.waiting)

    def carriers_were(self, calls: Collection[str]) -> dict[tuple[str, str], str]:
        """How far links came in calls that are over (both by id), as crews ticked it: set or heard."""
        return self._reading(lambda connection: carrier_notices.were(connection, calls))

    def tell_carriers(
        self, given: Iterable[Given], who: str = "the plan", *, over: Collection[str] = ()
    ) -> list[ToldCarrier]:
        """Tell crews what a plan gives them; what is another than they were told last, to be done now. Calls (by
        id) that are `over` are forgotten."""
        wanted = list(given)

        def job(turn: Turn) -> list[ToldCarrier]:
            news = carrier_notices.tell(turn, wanted, over, self._now())
            lines = (((carrier.crew, *carrier.key), None, str(carrier.khz)) for carrier in news)
            self._note_all(turn, CARRIER, "set", lines)
            turn.revision += len(news)
            for crew in {carrier.crew for carrier in news}:
                self._follow_carriers(turn, crew)
            return news

        there = {known.key: known for known in self.carriers_told()}
        if {given_carrier.key for given_carrier in wanted} == there.keys() and all(
            _is_told(given_carrier, there[given_carrier.key]) for given_carrier in wanted
        ):
            return []
        return self._writing(who, job)

    # What a hatch does; each checks whose it is

    def _ask(self, crew: str, kind: Kind, wanted: WantedLinks, who: str, once: str) -> CrewRequest:
        wanted, id_ = wanted.checked(), asked.id_once(crew, once) if once else ""

        def job(turn: Turn) -> CrewRequest:
            there = asked.listed(turn.connection, crew, id_) if id_ else []
            if there:
                return there[0]
            request = asked.ask(turn, crew, kind, wanted, self._now(), id_)
            self._note(turn, REQUEST, "insert", (crew, request.id), None, asked.stored_step("asked", wanted.note))
            return request

        return self._writing(who, job)

    def _give_back(self, crew: str, request_id: str, seen: str, who: str) -> CrewRequest:
        def job(turn: Turn) -> CrewRequest:
            request = asked.one_of(turn.connection, request_id, crew)
            self._take_links(turn, request.links if request.state in HELD else (), _name_of(turn, crew))
            return self._become(turn, request, seen, Becomes("given back", None, ()))

        return self._writing(who, job)

    def _tick_carrier(
        self, crew: str, key: tuple[str, str], seen_khz: int, act: Act, who: str
    ) -> ToldCarrier | None:
        def job(turn: Turn) -> ToldCarrier | None:
            before, after = carrier_notices.tick(turn, crew, key, seen_khz, act, self._now())
            self._note(turn, CARRIER, act, (crew, *key), before.state, "off" if after is None else after.state)
            turn.revision += 1
            if after is not None:
                self._stand(turn, after)
            self._follow_carriers(turn, crew)
            return after

        return self._writing(who, job)

    # Within one transaction

    def _step(self, request_id: str, seen: str, becomes: Becomes, who: str) -> CrewRequest:
        def job(turn: Turn) -> CrewRequest:
            return self._become(turn, asked.one_of(turn.connection, request_id), seen, becomes)

        return self._writing(who, job)

    def _become(self, turn: Turn, request: CrewRequest, seen: str, becomes: Becomes) -> CrewRequest:
        after = asked.become(turn, request, seen, becomes, self._now())
        before, now = asked.stored_step(request.state), asked.stored_step(after.state, becomes.says)
        self._note(turn, REQUEST, "set", (request.crew, request.id), before, now)
        turn.revision += 1
        return after

    def _follow_carriers(self, turn: Turn, crew: str) -> None:
        """The requests of a crew are as far as their carriers are."""
        carriers = carrier_notices.listed(turn.connection, crew)
        for request in asked.listed(turn.connection, crew):
            state: State = carrier_notices.state_of(carriers, request.links)
            if request.state in HELD and state != request.state:
                self._become(turn, request, request.state, Becomes(state))

    def _stand(self, turn: Turn, carrier: ToldCarrier) -> None:
        """The link says where its ends stand now, as the crew ticked it."""
        path: Path = ("link", carrier.link)
        link = rows.tree_of(rows.read(turn.connection, path), path).value
        if not isinstance(link, dict) or link.get("crew") != _name_of(turn, carrier.crew):
            return
        at, heard = (when and when.isoformat(timespec="seconds") for when in (carrier.set, carrier.heard))
        values = (carrier.khz / 1000, at, heard) if carrier.set else (None, None, None)
        fields = [((*path, key), link.get(key), value) for key, value in zip(STANDS, values, strict=True)]
        self._log_and_on(turn, edits.set_fields(turn, fields))

    def _take_links(self, turn: Turn, links: Iterable[str], of: str | None = None) -> None:
        """Links leave the shoot (those of a crew, where one is said), and the calls that name them; a call that
        named no others goes too."""
        gone = {id_: rows.tree_of(rows.read(turn.connection, ("link", id_)), ("link", id_)).value for id_ in links}
        mine = (link for link in gone.items() if isinstance(link[1], dict))
        gone = {id_: link for id_, link in mine if of is None or link.get("crew") == of}
        names = {link.get("name") for link in gone.values()}
        tree = rows.tree_of(rows.read(turn.connection, ("call",)), ("call",))
        fields: list[tuple[Path, Any, Any]] = [(("link", id_), link, None) for id_, link in gone.items()]
        for id_, call in zip(tree.ids.get(("call",), ()), tree.value or (), strict=False):
            named = call.get("links") or []
            if names.isdisjoint(named):
                continue
            left = [name for name in named if name not in names]
            path: Path = ("call", id_)
            fields.append(((*path, "links"), named, left) if left else (path, call, None))
        self._log_and_on(turn, edits.set_fields(turn, fields) if fields else None)

    def _log_and_on(self, turn: Turn, edit: Edit | None) -> None:
        """A line for an edit of the document; what comes next in the same moment is the next revision."""
        if edit is not None:
            self._logged(turn, edit, "do", None)
            turn.revision += 1


def _name_of(turn: Turn, crew: str) -> str:
    """What a crew (by id) is called now; nothing where there is none, which no link says."""
    row = rows.read_one(turn.connection, ("crew", crew, "name"))
    return "" if row is None else str(json.loads(row.value))


def _said(says: str) -> str:
    return clean_text(fit(says.strip(), "what is said"), "what is said", asked.MOST_TEXT)


def _is_told(given: Given, told_: ToldCarrier) -> bool:
    there = Given(told_.crew, told_.link, told_.call, told_.khz, told_.spares_khz, told_.power_mw)
    return dataclasses.astuple(there) == dataclasses.astuple(given)

"""Two people edit one shoot, in any order, from what they saw: nothing is overwritten unseen, nothing is lost."""

from __future__ import annotations

import copy
import tempfile
from collections.abc import Callable
from pathlib import Path as FilePath
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from tests.store.oracle import Done, Oracle, Path

from linkwright.store import Conflict, Draft, LoggedChange, Store

people = st.sampled_from(["Potter", "Weaver"])
values = st.none() | st.integers(0, 3) | st.sampled_from(["", "a", "b"]) | st.just(["x", "y"])
picks = st.integers(0, 30)
FIELDS: list[Path] = [("shoot", "title"), ("shoot", "guard_khz", "im3_two"), ("shoot", "guard_khz", "im3_three")]


def told(attempt: Callable[[], LoggedChange | None]) -> tuple[LoggedChange | None, bool]:
    """The change, and whether it was a conflict."""
    try:
        return attempt(), False
    except Conflict:
        return None, True


def with_ids(draft: Draft, path: Path) -> Any:
    """What stands at a path of the store, in the oracle's form."""
    return _with_ids(draft, path, draft.at(*path))


def _with_ids(draft: Draft, path: Path, value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _with_ids(draft, (*path, key), inner) for key, inner in value.items()}
    if path in draft.ids:
        ids = draft.ids[path]
        return [[i, _with_ids(draft, (*path, i), v)] for i, v in zip(ids, value, strict=True)]
    return value


class TwoPeople(RuleBasedStateMachine):
    """The oracle is told what the store answers only where an id or a free place is the store's to choose."""

    place: Callable[[], str]

    def __init__(self) -> None:
        super().__init__()
        self.where = type(self).place()
        self.store = Store.open(self.where, create=True)
        self.oracle = Oracle()
        self.seen = {"Potter": (Oracle(), 0), "Weaver": (Oracle(), 0)}

    def teardown(self) -> None:
        self.store.close()

    def _lists(self, of: Oracle) -> list[Path]:
        return [("link",), ("site",), *(("site", name, "spots") for name in of.order(("site",)))]

    def _entries(self, of: Oracle) -> list[Path]:
        return [(*at, name) for at in self._lists(of) for name in of.order(at)]

    def _fields(self, of: Oracle) -> list[Path]:
        return FIELDS + [(*at, key) for at in self._entries(of) for key in ("name", "note")]

    def _look_unless(self, stale: bool, who: str) -> None:
        """The page is up to date, or it still shows what it showed when the person last did something."""
        if not stale:
            self.seen[who] = (copy.deepcopy(self.oracle), self.store.revision)

    @rule(who=people, stale=st.booleans(), pick=picks, value=values)
    def set_field(self, who: str, stale: bool, pick: int, value: Any) -> None:
        self._look_unless(stale, who)
        saw = self.seen[who][0]
        fields = self._fields(saw)
        path = fields[pick % len(fields)]
        seen, now = saw.get(path), self.oracle.get(path)
        gone = self.oracle.entry_is_gone(path)
        change, conflict = told(lambda: self.store.set_field(path, seen, value, who))
        assert conflict == (gone or (now != seen and now != value))
        assert (change is None) == (conflict or now == value)
        if change is not None:
            made = self.oracle.put(path, value) if value is not None or now is not None else 0
            self.oracle.did(who, Done(path, now, value, made, False, change.revision))

    @rule(who=people, stale=st.booleans(), pick=picks, value=st.sampled_from(["a", "b"]), before=picks)
    def insert(self, who: str, stale: bool, pick: int, value: str, before: int) -> None:
        self._look_unless(stale, who)
        saw = self.seen[who][0]
        lists = self._lists(saw)
        path = lists[pick % len(lists)]
        choices = [None, *saw.order(path)]
        target = choices[before % len(choices)]
        gone = len(path) > 1 and self.oracle.get(path[:2]) is None
        change, conflict = told(lambda: self.store.insert(path, {"name": value}, who, before=target))
        assert conflict == gone
        if change is not None:
            order = self.oracle.order(path)
            made = self.oracle.put(change.path, {"name": value})
            order.insert(order.index(target) if target in order else len(order), change.path[-1])
            self.oracle.reorder(path, order)
            self.oracle.did(who, Done(change.path, None, {"name": value}, made, False, change.revision))

    @rule(who=people, stale=st.booleans(), pick=picks)
    def remove(self, who: str, stale: bool, pick: int) -> None:
        self._look_unless(stale, who)
        saw, revision = self.seen[who]
        entries = self._entries(saw)
        if not entries:
            return
        path = entries[pick % len(entries)]
        now = copy.deepcopy(self.oracle.get(path))
        change, conflict = told(lambda: self.store.remove(path, who, seen_revision=revision))
        assert conflict == (now is not None and self.oracle.touched_since(path, revision, who))
        assert (change is None) == (conflict or now is None)
        if change is not None:
            self.oracle.put(path, None)
            self.oracle.did(who, Done(path, now, None, 0, False, change.revision))

    @rule(who=people, stale=st.booleans(), pick=picks, before=picks)
    def move(self, who: str, stale: bool, pick: int, before: int) -> None:
        self._look_unless(stale, who)
        saw, revision = self.seen[who]
        entries = self._entries(saw)
        if not entries:
            return
        path = entries[pick % len(entries)]
        choices = [None, *(name for name in saw.order(path[:-1]) if name != path[-1])]
        target = choices[before % len(choices)]
        order = self.oracle.order(path[:-1])
        moved = self.oracle.touched_since(path, revision, who, moved=True)
        change, conflict = told(lambda: self.store.move(path, who, before=target, seen_revision=revision))
        assert conflict == (path[-1] not in order or moved or (target is not None and target not in order))
        if conflict:
            return
        wanted = [name for name in order if name != path[-1]]
        wanted.insert(wanted.index(target) if target is not None else len(wanted), path[-1])
        assert (change is None) == (wanted == order)
        if change is not None:
            self.oracle.reorder(path[:-1], wanted)
            self.oracle.did(who, Done(path, None, None, 0, True, change.revision))

    @rule(who=people, title=st.sampled_from(["p", "q"]))
    def replace(self, who: str, title: str) -> None:
        before = copy.deepcopy(self.oracle.top)
        document = {"shoot": {"title": title}, "link": [{"name": "n"}, {"name": "m"}], "site": []}
        change = self.store.replace(document, who)
        if change is not None:
            self.oracle.top = with_ids(self.store.document(), ())
            assert self.oracle.plain() == document
            after = copy.deepcopy(self.oracle.top)
            self.oracle.did(who, Done((), before, after, 0, False, change.revision))

    @rule(who=people)
    def undo(self, who: str) -> None:
        self._reverse(who, self.oracle.undo, self.oracle.redo, self.store.undo)

    @rule(who=people)
    def redo(self, who: str) -> None:
        self._reverse(who, self.oracle.redo, self.oracle.undo, self.store.redo)

    def _reverse(
        self,
        who: str,
        source: dict[str, list[Done]],
        target: dict[str, list[Done]],
        act: Callable[[str], LoggedChange | None],
    ) -> None:
        stack = source.get(who, [])
        change, conflict = told(lambda: act(who))
        if not stack:
            assert change is None
            assert not conflict
            return
        done = stack[-1]
        if done.moved:
            self._check_moved_back(done, conflict)
        else:
            now = self.oracle.get(done.path)
            gone = done.before is not None and self.oracle.entry_is_gone(done.path)
            assert conflict == (now != done.after or gone)
        if change is None:
            return
        stack.pop()
        path, before, now, made = done.path, done.before, self.oracle.get(done.path), 0
        if not done.moved:
            path, now, made = self._take_back(done, now)
        if done.path and done.path[-2] in LISTS_OF and self.oracle.get(done.path) is not None:
            self._adopt_order(done.path)
        target.setdefault(who, []).append(Done(path, now, before, made, done.moved, change.revision))
        self.oracle.touched.append((change.revision, who, path, done.moved))

    def _take_back(self, done: Done, now: Any) -> tuple[Path, Any, int]:
        """Put back what stood there; tables that were made for it alone go with it."""
        path = done.path
        if done.before is not None:
            now = copy.deepcopy(now)
            return path, now, self.oracle.put(path, done.before)
        for _ in range(done.made):
            if len(self.oracle.get(path[:-1])) > 1:
                break
            path = path[:-1]
        now = copy.deepcopy(self.oracle.get(path))
        self.oracle.put(path, None)
        return path, now, 0

    def _check_moved_back(self, done: Done, conflict: bool) -> None:
        later = [
            at for at, _, path, _ in self.oracle.touched if at > done.revision and path == done.path[: len(path)]
        ]
        if self.oracle.get(done.path) is None:
            assert conflict
        elif not later:
            assert not conflict, "nobody put it elsewhere"

    def _adopt_order(self, path: Path) -> None:
        """Between which of the others it returns is the store's to choose; the others keep their order."""
        order = list(self.store.document().ids[path[:-1]])
        others = [name for name in order if name != path[-1]]
        assert others == [name for name in self.oracle.order(path[:-1]) if name != path[-1]]
        self.oracle.reorder(path[:-1], order)

    @rule()
    def reopen(self) -> None:
        self.store.close()
        self.store = Store.open(self.where)

    @invariant()
    def holds_what_was_written(self) -> None:
        draft = self.store.document()
        assert with_ids(draft, ()) == self.oracle.top
        assert draft.document == self.oracle.plain()
        assert draft.revision == max((at for at, *_ in self.oracle.touched), default=0)


LISTS_OF = ("link", "site", "spots")


@pytest.mark.parametrize(("kind", "examples"), [("sqlite", 30), ("postgresql", 8)])
def test_two_people(kind: str, examples: int, request: pytest.FixtureRequest, tmp_path: FilePath) -> None:
    schema: Callable[[], str] | None = request.getfixturevalue("schema") if kind == "postgresql" else None

    def new() -> str:
        return schema() if schema is not None else str(FilePath(tempfile.mkdtemp(dir=tmp_path)) / "job.db")

    machine = type("Machine", (TwoPeople,), {"place": staticmethod(new)})
    run_state_machine_as_test(machine, settings=settings(max_examples=examples, stateful_step_count=40))

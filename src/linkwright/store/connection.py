"""Opening and closing a store; reading and writing as such."""

from __future__ import annotations

import datetime
import secrets
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path as FilePath
from typing import TypeVar

from sqlalchemy import Connection, Engine

from linkwright.shoot.errors import InputError
from linkwright.store import attachments, history, rows
from linkwright.store.draft import Draft
from linkwright.store.duty import Duty
from linkwright.store.edits import Edit, Turn
from linkwright.store.engines import reading_engine, writing_engine
from linkwright.store.faults import DAMAGED, telling
from linkwright.store.history import LoggedChange
from linkwright.store.location import location_of
from linkwright.store.lock import Lock
from linkwright.store.migrate import KINDS, bring_up, kind_of, look_at_file, make_file, refuse_strange
from linkwright.store.paths import Path
from linkwright.store.relay import Handed, words_of
from linkwright.store.values import clean_text
from linkwright.store.watch import Watch, tell_others
from linkwright.store.writer import Writer

#: What a line of the change log is about, what stood there and what does.
Line = tuple[Path, str | None, str | None]

T = TypeVar("T")
MOST_WHO = 200


class Opened:
    """What holds a store open: the lock, the writer, the readers, the watch."""

    def __init__(
        self,
        url_or_path: str | FilePath,
        create: bool,
        read_only: bool,
        now: Callable[[], datetime.datetime] | None,
    ) -> None:
        self._location = location_of(url_or_path)
        self.read_only = read_only
        self.said: tuple[str, ...] = ()
        self._now = now or (lambda: datetime.datetime.now(datetime.UTC))
        self._me = secrets.token_hex(4)
        self._attaching = threading.Lock()
        self._draft: Draft | None = None
        self._lock: Lock | None = None
        self._writer: Writer | None = None
        self._closed = False
        self._readers: Engine | None = None
        try:
            with telling(self._location):
                self._readers = self._open_to_read() if read_only else self._open_to_write(create)
                self._watch = Watch(self._readers, sqlite=not self.is_shared)
        except BaseException:
            self._let_go()
            raise

    def now(self) -> datetime.datetime:
        """The moment by the clock of this store."""
        return self._now()

    @property
    def name(self) -> str:
        """What messages call it: the path, or the URL without its password."""
        return self._location.name

    def close(self) -> None:
        """Finish what is being written and close; a file is then one file again."""
        if not self._closed:
            self._closed = True
            self._watch.close()
            self._let_go()

    def _let_go(self) -> None:
        if self._readers is not None:
            self._readers.dispose()
        if self._writer is not None:
            self._writer.close()
        if self._lock is not None:
            self._lock.release()

    def _open_to_read(self) -> Engine:
        if self._location.file is not None:
            look_at_file(self._location, create=False, to_write=False)
        readers = reading_engine(self._location, alone=True)
        with readers.connect() as connection:
            kind = kind_of(connection)
        refuse_strange(kind, self._location, create=False)
        if kind != KINDS[-1]:
            readers.dispose()
            raise InputError(
                f"was written by an older Linkwright (kind {kind}); open it for writing once, which brings it to "
                f"{KINDS[-1]} and keeps a copy",
                path=self._location.name,
            )
        return readers

    def _open_to_write(self, create: bool) -> Engine:
        if self._location.file is not None:
            if not self._location.file.exists() and not create:
                look_at_file(self._location, create=False, to_write=False)  # says so, and leaves no lock behind
            self._lock = Lock(self._location.file, self._location.name)
            self._lock.hold(self._location.file, self._location.name)
            if look_at_file(self._location, create=create, to_write=True):
                make_file(self._location.file)
                create = True
                self._lock.hold(self._location.file, self._location.name)
        engine = writing_engine(self._location)
        try:
            said = bring_up(engine, self._location, create=create)
        except BaseException:
            engine.dispose()
            raise
        if self._lock is not None and self._lock.took_over:
            said.append(f"{self._location.name} was not closed last time; everything that was saved is there")
        self.said = tuple(said)
        self._writer = Writer(engine, self._location)
        if self._lock is not None:  # nobody else can be in the middle of one
            self._plainly(attachments.sweep)
        return reading_engine(self._location, alone=False)

    @contextmanager
    def _snapshot(self) -> Iterator[Connection]:
        if self._closed or self._readers is None:
            raise InputError("was closed", path=self._location.name)
        with telling(self._location), self._readers.connect() as connection:
            yield connection

    def _reading(self, job: Callable[[Connection], T]) -> T:
        with self._snapshot() as connection:
            try:
                return job(connection)
            except (ValueError, TypeError, LookupError, OverflowError) as error:
                # what is stored was all written by this program: it can be read, unless the disk changed it
                raise InputError(f"{DAMAGED} ({type(error).__name__})", path=self._location.name) from error

    def _plainly(self, job: Callable[[Connection], T]) -> T:
        """Write what is no change that anybody waits for."""
        if self._writer is None:
            raise InputError("is open to read only; open it for writing to change it", path=self._location.name)
        return self._writer.do(job)

    def _writing(self, who: str, job: Callable[[Turn], T]) -> T:
        """Write as the next revision; who waits is told when it is on the disk."""
        who = clean_text(who, "the name of who writes", MOST_WHO)

        def numbered(connection: Connection) -> tuple[T, int]:
            before = history.last_revision(connection)
            result = job(Turn(connection, before + 1, who))
            revision = history.last_revision(connection)
            if self.is_shared and revision != before:
                tell_others(connection, str(revision))
            return result, revision

        result, revision = self._plainly(numbered)
        self._watch.tell(revision)
        return result

    def duty(self, name: str) -> Duty:
        """Work of which one process does each kind, by its name; to be closed by who asked."""
        return Duty(self._location, name)

    def signal(self, what: str) -> None:
        """Say a word to all processes that have this store open, this one too."""
        if self.is_shared:
            self._plainly(lambda connection: tell_others(connection, what))
        else:
            self._watch.signal(what)

    @property
    def is_shared(self) -> bool:
        """Whether other processes may write too."""
        return self._location.url is not None

    def hand_over(self, kind: str, data: bytes) -> None:
        """Give all other processes that have this store open something that nobody keeps; a file has none, and
        while the database is away they miss it."""
        if self.is_shared:
            with suppress(InputError):
                self._plainly(lambda connection: tell_others(connection, *words_of(self._me, kind, data)))

    def on_handed(self, callback: Callable[[str, bytes], None]) -> Callable[[], None]:
        """Call `callback(kind, data)`, which must be quick, for what other processes hand over. Returns its end."""
        handed = Handed(self._me)

        def heard(word: str) -> None:
            whole = handed.hear(word)
            if whole is not None:
                callback(*whole)

        return self._watch.on_signal(heard)

    def on_signal(self, callback: Callable[[str], None]) -> Callable[[], None]:
        """Call `callback(word)` for what processes signal; "" where something may have been missed. Returns its
        end."""
        return self._watch.on_signal(callback)

    def _note(self, turn: Turn, area: str, what: str, path: Path, before: str | None, after: str | None) -> None:
        """A line of the change log for what is not the document."""
        self._note_all(turn, area, what, [(path, before, after)])

    def _note_all(self, turn: Turn, area: str, what: str, lines: Iterable[Line]) -> None:
        """The same for several, each of the next revision."""
        now = self._now()
        changes = (
            LoggedChange(turn.revision + n, now, turn.who, area, what, path, "do", None, 0, before, after)
            for n, (path, before, after) in enumerate(lines)
        )
        history.log(turn.connection, *changes)

    def _logged(self, turn: Turn, edit: Edit, way: str, of: int | None) -> LoggedChange:
        """A line of the change log for an edit of the document."""
        change = LoggedChange(
            turn.revision,
            history.moment(history.milliseconds(self._now())),
            turn.who,
            history.DOCUMENT,
            edit.what,
            edit.path,
            way,
            of,
            edit.made,
            edit.before,
            edit.after,
        )
        history.log(turn.connection, change)
        return change

    def _newest(self) -> Draft:
        """What was typed so far, as it stands now: shared, to be read only."""
        newest = self._draft
        if newest is None or newest.revision != self._watch.revision:
            newest = self._draft = self._reading(lambda connection: _draft(connection, newest))
            self._watch.tell(newest.revision)
        return newest


def _draft(connection: Connection, known: Draft | None) -> Draft:
    """The draft as it is now; where nothing of the document changed since the one that is known, that one."""
    revision = history.last_revision(connection)
    if known is not None and not history.edited_since(connection, known.revision):
        return Draft(known.document, known.ids, revision)
    tree = rows.tree_of(rows.read(connection))
    return Draft(tree.value, tree.ids, revision)

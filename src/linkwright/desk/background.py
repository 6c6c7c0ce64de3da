"""Work in the background: the one way in which anything long or lasting runs beside the answers.

Each kind of work has a `Background` of its own: one thread at a time, a question that is being worked on and at
most one that waits, progress, and an end. A fault that nobody expected is logged, told on the pages in a sentence,
and never leaves "busy" on; work that lasts all day begins anew by itself, and says so.
"""

from __future__ import annotations

import datetime
import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Final

from linkwright.desk.telling import Listeners
from linkwright.progress import Stopped
from linkwright.shoot.errors import InputError

LOG: Final = logging.getLogger(__name__)
#: How often progress is told to the pages [s].
TELL_S: Final = 0.2
#: Lasting work that failed begins anew after so long, twice as long each time, and at most so long [s].
AGAIN_S, AGAIN_MOST_S = 0.2, 10.0
#: Whoever closes waits so long for what is under way [s].
CLOSE_S: Final = 4.0


@dataclass(frozen=True, slots=True)
class WorkState:
    """How one kind of work stands.

    fault : what stopped it unexpectedly, a sentence. says : why it could not be done (bad input), a sentence.
    began_anew : when lasting work began anew by itself after a fault; None where it never did.
    """

    busy: bool = False
    what: str = ""
    share: float = 0.0
    fault: str = ""
    says: str = ""
    began_anew: datetime.datetime | None = None


class WorkRun:
    """One question being worked on, as the work sees it: it says how far it is, and hears that it is to stop."""

    def __init__(self, background: Background) -> None:
        self._background = background
        self.stopping = threading.Event()
        self._told_s = 0.0

    def tell(self, what: str, share: float) -> None:
        """Say how far it is. Raises Stopped where it is no longer wanted."""
        self.check()
        if time.monotonic() - self._told_s >= TELL_S:
            self._told_s = time.monotonic()
            self._background.change(what=what, share=share)

    def check(self) -> None:
        """Raises Stopped where it is no longer wanted."""
        if self.stopping.is_set():
            raise Stopped

    def wait(self, seconds: float) -> None:
        """Wait. Raises Stopped where it is no longer wanted, at once."""
        if self.stopping.wait(seconds):
            raise Stopped


Work = Callable[[WorkRun], None]


@dataclass(eq=False)
class Background:
    """One kind of work. Safe to use from several threads.

    name : what it is called in the log and in events. about : what it does, to go on in "... stopped". lasts : it
    runs until it is stopped, and begins anew by itself after a fault.
    """

    name: str
    about: str
    listeners: Listeners
    lasts: bool = False
    state: WorkState = field(default_factory=WorkState)
    _news: threading.Condition = field(default_factory=threading.Condition)
    _thread: threading.Thread | None = None
    _run: WorkRun | None = None
    _waiting: Work | None = None
    _last: Work | None = None
    _closed: bool = False

    def begin(self, work: Work, *, instead: bool = False, patient: bool = False) -> bool:
        """Work on a question. Whether it is taken: not while another is worked on, unless `instead` of that one.

        A question `instead` of others is worked on when the present one has stopped, or, `patient`, when it is
        done; only the latest waits.
        """
        with self._news:
            if self._closed or (self._is_on() and not instead):
                return False
            self._last = self._waiting = work
            self._set(replace(self.state, busy=True, what=self.state.what or self.about, fault="", says=""))
            if self._run is not None and not patient:
                self._run.stopping.set()
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name=self.name, daemon=True)
                self._thread.start()
            return True

    def again(self) -> bool:
        """Try once more what was asked last. Whether there is anything to try."""
        with self._news:
            work = self._last
        return work is not None and self.begin(work)

    def stop(self) -> None:
        """Stop what is under way; nothing waits any more."""
        with self._news:
            self._waiting = None
            if self._run is not None:
                self._run.stopping.set()

    def wait(self, timeout_s: float) -> bool:
        """Wait until nothing is under way. Whether nothing is."""
        with self._news:
            return self._news.wait_for(lambda: not self._is_on(), timeout_s)

    def close(self) -> None:
        """Stop for good."""
        with self._news:
            self._closed = True
            thread = self._thread
        self.stop()
        if thread is not None:
            thread.join(timeout=CLOSE_S)

    def change(self, **changes: Any) -> None:
        """Say how the present work stands."""
        with self._news:
            self._set(replace(self.state, **changes))

    def _is_on(self) -> bool:
        return self._thread is not None

    def _set(self, state: WorkState) -> None:
        if state != self.state:
            self.state = state
            self.listeners.tell("work", self.told())

    def told(self) -> dict[str, Any]:
        """How it stands, as the pages are told."""
        state = self.state
        anew = None if state.began_anew is None else state.began_anew.isoformat(timespec="seconds")
        return {
            "name": self.name, "busy": state.busy, "what": state.what, "share": round(state.share, 3),
            "fault": state.fault, "says": state.says, "began_anew": anew,
        }  # fmt: skip

    def _work(self) -> None:
        """The thread: one question after the other, until none waits."""
        failed = 0
        while True:
            with self._news:
                work, self._waiting = self._waiting, None
                if work is None or self._closed:
                    self._thread = self._run = None
                    self._set(replace(self.state, busy=False, what="", share=0.0))
                    self._news.notify_all()
                    return
                run = self._run = WorkRun(self)
            fault = self._done(work, run)
            if fault and self.lasts:
                failed += 1
                if not run.stopping.wait(min(AGAIN_MOST_S, AGAIN_S * 2 ** (failed - 1))):
                    self._anew(work)

    def _done(self, work: Work, run: WorkRun) -> bool:
        """Work on one question. Whether a fault ended it."""
        try:
            work(run)
        except Stopped:
            return False
        except InputError as error:
            self.change(says=str(error))
            return False
        except Exception as error:
            LOG.exception("%s failed", self.name)
            kind = type(error).__name__
            self.change(
                fault=f"{self.about[:1].upper()}{self.about[1:]} stopped by a fault of this program ({kind})."
            )
            return True
        return False

    def _anew(self, work: Work) -> None:
        """Lasting work begins anew; the fault stays told, with since when it runs again."""
        with self._news:
            if self._waiting is None and not self._closed:
                self._waiting = work
                self._set(replace(self.state, began_anew=datetime.datetime.now(datetime.UTC)))

"""The laptop stays awake while the pages are served, where its system lets it; where it slept, that is told."""

from __future__ import annotations

import contextlib
import datetime
import select
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from typing import Final

#: Said to the system once sleep is held off, then waits until this program is gone.
HELD: Final = ("sh", "-c", "echo held; exec cat >/dev/null")
#: How long the system may take to say whether it lets it [s].
ASKED_S: Final = 1.0
#: What the clocks may drift apart without anybody having slept [s].
LEAST_S: Final = 3.0


@contextlib.contextmanager
def awake() -> Iterator[bool]:
    """Hold off sleep; whether the system lets it. It ends with this process, however that ends."""
    program = shutil.which("systemd-inhibit")
    if program is None:
        yield False
        return
    what = ("--what=sleep:idle", "--who=Linkwright", "--why=the pages of a shoot are served", "--mode=block")
    with subprocess.Popen(
        (program, *what, *HELD), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as holding:
        assert holding.stdout is not None
        ready, _, _ = select.select([holding.stdout], [], [], ASKED_S)
        try:
            yield bool(ready) and holding.stdout.readline() == b"held\n"
        finally:
            holding.terminate()


def slept_s() -> float:
    """For how long this machine has slept since it was started [s], as far as its clocks tell."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return (time.time() if boot is None else time.clock_gettime(boot)) - time.monotonic()


class Gaps:
    """Looks whether the machine slept."""

    def __init__(
        self,
        slept: Callable[[], float] = slept_s,
        now: Callable[[], datetime.datetime] = lambda: datetime.datetime.now(datetime.UTC),
    ) -> None:
        self._slept, self._now = slept, now
        self._known_s = slept()

    def look(self) -> tuple[datetime.datetime, datetime.datetime] | None:
        """From when to when it slept since the last look; None where it did not."""
        slept = self._slept()
        gone, self._known_s = slept - self._known_s, slept
        if gone < LEAST_S:
            return None
        until = self._now()
        return until - datetime.timedelta(seconds=gone), until

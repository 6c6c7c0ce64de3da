"""Reading what strangers wrote in a process of its own, with an end to its time and its memory.

One process does it for all, one question after the other; it is started when it is first needed, ended with this
one, and another takes its place where it was stopped.
"""

from __future__ import annotations

import atexit
import resource
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Final, TypeVar

from linkwright.shoot.errors import InputError

T = TypeVar("T")

#: What one file may take: time [s], and memory beside the program's own [bytes].
MOST_S: Final = 30.0
MOST_BYTES: Final = 2 * 1024**3
#: The process ends after so long without a question [s].
IDLE_S: Final = 300.0
_CODE: Final = "import sys; from linkwright.work.apart import answer; answer(int(sys.argv[1]))"


@dataclass
class Apart:
    """The process. Safe to use from several threads."""

    most_s: float = MOST_S
    most_bytes: int = MOST_BYTES
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _process: subprocess.Popen[bytes] | None = None
    _line: Connection | None = None

    def read(self, function: Callable[..., T], *given: Any, name: str) -> T:
        """What a function of a module gives there. Raises InputError as it does; and where it takes too long, too
        much memory, or ends the process: `name` is the file as messages call it."""
        with self._lock:
            line = self._begun()
            try:
                line.send((function, given))
                if not line.poll(self.most_s):
                    raise InputError(f"was not read within {self.most_s:.0f} s; it is left out", path=name)
                well, result = line.recv()
            except (OSError, EOFError):
                self.end()
                raise InputError("could not be read: it ended the process that read it", path=name) from None
            except InputError:
                self.end()
                raise
        if well:
            return result  # type: ignore[no-any-return]
        if isinstance(result, InputError):
            raise result
        raise InputError(f"could not be read ({result})", path=name)

    def _begun(self) -> Connection:
        if self._process is None or self._process.poll() is not None or self._line is None:
            self.end()
            self._line, there = Pipe()
            command = [sys.executable, "-c", _CODE, str(there.fileno())]
            self._process = subprocess.Popen(command, pass_fds=[there.fileno()], stdin=subprocess.DEVNULL)
            there.close()
            self._line.send(self.most_bytes)
        return self._line

    def end(self) -> None:
        """Stop the process, whatever it does; the next question begins another."""
        if self._line is not None:
            self._line.close()
        if self._process is not None:
            self._process.kill()
            self._process.wait()
        self._process = self._line = None


def answer(descriptor: int) -> None:
    """The process: answer questions until nobody asks any more."""
    line = Connection(descriptor)
    try:
        most_bytes = line.recv()
        for limit, most in ((resource.RLIMIT_AS, _held() + most_bytes), (resource.RLIMIT_CORE, 0)):
            hard = resource.getrlimit(limit)[1]
            resource.setrlimit(limit, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))
        while line.poll(IDLE_S):
            function, given = line.recv()
            try:
                line.send((True, function(*given)))
            except InputError as error:
                line.send((False, error))
            except MemoryError:
                line.send((False, "it takes too much memory"))
            except Exception as error:
                line.send((False, f"a fault of this program, {type(error).__name__}"))
    except (OSError, EOFError, KeyboardInterrupt):
        return


def _held() -> int:
    """The addresses that this process has taken already [bytes]."""
    try:
        return int(Path("/proc/self/statm").read_text("ascii").split()[0]) * resource.getpagesize()
    except OSError:  # not on Linux: more than it can be
        return 4 * 1024**3


#: The one that everybody asks.
APART: Final = Apart()
atexit.register(APART.end)

"""Who carries long work: processes of this machine, or the workers of a Dask scheduler."""

from __future__ import annotations

import gc
import itertools
import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

from linkwright.shoot.errors import InputError

if TYPE_CHECKING:
    from linkwright.plan.solve import Done, Runner, Task

#: From so many links on, in several calls, starting processes (about a second each) pays.
MANY_LINKS: Final = 400
#: What every process loads before its first task, so that it is ready when the first comes.
PRELOAD: Final = [
    "linkwright.plan.prove",
    "linkwright.assign.calls",
    "linkwright.physics.intermodulation.compiled_inband",
]
#: How long a Dask scheduler may take to answer [s].
DASK_PATIENCE_S: Final = 5.0
#: Whoever waits for a result looks this often whether to stop [s].
LOOK_S: Final = 0.2


def worth_processes(links: int, calls: int, elsewhere: bool = False) -> bool:
    """Whether a shoot with so many links, all calls together, is worth starting processes for; or those that are
    there `elsewhere`."""
    return links >= MANY_LINKS and calls > 1 and (elsewhere or (os.cpu_count() or 1) > 1)


@contextmanager
def on_processes(count: int | None = None, look: Callable[[], None] = lambda: None) -> Iterator[Runner]:
    """Work on `count` processes of this machine, as many as it has cores by default.

    `look` is called while results are waited for, and may raise to stop. What raises, also Ctrl-C, ends them all.
    """
    from concurrent.futures import ProcessPoolExecutor

    killed = "a process that planned was killed; expected more memory, or fewer of them with --workers"
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOAD)
    with ProcessPoolExecutor(count or os.cpu_count() or 1, mp_context=context) as pool:

        def work(job: Callable[[Task], Done], tasks: Iterable[Task]) -> Iterable[Done]:
            if not isinstance(tasks, Sequence):  # the next is worked out while the last is done elsewhere
                return _in_order([pool.submit(job, task) for task in tasks], killed, look)
            if len(tasks) < 2:
                return map(job, tasks)
            size = max(1, len(tasks) // 32)
            parts = [tasks[begin : begin + size] for begin in range(0, len(tasks), size)]
            done = _in_order([pool.submit(_each, job, part) for part in parts], killed, look)
            return itertools.chain.from_iterable(done)

        try:
            yield work
        except BaseException:
            processes = list(pool._processes.values())  # Python 3.14 has `kill_workers` for this
            pool.shutdown(wait=False, cancel_futures=True)
            for process in processes:
                process.kill()
                process.join()
            raise


def _each(job: Callable[[Task], Done], tasks: Sequence[Task]) -> list[Done]:
    return [job(task) for task in tasks]


@contextmanager
def on_dask(address: str, look: Callable[[], None] = lambda: None) -> Iterator[Runner]:
    """Work on the workers of the Dask scheduler at `address`, such as tcp://127.0.0.1:8786; `look` as above.

    A scheduler runs whatever code is sent to it, and so do its workers: use one on loopback, or one behind TLS,
    tls://. Raises InputError for any other address, where Dask is not installed, and where no scheduler answers.
    """
    refuse_open(address)
    try:
        from distributed import Client
    except ImportError:
        raise InputError("Dask is not installed; expected the extra, as in pip install linkwright[dask]") from None
    try:
        client = Client(address, timeout=DASK_PATIENCE_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(f"no Dask scheduler answers at {address} ({error}); expected a running one") from None
    lost = (
        f"the Dask scheduler at {address} or its workers were lost; expected them to stay, or plan without --dask"
    )
    with client:

        def work(job: Callable[[Task], Done], tasks: Iterable[Task]) -> Iterable[Done]:
            if not isinstance(tasks, Sequence):
                return _in_order([client.submit(job, task, pure=False) for task in tasks], lost, look)
            return _in_order(client.map(job, tasks, pure=False), lost, look)

        yield work


def _in_order(futures: list[Any], lost: str, look: Callable[[], None]) -> Iterator[Any]:
    """What comes of each, in their order, and nothing of it is kept here."""
    futures.reverse()
    return _unless_lost((_result(futures.pop(), look) for _ in range(len(futures))), lost)


def _result(future: Any, look: Callable[[], None]) -> Any:
    """What came of it, once it is done: it lasts, and the collector need not go through it at every next one."""
    while True:
        try:
            result = future.result(timeout=LOOK_S)
        except TimeoutError:
            if not future.done():
                look()
                continue
            result = future.result()  # it came as the wait ended, or the error is the job's own
        gc.freeze()
        return result


def _unless_lost(results: Iterator[Any], lost: str) -> Iterator[Any]:
    """The results; a sentence in place of an error that only says that whoever made them is gone."""
    from concurrent.futures import BrokenExecutor, CancelledError

    try:
        yield from results
    except (BrokenExecutor, CancelledError) as error:
        raise InputError(lost) from error
    except Exception as error:
        if type(error).__name__ != "KilledWorker":  # Dask's; it may not be installed
            raise
        raise InputError(lost) from error


def refuse_open(address: str) -> None:
    """Raises InputError for a scheduler that anybody on the network could reach."""
    scheme, _, rest = address.partition("://")
    host = rest.rsplit(":", 1)[0].strip("[]")
    if not (scheme == "tls" or (scheme == "tcp" and host in ("127.0.0.1", "localhost", "::1"))):
        raise InputError(
            f'"{address}" is neither on loopback nor behind TLS; expected tcp://127.0.0.1:PORT or tls://HOST:PORT'
        )

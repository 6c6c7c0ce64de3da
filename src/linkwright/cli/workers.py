"""Who carries a command's long work, from its options."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from linkwright.plan.solve import Runner
from linkwright.shoot.models import Shoot
from linkwright.work.carriers import on_dask, on_processes, worth_processes


@contextmanager
def work_for(shoot: Shoot, workers: int | None, dask: str | None) -> Iterator[Runner | None]:
    """What `--workers` and `--dask` ask for; without them processes where the shoot is worth starting them for.

    None stands for this process. Raises InputError for a scheduler that cannot be used.
    """
    if dask is not None:
        with on_dask(dask) as work:
            yield work
        return
    in_calls = sum(len(call.links) or len(shoot.link) for call in shoot.call)
    if workers == 1 or (workers is None and not worth_processes(in_calls, len(shoot.call))):
        yield None
        return
    with on_processes(workers) as work:
        yield work

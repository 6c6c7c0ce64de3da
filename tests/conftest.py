"""What every test shares: where it writes, hypothesis without a clock and without chance, and the order."""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Final

import pytest
from hypothesis import HealthCheck, settings

from linkwright.work.compiling import VARIABLE, is_prepared, use_cache

# Helpers of a test folder are imported by their path from the root, as `tests.assign.plain`.
sys.path.insert(0, str(Path(__file__).parent.parent))

# Tests write into memory where there is room for it: most of them would wait for a disk that keeps each change.
MEMORY: Final = Path("/dev/shm")
if "TMPDIR" not in os.environ and os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > 4 << 30:
    os.environ["TMPDIR"] = tempfile.tempdir = str(MEMORY)
# Each process reckons on one thread: small matrices on several spend most of the processor waiting for one another,
# and so do the threads that read a picture's letters.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_THREAD_LIMIT", "1")
# Machine code is taken from where `make test` and the commands keep it, once all of it is there.
if VARIABLE not in os.environ:
    use_cache()
    if not is_prepared():
        del os.environ[VARIABLE]
# Where bytecode is not kept beside the source it is kept here: tests begin hundreds of processes.
if sys.dont_write_bytecode:
    sys.dont_write_bytecode = False
    sys.pycache_prefix = str(Path(__file__).parent.parent / ".pytest_cache" / "bytecode")
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# What a person keeps for all shoots, places and corrected rules, is none of a test's business.
os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp(prefix="linkwright-tests-")
atexit.register(shutil.rmtree, os.environ["XDG_DATA_HOME"], ignore_errors=True)

settings.register_profile(
    "ci",
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("ci")

#: These take longest. They come first, so that at the end nobody waits for one of them while the others are done.
LONG: Final = (
    "test_everybody_can_use", "refresh_readme.py", "test_every_gentle_answer", "test_killed_fifty_times",
    "test_a_power_cut_costs_nothing", "test_every_route_with_a_session", "test_nothing_acknowledged_is_lost",
    "test_every_loop_that_is_called", "test_a_quarter_of_a_minute",
    "test_a_day_of_troubles_by_taps", "test_two_people[", "test_a_listener_stays_as_large",
)  # fmt: skip


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The long tests, then all others, each in their order."""
    items.sort(key=lambda item: not any(name in item.nodeid for name in LONG))


def pytest_collection_finish() -> None:
    """What was imported to collect the tests lasts: the collector need not go through it again and again, nor so
    often through what a test makes."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000)

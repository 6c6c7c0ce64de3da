"""What every test shares: hypothesis without a clock and without chance, and the order of the tests."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from typing import Final

import pytest
from hypothesis import HealthCheck, settings

# Helpers of a test folder are imported by their path from the root, as `tests.assign.plain`.
sys.path.insert(0, str(Path(__file__).parent.parent))

# What a person keeps for all shoots, places and corrected rules, is none of a test's business.
os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp(prefix="linkwright-tests-")

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
)  # fmt: skip


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The long tests, then all others, each in their order."""
    items.sort(key=lambda item: not any(name in item.nodeid for name in LONG))

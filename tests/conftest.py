"""What every test shares: hypothesis without a clock and without chance, so that two runs are one."""

from __future__ import annotations

import sys
from pathlib import Path

from hypothesis import HealthCheck, settings

# Helpers of a test folder are imported by their path from the root, as `tests.assign.plain`.
sys.path.insert(0, str(Path(__file__).parent.parent))

settings.register_profile(
    "ci",
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("ci")

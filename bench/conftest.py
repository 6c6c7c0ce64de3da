"""Benchmarks: speed as ratios to a stated baseline of the same run; `make bench` runs them, not `make test`."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

"""Machine code that is kept must not outlive the constants that it was compiled with."""

from __future__ import annotations

import hashlib

from linkwright.watch.diagnose import loop, states
from linkwright.watch.log import record


def test_the_loop_is_compiled_anew_when_its_constants_change() -> None:
    constants = [(name, getattr(states, name)) for name in sorted(dir(states)) if name.isupper()]
    names = ("RF_A", "RF_B", "AUDIO", "QUALITY", "BATTERY", "MUTED", "GAP_PERIODS", "GAP_S")
    constants += [(name, getattr(record, name)) for name in names]
    digest = hashlib.sha256(repr(constants).encode()).hexdigest()[:12]
    assert digest == loop.COMPILED_WITH, f'write COMPILED_WITH = "{digest}" in loop.py'

"""The loop over readings as plain Python, while its machine code is not there: a live day needs no more."""

from __future__ import annotations

import functools
import importlib.util
from typing import Any

from linkwright.physics.compiled import plainly
from linkwright.watch.diagnose import loop


@functools.cache
def plain_loop() -> Any:
    """`step_readings`, the very same text, never compiled."""
    spec = importlib.util.spec_from_file_location(f"{loop.__name__}_plain", loop.__file__)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    with plainly():
        spec.loader.exec_module(module)
    return module.step_readings

"""What strangers wrote is read apart: an end to its time and memory, and a process that dies takes nobody along."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest

from linkwright.air.readers import read_bytes
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.work.apart import Apart

SWEEP = "\n".join(f"{470 + 0.025 * n:.3f},{-100 + n % 3}" for n in range(200)).encode()


def test_it_is_the_same_as_here() -> None:
    apart = Apart()
    (there,), (here,) = (
        apart.read(read_bytes, SWEEP, "air.csv", name="air.csv").sweeps,
        read_bytes(SWEEP, "air.csv").sweeps,
    )
    assert np.array_equal(there.levels_db, here.levels_db)
    assert there.understood == here.understood
    for bad in (b"", b"\0" * 100, b"x"):
        with pytest.raises(InputError) as here_said:
            read_bytes(bad, "air.csv")
        with pytest.raises(InputError) as said:
            apart.read(read_bytes, bad, "air.csv", name="air.csv")
        assert str(said.value) == str(here_said.value)
    apart.end()


def test_what_takes_too_long_or_too_much_or_dies_is_one_sentence_and_the_next_is_read() -> None:
    apart = Apart(most_bytes=256 * 1024**2)
    apart.read(did_you_mean, "a", ["b"], name="begin")
    apart.most_s = 0.5
    with pytest.raises(InputError, match=r"air.csv: was not read within"):
        apart.read(time.sleep, 60, name="air.csv")
    apart.most_s = 30.0
    with pytest.raises(InputError, match="too much memory"):
        apart.read(bytearray, 10**9, name="air.csv")
    with pytest.raises(InputError, match="ended the process"):
        apart.read(os._exit, 1, name="air.csv")
    with pytest.raises(InputError, match="a fault of this program, ZeroDivisionError"):
        apart.read(divmod, 1, 0, name="air.csv")
    assert apart.read(divmod, 7, 2, name="air.csv") == (3, 1)
    pid = apart._process.pid if apart._process is not None else 0
    apart.end()
    assert not Path(f"/proc/{pid}").exists()

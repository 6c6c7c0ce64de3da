"""A receiver by SoapySDR: a stand-in with its documented interface, and the true package where it is installed."""

from __future__ import annotations

import importlib
import math
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from linkwright.air.passes import Passes
from linkwright.air.tuning import soapy
from linkwright.air.tuning.sweeping import Sweeping, SweepWanted
from linkwright.air.tuning.tuner import TunerGone
from linkwright.shoot.errors import InputError

STAND_IN = Path(__file__).parent / "soapy"
WANTED = SweepWanted(599_800.0, 602_200.0, look_s=0.01)


@pytest.fixture
def module(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    monkeypatch.delitem(sys.modules, "SoapySDR", raising=False)
    monkeypatch.syspath_prepend(STAND_IN)
    found = importlib.import_module("SoapySDR")
    assert Path(str(found.__file__)).parent == STAND_IN
    yield found
    assert found.Device.open_now == 0, "every receiver is let go of"
    monkeypatch.delitem(sys.modules, "SoapySDR")


def test_what_a_receiver_hears_comes_out_as_a_sweep(module: Any) -> None:
    tuner = soapy.receiver("driver=band", gain_db=20.0)
    assert (tuner.rate_hz, tuner.gain_db) == (1.0e6, 20.0)
    sweeping = Sweeping(tuner, WANTED)
    passes = Passes("band", sweeping.options)
    (first, second) = [sweep for line in islice(sweeping.lines(), 2) for sweep in passes.feed(line)]
    tuner.close()
    for sweep in (first, second):
        level = sweep.levels_db[0]
        assert np.isfinite(level).all()
        busy = np.zeros(level.size, np.bool_)
        for hz, level_db in module.TONES:
            near = np.abs(sweep.frequencies_khz - hz / 1e3) < 3.0 * sweep.step_khz
            peak = sweep.frequencies_khz[near][np.argmax(level[near])]
            assert abs(peak - hz / 1e3) < sweep.step_khz
            power = float(np.sum(10.0 ** (level[near] / 10.0))) * sweep.step_khz / sweep.resolution_khz
            assert 10.0 * math.log10(power) == pytest.approx(level_db, abs=0.5)
            busy |= np.abs(sweep.frequencies_khz - hz / 1e3) < 80.0
        # What waited from where it was tuned before, and its own line, show nowhere.
        assert np.max(level[~busy]) < -75.0


def test_an_overflow_drops_that_look_and_goes_on(module: Any) -> None:
    tuner = soapy.receiver("driver=band,lose=17")
    sweeping = Sweeping(tuner, WANTED)
    passes = Passes("band", sweeping.options)
    found = [sweep for line in islice(sweeping.lines(), 3) for sweep in passes.feed(line)]
    tuner.close()
    assert tuner.lost > 0
    assert len(found) == 3
    busy = np.any([np.abs(found[0].frequencies_khz - hz / 1e3) < 80.0 for hz, _ in module.TONES], axis=0)
    for sweep in found:
        assert np.nanmax(sweep.levels_db[0, ~busy]) < -75.0


@pytest.mark.parametrize("off_ppm", [-40.0, 60.0])
def test_an_oscillator_that_is_off_is_put_right(module: Any, off_ppm: float) -> None:
    tuner = soapy.receiver(f"driver=band,off={off_ppm}", off_ppm=off_ppm)
    sweeping = Sweeping(tuner, WANTED)
    (sweep,) = Passes("band", sweeping.options).feed(next(sweeping.lines()))
    tuner.close()
    for hz, _ in module.TONES:
        near = np.flatnonzero(np.abs(sweep.frequencies_khz - hz / 1e3) < 60.0)
        peak = sweep.frequencies_khz[near[np.argmax(sweep.levels_db[0, near])]]
        assert abs(peak - hz / 1e3) < sweep.step_khz


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ("driver=band,gone=4", "failed (STREAM_ERROR); is it still plugged in?"),
        ("driver=band,silent=1", "gave no samples in 30 reads; is it still plugged in?"),
    ],
)
@pytest.mark.usefixtures("module")
def test_a_receiver_that_goes(arguments: str, says: str) -> None:
    tuner = soapy.receiver(arguments)
    sweeping = Sweeping(tuner, WANTED)
    with pytest.raises(TunerGone) as gone:
        list(sweeping.lines())
    tuner.close()
    assert str(gone.value) == f"{arguments} {says}"
    assert bool(sweeping.rest()) == ("gone" in arguments)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("driver=other",), 'no receiver opens by "driver=other" (SoapySDR::Device::make() no match); there are: '
                            "driver=band,serial=7"),
        (("driver=band,deaf=1",), "no channel that receives"),
        (("driver=band", 3e6), "gives no 3 million samples a second; expected 0.5, 0.9 to 1"),
        (("driver=band", None, 90.0), "--gain-db is 90; expected 0 to 40"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("module")
def test_what_does_not_open_is_one_sentence(given: tuple[Any, ...], says: str) -> None:
    with pytest.raises(InputError) as refused:
        soapy.receiver(*given)
    assert says in str(refused.value)


def test_without_the_interface_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(soapy, "OF_THE_SYSTEM", str(tmp_path))
    monkeypatch.setitem(sys.modules, "SoapySDR", None)
    with pytest.raises(InputError, match=r"needs SoapySDR for Python 3\.\d+.*python3-soapysdr"):
        soapy.receiver("driver=band")
    assert str(tmp_path) not in sys.path


# The true package


def _true() -> bool:
    """Whether this Python can load the true package, asked in a process of its own."""
    asks = "from linkwright.air.tuning.soapy import interface; interface()"
    return not subprocess.run([sys.executable, "-c", asks], capture_output=True, check=False).returncode


TRUE = pytest.mark.skipif(not _true(), reason="python3-soapysdr is not installed, or not for this Python")


def _run(*given: str, **environment: str) -> subprocess.CompletedProcess[str]:
    command = [
        sys.executable,
        "-m",
        "linkwright.cli",
        "sweep",
        "--live",
        "--from-mhz",
        "599.8",
        "--to-mhz",
        "602.2",
    ]
    there = os.environ | environment
    return subprocess.run([*command, *given], capture_output=True, text=True, check=False, env=there, timeout=60)


@TRUE
@pytest.mark.parametrize(
    ("arguments", "says"),
    [("driver=null", "no channel that receives"), ("driver=nothing-of-that-name", "no receiver opens by")],
)
def test_the_true_package_and_its_driver_without_a_receiver(arguments: str, says: str) -> None:
    run = _run("--receiver", arguments)
    assert run.returncode == 2
    assert says in run.stderr
    assert "Traceback" not in run.stderr


@TRUE
@pytest.mark.skipif(shutil.which("g++") is None, reason="a driver of our own takes a compiler (g++)")
def test_the_true_package_with_a_driver_of_our_own(tmp_path: Path) -> None:
    """A driver in C++ that gives a tone and then is gone: samples come through the true binding into rows."""
    driver = ["-shared", "-fPIC", str(STAND_IN / "band.cpp"), "-o", str(tmp_path / "band.so"), "-lSoapySDR"]
    made = subprocess.run(["g++", *driver], capture_output=True, text=True, check=False)
    if made.returncode:
        pytest.skip("the headers of SoapySDR are not installed (libsoapysdr-dev)")
    run = _run(
        "--receiver", "driver=band", "--json", "--level-offset-db", "-30", SOAPY_SDR_PLUGIN_PATH=str(tmp_path)
    )
    assert run.returncode == 2, run.stderr
    assert "STREAM_ERROR" in run.stderr
    assert '"looks_lost": 0' in run.stdout
    assert '"unit": "dBm"' in run.stdout
    assert '"centre_khz": 601234' in run.stdout
    assert '"level_db": -70' in run.stdout

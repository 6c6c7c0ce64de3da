"""A stand-in for the Python side of SoapySDR: what of its documented interface a receiver needs.

That is in Device.hpp and Errors.h of version 0.8, with the names of its Python module. Its receivers hear the band
of `recorded_band`. The arguments say what goes wrong: lose=N (every N-th read overflows), gone=N (the N-th look
finds it unplugged), silent=1 (nothing ever comes), deaf=1 (no channel that receives), off=N (it
tunes N millionths too high). As of a real one, samples of
before still wait after it was tuned, and more of them are under way.
"""

# ruff: noqa: N802
from __future__ import annotations

from typing import Any

import numpy as np
from tests.air.recorded_band import Band

SOAPY_SDR_RX = 1
SOAPY_SDR_CF32 = "CF32"
SOAPY_SDR_ERROR = 3
SOAPY_SDR_TIMEOUT, SOAPY_SDR_STREAM_ERROR, SOAPY_SDR_CORRUPTION, SOAPY_SDR_OVERFLOW = -1, -2, -3, -4
TONES = [(600.3e6, -20.0), (601.2341e6, -41.5), (602.0777e6, -30.0)]
#: Samples that wait, and that are under way, when it is tuned: of where it was tuned before.
WAITING, UNDER_WAY, MTU = 30_000, 5_000, 4_096


def setLogLevel(level: int) -> None:
    assert level == SOAPY_SDR_ERROR


def errToStr(code: int) -> str:
    return {SOAPY_SDR_STREAM_ERROR: "STREAM_ERROR"}[code]


class Range:
    def __init__(self, low: float, high: float) -> None:
        self._low, self._high = low, high

    def minimum(self) -> float:
        return self._low

    def maximum(self) -> float:
        return self._high


class StreamResult:
    def __init__(self, ret: int) -> None:
        self.ret, self.flags, self.timeNs = ret, 0, 0


class Device:
    """A receiver of "driver=band"."""

    open_now = 0

    @staticmethod
    def enumerate() -> list[dict[str, str]]:
        return [{"driver": "band", "serial": "7", "label": "a band"}]

    def __init__(self, arguments: str) -> None:
        self.about = dict(part.split("=") for part in arguments.split(","))
        if self.about.get("driver") != "band":
            raise RuntimeError("SoapySDR::Device::make() no match")
        self.rate_hz = self.gain_db = self.tuned_hz = 0.0
        self.waiting = self.under_way = self.reads = self.looks = 0
        self.before_hz, self.active, self.own_gain = 0.0, False, True
        Device.open_now += 1

    def getNumChannels(self, direction: int) -> int:
        assert direction == SOAPY_SDR_RX
        return 0 if "deaf" in self.about else 1

    def getSampleRateRange(self, _direction: int, _channel: int) -> list[Range]:
        return [Range(0.5e6, 0.5e6), Range(0.9e6, 1.0e6)]

    def setSampleRate(self, _direction: int, _channel: int, rate_hz: float) -> None:
        self.rate_hz = rate_hz
        self.band = Band(TONES, rate_hz=rate_hz, spike_db=-12.0)

    def getSampleRate(self, _direction: int, _channel: int) -> float:
        return self.rate_hz

    def hasGainMode(self, _direction: int, _channel: int) -> bool:
        return True

    def setGainMode(self, _direction: int, _channel: int, automatic: bool) -> None:
        self.own_gain = automatic

    def getGainRange(self, _direction: int, _channel: int) -> Range:
        return Range(0.0, 40.0)

    def setGain(self, _direction: int, _channel: int, gain_db: float) -> None:
        self.gain_db = gain_db

    def getGain(self, _direction: int, _channel: int) -> float:
        return self.gain_db

    def setupStream(self, direction: int, form: str, channels: list[int]) -> object:
        assert (direction, form, channels) == (SOAPY_SDR_RX, SOAPY_SDR_CF32, [0])
        return self

    def getStreamMTU(self, _stream: object) -> int:
        return MTU

    def activateStream(self, _stream: object) -> None:
        assert not self.own_gain
        self.active = True

    def setFrequency(self, _direction: int, _channel: int, hz: float) -> None:
        self.looks += 1
        self.before_hz, self.tuned_hz = self.tuned_hz, hz
        self.waiting, self.under_way = WAITING, UNDER_WAY

    def getFrequency(self, _direction: int, _channel: int) -> float:
        return self.tuned_hz

    def readStream(
        self, _stream: object, buffers: list[Any], count: int, flags: int = 0, timeoutUs: int = 100_000
    ) -> StreamResult:
        assert self.active
        assert flags == 0
        if self.looks == int(self.about.get("gone", 0)):
            return StreamResult(SOAPY_SDR_STREAM_ERROR)
        if "silent" in self.about or (timeoutUs == 0 and not self.waiting):
            return StreamResult(SOAPY_SDR_TIMEOUT)
        self.reads += 1
        if "lose" in self.about and self.reads % int(self.about["lose"]) == 0:
            return StreamResult(SOAPY_SDR_OVERFLOW)
        old = self.waiting or self.under_way
        came = min(count, MTU, old or count)
        if self.waiting:
            self.waiting -= came
        elif self.under_way:
            self.under_way -= came
        off = 1.0 + float(self.about.get("off", 0.0)) * 1e-6
        buffers[0][:came] = self.band.samples((self.before_hz if old else self.tuned_hz) * off, came)
        assert np.isfinite(buffers[0][:came]).all()
        return StreamResult(came)

    def deactivateStream(self, _stream: object) -> None:
        self.active = False

    def closeStream(self, _stream: object) -> None:
        assert not self.active

    def close(self) -> None:
        Device.open_now -= 1

"""A receiver by the open driver interface SoapySDR, as its documentation has the Python side (Device.hpp, 0.8).

The interface is not on the registry of Python packages: it comes from the system's distribution (Debian:
python3-soapysdr, and soapysdr-module-... for the receiver), so it is looked for there too when it is asked for.
"""

from __future__ import annotations

import contextlib
import importlib
import sys
import time
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from linkwright.air.tuning.spectrum import Samples
from linkwright.air.tuning.tuner import TunerGone
from linkwright.shoot.errors import InputError

#: Where Debian and its like put Python modules that belong to the system.
OF_THE_SYSTEM: Final = "/usr/lib/python3/dist-packages"
#: Samples a second that are asked for where none are stated.
RATE_HZ: Final = 2.4e6
#: Thrown away after the receiver was tuned [s]: its oscillator settles, and what is under way is old (assumed).
SETTLE_S: Final = 0.02
#: A read waits so long [us]; so many in a row without a sample are no receiver any more.
WAIT_US: Final = 100_000
SILENT_READS: Final = 30
#: A look is begun anew so often where samples were lost in it; more waiting samples than these are not let go [s].
TRIES: Final = 4
WAITING_S: Final = 2.0


def interface() -> Any:
    """The module of SoapySDR. Raises InputError where there is none that this Python can load."""
    with contextlib.suppress(ImportError):
        return importlib.import_module("SoapySDR")
    sys.path.append(OF_THE_SYSTEM)
    try:
        return importlib.import_module("SoapySDR")
    except ImportError:
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        raise InputError(
            f"a receiver needs SoapySDR for Python {version}, which this machine lacks (Debian: python3-soapysdr "
            "and the soapysdr-module of the receiver); or pipe rows of any program into linkwright sweep - --live"
        ) from None
    finally:
        sys.path.remove(OF_THE_SYSTEM)


@dataclass(eq=False)
class SoapyTuner:
    """A receiver that is open. `name`, `rate_hz` and `lost` as a Tuner has them; gain_db : as it is set; off_ppm :
    so much higher than it says it tunes [millionths]. Close it after use."""

    device: Any
    module: Any
    stream: Any
    name: str
    rate_hz: float
    gain_db: float
    settle_s: float = SETTLE_S
    off_ppm: float = 0.0
    lost: int = 0
    _piece: Samples = field(init=False)

    def __post_init__(self) -> None:
        size = int(self.device.getStreamMTU(self.stream))
        self._piece = np.zeros(min(max(size, 1024), 1 << 20), np.complex64)

    def places_hz(self) -> None:
        """Everywhere."""
        return

    def now_s(self) -> float:
        """The clock [s]."""
        return time.monotonic()

    def look(self, centre_hz: float, count: int) -> tuple[float, Samples] | None:
        """Tune, let it settle, and take so many samples; None where some were lost four times. Raises TunerGone."""
        receive, channel = self.module.SOAPY_SDR_RX, 0
        try:
            off = 1.0 + self.off_ppm * 1e-6
            self.device.setFrequency(receive, channel, centre_hz / off)
            tuned_hz = float(self.device.getFrequency(receive, channel)) * off
            self._let_go()
            settle = round(self.settle_s * self.rate_hz)
            for _ in range(TRIES):
                samples = self._take(settle + count)
                if samples is not None:
                    return tuned_hz, samples[settle:]
                self.lost += 1
        except RuntimeError as error:
            raise TunerGone(f"{self.name} failed ({error}); is it still plugged in?") from None
        return None

    def _let_go(self) -> None:
        """What waits was received before."""
        left = WAITING_S * self.rate_hz
        while left > 0.0:
            came = self.device.readStream(self.stream, [self._piece], self._piece.size, timeoutUs=0).ret
            if came <= 0 and came != self.module.SOAPY_SDR_OVERFLOW:
                return
            left -= max(came, 1024)

    def _take(self, count: int) -> Samples | None:
        """The next samples; None where some were lost in between."""
        taken = np.empty(count, np.complex64)
        at = silent = 0
        while at < count:
            size = min(self._piece.size, count - at)
            came = self.device.readStream(self.stream, [self._piece], size, timeoutUs=WAIT_US).ret
            if came > 0:
                taken[at : at + came] = self._piece[:came]
                at, silent = at + came, 0
            elif came in (self.module.SOAPY_SDR_OVERFLOW, self.module.SOAPY_SDR_CORRUPTION):
                return None
            elif came in (0, self.module.SOAPY_SDR_TIMEOUT):
                silent += 1
                if silent >= SILENT_READS:
                    raise TunerGone(f"{self.name} gave no samples in {silent} reads; is it still plugged in?")
            else:
                raise TunerGone(f"{self.name} failed ({self.module.errToStr(came)}); is it still plugged in?")
        return taken

    def close(self) -> None:
        """Let go of the receiver; one that is gone does not answer."""
        for end in (self.device.deactivateStream, self.device.closeStream):
            with contextlib.suppress(RuntimeError):
                end(self.stream)
        with contextlib.suppress(RuntimeError):
            self.device.close()


def receiver(
    arguments: str,
    rate_hz: float | None = None,
    gain_db: float | None = None,
    settle_s: float | None = None,
    off_ppm: float = 0.0,
) -> SoapyTuner:
    """The receiver of these arguments ("driver=...", as SoapySDR has them), open and giving samples.

    Its own control of gain is switched off: a gain that moves would move all levels. Raises InputError where there
    is none, or where it refuses.
    """
    module = interface()
    module.setLogLevel(module.SOAPY_SDR_ERROR)
    try:
        device = module.Device(arguments)
    except RuntimeError as error:
        raise InputError(f'no receiver opens by "{arguments}" ({error}); {_there(module)}') from None
    try:
        tuner = _opened(module, device, arguments, rate_hz, gain_db)
        tuner.settle_s, tuner.off_ppm = SETTLE_S if settle_s is None else settle_s, off_ppm
        return tuner
    except (RuntimeError, InputError) as error:
        with contextlib.suppress(RuntimeError):
            device.close()
        if isinstance(error, InputError):
            raise
        raise InputError(f'the receiver "{arguments}" refused ({error})') from None


def _there(module: Any) -> str:
    """Which receivers there are, in words."""
    try:
        there = [dict(each) for each in module.Device.enumerate()]
    except RuntimeError:
        there = []
    devices = ["driver=" + ",".join([str(each.get("driver", "?")), *_serial(each)]) for each in there]
    return f"there are: {'; '.join(devices)}" if devices else "found none on this machine"


def _serial(about: dict[str, str]) -> list[str]:
    return [f"serial={about['serial']}"] if about.get("serial") else []


def _opened(module: Any, device: Any, arguments: str, rate_hz: float | None, gain_db: float | None) -> SoapyTuner:
    receive, channel = module.SOAPY_SDR_RX, 0
    if device.getNumChannels(receive) < 1:
        raise InputError(f'"{arguments}" has no channel that receives; expected a receiver')
    device.setSampleRate(
        receive, channel, _rate_hz(device.getSampleRateRange(receive, channel), arguments, rate_hz)
    )
    if device.hasGainMode(receive, channel):
        device.setGainMode(receive, channel, False)
    if gain_db is not None:
        limits = device.getGainRange(receive, channel)
        if not limits.minimum() <= gain_db <= limits.maximum():
            raise InputError(
                f"--gain-db is {gain_db:g}; expected {limits.minimum():g} to {limits.maximum():g} with {arguments}"
            )
        device.setGain(receive, channel, gain_db)
    stream = device.setupStream(receive, module.SOAPY_SDR_CF32, [channel])
    device.activateStream(stream)
    gain = float(device.getGain(receive, channel))
    rate = float(device.getSampleRate(receive, channel))
    return SoapyTuner(device, module, stream, arguments, rate, gain)


def _rate_hz(ranges: Any, arguments: str, stated_hz: float | None) -> float:
    """The samples a second to ask for: as stated, or the nearest to what is usual. Raises InputError."""
    rates = [(each.minimum(), each.maximum()) for each in ranges]
    wanted = RATE_HZ if stated_hz is None else stated_hz
    within = [min(max(wanted, low), high) for low, high in rates]
    nearest = min(within, key=lambda hz: abs(hz - wanted), default=wanted)
    if stated_hz is not None and abs(nearest - stated_hz) > 1.0:
        known = ", ".join(f"{low / 1e6:g}" + (f" to {high / 1e6:g}" if high > low else "") for low, high in rates)
        raise InputError(f"{arguments} gives no {stated_hz / 1e6:g} million samples a second; expected {known}")
    return float(nearest)

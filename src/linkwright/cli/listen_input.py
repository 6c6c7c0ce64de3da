"""What `linkwright listen --input` does: levels and faults as they come, and at the end all of a recording."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

from linkwright.cli.output import print_json
from linkwright.lengths import clock
from linkwright.units import counted, minus

if TYPE_CHECKING:
    from linkwright.sound.inputs import Input
    from linkwright.sound.listen import Heard
    from linkwright.sound.live import Second
    from linkwright.sound.lowcut import Filter

#: Full scale is told again after so long [s].
AGAIN_S: Final = 10.0


def heard_live(
    name: str, low_cut: Filter, seconds: float | None, tested: Callable[[Heard], str], *, as_json: bool
) -> Heard:
    """Listen to an input until it ends, for so long, or until Ctrl-C, and tell what comes. Raises InputError.

    tested : what the first minute of a voice says, in a sentence.
    """
    from linkwright.sound.live import LiveEars

    with _opened(name) as source:
        ears = LiveEars(source.name, source.rate_hz, source.tracks, low_cut)
        tell = _Teller(as_json)
        tracks = counted(source.tracks, "track")
        tell.line(f"Listening to {source.name}, {tracks} of {source.rate_hz} Hz; Ctrl-C ends it.")
        waits = True
        try:
            for block in source.blocks:
                for second in ears.add(block):
                    tell.second(second)
                    if waits and ears.test_recording:
                        waits = False
                        tell.line(f"A minute of a voice was heard. {tested(ears.heard())}")
                    if seconds is not None and second.at_s >= seconds:
                        return ears.heard()
        except KeyboardInterrupt:
            tell.line("Ended.")
        return ears.heard()


@contextmanager
def _opened(name: str) -> Iterator[Input]:
    from linkwright.sound.inputs import device, wav_stream

    if name == "-":
        yield wav_stream(sys.stdin.buffer, "standard input")
    else:
        with device(name) as source:
            yield source


class _Teller:
    """Prints what comes: on a terminal the levels in one line that is written over, else faults alone; or JSON."""

    def __init__(self, as_json: bool) -> None:
        self._json, self._meter = as_json, sys.stdout.isatty() and not as_json
        self._full_s: dict[int, float] = {}

    def line(self, says: str) -> None:
        """A sentence."""
        if not self._json:
            print("\r\x1b[K" * self._meter + says, flush=True)

    def second(self, of: Second) -> None:
        """What came in a second."""
        if self._json:
            print_json(_document(of), one_line=True)
            sys.stdout.flush()
            return
        for track, fault in of.faults:
            self.line(f"{clock(fault.at / of.rate_hz)} track {track}: {fault.kind}")
        for track in of.full:
            if of.at_s - self._full_s.get(track, -AGAIN_S) >= AGAIN_S:
                self._full_s[track] = of.at_s
                self.line(f"{clock(of.at_s)} track {track}: full scale; take more attenuation")
        if self._meter:
            levels = "  ".join(
                f"{n + 1}: {_level(rms)} ({_level(peak)})"
                for n, (rms, peak) in enumerate(zip(of.rms_dbfs, of.peak_dbfs, strict=True))
            )
            print(f"\r\x1b[K{clock(of.at_s)[:-4]}  dBFS (peak)  {levels}", end="", flush=True)


def _level(value: float | None) -> str:
    return "silent" if value is None else minus(f"{value:.0f}")


def _document(of: Second) -> dict[str, Any]:
    return {
        "at_s": round(of.at_s, 3),
        "rms_dbfs": [None if rms_dbf is None else round(rms_dbf, 1) for rms_dbf in of.rms_dbfs],
        "peak_dbfs": [None if peak_dbf is None else round(peak_dbf, 1) for peak_dbf in of.peak_dbfs],
        "faults": [
            {"track": track, "kind": fault.kind, "at_s": round(fault.at / of.rate_hz, 6)}
            for track, fault in of.faults
        ],
        "full": list(of.full),
    }

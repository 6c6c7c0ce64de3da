"""`linkwright sweep --live --receiver` and `--samples`: rows of a receiver, or of recordings in its place."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from linkwright.shoot.errors import InputError
from linkwright.units import counted

if TYPE_CHECKING:
    from linkwright.air.ours import Mine
    from linkwright.air.readers import ReadOptions
    from linkwright.air.tuning.sweeping import Sweeping
    from linkwright.air.tuning.tuner import Tuner

#: What may be stated of the rows of a receiver; the rest it knows itself.
STATED = {"from_khz", "to_khz", "resolution_khz"}


@dataclass(frozen=True)
class Coming:
    """Rows as they come. pieces : text with the name of where it comes from; b"" while nothing does.

    options : what is to be known to read it. rest : what is left when it is broken off. says : what there is to say
    in the end, in a sentence and as a document. fault : why it ended, where that is one. hear : takes what pages
    answered.
    """

    pieces: Iterator[tuple[str, bytes]]
    options: ReadOptions
    rest: Callable[[], tuple[str, bytes]] = field(default=lambda: ("", b""))
    says: Callable[[], tuple[str, dict[str, Any]]] = field(default=lambda: ("", {}))
    fault: Callable[[], InputError | None] = field(default=lambda: None)
    hear: Callable[[dict[str, Any]], None] = field(default=lambda _answer: None)


@dataclass(frozen=True)
class TunedSweep:
    """What the command line asks of a receiver (its arguments) or of recordings (`samples`, where they are)."""

    receiver: str | None
    samples: str | None
    rate_hz: float | None = None
    gain_db: float | None = None
    level_offset_db: float | None = None
    look_ms: float | None = None
    settle_ms: float | None = None
    all_within_s: float | None = None
    off_ppm: float | None = None


def asked_of(live: bool, asked: TunedSweep) -> TunedSweep | None:
    """What is asked; None where no receiver is. Raises InputError for options that do not go together."""
    given = {f"--{name.replace('_', '-')}" for name, value in vars(asked).items() if value is not None}
    if asked.receiver is None and asked.samples is None:
        if given:
            raise InputError(f"{min(given)} is for --receiver and --samples; expected one of them, with --live")
        return None
    if not live:
        source = "--samples" if asked.receiver is None else "--receiver"
        raise InputError(f"{source} goes with --live; a recording alone is read as any file")
    if asked.receiver is not None and asked.samples is not None:
        raise InputError("found --receiver and --samples, expected one of them")
    if asked.samples is not None and (wrong := given & {"--rate-hz", "--gain-db", "--off-ppm"}):
        raise InputError(f"{min(wrong)} is for --receiver; a recording has what it was made with")
    return asked


@contextmanager
def tuned(asked: TunedSweep, options: ReadOptions, stated: set[str], mine: Sequence[Mine]) -> Iterator[Coming]:
    """The rows of a receiver that is open meanwhile. Raises InputError."""
    from linkwright.air.tuning.sweeping import LOOK_S, Sweeping, SweepWanted

    if wrong := stated - STATED:
        raise InputError(f"{_option(min(wrong))} is for rows of other programs; a receiver's are known")
    wanted = SweepWanted(
        options.from_khz, options.to_khz,
        tuple(each.edges_khz for each in mine),
        asked.all_within_s, LOOK_S if asked.look_ms is None else asked.look_ms / 1e3, options.resolution_khz,
        asked.level_offset_db,
    )  # fmt: skip
    tuner = _tuner(asked)
    try:
        sweeping = Sweeping(tuner, wanted, lambda says: print(says, file=sys.stderr, flush=True))
        rows = _Rows(sweeping)
        yield Coming(rows.pieces(), sweeping.options, rows.rest, rows.says, lambda: rows.fault, rows.hear)
    finally:
        tuner.close()


def _option(name: str) -> str:
    return f"--{name.replace('_khz', '-khz').replace('_', '-')}"


def _tuner(asked: TunedSweep) -> Tuner:
    settle_s = None if asked.settle_ms is None else asked.settle_ms / 1e3
    if asked.samples is not None:
        from linkwright.air.tuning.recorded import recorded

        return recorded(asked.samples, settle_s or 0.0)
    from linkwright.air.tuning.soapy import receiver

    return receiver(asked.receiver or "", asked.rate_hz, asked.gain_db, settle_s, asked.off_ppm or 0.0)


class _Rows:
    """What comes of a receiver, and why it ended, where that is a fault."""

    def __init__(self, sweeping: Sweeping) -> None:
        self.sweeping = sweeping
        self.fault: InputError | None = None

    def pieces(self) -> Iterator[tuple[str, bytes]]:
        from linkwright.air.tuning.tuner import TunerGone

        try:
            for line in self.sweeping.lines():
                yield self.sweeping.tuner.name, line
        except TunerGone as gone:
            self.fault = gone

    def rest(self) -> tuple[str, bytes]:
        return self.sweeping.tuner.name, self.sweeping.rest()

    def hear(self, answer: dict[str, Any]) -> None:
        """Our carriers and spares as the pages have them now."""
        bands = answer.get("ours_khz")
        if isinstance(bands, list) and bands:
            self.sweeping.follow(tuple((float(low), float(high)) for low, high in bands))

    def says(self) -> tuple[str, dict[str, Any]]:
        of = self.sweeping
        document = {"looks": of.looks, "looks_lost": of.lost, "looks_overdriven": of.overdriven}
        lost = f", {of.lost} given up as samples were lost" if of.lost else ""
        over = f", {of.overdriven} overdriven and left out" if of.overdriven else ""
        return f" {counted(of.looks, 'look')}{lost}{over}.", document

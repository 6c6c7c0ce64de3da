"""What a survey found as one document: what `linkwright sweep --json` prints."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from linkwright.air.carriers import Carrier
from linkwright.air.judgement import JudgedSweep
from linkwright.air.looks import CERTAINTY, Look
from linkwright.air.multiplexes import Multiplex
from linkwright.air.readers import Readout, evidence
from linkwright.air.survey import Survey
from linkwright.air.sweep import DETECTOR_WORDS, Sweep
from linkwright.physics.detection import noise_density_dbm_hz
from linkwright.physics.looking import (
    INTERMITTENT_ON_S,
    INTERMITTENT_SHARE,
    Looks,
    User,
    looks_for,
    missed,
    stepping_looks,
)

#: Somebody who is on now and then: who is asked about.
INTERMITTENT = User()
#: A microphone's bandwidth, in which a floor is told as well [kHz].
TOLD_KHZ = 200.0


@dataclass(frozen=True, slots=True)
class Stepping:
    """A receiver that steps through its slots by itself, `look_s` on each [s]."""

    receiver: str
    slots: int
    look_s: float


#: What is told where no shoot names receivers.
EXAMPLES = (Stepping("For example, a receiver", 200, 0.2), Stepping("a receiver, for example", 50, 0.2))


def _multiplex(multiplex: Multiplex) -> dict[str, Any]:
    return {
        "channel": multiplex.channel,
        "from_khz": multiplex.from_khz,
        "to_khz": multiplex.to_khz,
        "level_db": _tenths(multiplex.level_db),
        "over_floor_db": _tenths(multiplex.excess_db),
        "kind": multiplex.kind,
        "standard": multiplex.standard,
    }


def _carrier(carrier: Carrier) -> dict[str, Any]:
    return {
        "centre_khz": _tenths(carrier.centre_khz),
        "bandwidth_khz": _tenths(carrier.bandwidth_khz),
        "level_db": _tenths(carrier.level_db),
        "duty": round(carrier.duty, 4),
        "over_floor_db": _tenths(carrier.excess_db),
    }


def sweep_document(survey: Survey, steppings: Sequence[Stepping] = EXAMPLES) -> dict[str, Any]:
    """A survey as plain JSON values; frequencies in kHz, levels in the unit of the file they come from.

    `steppings` are the receivers that could look by themselves instead.
    """
    return {
        "files": [report.document() for report in reports_of(survey)],
        "floor": _floor(survey),
        "tv": [_multiplex(multiplex) for multiplex in survey.tv],
        "carriers": [_carrier(carrier) for carrier in survey.carriers],
        "wide": [
            {
                "from_khz": _tenths(wide.from_khz),
                "to_khz": _tenths(wide.to_khz),
                "over_floor_db": _tenths(wide.excess_db),
            }
            for wide in survey.wide
        ],
        "heard": [
            {
                "centre_khz": _tenths(carrier.centre_khz),
                "level_db": carrier.level_db,
                "unit": carrier.unit,
                "name": carrier.name,
            }
            for carrier in survey.heard
        ],
        "clean": [{"from_khz": low, "to_khz": high} for low, high in survey.clean],
        "missed": round(survey.missed, 4),
        "look": _looking(survey, steppings),
    }


@dataclass(frozen=True, slots=True)
class TraceReport:
    """What a trace of a file is, as it is told; None where that is not known."""

    path: str
    format: str
    unit: str | None
    sweeps: int
    from_khz: float | None
    to_khz: float | None
    step_khz: float | None
    resolution_khz: float | None
    averages: int | None
    detector: str | None = None
    started: str | None = None
    lasted_s: float | None = None
    trace: str | None = None

    def document(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {name: getattr(self, name) for name in self.__slots__ if name != "trace"}


@dataclass(frozen=True, slots=True)
class FileReport:
    """What a file holds: its most telling trace, all of them where there are several, and what is to be known of
    it; `is_list` where somebody typed a list of carriers."""

    main: TraceReport
    warnings: tuple[str, ...]
    understood: tuple[str, ...] = ()
    guessed: tuple[str, ...] = ()
    traces: tuple[TraceReport, ...] = ()
    refused: str | None = None
    is_list: bool = False

    def document(self) -> dict[str, Any]:
        """As plain JSON values."""
        told = self.main.document()
        if self.is_list:
            return {key: told[key] for key in LISTED} | {"warnings": list(self.warnings)}
        more = {"warnings": list(self.warnings), "understood": list(self.understood), "guessed": list(self.guessed)}
        traces = [{"trace": trace.trace} | trace.document() for trace in self.traces]
        return told | more | ({"traces": traces} if traces else {}) | {"refused": self.refused}


#: What is told of a list of carriers.
LISTED = ("path", "format", "unit", "sweeps", "from_khz", "to_khz", "step_khz", "resolution_khz", "averages")


def reports_of(survey: Survey) -> list[FileReport]:
    """What each file of a survey holds."""
    return [_file(readout, why) for readout, why in zip(survey.readouts, survey.refused, strict=True)]


def _file(readout: Readout, refused: str | None) -> FileReport:
    if not readout.sweeps:
        listed = [carrier.centre_khz for carrier in readout.heard]
        main = TraceReport(
            readout.path, "list of carriers, typed by hand", readout.heard[0].unit if listed else None, 0,
            min(listed, default=None), max(listed, default=None), None, None, None,
        )  # fmt: skip
        return FileReport(main, ("a list says what is there and nothing about the rest of the band",), is_list=True)
    sweep = evidence(readout.sweeps)[0]
    warnings = (*sweep.warnings, *([f"refused as evidence: {refused}"] if refused else []))
    traces = tuple(map(_trace, readout.sweeps)) if len(readout.sweeps) > 1 else ()
    return FileReport(_trace(sweep), warnings, tuple(sweep.understood), tuple(sweep.guessed), traces, refused)


def _trace(sweep: Sweep) -> TraceReport:
    return TraceReport(
        sweep.path, sweep.format, sweep.unit, sweep.sweeps, _tenths(sweep.from_khz), _tenths(sweep.to_khz),
        round(sweep.step_khz, 4), round(sweep.resolution_khz, 4), sweep.averages, DETECTOR_WORDS[sweep.detector],
        sweep.started.isoformat() if sweep.started else None, sweep.lasted_s, sweep.trace,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class FloorReport:
    """The floor of the sweep that tells most: its typical level in its `unit`, and its density where that is one of
    power, detector and noise bandwidth corrected for."""

    typical_db: float
    uncertain: bool
    unit: str
    of: str
    notes: tuple[str, ...]
    density_dbm_hz: float | None = None

    @property
    def in_200_khz_dbm(self) -> float:
        """The floor in a microphone's bandwidth [dBm]; NaN where the density is not known."""
        if self.density_dbm_hz is None:
            return math.nan
        return self.density_dbm_hz + 10.0 * math.log10(TOLD_KHZ * 1e3)


def floor_of(survey: Survey) -> FloorReport | None:
    """The floor of a survey; None where nothing was swept."""
    main = survey.main
    if main is None:
        return None
    density = _density_dbm_hz(main) if main.sweep.calibrated else None
    return FloorReport(
        round(main.typical_floor_db, 2),
        survey.uncertain,
        main.sweep.unit,
        main.sweep.path,
        tuple(main.notes),
        density,
    )


def _floor(survey: Survey) -> dict[str, Any]:
    floor = floor_of(survey)
    if floor is None:
        return {"typical_db": None, "uncertain": True, "unit": None}
    told: dict[str, Any] = {
        "typical_db": floor.typical_db,
        "uncertain": floor.uncertain,
        "unit": floor.unit,
        "of": floor.of,
        "notes": list(floor.notes),
    }
    if floor.density_dbm_hz is not None:
        told |= {
            "density_dbm_hz": round(floor.density_dbm_hz, 2),
            "in_200_khz_dbm": round(floor.in_200_khz_dbm, 2),
        }
    return told


def _density_dbm_hz(judged: JudgedSweep) -> float:
    """Density of the typical floor [dBm/Hz], detector and noise bandwidth corrected for."""
    sweep = judged.sweep
    level = judged.typical_floor_db + sweep.dbm_offset + sweep.to_power_mean_db
    return noise_density_dbm_hz(level, sweep.resolution_khz)


def _looking(survey: Survey, steppings: Sequence[Stepping]) -> dict[str, Any]:
    """How each series looked, and what it would take to be sure."""
    user = User()
    return {
        "user_on_share": INTERMITTENT_SHARE,
        "user_on_s": INTERMITTENT_ON_S,
        "certainty": CERTAINTY,
        "sweeps": [
            {
                "of": judged.sweep.path,
                "says": look.says,
                "looks": look.looks.count,
                "look_s": look.looks.look_s,
                "every_s": look.looks.every_s,
                "missed": round(look.missed, 4),
                "needed_s": None if look.needed_s is None else round(look.needed_s, 1),
            }
            for judged, look in zip(survey.judged, survey.looks, strict=True)
        ],
        "stepping": [_stepping(stepping, user) for stepping in steppings],
    }


def _stepping(stepping: Stepping, user: User) -> dict[str, Any]:
    """A receiver that steps by itself: what one pass misses, and how long it takes to be sure."""
    once, needed = passes(stepping, user)
    return {
        "receiver": stepping.receiver,
        "look_s": stepping.look_s,
        "frequencies": stepping.slots,
        "pass_s": round(needed.every_s, 2),
        "missed_after_one_pass": round(once, 4),
        "passes": needed.count,
        "needed_s": round(needed.count * needed.every_s, 1),
    }


def passes(stepping: Stepping, user: User = INTERMITTENT) -> tuple[float, Looks]:
    """The chance (0..1) that one pass misses the user, and the passes that find them with `CERTAINTY`."""
    every_s = stepping.look_s * stepping.slots
    once = missed(stepping_looks(stepping.look_s, stepping.slots, every_s), user)
    return once, looks_for(CERTAINTY, stepping.look_s, every_s, user)


def look_says(look: Look) -> str:
    """A look in words, to stand beside whatever is called clean."""
    return f"{look.says}: {100 * look.missed:.0f} % chance of having missed somebody who is on 5 % of the time"


def _tenths(value: float) -> float:
    return round(float(value), 1)

"""A survey of the air as a score: measured, allowed, TV, carriers."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from linkwright.draw.lanes import Band, Bands, Head, Lane, Levels, Pin, Pins
from linkwright.draw.score import Score, drawn
from linkwright.draw.sweep_lane import file_of, measured

if TYPE_CHECKING:
    from linkwright.air.judgement import JudgedSweep
    from linkwright.air.survey import Survey
    from linkwright.rules import Territory

#: A pin of full height stands this far over the floor [dB].
FULL_PIN_DB = 40.0


def write_picture(path: str, survey: Survey, territory: Territory | None) -> None:
    """Draw a survey into an .svg or .png file. Raises InputError where there is nothing to draw or no writing."""
    from linkwright.cli.output import write_drawing

    write_drawing(path, drawn(score_of(survey, territory)))


def score_of(survey: Survey, territory: Territory | None) -> Score:
    """The score of a survey. Raises InputError for a survey without a sweep or a listed carrier."""
    from linkwright.cli.sweep_table import answer
    from linkwright.draw.site_lanes import allowed, closed
    from linkwright.shoot.errors import InputError

    ends = [(judged_sweep.sweep.from_khz, judged_sweep.sweep.to_khz) for judged_sweep in survey.judged]
    ends += [(carrier.centre_khz - 1_000.0, carrier.centre_khz + 1_000.0) for carrier in survey.heard]
    if not ends:
        raise InputError("there is nothing to draw: no sweep counts")
    low, high = min(end[0] for end in ends), max(end[1] for end in ends)
    lanes: list[Lane] = [_levels(judged_sweep, len(survey.judged) > 1) for judged_sweep in survey.judged]
    if territory is not None:
        today = datetime.date.today()
        rules = (*allowed(territory, today, None, low, high), *closed(territory, today, low, high))
        lanes.append(Bands("Allowed, by permit", rules, 26.0))
    tv = _tv(survey)
    if territory is not None or tv.bands:
        lanes.append(tv)
    lanes.append(_carriers(survey))
    if survey.clean:
        bands = tuple(Band(a, b, says=f"clean from {a / 1e3:g} to {b / 1e3:g} MHz") for a, b in survey.clean)
        lanes.append(Bands("Clean", bands, 26.0))
    files = ", ".join(Path(readout.path).name for readout in survey.readouts)
    return Score(answer(survey), files, low, high, tuple(lanes), _notes(survey, territory))


def _notes(survey: Survey, territory: Territory | None) -> tuple[str, ...]:
    from linkwright.air.report import look_says

    looked = "; ".join(dict.fromkeys(look_says(look) for look in survey.looks))
    notes = [f"How it was looked: {looked}."] if looked else []
    legend = "Ochre: the floor. Squares: full, on all the time; half, now and then; hollow, from a list."
    if territory is not None:
        legend += " Hatched: closed, or not sure. The licence and the regulator override what is drawn."
    return (*notes, legend)


def _levels(judged: JudgedSweep, several: bool) -> Levels:
    """What one series measured."""
    name = f"Measured: {judged.sweep.trace or file_of(judged)}" if several else "Measured"
    return measured(judged, name, 150.0 if several else 230.0)


def _tv(survey: Survey) -> Bands:
    bands = []
    for multiplex in survey.tv:
        says = f"channel {multiplex.channel}, {multiplex.kind}, {multiplex.excess_db:.1f} dB over the floor"
        bands.append(
            Band(
                multiplex.from_khz,
                multiplex.to_khz,
                multiplex.channel,
                "solid" if multiplex.kind == "multiplex" else "doubt",
                says,
            )
        )
    for wide in survey.wide:
        bands.append(
            Band(wide.from_khz, wide.to_khz, "wide", "doubt", f"wide, {wide.excess_db:.1f} dB over the floor")
        )
    return Bands("TV, wide signals", tuple(bands))


def _carriers(survey: Survey) -> Pins:
    pins = []
    for carrier in survey.carriers:
        mhz = f"{carrier.centre_khz / 1e3:.3f}"
        says = f"{mhz} MHz, {carrier.excess_db:.1f} dB over the floor, on {100 * carrier.duty:.0f} %"
        head: Head = "on" if carrier.duty > 0.9 else "at times"
        pins.append(
            Pin(carrier.centre_khz, carrier.excess_db / FULL_PIN_DB, mhz, head, carrier.bandwidth_khz, says)
        )
    for heard in survey.heard:
        label = heard.name or f"{heard.centre_khz / 1e3:.3f}"
        pins.append(Pin(heard.centre_khz, 0.5, label, "listed", says=f"{label}, from a list"))
    return Pins("Carriers", tuple(pins))

"""What was seen of an episode, a sentence for each cause: nothing is said that its own numbers do not bear out."""

from __future__ import annotations

import math
from typing import Final

from linkwright.lengths import seconds
from linkwright.units import counted
from linkwright.watch.diagnose.episode_figures import Figures

#: A fall of less is hardly one [dB]; and one is at once where this share of it came within a second (assumed).
HARDLY_DB: Final = 3.0
AT_ONCE: Final = 0.6
#: A level that is farther under the ceiling is not high [dB] (assumed).
HIGH_DB: Final = 30.0


def _both(f: Figures) -> str:
    return "both branches" if f.b_dbm == f.b_dbm and f.a_dbm == f.a_dbm else "the level"


def _db(value: float) -> str:
    return f"{value:.0f} dB" if math.isfinite(value) else "an unknown amount"


def dbm(value: float) -> str:
    return f"{value:.0f} dBm" if math.isfinite(value) else "an unknown level"


def _at(level_dbm: float, f: Figures) -> str:
    """A level, and how far that very level lies over the need."""
    over = level_dbm - f.need_dbm
    if not math.isfinite(over):
        return dbm(level_dbm)
    return f"{dbm(level_dbm)}, {abs(over):.0f} dB {'over' if over >= 0 else 'under'} what the receiver needs"


def _at_once(f: Figures) -> bool:
    """Whether most of the fall came within a second."""
    return f.first_db >= AT_ONCE * (f.base_dbm - f.level_dbm)


def _fell(f: Figures, level_dbm: float) -> str:
    """How the level went from what it was before to a level: in the words that its numbers allow."""
    fall = f.base_dbm - level_dbm
    if not math.isfinite(fall):
        return "went"
    if fall < HARDLY_DB:
        return "had not fallen" if fall < 0.5 * HARDLY_DB else "had hardly fallen"
    how = " within a second" if _at_once(f) else ""
    return f"fell by {_db(fall)}{how}"


def too_far(f: Figures) -> str:
    fall = f"sagged by {_db(f.drop_db)}" if f.drop_db >= HARDLY_DB else "stood low"
    how = "" if _at_once(f) or f.drop_db < HARDLY_DB else " over many seconds"
    return f"{_both(f)} {fall}{how}, to {_at(f.bad_dbm, f)}"


def body(f: Figures) -> str:
    return f"{_both(f)} {_fell(f, f.level_dbm)}, to {_at(f.level_dbm, f)}, for {seconds(f.length_s)}"


def _untold(f: Figures) -> bool:
    """Whether the receiver told no level for most of it."""
    return f.untold > 0.5


def together(f: Figures) -> str:
    if _untold(f):
        return f"its receiver told no level for {seconds(f.length_s)}, as those of other links then"
    return f"{_both(f)} {_fell(f, f.level_dbm)}, to {dbm(f.level_dbm)}, as other links did then"


def weaker(f: Figures) -> str:
    return "A" if not f.a_dbm > f.b_dbm else "B"


def one_branch(f: Figures) -> str:
    weak, other = (f.a_dbm, "B") if weaker(f) == "A" else (f.b_dbm, "A")
    apart = abs(f.a_dbm - f.b_dbm)
    return (
        f"branch {weaker(f)} lay {_db(apart)} under branch {other} for {seconds(f.length_s)} (at {dbm(weak)}) "
        "and all but never led"
    )


def reflections(f: Figures) -> str:
    own = " that each branch had for itself" if f.alike < 0.5 else ""
    return (
        f"the audio broke {counted(f.runs, 'time')} in {seconds(f.length_s)}, each for {seconds(f.longest_s)} at "
        f"most, in dips of the level{own} to {_at(f.bad_dbm, f)}"
    )


def another(f: Figures) -> str:
    quality = f", with the quality at {100 * f.quality:.0f} %" if f.quality == f.quality else ""
    return f"the level {_fell(f, f.bad_dbm)} ({_at(f.bad_dbm, f)}) while the audio broke{quality}"


def too_strong(f: Figures) -> str:
    top, high = f.top_dbm - f.level_dbm < HARDLY_DB, not f.under_ceiling_db > HIGH_DB
    if not (top or high):
        return f"the level was {_at(f.level_dbm, f)}"
    return f"the level {'stood at the top of the meter' if top else 'was high'} ({_at(f.level_dbm, f)})"


def vanished(f: Figures) -> str:
    gauge = "the gauge is not known" if f.gauge != f.gauge else f"the gauge said {100 * f.gauge:.0f} %"
    if _untold(f):
        return f"its receiver told no level for {seconds(f.length_s)}, from {dbm(f.base_dbm)} before, and {gauge}"
    how = "vanished at once" if f.gone > 0.5 and _at_once(f) else "fell"
    return f"{_both(f)} {how}, from {dbm(f.base_dbm)} to {dbm(f.level_dbm)}, and {gauge}"


def not_there(f: Figures) -> str:
    return f"nothing was received of it since its carrier changed (level {dbm(f.level_dbm)})"


def dead_audio(f: Figures) -> str:
    quality = f" and quality {100 * f.quality:.0f} %" if f.quality == f.quality else ""
    radio = f"the radio was good (level {dbm(f.level_dbm)}{quality})"
    return f"the audio was dead for {seconds(f.length_s)} while {radio}"


def nothing_clear(f: Figures) -> str:
    return (
        f"no cause stands out: {_both(f)} went from {dbm(f.base_dbm)} to {_at(f.level_dbm, f)}, for "
        f"{seconds(f.length_s)}"
    )

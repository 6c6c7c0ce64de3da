"""What was seen of an episode, a sentence for each cause."""

from __future__ import annotations

import math

from linkwright.lengths import seconds
from linkwright.watch.diagnose.gathered import Figures


def _both(f: Figures) -> str:
    return "both branches" if f.b_dbm == f.b_dbm and f.a_dbm == f.a_dbm else "the level"


def _db(value: float) -> str:
    return f"{value:.0f} dB" if math.isfinite(value) else "an unknown amount"


def dbm(value: float) -> str:
    return f"{value:.0f} dBm" if math.isfinite(value) else "an unknown level"


def _over_need(f: Figures) -> str:
    if not math.isfinite(f.over_need_db):
        return ""
    side = "over" if f.over_need_db >= 0 else "under"
    return f", {abs(f.over_need_db):.0f} dB {side} what the receiver needs"


def too_far(f: Figures) -> str:
    return f"{_both(f)} sagged together by {_db(f.drop_db)} over many seconds to {dbm(f.level_dbm)}{_over_need(f)}"


def body(f: Figures) -> str:
    return f"{_both(f)} fell together by {_db(f.drop_db)} within a second, for {seconds(f.length_s)}"


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
    return (
        f"the audio broke {f.runs} times in {seconds(f.length_s)}, each for {seconds(f.longest_s)} at most, in "
        f"dips of the level that each branch had for itself{_over_need(f)}"
    )


def another(f: Figures) -> str:
    quality = f", with the quality at {100 * f.quality:.0f} %" if f.quality == f.quality else ""
    fell = "had hardly fallen" if f.drop_db > 1.5 else "had not fallen"
    return f"the level {fell} ({dbm(f.level_dbm)}{_over_need(f)}) while the audio broke{quality}"


def too_strong(f: Figures) -> str:
    return f"the level stood at the top of the meter ({dbm(f.level_dbm)})"


def vanished(f: Figures) -> str:
    gauge = "the gauge is not known" if f.gauge != f.gauge else f"the gauge said {100 * f.gauge:.0f} %"
    return f"{_both(f)} vanished at once, from {dbm(f.base_dbm)} to {dbm(f.level_dbm)}, and {gauge}"


def dead_audio(f: Figures) -> str:
    quality = f" and quality {100 * f.quality:.0f} %" if f.quality == f.quality else ""
    radio = f"the radio was good (level {dbm(f.level_dbm)}{quality})"
    return f"the audio was dead for {seconds(f.length_s)} while {radio}"


def nothing_clear(f: Figures) -> str:
    return (
        f"no cause stands out: {_both(f)} went from {dbm(f.base_dbm)} to {dbm(f.level_dbm)}{_over_need(f)}, for "
        f"{seconds(f.length_s)}"
    )

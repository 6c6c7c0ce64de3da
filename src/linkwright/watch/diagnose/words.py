"""An episode in words: what was seen, and what to do next."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from linkwright.units import mhz_text
from linkwright.watch.diagnose.causes import Figures
from linkwright.watch.diagnose.company import Company
from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.diagnose.products import Products

#: What to do next, by cause.
NEXT: Final = {
    "range": "Bring the receiver's antennas nearer or higher, or the talent back; more power only where the permit "
    "and the plan allow it.",
    "antenna": "Check the antenna, its plug and its cable of that branch; swap the two and see whether it goes "
    "along.",
    "body": "Move an antenna to the other side, or the transmitter to the side that faces it; keep hands off its "
    "antenna.",
    "multipath": "Move the antennas by a step, or farther apart from each other; walk the spot again.",
    "interference": "Listen on the carrier with the transmitter off; go over to a spare that proves good now, and "
    "tell the coordinator.",
    "intermodulation": "Keep those transmitters apart from each other and from the receiver, lower their power, or "
    "go over to a spare.",
    "overload": "Take the transmitter away from the receiver, lower its power, or put attenuation before the "
    "receiver.",
    "battery": "Change the cells; all of the set, of one kind.",
    "switched-off": "See whether the transmitter is on, and lock its switch.",
    "audio-path": "Check the microphone, its plug and its cable, and the transmitter's mute; the radio is good.",
    "unknown": "Listen, look at the link's trace at this time, and compare with the recordings.",
}


def words(
    cause: str, track: str, f: Figures, company: Company, products: Products, expected: Expected | None, open_: bool
) -> tuple[str, str]:
    """Because, and what to do: sentences."""
    because = {
        "range": _range, "antenna": _antenna, "body": _body, "multipath": _multipath, "interference": _interference,
        "intermodulation": _interference, "overload": _overload, "battery": _vanished, "switched-off": _vanished,
        "audio-path": _audio, "unknown": _unknown,
    }[cause](f)  # fmt: skip
    if cause == "intermodulation":
        because += _makers(products)
    if cause in ("range", "body", "interference", "battery", "switched-off", "overload"):
        because += _others(company)
    if cause in ("interference", "intermodulation") and expected is not None:
        because += _air(expected)
    if f.heard and track == "signal":
        because += f"; the audio was broken for {seconds(f.bad_s)}" + (" so far" if open_ else "")
    elif track != "audio":
        because += "; the audio held"
    do = NEXT[cause]
    if cause == "antenna":
        do = do.replace("that branch", f"branch {_weaker(f)}")
    if cause in ("interference", "intermodulation") and expected is not None and expected.spares_khz:
        spares = ", ".join(mhz_text(khz) for khz in expected.spares_khz[:3])
        do = do.replace("go over to a spare", f"go over to a spare ({spares} MHz)")
    return because[:1].upper() + because[1:] + ".", do


def seconds(value: float) -> str:
    """A length of time for people."""
    if value < 0.95:
        return f"{max(value, 0.1):.1f} s"
    if value < 99.5:
        return f"{value:.0f} s"
    return f"{value / 60:.0f} min"


def _both(f: Figures) -> str:
    return "both branches" if f.b_dbm == f.b_dbm and f.a_dbm == f.a_dbm else "the level"


def _db(value: float) -> str:
    return f"{value:.0f} dB" if math.isfinite(value) else "an unknown amount"


def _dbm(value: float) -> str:
    return f"{value:.0f} dBm" if math.isfinite(value) else "an unknown level"


def _over_need(f: Figures) -> str:
    if not math.isfinite(f.over_need_db):
        return ""
    side = "over" if f.over_need_db >= 0 else "under"
    return f", {abs(f.over_need_db):.0f} dB {side} what the receiver needs"


def _range(f: Figures) -> str:
    return f"{_both(f)} sagged together by {_db(f.drop_db)} over many seconds to {_dbm(f.level_dbm)}{_over_need(f)}"


def _body(f: Figures) -> str:
    return f"{_both(f)} fell together by {_db(f.drop_db)} within a second, for {seconds(f.length_s)}"


def _weaker(f: Figures) -> str:
    return "A" if not f.a_dbm > f.b_dbm else "B"


def _antenna(f: Figures) -> str:
    weak, other = (f.a_dbm, "B") if _weaker(f) == "A" else (f.b_dbm, "A")
    apart = abs(f.a_dbm - f.b_dbm)
    return (
        f"branch {_weaker(f)} lay {_db(apart)} under branch {other} for {seconds(f.length_s)} (at {_dbm(weak)}) "
        "and all but never led"
    )


def _multipath(f: Figures) -> str:
    return (
        f"the audio broke {f.runs} times in {seconds(f.length_s)}, each for {seconds(f.longest_s)} at most, in "
        f"dips of the level that each branch had for itself{_over_need(f)}"
    )


def _interference(f: Figures) -> str:
    quality = f", with the quality at {100 * f.quality:.0f} %" if f.quality == f.quality else ""
    fell = "had hardly fallen" if f.drop_db > 1.5 else "had not fallen"
    return f"the level {fell} ({_dbm(f.level_dbm)}{_over_need(f)}) while the audio broke{quality}"


def _overload(f: Figures) -> str:
    return f"the level stood at the top of the meter ({_dbm(f.level_dbm)})"


def _vanished(f: Figures) -> str:
    gauge = "the gauge is not known" if f.gauge != f.gauge else f"the gauge said {100 * f.gauge:.0f} %"
    return f"{_both(f)} vanished at once, from {_dbm(f.base_dbm)} to {_dbm(f.level_dbm)}, and {gauge}"


def _audio(f: Figures) -> str:
    quality = f" and quality {100 * f.quality:.0f} %" if f.quality == f.quality else ""
    radio = f"the radio was good (level {_dbm(f.level_dbm)}{quality})"
    return f"the audio was dead for {seconds(f.length_s)} while {radio}"


def _unknown(f: Figures) -> str:
    return (
        f"no cause stands out: {_both(f)} went from {_dbm(f.base_dbm)} to {_dbm(f.level_dbm)}{_over_need(f)}, for "
        f"{seconds(f.length_s)}"
    )


def _makers(products: Products) -> str:
    if products.makers:
        together = " and ".join([", ".join(products.makers[:-1]), products.makers[-1]])
        said = f", while {together} were on, whose product falls on this carrier"
        how = "was to come on by the plan" if products.by_plan else "came up"
        return said + (f"; it began as {products.rose} {how}" if products.rose else "")
    return f"; it began as {products.rose} came up while others were on" if products.rose else ""


def _air(expected: Expected) -> str:
    """What the sweep of the site says of the carrier."""
    swept = expected.swept
    if swept is None:
        return "; no sweep looked at this carrier"
    if swept.heard_dbm is not None:
        return f"; the sweep showed {_dbm(swept.heard_dbm)} of somebody on this carrier"
    return f"; the sweep showed nobody there, and misses {100.0 * swept.missed:.0f} % of those who come and go"


def _others(company: Company) -> str:
    """The link that stayed as it was, with the highest level: so it was not the receiver."""
    change = np.abs(company.while_dbm - company.before_dbm)
    level = np.where(change <= 6.0, company.while_dbm, -np.inf)
    if not level.size or not np.isfinite(level).any():
        return ""
    best = int(np.argmax(np.where(np.isfinite(level), level, -np.inf)))
    return f", while {company.names[best]} stayed at {company.while_dbm[best]:.0f} dBm"

"""Everything that could be in the way, each with how likely it is before anything was read there.

How often a thing goes wrong in which way is common practice without a source: the weights only order what the
levels leave open, and the answers decide.
"""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from linkwright.plan.chain import Scene
from linkwright.plan.hunt.case import Case, How, Suspect
from linkwright.plan.hunt.listener import HeardSender, HuntListener
from linkwright.plan.tuning import slots_khz
from linkwright.reach.received_levels import Radiator, heard_gains_db
from linkwright.shoot.place import Other, Site
from linkwright.shoot.view import others_during
from linkwright.units import FloatArray, dbm_from_mw, mhz_text

#: How likely it is that somebody does so (assumed): on as planned, on at an hour of the same day or of another, on
#: a spare, on a carrier that it had on another day, on any carrier by mistake.
PLANNED: Final = 1.0
SAME_DAY: Final = 0.15
OTHER_DAY: Final = 0.02
ON_SPARE: Final = 0.15
EARLIER: Final = 0.08
MISTAKE: Final = 0.02
STRANGER: Final = 0.25
STRONG: Final = 0.5
#: Somebody who is off to be on, in a product: for each.
OFF_IN_PRODUCT: Final = 0.1
#: How well a level is known beforehand [dB] (assumed).
SPREAD_DB: Final = 9.0
#: How much nearer, or farther, than planned somebody may stand who is on the same site [dB] (assumed).
NEARER_DB: Final = 15.0
#: What is not as strong as this over the noise breaks nobody [dB]; from so much on it surely may.
BREAKS_FROM_DB: Final = 3.0
#: What begins within so many hours is of the same day.
HOURS: Final = 16.0
#: How many transmitters' products are looked at, the strongest.
MAKERS: Final = 24
#: A stranger's level, of which nothing is known [dBm].
UNKNOWN_DBM: Final = -80.0


def may_break(level_dbm: float, noise_dbm: float, spread_db: float = SPREAD_DB) -> float:
    """How likely a level breaks a link that has some margin (0..1): a normal spread about a step over the noise."""
    return 0.5 * math.erfc((noise_dbm + BREAKS_FROM_DB - level_dbm) / (spread_db * math.sqrt(2.0)))


def suspects(scene: Scene, case: Case, listener: HuntListener, senders: Sequence[HeardSender]) -> list[Suspect]:
    """All suspects of a case, in no order."""
    places = [
        site for site in scene.used_sites if site.name in case.readings_dbm or site.name == listener.site.name
    ]
    level_at = {place.name: listener.levels_dbm(senders, place) for place in places}
    every = list(_on_the_carrier(case, listener, senders, level_at))
    every += _products(case, listener, senders, level_at)
    every += _strong(listener, senders, level_at[listener.site.name])
    every += _tv(scene, listener, places)
    every += _others(scene, case, listener)
    every.append(
        Suspect(
            "stranger", (), f"somebody who is not in the plan, on {mhz_text(case.carrier_khz)} MHz", STRANGER,
            UNKNOWN_DBM, {}, ("nothing is known of him beforehand",),
        )
    )  # fmt: skip
    return [suspect for suspect in every if suspect.weight > 0.0]


def _named(sender: HeardSender) -> str:
    crew = f" ({sender.chain.link.crew})" if sender.chain.link.crew else ""
    return f"{sender.name}{crew} at {sender.chain.site.name}"


def _touches(listener: HuntListener, sender: HeardSender, khz: int) -> bool:
    apart = (listener.width_khz + sender.chain.transmitter.bandwidth_khz) / 2.0
    return abs(khz - listener.carrier_khz) < apart


def _on_the_carrier(
    case: Case,
    listener: HuntListener,
    senders: Sequence[HeardSender],
    level_at: Mapping[str, FloatArray],
) -> Iterator[Suspect]:
    """Links that are, or by some slip may be, on the carrier."""
    here = level_at[listener.site.name]
    seen: dict[str, tuple[float, Suspect]] = {}
    earlier: dict[str, set[int]] = {}
    for sender in senders:
        earlier.setdefault(sender.name, set()).add(sender.planned.carrier_khz)
    for n, sender in enumerate(senders):
        if sender.name == listener.victim:
            continue
        prior, how, why = _slip(case, listener, sender, earlier[sender.name])
        if prior <= 0.0:
            continue
        level = float(here[n])
        weight = prior * may_break(level, listener.chain.noise_dbm)
        lines = (f"{why}; {level:.0f} dBm at the receiver, as far as the models go",)
        elsewhere = {name: float(levels[n]) for name, levels in level_at.items()}
        says = f"{_named(sender)} {_doing(how)} on {mhz_text(case.carrier_khz)} MHz"
        site = sender.chain.site.name
        stands = () if site == listener.site.name else (site,)
        suspect = Suspect("carrier", (sender.name,), says, weight, level, elsewhere, lines, how, stands)
        if sender.name not in seen or weight > seen[sender.name][0]:
            seen[sender.name] = weight, suspect
    yield from (suspect for _, suspect in seen.values())


def _doing(how: How) -> str:
    return {
        "planned": "is",
        "hour": "is, at another hour than planned,",
        "spare": "is, on a spare,",
        "mistake": "is by mistake",
    }[how]


def _slip(case: Case, listener: HuntListener, sender: HeardSender, had: set[int]) -> tuple[float, How, str]:
    """How likely a link is on the carrier, in which way, and why that is thought."""
    planned, f = sender.planned, mhz_text(sender.planned.carrier_khz)
    here = sender.chain.site.name
    if _touches(listener, sender, planned.carrier_khz):
        if sender.now:
            return PLANNED, "planned", f"it is planned on {f} MHz at {here} now"
        when = sender.call.starts
        told = f"{when:%d %b %H:%M}" if when is not None else "another time"
        prior = SAME_DAY if _same_day(sender, case.since) else OTHER_DAY
        return prior, "hour", f"it is planned on {f} MHz at {here} on {told}, not now"
    if not sender.now:
        return 0.0, "planned", ""
    for khz in planned.spares_khz:
        if _touches(listener, sender, khz):
            return ON_SPARE, "spare", f"it is on now, planned on {f} MHz, and has {mhz_text(khz)} MHz as a spare"
    for khz in had:
        if _touches(listener, sender, khz):
            return (
                EARLIER,
                "mistake",
                f"it is on now, planned on {f} MHz; on another day it has {mhz_text(khz)} MHz",
            )
    kit = sender.chain.transmitter
    slots = slots_khz(kit.tunes_khz, kit.raster_khz)
    at = int(np.searchsorted(slots, case.carrier_khz))
    if at < slots.size and int(slots[at]) == case.carrier_khz:
        return MISTAKE, "mistake", f"it is on now, planned on {f} MHz; its kit tunes this carrier"
    return 0.0, "planned", ""


def _products(
    case: Case,
    listener: HuntListener,
    senders: Sequence[HeardSender],
    level_at: Mapping[str, FloatArray],
) -> Iterator[Suspect]:
    """Third-order products of the strongest at the receiver that fall on the carrier: of those who are on, and of
    those who would be at another hour of the day."""
    here = level_at[listener.site.name]
    day = _of_the_day(case, listener, senders, here)
    iip3 = float(listener.chain.ends.iip3_dbm(case.carrier_khz / 1000.0))
    noise, reach = listener.chain.noise_dbm, 1.5 * listener.width_khz
    khz = {n: senders[n].planned.carrier_khz for n in day}
    for makers, at_khz, level in itertools.chain(_two(day, khz, here, iip3), _three(day, khz, here, iip3)):
        apart = abs(at_khz - case.carrier_khz)
        if apart >= reach or level < noise - 12.0:
            continue
        inside_db = -10.0 * math.log10(3.0) if apart < reach / 2.0 else -13.0
        off = sum(not senders[n].now for n in makers)
        shown = level + inside_db
        weight = PLANNED * OFF_IN_PRODUCT**off * may_break(shown, noise)
        who = tuple(senders[n].name for n in makers)
        form = "2A-B" if len(makers) == 2 else "A+B-C"
        lines = [f"{form} falls {apart} kHz from the carrier; {shown:.0f} dBm in the filter at most"]
        lines += [f"{_named(senders[n])} is {'on' if senders[n].now else 'not meant to be on'} now" for n in makers]
        elsewhere = {name: (shown if name == listener.site.name else None) for name in level_at}
        yield Suspect("product", who, f"{form} of {', '.join(who)}", weight, shown, elsewhere, tuple(lines))


def _of_the_day(case: Case, listener: HuntListener, senders: Sequence[HeardSender], here: FloatArray) -> list[int]:
    """The strongest senders, by index, that are on or are meant to be within the day: each link once."""
    on = {sender.name for sender in senders if sender.now}
    makers: dict[str, int] = {}
    for n in np.argsort(-here, kind="stable").tolist():
        sender = senders[n]
        if sender.name == listener.victim or sender.name in makers or (sender.name in on and not sender.now):
            continue
        if sender.now or _same_day(sender, case.since):
            makers[sender.name] = n
        if len(makers) == MAKERS:
            break
    return list(makers.values())


def _same_day(sender: HeardSender, moment: datetime.datetime) -> bool:
    """Whether the call of a sender begins within some hours of a moment."""
    when = sender.call.starts
    return when is not None and abs((when - moment).total_seconds()) < HOURS * 3600.0


def _two(
    day: Sequence[int], khz: Mapping[int, int], here: FloatArray, iip3: float
) -> Iterator[tuple[tuple[int, ...], int, float]]:
    for a, b in itertools.permutations(day, 2):
        yield (a, b), 2 * khz[a] - khz[b], float(2.0 * here[a] + here[b] - 2.0 * iip3)


def _three(
    day: Sequence[int], khz: Mapping[int, int], here: FloatArray, iip3: float
) -> Iterator[tuple[tuple[int, ...], int, float]]:
    for a, b in itertools.combinations(day, 2):
        for c in day:
            if c not in (a, b):
                level = here[a] + here[b] + here[c] - 2.0 * iip3 + 6.02
                yield (a, b, c), khz[a] + khz[b] - khz[c], float(level)


def _strong(listener: HuntListener, senders: Sequence[HeardSender], here: FloatArray) -> Iterator[Suspect]:
    """Who is so near that the receiver is driven, whatever the carrier."""
    blocking = listener.chain.receiver.blocking_dbm
    for n in np.argsort(-here, kind="stable")[:12].tolist():
        sender = senders[n]
        if not sender.now or sender.name == listener.victim:
            continue
        weight = STRONG * may_break(float(here[n]), blocking - BREAKS_FROM_DB - 6.0, NEARER_DB)
        lines = (
            f"{here[n]:.0f} dBm at the receiver, on {mhz_text(sender.planned.carrier_khz)} MHz; the receiver bears "
            f"{blocking:g} dBm off its channel",
        )
        says = f"{_named(sender)} is too near to the receiver"
        yield Suspect("strong", (sender.name,), says, weight, float(here[n]), {}, lines)


def _tv(scene: Scene, listener: HuntListener, places: Sequence[Site]) -> Iterator[Suspect]:
    half = listener.width_khz / 2.0
    for taken in scene.air[listener.site.name].taken:
        channel = taken.channel
        if channel.from_khz - half < listener.carrier_khz < channel.to_khz + half:
            also = {
                place.name: -75.0
                for place in places
                if any(other.channel.number == channel.number for other in scene.air[place.name].taken)
            }
            says = f"TV channel {channel.number} is on the air there"
            yield Suspect("tv", (), says, 2.0 * PLANNED, -75.0, also, (taken.says,))


def _others(scene: Scene, case: Case, listener: HuntListener) -> Iterator[Suspect]:
    """Others that are known on the site."""
    calls = [call for call in scene.calls_on(listener.site) if _is_on(call.starts, call.ends, case.since)]
    mhz = case.carrier_khz / 1000.0
    for other in scene.others[listener.site.name]:
        low, high = other.band_khz
        half = listener.width_khz / 2.0
        if high <= case.carrier_khz - half or low >= case.carrier_khz + half:
            continue
        on = not calls or any(others_during((other,), call) for call in calls)
        level = _other_dbm(listener, other, mhz)
        weight = (PLANNED if on else SAME_DAY) * may_break(level, listener.chain.noise_dbm)
        lines = (f"{mhz_text(round((low + high) / 2))} MHz; {level:.0f} dBm at the receiver",)
        yield Suspect(
            "other", (other.name,), f"{other.name} is on", weight, level, {listener.site.name: level}, lines
        )


def _is_on(starts: datetime.datetime | None, ends: datetime.datetime | None, at: datetime.datetime) -> bool:
    return starts is None or ends is None or starts <= at < ends


def _other_dbm(listener: HuntListener, other: Other, mhz: float) -> float:
    if other.heard_dbm is not None:
        return other.heard_dbm
    radiator = Radiator((other.stands,), mhz, dbm_from_mw(other.radiated_mw))
    return float(heard_gains_db([listener.chain.ends], [mhz], [radiator])[0, 0])

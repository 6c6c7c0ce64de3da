"""What stands on each sheet, as plain values: from the shoot and its plan, in the words that people read.

Nothing here knows paper; the templates lay it out. The same shoot and plan give the same values.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from linkwright.day.schedule import TimedCall, schedule
from linkwright.day.steps import heard_with
from linkwright.plan.answer import answer_sentence, heard_says, itself_says, short_says
from linkwright.plan.findings import once
from linkwright.plan.model import Battery, Plan, PlannedCall, PlannedLink
from linkwright.plan.products import products_sentence
from linkwright.rules import territory
from linkwright.shoot.catalogue import called
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.place import Site
from linkwright.shoot.view import receiving_point, sites, transmitter_of
from linkwright.units import number_word, together

#: From conducted power to effective radiated power over a half-wave dipole [dB].
ERP_DB: Final = 2.15
#: So many of the plan's findings stand on the crew's sheet; the gravest come first.
MOST_FINDINGS: Final = 6
#: A card holds so many different settings, and a link with more has another; what they are told apart by.
MOST_ON_A_CARD: Final = 2
SET_KEYS: Final = ("carrier", "channel", "spares", "power", "attenuation", "low_cut", "delay", "squelch", "verdict")
#: What to do when a link breaks up, in the order in which it costs least (common practice, no source).
BREAKS_UP: Final = (
    "Ask for one moment, and look at the receiver: level of both branches, quality, battery.",
    "Level low on both: bring the antennas nearer or into sight; turn the talent; ask who stands in between.",
    "Level low on one branch only: look at that antenna, its cable and its plugs.",
    "Level high and still breaking up: somebody else is on it. Listen on the first spare with the transmitter off, "
    "then go there: transmitter first, then receiver.",
    "No level at all: battery, switch, or wrong carrier. Fresh cells first; then compare carriers on both ends.",
    "Level and quality good, no sound: microphone, plug, mute, attenuation. Change the microphone before the pack.",
    "Write down the time and the link: the log and the recording can be matched to it afterwards.",
)
#: The same in a sentence, for a card.
BREAKS_UP_SHORT: Final = (
    "If it breaks up: ask for one moment. No level: fresh cells, then compare carriers. Level high: somebody is on "
    "it, so go to the first spare, transmitter first. No sound: microphone, plug, mute."
)


def header(shoot: Shoot, paper: str) -> dict[str, Any]:
    """What every sheet begins and ends with."""
    return {
        "paper": paper,
        "title": shoot.shoot.title,
        "date": long_date(shoot.shoot.date),
        "region": territory(shoot.shoot.region).name,
        "foot": "Licence and regulator override this sheet. Predictions are estimates: listen on site, and never "
        "transmit outside band, place, time or power.",
    }


def long_date(day: datetime.date) -> str:
    """A day as people write it: 14 May 2027."""
    months = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
              "November", "December")  # fmt: skip
    return f"{day.day} {months[day.month - 1]} {day.year}"


def crew(shoot: Shoot, plan: Plan) -> dict[str, Any]:
    """The crew's sheet: links, carriers, spares in order, settings, battery times, cautions."""
    by_link, timed = _batteries(plan.batteries), {row.live.name: row for row in schedule(shoot)}
    return {
        "answer": answer_sentence(plan),
        "calls": [_call(timed[call.call], call, by_link) for call in plan.calls],
        "moves": [
            {
                "link": move.who,
                "from": move.before,
                "to": move.after,
                "because": move.because,
            }
            for move in plan.moves
        ],
        **_findings(plan),
        "contacts": contacts(shoot),
        "cautions": list(territory(shoot.shoot.region).cautions),
    }


def _findings(plan: Plan) -> dict[str, Any]:
    """The gravest findings, each told once, and what was left out."""
    told = once([finding for finding in plan.findings if finding.severity != "note"])
    notes = once([finding for finding in plan.findings if finding.severity == "note"])
    more = len(told) - MOST_FINDINGS
    left = [f"{number_word(more)} more warning{'' if more == 1 else 's'}"] if more > 0 else []
    left += [f"{number_word(len(notes))} note{'' if len(notes) == 1 else 's'}"] if notes else []
    return {
        "findings": [
            {
                "severity": finding.finding.severity,
                "do": finding.finding.do,
                "says": finding.finding.says
                + (f" The same for {together(finding.besides)}." if finding.besides else ""),
            }
            for finding in told[:MOST_FINDINGS]
        ],
        "left_out": f"Left out here: {' and '.join(left)}; all stand on the page Plan." if left else "",
    }


def cards(shoot: Shoot, plan: Plan, codes: Mapping[str, str]) -> dict[str, Any]:
    """A card for each link; `codes` are drawings of QR codes by name of the link, of those that have a page."""
    by_link = _batteries(plan.batteries)
    made = []
    times = {timed.live.name: hours(timed) for timed in schedule(shoot)}
    for link in shoot.link:
        live = [(call, planned) for call in plan.calls for planned in call.links if planned.link == link.name]
        heard = [f"In {call.call} it {heard_says(planned)}." for call, planned in live if planned.listeners]
        alone = [
            (call, planned)
            for call in plan.calls
            for planned in call.by_themselves or ()
            if planned.link == link.name
        ]
        groups = _grouped(live, times)
        parts = [groups[n : n + MOST_ON_A_CARD] for n in range(0, max(1, len(groups)), MOST_ON_A_CARD)]
        for n, settings in enumerate(parts, 1):
            made.append(
                {
                    "link": link.name,
                    "part": f"{n} of {len(parts)}" if len(parts) > 1 else "",
                    "transmitter": f"{called(link.sends.kit)} to {heard_with(link)}",
                    "microphone": link.microphone or "",
                    "encrypted": _encrypted(link),
                    "settings": settings,
                    "told": [*heard, *(f"In {call.call} it {itself_says(planned)}." for call, planned in alone)],
                    "missing": [
                        call.call for call in plan.calls if any(u.link == link.name for u in call.unplaced)
                    ],
                    "batteries": by_link.get(link.name, []),
                    "code": codes.get(link.name, ""),
                }
            )
    return {"cards": made, "breaks_up": BREAKS_UP_SHORT, "contacts": contacts(shoot)}


def coordination(shoot: Shoot, plan: Plan) -> dict[str, Any]:
    """For whoever coordinates the site, or the regulator: who sends what, where, when, with which permit."""
    rows = []
    by_name = {link.name: link for link in shoot.link}
    spans = {timed.live.name: timed for timed in schedule(shoot)}
    for call in plan.calls:
        site = next(site for site in sites(shoot) if site.name == call.site)
        for planned in sorted(call.links, key=lambda link: link.carrier_khz):
            link = by_name[planned.link]
            transmitter = transmitter_of(shoot, link)
            gain = transmitter.antenna_gain_dbi
            at = receiving_point(site, link)
            rows.append(
                {
                    "carrier": planned.carrier,
                    "spares": ", ".join(planned.spares) or "none",
                    "bandwidth": f"{transmitter.bandwidth_khz}",
                    "power": f"{planned.power_mw:g}",
                    "erp": f"{planned.power_mw * 10 ** ((gain - ERP_DB) / 10):.2g}",
                    "link": planned.link,
                    "where": site.name,
                    "receiver": f"{at.name} ({at.x_m:g} m E, {at.y_m:g} m N)",
                    "when": when(spans[call.call]),
                }
            )
    return {
        "permits": permits_said(shoot),
        "sites": [_place(site) for site in sites(shoot) if any(call.site == site.name for call in plan.calls)],
        "rows": sorted(rows, key=lambda row: (row["where"], row["when"])),
        "contacts": contacts(shoot),
    }


def contingency(shoot: Shoot, plan: Plan) -> dict[str, Any]:
    """If it breaks up, do this; and for every link the spares in the order to try them."""
    return {
        "steps": list(BREAKS_UP),
        "calls": [
            {
                "call": call.call,
                "site": call.site,
                "links": [
                    {
                        "link": link.link,
                        "carrier": link.carrier,
                        "spares": list(link.spares),
                        "worst": link.worst_place,
                        "margin": f"{link.in_hand_db:.0f}".replace("-", "\N{MINUS SIGN}"),
                        "verdict": link.verdict,
                    }
                    for link in call.links
                ],
            }
            for call in plan.calls
        ],
        "contacts": contacts(shoot),
    }


def titled(permit: PermitHeld) -> str:
    """A permit by name and number."""
    return f"{permit.name}, {permit.number}" if permit.number else permit.name


def permits_said(shoot: Shoot) -> str:
    """The permits of a shoot by name and number, and the kinds that it names in words."""
    kinds = [permit_called(shoot, permit) for permit in shoot.shoot.permits]
    said = [titled(permit) for permit in shoot.permit] + [f"{kind} (no number given)" for kind in kinds]
    return "; ".join(said) or "none: exempt use only"


def permit_called(shoot: Shoot, permit: str) -> str:
    """What the rules call a kind of permit; its id where they do not know it."""
    kinds = territory(shoot.shoot.region).permits
    return next((kind.name for kind in kinds if permit in (kind.id, *kind.also)), permit)


def contacts(shoot: Shoot) -> list[dict[str, str]]:
    """Whom to call."""
    return [
        {
            "name": contact.name,
            "role": contact.role or "",
            "phone": contact.phone or "",
            "email": contact.email or "",
        }
        for contact in shoot.contact
    ]


def when(timed: TimedCall) -> str:
    """From when to when a call is, or that nothing is said of it."""
    if timed.span is None:
        return "all day"
    starts, ends = timed.span
    day = "" if starts.date() == ends.date() else f" on {ends.date().isoformat()}"
    return f"{starts:%Y-%m-%d %H:%M}\N{EN DASH}{ends:%H:%M}{day}"


def hours(timed: TimedCall) -> str:
    """From when to when a call is, without its day; nothing where nothing is said of it."""
    return "" if timed.span is None else "{:%H:%M}\N{EN DASH}{:%H:%M}".format(*timed.span)


def _call(timed: TimedCall, call: PlannedCall, batteries: Mapping[str, list[dict[str, str]]]) -> dict[str, Any]:
    set_up = f"set up from {timed.sets_up:%H:%M}" if timed.sets_up is not None and timed.set_up_min > 0.0 else ""
    return {
        "call": call.call,
        "site": call.site,
        "when": when(timed),
        "set_up": set_up,
        "breaks": ", ".join(f"{a:%H:%M}\N{EN DASH}{b:%H:%M}" for a, b in timed.breaks),
        "links": [{**_settings(link), "cells": _times(batteries.get(link.link, []), timed)} for link in call.links],
        "unplaced": [{"link": gone.link, "because": gone.because} for gone in call.unplaced],
        "told": [
            *({"link": link.link, "says": heard_says(link)} for link in call.links if link.listeners),
            *({"link": link.link, "says": itself_says(link)} for link in call.by_themselves or ()),
        ],
        "products": products_sentence(call),
    }


def _settings(link: PlannedLink) -> dict[str, Any]:
    """What is set on a link's two ends, and what it comes to."""
    return {
        "link": link.link,
        "carrier": link.carrier,
        "channel": f"{link.receiver_unit}.{link.receiver_channel}",
        "spares": list(link.spares),
        "power": f"{link.power_mw:g}",
        "attenuation": "" if link.attenuation_db is None else f"{link.attenuation_db:g}",
        "low_cut": "" if link.low_cut_hz is None else "off" if link.low_cut_hz == 0 else f"{link.low_cut_hz:g}",
        "delay": "" if link.set_delay_ms is None else f"{link.set_delay_ms:.1f}",
        "squelch": "" if link.squelch_dbm is None else f"{link.squelch_dbm:.0f}".replace("-", "\N{MINUS SIGN}"),
        "margin": f"{link.in_hand_db:.0f}".replace("-", "\N{MINUS SIGN}"),
        "hand": f"{short_says(link.in_hand_db)}, weakest at {link.worst_place}",
        "worst": link.worst_place,
        "verdict": link.verdict,
    }


def _grouped(live: Sequence[tuple[PlannedCall, PlannedLink]], times: Mapping[str, str]) -> list[dict[str, Any]]:
    """A link's settings, those that are the same in several calls once, with where and when."""
    groups: list[dict[str, Any]] = []
    for call, link in live:
        settings = _settings(link)
        same = next((group for group in groups if all(group[key] == settings[key] for key in SET_KEYS)), None)
        if same is None:
            groups.append({**settings, "where": [_where(call, times)]})
        else:
            same["where"].append(_where(call, times))
    for group in groups:
        group["where"] = "; ".join(group["where"])
    return groups


def _where(call: PlannedCall, times: Mapping[str, str]) -> str:
    return ", ".join(filter(None, [call.call, call.site, times.get(call.call, "")]))


def _encrypted(link: Link) -> str:
    if link.encrypted is None:
        return "encryption not said: the same at both ends"
    return "encrypted at both ends" if link.encrypted else "not encrypted, at neither end"


def _batteries(batteries: Iterable[Battery]) -> dict[str, list[dict[str, str]]]:
    """Changes of cells by link: the time as printed, and what would be left."""
    by_link: dict[str, list[dict[str, str]]] = {}
    for battery in batteries:
        at = datetime.datetime.fromisoformat(battery.change_at)
        entry = {
            "at": f"{battery.listener} {at:%H:%M}" if battery.listener else f"{at:%H:%M}",
            "day": at.date().isoformat(),
            "left": f"{battery.left_h:.1f}",
            "iso": battery.change_at,
        }
        by_link.setdefault(battery.link, []).append(entry)
    return by_link


def _times(changes: Iterable[Mapping[str, str]], timed: TimedCall) -> str:
    """The changes before a call, from its setting up on, and in it."""
    if timed.span is None or timed.leaves is None:
        return ", ".join(change["at"] for change in changes)
    leaves, ends = timed.leaves, timed.span[1]
    return ", ".join(
        change["at"] for change in changes if leaves <= datetime.datetime.fromisoformat(change["iso"]) <= ends
    )


def _place(site: Site) -> dict[str, str]:
    known = site.latitude is not None and site.longitude is not None
    return {
        "name": site.name,
        "position": f"{site.latitude:.5f}, {site.longitude:.5f}" if known else "position not given",
    }

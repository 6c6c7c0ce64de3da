"""The codes of findings: how grave each is, what it means, and what to do. docs/findings.md is made from this."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.plan.model import Finding, Severity


@dataclass(frozen=True, slots=True)
class Code:
    """What a code stands for."""

    severity: Severity
    means: str
    do: str


CODES: Final[dict[str, Code]] = {
    "closed": Code(
        "warn",
        "Part of what the equipment tunes is closed here, or no part of it is open.",
        "Keep the equipment to the open part; take other equipment where none is open.",
    ),
    "permit": Code(
        "stop",
        "The equipment tunes only where a permit is needed that the shoot does not name.",
        "Get the permit and name it in permits, or take equipment that tunes where exempt use is allowed.",
    ),
    "assumed-rule": Code(
        "warn",
        "A row of the rules decides that was not read in the instrument itself.",
        "Read the document that is named; then put the row's id into accepts.",
    ),
    "tuning": Code(
        "stop",
        "Transmitter and receiver tune no carrier in common.",
        "Pair the transmitter with a receiver that tunes the same range.",
    ),
    "tv-cochannel": Code(
        "stop",
        "The carrier lies in a TV channel that is on the air here, or too near to its edge.",
        "Unlock the carrier, or take equipment that tunes outside the channel.",
    ),
    "other-cochannel": Code(
        "warn",
        "Somebody else's transmitter is received on the link's carrier.",
        "Agree with them who moves; where the link is locked, unlock it.",
    ),
    "reuse": Code(
        "warn",
        "Links of another site of the same shoot are heard on the link's carrier.",
        "Give the sites more distance or other times, or the links more tuning range.",
    ),
    "site-position": Code(
        "note",
        "Sites whose calls overlap have no position, so they are taken to be out of each other's reach.",
        "Give every site its latitude and longitude.",
    ),
    "timezone": Code(
        "note",
        "The shoot does not say in which time zone its times are, and its region has several.",
        "Say timezone in the shoot, or give the site its latitude and longitude.",
    ),
    "busy": Code(
        "warn",
        "The sweep shows something on the link's carrier.",
        "Find out what it is and listen there; unlock the link or take equipment that tunes elsewhere.",
    ),
    "intermodulation": Code(
        "warn",
        "No plan was found that keeps every product off every carrier; the products are weighed by power.",
        "Use fewer links at once, more tuning range, or less power; listen for it on site.",
    ),
    "adjacent": Code(
        "warn",
        "A strong carrier beside the link's own comes through mask and filter and takes its margin.",
        "Give the two more distance in frequency, or the strong one less power or more distance.",
    ),
    "near-far": Code(
        "warn",
        "Transmitters near the receiver raise its noise, and a far link loses its margin.",
        "Move the receiver's antennas away from the near transmitters, or lower their power.",
    ),
    "overdriven": Code(
        "warn",
        "A transmitter is so near to the receiver that it drives it beyond half of its intercept point.",
        "Move the antennas away from the near transmitter, or take its power down; an attenuator helps as well.",
    ),
    "distance-assumed": Code(
        "note",
        "Nothing says how far the talent goes from the receiver.",
        "Say at the link how far it goes, or draw spots on the site.",
    ),
    "sight-assumed": Code(
        "note",
        "How far there is sight on the site was assumed, since its walls are not said to be complete.",
        "Draw the walls and say that they are complete, or walk the place and note levels.",
    ),
    "crowded": Code(
        "warn",
        "More links want carriers of a kind than the band holds.",
        "Choose one of these; every number is proved.",
    ),
    "receiver-channels": Code(
        "warn",
        "More links want a type of receiver at one spot than one unit has channels.",
        "Have as many units at hand, and say count; or give links other receivers.",
    ),
    "other-assumed": Code(
        "note",
        "Where another transmitter stands is not known, so the least kind is assumed.",
        "Say at, or heard_dbm where its level was read at the receivers.",
    ),
    "power-short": Code(
        "warn",
        "A higher power step of the transmitter would hold, but the rules do not allow it here.",
        "Bring the receiver's antennas nearer or take them higher; ask for a permit with more power.",
    ),
    "reach-short": Code(
        "warn",
        "The link is not as sure to hold along its route as is wanted, at the power that it has.",
        "Bring the receiver's antennas nearer to the worst spot, or into its line of sight.",
    ),
    "spare-missing": Code(
        "warn",
        "Fewer spare carriers could be reserved than the link asks for.",
        "Ask for fewer spares, or give the links more tuning range.",
    ),
    "spare-replaced": Code(
        "warn",
        "Somebody came on a spare while a sweep looked; another one was proved in its place.",
        "Give out the cards again, or tell whoever has an old one.",
    ),
    "unplaced": Code(
        "stop",
        "The link found no carrier.",
        "Follow the reason that is given: free tuning range, permits, spacing or locks.",
    ),
    "locked": Code(
        "stop",
        "The carrier that the link is locked to cannot be used.",
        "Unlock the link, or lock it to a carrier that its equipment and the rules allow.",
    ),
    "moves-unproved": Code(
        "note",
        "The search for the fewest moves from the earlier plan reached its limit: fewer might do.",
        "Lock who must not move, and plan again.",
    ),
    "moved": Code(
        "note",
        "The link could not keep the carrier of the earlier plan.",
        "Set transmitter and receiver to the new carrier, and listen before the take.",
    ),
    "carrier-changes": Code(
        "note",
        "The link has different carriers in different calls of one site.",
        "Set transmitter and receiver again between the calls.",
    ),
    "sweep-missing": Code(
        "warn",
        "There is no sweep of the site: what others transmit there is known only as far as the shoot says.",
        "Sweep the site on arrival and name the file in sweeps.",
    ),
    "sweep-old": Code(
        "warn",
        "The sweep was made long before or after the call.",
        "Sweep again before the call.",
    ),
    "sweep-brief": Code(
        "note",
        "The site was not looked at for long enough to be sure of what was not seen.",
        "Sweep for longer, or several times; listen before the take.",
    ),
    "sweep-deaf": Code(
        "warn",
        "A sweep does not show what is known to be on the air: its antenna was off. It does not count.",
        "Check antenna and cable, and sweep again.",
    ),
    "sweep-elsewhere": Code(
        "warn",
        "A sweep is named at more than one site; it counts at the first only.",
        "Sweep this site itself.",
    ),
    "sweep-relative": Code(
        "note",
        "The sweep is not calibrated: it tells which slots are quieter than others, and no absolute level.",
        "Where the file lacks its unit, state it; or use a calibrated receiver.",
    ),
    "air-contradicts": Code(
        "warn",
        "What is said or predicted to be on the air does not show in the sweep.",
        "Check antenna and cable of the sweep, then the list; listen there before you rely on either.",
    ),
    "tv-unlisted": Code(
        "note",
        "The sweep shows a multiplex that neither the shoot nor the list of stations has.",
        "Add the channel to tv; look at the date of the list.",
    ),
    "tv-doubtful": Code(
        "note",
        "TV may or may not be heard in these channels, as far as prediction can tell.",
        "Look at them in a sweep, or stay out of them.",
    ),
    "tv-predicted": Code(
        "warn",
        "Predicted TV raises the noise of the link.",
        "Sweep the site to see whether it is there; unlock the link or take equipment that tunes elsewhere.",
    ),
    "sweep-partial": Code(
        "warn",
        "The sweep does not cover everything that the links tune.",
        "Sweep the whole tuning range.",
    ),
    "walk-unread": Code(
        "warn",
        "The site names what a walk test taught, but it was not read.",
        "Read the shoot from its file, with the file of the walk test beside it.",
    ),
    "feeder-loss": Code(
        "warn",
        "So much is lost between an antenna and the receiver that the noise figure rises.",
        "Take a better or shorter line, or a preamplifier at the antenna that makes up for what follows it.",
    ),
    "control-short": Code(
        "note",
        "Remote setting does not reach the talent along the whole route.",
        "Set the transmitter before the talent leaves, or go there; nothing else depends on it.",
    ),
    "squelch-risk": Code(
        "warn",
        "No squelch setting both keeps out somebody else on the carrier and never cuts the talent.",
        "Take another carrier, or bring the antennas nearer; mute the channel while its transmitter is off.",
    ),
    "gain-excess": Code(
        "warn",
        "There is more gain before the receiver than its line loses: strong neighbours mix in it earlier.",
        "Turn the preamplifier down to what line and splitter lose, or take it out.",
    ),
    "battery-in-take": Code(
        "warn",
        "Cells have to be changed in a take: no break is reached before they are used up.",
        "Put a break before that time, lower the power, or take cells that last longer.",
    ),
    "battery-short": Code(
        "warn",
        "The next chance to change cells is reached only on the reserve of the old ones.",
        "Begin the call with fresh cells, move the break forward, or let the talent change at a pause.",
    ),
    "cells-unknown": Code(
        "note",
        "Nothing is known of a pack's cells or of what it draws.",
        "Give its cells and what it draws; log a run time and the prediction follows it.",
    ),
    "set-up-short": Code(
        "warn",
        "There is less time between two calls than travel and setting up take.",
        "Move the call, leave earlier, or set up beforehand; say set_up_min where the estimate is not yours.",
    ),
    "link-twice": Code(
        "warn",
        "A link is live in two calls at once; one transmitter cannot be in both.",
        "Give each call its own links, or move one of the calls.",
    ),
    "gain-hot": Code(
        "warn",
        "The voice's peaks come too near to full scale at the transmitter's converter.",
        "Set more attenuation, take a less sensitive microphone, or put it farther from the mouth.",
    ),
    "microphone-loud": Code(
        "warn",
        "The voice's peaks are louder than the microphone takes; no attenuation behind it helps.",
        "Take a microphone for higher levels, or put it farther from the mouth.",
    ),
    "voice-noisy": Code(
        "note",
        "The voice lies little over the noise of microphone, converter and recorder.",
        "Set less attenuation, bring the microphone nearer, or raise the level that goes into the recorder.",
    ),
    "phantom-missing": Code(
        "stop",
        "The microphone needs phantom power that the transmitter does not give, or more than it gives.",
        "Take a transmitter with enough 48 V phantom power, or a microphone without; phantom off before plugging.",
    ),
    "latency-missing": Code(
        "warn",
        "How late a transmitter, receiver or recorder is, is not said, and paths with others are in the same call.",
        "Say its latency from the data sheet, or record one clap over both paths and let `linkwright listen` tell.",
    ),
    "setting-unknown": Code(
        "warn",
        "A value is set that the equipment does not have as a step.",
        "Look at the equipment again, or correct its steps in the shoot.",
    ),
    "low-cut-high": Code(
        "note",
        "The low cut that is set takes more than 1 dB from the voice's low fundamental.",
        "Set a lower step, unless wind or traffic is worse than a thin voice.",
    ),
    "paths-apart": Code(
        "note",
        "Paths that are recorded together come at different times: mixed, they comb.",
        "Set the delays that the page Sound tells, or mix one of them only.",
    ),
    "lip-sync": Code(
        "warn",
        "Sound and picture come so far apart that a viewer notices.",
        "Delay whichever comes first, in camera, recorder or edit.",
    ),
    "opened": Code(
        "note",
        "A link stands where it would be closed, but for a permit or an acceptance by name.",
        "Keep the paper that says so at hand.",
    ),
    "by-itself": Code(
        "note",
        "The kit of a link finds its carriers by itself: it is given none, and is proved for reach alone.",
        "Have its base where the people are, and keep its band free of other kit of its kind.",
    ),
    "by-itself-unknown": Code(
        "warn",
        "Kit that finds its carriers by itself is used where the rules that are kept say nothing of it.",
        "Read the marking of the kit and the local law before it is switched on.",
    ),
    "permit-unfit": Code(
        "warn",
        "A permit of the shoot holds at none of its places, on none of its days, or in another region.",
        "Take it out of the shoot, or put its dates and its place right as they stand on it.",
    ),
    "permit-left": Code(
        "note",
        "How much of a permit that was typed in the plan uses, and what is left of it.",
        "Use what is left as spares, or say only = false where other carriers may be used as well.",
    ),
    "hard-warning": Code(
        "warn",
        "Other services that must not be disturbed use these frequencies or this neighbourhood.",
        "Read the warning; ask the regulator or the service itself before transmitting.",
    ),
}


def finding(
    code: str, about: str, says: str, *, do: str | None = None, severity: Severity | None = None
) -> Finding:
    """A finding of a listed code, with the code's own severity and advice unless it says otherwise."""
    listed = CODES[code]
    return Finding(code=code, severity=severity or listed.severity, about=about, says=says, do=do or listed.do)


#: The order in which findings are told: the gravest first.
GRAVITY: Final[dict[Severity, int]] = {"stop": 0, "warn": 1, "note": 2}


@dataclass(frozen=True, slots=True)
class JoinedFinding:
    """A finding that is told once, with the names of all whom it concerns besides the first."""

    finding: Finding
    besides: tuple[str, ...]


def once(findings: Sequence[Finding]) -> list[JoinedFinding]:
    """Findings that say the same of several, each told once."""
    alike: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        says = finding.says.replace(finding.about, "\0") if finding.about else finding.says
        alike.setdefault((finding.code, says, finding.do), []).append(finding)
    return [
        JoinedFinding(same[0], tuple(dict.fromkeys(other.about for other in same if other.about != same[0].about)))
        for same in alike.values()
    ]


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Each finding once, the gravest first, otherwise in the order in which they were made."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda joined: GRAVITY[joined.severity]))

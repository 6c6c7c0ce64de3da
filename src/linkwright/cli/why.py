"""`linkwright why`: the ledger of a link, or what stands against a frequency."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from linkwright.plan.model import LedgerLine, Plan, PlannedLink
    from linkwright.plan.why import CallReasons
    from linkwright.shoot.models import Shoot

#: How many reasons of one call are printed; the rest are counted. --json has them all.
MOST_REASONS = 12


def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    link: Annotated[str, typer.Argument(help="name of the link")],
    mhz: Annotated[
        str | None, typer.Argument(help="a frequency that it did not get [MHz], or what its display calls it")
    ] = None,
    plan: Annotated[
        str | None, typer.Option(help="the plan to explain; default: the one beside the shoot, else a new one")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """The ledger of a link; or, for a frequency, everything that stands against it."""
    from linkwright.cli.output import console, print_json, progress
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.planned import planned_scene
    from linkwright.plan.why import link_of, why

    read = load_shoot(shoot)
    name = link_of(read, link)
    carrier = None if mhz is None else _labelled_khz(read, name, mhz) or whole_khz(mhz)
    with progress() as tell:
        made = planned_scene(read, shoot, plan, tell)
    if carrier is None:
        _tell_ledgers(made.plan, name, json)
        return
    reasons = why(made.scene, made.plan, name, carrier)
    if json:
        print_json({"link": name, "frequency_khz": carrier, "calls": [asdict(call) for call in reasons]})
    else:
        print_reasons(console(), name, reasons)


def _tell_ledgers(plan: Plan, name: str, json: bool) -> None:
    """What each call has of a link: its ledger, what it comes to by itself, or why it has no carrier."""
    from linkwright.cli.output import console, print_json
    from linkwright.plan.answer import itself_says

    ledgers = [(call.call, link) for call in plan.calls for link in call.links if link.link == name]
    alone = [(call.call, link) for call in plan.calls for link in call.by_themselves or () if link.link == name]
    gone = [(call.call, link.because) for call in plan.calls for link in call.unplaced if link.link == name]
    if json:
        shown = [
            [{"call": call, **link.model_dump(mode="json", exclude_none=True)} for call, link in links]
            for links in (ledgers, alone)
        ]
        unplaced = [{"call": call, "because": because} for call, because in gone]
        print_json({"link": name, "calls": shown[0], "by_itself": shown[1], "unplaced": unplaced})
        return
    out = console()
    for n, (call, planned) in enumerate(ledgers):
        if n:
            out.print()
        print_ledger(out, call, planned)
    for call, itself in alone:
        out.print(f"{call}: {name} {itself_says(itself)}.", style="bold")
        print_lines(out, itself.ledger)
    for call, because in gone:
        out.print(f'{name} has no carrier in call "{call}": {because}.', style="bold")


def _labelled_khz(read: Shoot, name: str, label: str) -> int | None:
    """The carrier that the display of a link's kit calls so [kHz]; None where it calls none that."""
    from linkwright.shoot.view import receiver_of, transmitter_of

    link = read.link_named(name)
    for end in (transmitter_of(read, link), receiver_of(read, link)):
        for khz in end.listed_khz:
            if label.casefold() in end.label(khz).casefold().split(" or "):
                return khz
    return None


def whole_khz(text: str) -> int:
    """A frequency from the command line in whole kHz. Raises InputError."""
    from linkwright.shoot.errors import InputError
    from linkwright.units import khz_from_mhz

    try:
        khz = khz_from_mhz(float(text.replace(",", ".")))
    except (ValueError, OverflowError):
        raise InputError(
            f'"{text}" is no whole number of kHz; expected a frequency in MHz such as 571.125'
        ) from None
    if not 1_000 <= khz <= 10_000_000:
        raise InputError(f"{text} MHz is no frequency of a wireless microphone; expected 1 to 10000 MHz")
    return khz


def print_ledger(out: Console, call: str, link: PlannedLink) -> None:
    """A link's ledger: what its level and its noise are made of, and what comes of it."""
    from linkwright.cli.output import DISCS
    from linkwright.plan.answer import hand_says, short_says

    out.print(
        f"{call}: {link.link} on {link.carrier} MHz {DISCS[link.verdict]} {link.verdict}, "
        f"{hand_says(link)}, at {link.worst_place}",
        style="bold",
    )
    print_lines(out, link.ledger)
    for listener in link.listeners or ():
        out.print(
            f"{listener.listener} at {listener.worst_at}: {DISCS[listener.verdict]} {listener.verdict}, "
            f"{short_says(listener.in_hand_db)} ({listener.wanted_dbm:.1f} dBm "
            f"over {listener.noise_and_interference_dbm:.1f} dBm)"
        )
    _print_sums(out, link)


def print_lines(out: Console, ledger: Iterable[LedgerLine]) -> None:
    """The lines of a ledger as a table."""
    from linkwright.cli.output import print_table

    rows = [
        (
            line.what,
            line.part,
            f"{line.db:+.1f} dB" if line.db is not None else f"{line.dbm:.1f} dBm",
            line.evidence,
            line.source,
        )
        for line in ledger
    ]
    print_table(out, ("", "part", "level", "evidence", "source"), rows, right=("level",))


def _print_sums(out: Console, link: PlannedLink) -> None:
    """What comes of a ledger's lines."""
    from linkwright.cli.plan import breaks, sure_says
    from linkwright.plan.answer import worst_says

    out.print(
        f"wanted {link.wanted_dbm:.1f} dBm - noise and interference {link.noise_and_interference_dbm:.1f} dBm "
        f"- needed {link.required_cnr_db:g} dB = {link.margin_db:.1f} dB of margin; "
        f"- fading {link.fading_db:.1f} dB - doubt {link.doubt_db:.1f} dB = {link.in_hand_db:.1f} dB in hand"
    )
    out.print(f"{worst_says(link)}.")
    if link.squelch_dbm is not None:
        out.print(
            f"squelch {link.squelch_dbm:.1f} dBm: cuts the talent {100 * (link.squelch_cuts or 0.0):.2f} % of "
            f"the time at {link.worst_place}, opened by others {100 * (link.squelch_opens or 0.0):.2f} %"
        )
    out.print(
        f"{sure_says(link)}; of an hour {breaks(link.breaks_per_hour)} hold a break in the median case, "
        f"{breaks(link.breaks_per_hour_90)} in the case at the sureness wanted"
    )


def print_reasons(out: Console, name: str, reasons: tuple[CallReasons, ...]) -> None:
    """What stands against a frequency, call by call."""
    from linkwright.plan.answer import short_says

    for call in reasons:
        if call.reasons:
            out.print(f"{call.call}: {name} cannot have {call.shown} MHz as the others stand.", style="bold")
        else:
            out.print(f"{call.call}: nothing stands against {call.shown} MHz for {name}.", style="bold")
        if call.opens:
            out.print(call.opens)
        for reason in call.reasons[:MOST_REASONS]:
            out.print(f"- {reason.says}")
        if len(call.reasons) > MOST_REASONS:
            out.print(f"- and {len(call.reasons) - MOST_REASONS} more reasons (--json lists them)")
        if call.would_give_db is not None:
            out.print(f"Alone there: {short_says(call.would_give_db)}, {call.verdict}.")

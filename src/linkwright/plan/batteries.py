"""The plan's batteries: when each transmitter's cells are changed at its planned power, and what to tell of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from linkwright.day.batteries import Day, Powers, day_of
from linkwright.day.report import clock
from linkwright.day.schedule import schedule
from linkwright.lengths import hours
from linkwright.plan.findings import finding
from linkwright.plan.model import Battery, Finding, Plan, PlannedCall
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import LiveCall
from linkwright.units import together


def powers_of(calls: Iterable[PlannedCall]) -> Powers:
    """The power step of every link that has a carrier, or finds one by itself [mW], by call and link."""
    return {(call.call, link.link): link.power_mw for call in calls for link in call.told}


def day_with(shoot: Shoot, plan: Plan) -> Day:
    """The day with the powers of a plan."""
    return day_of(shoot, schedule(shoot), powers_of(plan.calls))


def batteries_of(
    shoot: Shoot, live: Sequence[LiveCall], calls: Iterable[PlannedCall]
) -> tuple[tuple[Battery, ...], list[Finding]]:
    """The changes of a planned shoot with its `live` calls, and what was found; nothing where no call has times."""
    timed = schedule(shoot, live)
    if all(call.span is None for call in timed):
        return (), []
    day = day_of(shoot, timed, powers_of(calls))
    batteries = [
        Battery(
            link=change.link, listener=change.listener or None, change_at=change.at.isoformat(),
            left_h=round(change.left_h, 2),
            call=change.call, when=change.when,
        )
        for change in day.changes
    ]  # fmt: skip
    return tuple(batteries), list(_findings(day))


def _findings(day: Day) -> Iterator[Finding]:
    for change in day.changes:
        if change.when == "take":
            says = f'{change.who} has to change its cells in a take of call "{change.call}", at {clock(change.at)}.'
            yield finding("battery-in-take", change.link, says)
        elif change.on_reserve:
            says = (
                f"{change.who} reaches its next chance to change cells, at {clock(change.at)} in call "
                f'"{change.call}", with only {hours(change.left_h)} left.'
            )
            yield finding("battery-short", change.link, says)
    if day.unknown:
        names = list(day.unknown)
        says = f"How long the cells of {together(names)} last is not known: no cells or no drain are given."
        yield finding("cells-unknown", together(names), says)
    for call in day.calls:
        if call.short_min >= 1.0:
            needs = call.live.travel_min + call.set_up_min
            says = (
                f'Call "{call.live.name}" needs {needs:.0f} min of travel and setting up, and begins '
                f'{call.short_min:.0f} min too early after "{call.after}" for that.'
            )
            yield finding("set-up-short", call.live.name, says)
    for link, first, second in day.twice:
        says = f'{link} is live in the calls "{first}" and "{second}" at once.'
        yield finding("link-twice", link, says)

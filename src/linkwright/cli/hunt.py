"""`linkwright hunt`: something is broken since a moment; who is in the way, and what to ask next."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from linkwright.plan.chain import Scene
    from linkwright.plan.hunt.case import Case, Hunt, HuntAnswer


# long and wide: an argument or option of the command each
def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    mhz: Annotated[str, typer.Argument(help="the carrier that is broken [MHz]")],
    at: Annotated[str, typer.Option(help="the site where it is broken")],
    since: Annotated[str, typer.Option(help="since when, such as 14:05, or 2027-07-03T14:05 where there are days")],
    link: Annotated[
        str | None, typer.Option(help="whose it is; default: the link that has the carrier there, or the nearest")
    ] = None,
    answer: Annotated[
        list[str] | None,
        typer.Option(help='what was found out: "off:LINK=broken", "off:LINK=clear", "on:LINK=yes", "on:LINK=no"'),
    ] = None,
    heard: Annotated[
        list[str] | None,
        typer.Option(help='read on the carrier with our own transmitter off: "SITE=-82" [dBm], "SITE=nothing"'),
    ] = None,
    plan: Annotated[
        str | None, typer.Option(help="the plan that stands; default: the one beside the shoot, else a new one")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print suspects and question as JSON")] = False,
) -> None:
    """Suspects of an interference, the likeliest first, each with its evidence, and the question that decides most.

    LINK in an answer may be a crew as well. Exit status: 0 a suspect is likelier than not, 1 none is, 2 bad input.
    """
    from linkwright.cli.output import console, print_json, progress
    from linkwright.cli.why import whole_khz
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.planned import planned_scene
    from linkwright.plan.hunt.case import Case
    from linkwright.plan.hunt.document import document
    from linkwright.plan.hunt.narrowing import hunt

    read = load_shoot(shoot)
    khz = whole_khz(mhz)
    with progress() as tell:
        planned = planned_scene(read, shoot, plan, tell)
        case = Case(
            at, khz, _moment(since, planned.scene), _heard(heard or [], planned.scene),
            tuple(_answer(text, planned.scene) for text in answer or []), link,
        )  # fmt: skip
        hunted = hunt(planned.scene, planned.plan, case)
    if json:
        print_json(document(hunted))
    else:
        _print(console(), case, hunted)
    raise typer.Exit(0 if hunted.ranked and hunted.ranked[0].probability > 0.5 else 1)


def _moment(text: str, scene: Scene) -> datetime.datetime:
    """The moment, by the shoot's clock and on its day where only a time is given. Raises InputError."""
    from linkwright.shoot.clock import zone_of
    from linkwright.shoot.errors import InputError

    day, zone = scene.shoot.shoot.date, zone_of(scene.shoot)
    try:
        if "T" in text or " " in text:
            when = datetime.datetime.fromisoformat(text)
            return when if when.tzinfo is not None else when.replace(tzinfo=zone)
        return datetime.datetime.combine(day, datetime.time.fromisoformat(text), zone)
    except ValueError:
        says = f'--since is "{text}"; expected a time such as 14:05 or a day and a time such as {day}T14:05'
        raise InputError(says) from None


def _heard(texts: list[str], scene: Scene) -> dict[str, float | None]:
    """Readings by site. Raises InputError."""
    from linkwright.shoot.errors import InputError
    from linkwright.shoot.view import sites

    names = {site.name for site in sites(scene.shoot)}
    levels: dict[str, float | None] = {}
    for text in texts:
        site, _, level = text.rpartition("=")
        if site not in names:
            raise InputError(f'--heard is "{text}"; expected SITE=DBM with one of {", ".join(sorted(names)[:12])}')
        try:
            dbm = None if level == "nothing" else float(level)
        except ValueError:
            dbm = 1e9
        if dbm is not None and not -150.0 <= dbm <= 20.0:
            raise InputError(f'--heard is "{text}"; expected a level from -150 to 20 dBm, or nothing')
        levels[site] = dbm
    return levels


def _answer(text: str, scene: Scene) -> HuntAnswer:
    """An answer. Raises InputError."""
    from linkwright.plan.hunt.case import HuntAnswer
    from linkwright.shoot.errors import InputError, did_you_mean

    asked, _, rest = text.partition(":")
    who, _, said = rest.rpartition("=")
    words = {"off": {"broken": True, "clear": False}, "on": {"yes": True, "no": False}}
    if said not in words.get(asked, {}):
        raise InputError(
            f'--answer is "{text}"; expected off:LINK=broken, off:LINK=clear, on:LINK=yes or on:LINK=no'
        )
    known = {link.name for link in scene.shoot.link} | {crew.name for crew in scene.shoot.crew}
    known |= {other.name for other in scene.shoot.other}
    if who not in known:
        raise InputError(f'--answer names "{who}", which is no link or crew{did_you_mean(who, known)}')
    return HuntAnswer("off" if asked == "off" else "on", who, words[asked][said])


def _print(out: Any, case: Case, hunted: Hunt) -> None:
    from rich.padding import Padding

    from linkwright.units import mhz_text

    where = f"{mhz_text(case.carrier_khz)} MHz at {case.site}"
    if not hunted.ranked:
        out.print(f"Nothing that is known explains {where}.", style="bold")
        return
    first = hunted.ranked[0]
    sure = "Most likely" if first.probability > 0.5 else "Not clear yet; first"
    out.print(f"{where}: {sure}: {first.suspect.says} ({100 * first.probability:.0f} %).", style="bold")
    for guess in hunted.ranked:
        if guess.probability < 0.005:
            break
        out.print(f"{100 * guess.probability:3.0f} %  {guess.suspect.says}")
        for line in guess.suspect.evidence:
            out.print(Padding(line, (0, 0, 0, 7)))
    if hunted.question is not None:
        out.print()
        out.print(f"Ask next: {hunted.question.says}")

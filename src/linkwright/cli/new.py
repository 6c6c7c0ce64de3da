"""`linkwright new`: begins a shoot."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from linkwright.shoot.bag import Bag
    from linkwright.shoot.clock import Chosen


# long and wide: an argument or option of the command each
def run(
    folder: Annotated[str, typer.Argument(help="the folder of the shoot; it is made where there is none")] = ".",
    where: Annotated[str | None, typer.Option(help="what the place is called")] = None,
    region: Annotated[str | None, typer.Option(help="whose rules apply there, such as GB or US")] = None,
    who: Annotated[str | None, typer.Option(help="who wears a microphone: names, with commas between")] = None,
    kit: Annotated[
        list[str] | None,
        typer.Option(help="what is taken along: an item of the bag, or words of a class; default: all of the bag"),
    ] = None,
    on: Annotated[str | None, typer.Option(help="the day; default: today, after 18:00 tomorrow")] = None,
    from_: Annotated[str | None, typer.Option("--from", help="from this time of day")] = None,
    to: Annotated[str | None, typer.Option(help="to this time of day")] = None,
    at: Annotated[str | None, typer.Option(help="where the place is, LAT,LON in degrees")] = None,
    surroundings: Annotated[
        str | None, typer.Option(help="open, street, residential, office or hall; default: open")
    ] = None,
    within: Annotated[
        float | None, typer.Option(help="how far people go from the receiver [m]; default: 30")
    ] = None,
    like: Annotated[
        str | None, typer.Option(help="a shoot file: its people, packs, gains and licences at a new place")
    ] = None,
    permit: Annotated[list[str] | None, typer.Option(help="the id of a permit that is held")] = None,
    timezone: Annotated[str | None, typer.Option(help="the time zone; default: by region and place")] = None,
    title: Annotated[str | None, typer.Option(help="what the job is called; default: place and day")] = None,
    json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """Begin a shoot: a commented file shoot.toml that plans.

    What is not said is asked, on a terminal. The kit is that of the bag (`linkwright kit`); while that is empty, a
    class of the catalogue that may be used there.
    """
    from linkwright.cli.options import clock_of, day_of, position_of
    from linkwright.desk.loading import load_shoot, own_rules
    from linkwright.desk.outset import Outset, begin, usual_day
    from linkwright.shoot.errors import InputError
    from linkwright.store.kitbook import own_bag

    own_rules()
    target = Path(folder) / "shoot.toml"
    if target.exists():
        raise InputError("is there already; expected a folder without a shoot", path=str(target))
    bag, old = own_bag(), None if like is None else load_shoot(like)
    asks = sys.stdin.isatty()
    if old is not None:
        region = region or old.shoot.region
        who = who or ", ".join(link.name for link in old.link)
        kit = [] if kit is None else kit
        permit = list(old.shoot.permits) if permit is None and region == old.shoot.region else permit
    where = _asked(where, "Where is it? The place's name", "--where", asks)
    region = _asked(region, "Whose rules apply there? Two letters, such as GB or US", "--region", asks).upper()
    date = day_of(_asked(on, "When? The day", "--on", asks, usual_day(datetime.datetime.now()).isoformat()), "--on")
    who = _asked(who, "Who wears a microphone? Names, with commas between", "--who", asks)
    hours = clock_of(from_, "--from"), clock_of(to, "--to")
    if hours[0] is not None and hours[1] is not None:
        span = (hours[0], hours[1])
    elif hours != (None, None):
        raise InputError("--from and --to stand together or not at all")
    else:
        span = None
    if asks and kit is None:
        said = typer.prompt(_kit_question(bag), default="", show_default=False, err=True)
        kit = [words.strip() for words in said.split(",") if words.strip()]
    outset = Outset(
        title or f"{where}, {date.isoformat()}", where, region, date,
        tuple(name.strip() for name in who.split(",") if name.strip()), tuple(kit or ()), tuple(permit or ()),
        position_of(at, "--at"), _surroundings(surroundings), within, span, timezone,
    )  # fmt: skip
    if old is not None:
        from linkwright.desk.new_place import again

        repeated = again(old, outset, bag)
        _done(target, repeated.text, repeated.zone, repeated.links, repeated.lacking, json)
        return
    begun = begin(outset, bag)
    links = tuple(
        (
            outfit.name,
            outfit.transmitter.name,
            outfit.receiver.name,
            outfit.microphone.name if outfit.microphone else "",
        )
        for outfit in begun.outfits
    )
    _done(target, begun.text, begun.zone, links, begun.lacking, json)


def _done(
    target: Path, text: str, zone: Chosen, links: Sequence[tuple[str, str, str, str]], lacking: Sequence[str],
    json: bool,
) -> None:  # fmt: skip
    """Write the shoot and tell who has what."""
    from linkwright.cli.output import console, print_json, write_text

    target.parent.mkdir(parents=True, exist_ok=True)
    write_text(str(target), text)
    if json:
        given = {name: {"transmitter": sends, "receiver": hears} for name, sends, hears, _ in links}
        print_json({"file": str(target), "timezone": str(zone.zone), "links": given, "lacking": list(lacking)})
        return
    out = console()
    out.print(_said(links), style="bold")
    for says in lacking:
        out.print(says)
    out.print(f"Times are those of {zone.zone}. Written to {target}; now:")
    out.print(f"linkwright plan {target}")


def _asked(given: str | None, question: str, option: str, asks: bool, default: str | None = None) -> str:
    """What was said, else asked on a terminal, else the default. Raises InputError where it is missing."""
    from linkwright.shoot.errors import InputError

    if given is not None and given.strip():
        return given.strip()
    if asks:
        return str(typer.prompt(question, default=default, err=True)).strip()
    if default is None:
        raise InputError(f"{option} is missing. {question}")
    return default


def _kit_question(bag: Bag) -> str:
    if bag.item:
        items = ", ".join(item.name for item in bag.item)
        return f"With what? Items of the bag, with commas between; nothing: all of it ({items})"
    return "With what? Words of a class, such as body-worn 470-694; nothing: what may be used there"


def _surroundings(text: str | None) -> Any:
    from typing import get_args

    from linkwright.shoot.errors import InputError
    from linkwright.shoot.place import Surroundings

    if text is not None and text not in get_args(Surroundings):
        raise InputError(f'--surroundings is "{text}"; expected one of {", ".join(get_args(Surroundings))}')
    return text or "open"


def _said(links: Sequence[tuple[str, str, str, str]]) -> str:
    """Who has what, in one sentence."""
    packs = dict.fromkeys(pack for _, pack, _, _ in links)
    by = [(pack, [name for name, mine, _, _ in links if mine == pack]) for pack in packs]
    return "; ".join(f"{', '.join(names)}: {pack}" for pack, names in by) + "."

"""`linkwright walk`: a walk test re-fits a site's reach."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from linkwright.reach.ground import AtWork
    from linkwright.shoot.learnt import Learnt
    from linkwright.shoot.models import Shoot
    from linkwright.shoot.walklog import WalkLog


# long and wide: an argument or option of the command each
def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    log: Annotated[str, typer.Argument(help="the levels along the walk, CSV")],
    link: Annotated[
        str | None, typer.Option(help="the link that was walked; default: the log's, or the only one")
    ] = None,
    site: Annotated[
        str | None, typer.Option(help="the site that was walked; default: the first of the link")
    ] = None,
    power_mw: Annotated[float | None, typer.Option(help="conducted power; default: the plan's")] = None,
    carrier_mhz: Annotated[float | None, typer.Option(help="carrier; default: the plan's")] = None,
    on_top: Annotated[bool, typer.Option("--on-top", help="start from what an earlier walk taught")] = False,
    out: Annotated[
        str | None, typer.Option("-o", "--out", help="write what was learnt here; default: beside the shoot")
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="seed of the draws")] = 0,
    json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """Learn a site's reach from levels along a known route: offset, slope, body loss, with 90 % intervals.

    What was learnt is written to a file; name it at the site (measured = "...") and every plan uses it.
    """
    from linkwright.cli.output import console, print_json, progress, write_text
    from linkwright.desk.loading import load_shoot
    from linkwright.reach.walk import learn, placed
    from linkwright.shoot.errors import InputError
    from linkwright.shoot.reading import read_text
    from linkwright.shoot.walklog import MOST_BYTES, parse_walk
    from linkwright.shoot.writing import write_learnt

    read = load_shoot(shoot)
    walked = parse_walk(read_text(Path(log), log, MOST_BYTES), log)
    with progress() as tell:
        at_work, mine = _walked_link(read, shoot, walked, link, site, (power_mw, carrier_mhz), tell)
        earlier = at_work.ends.site.learnt if on_top else None
        try:
            places = placed(mine, at_work.route, at_work.ends.site)
            learnt = learn(at_work, places, mine.day, earlier=earlier, seed=seed, tell=tell)
        except InputError as error:
            raise InputError(error.says, path=log) from None
    path = out or _beside(shoot, at_work.ends.site.name)
    write_text(path, write_learnt(learnt), grown=True)
    if json:
        print_json({"written": path, "learnt": learnt.model_dump(mode="json")})
    elif path != "-":
        print_learnt(console(), learnt, at_work, path)


def _beside(shoot: str, site: str) -> str:
    """A file beside the shoot, named after the site."""
    plain = "".join(c if c.isalnum() else "-" for c in site.lower()).strip("-") or "site"
    folder = Path(shoot).parent if shoot != "-" else Path()
    return str(folder / f"{plain}-walk.toml")


def _walked_link(
    read: Shoot,
    shoot: str,
    log: WalkLog,
    name: str | None,
    site: str | None,
    given: tuple[float | None, float | None],
    tell: Any,
) -> tuple[AtWork, WalkLog]:
    """The link that was walked, as it was at work, and its readings. Raises InputError."""
    from linkwright.desk.loading import load_sweeps, load_tv
    from linkwright.plan.chain import scene_of
    from linkwright.plan.why import link_of
    from linkwright.reach.ground import AtWork
    from linkwright.shoot.errors import InputError
    from linkwright.units import khz_from_mhz

    chosen = link_of(read, name or _the_link(read, log))
    mine = log.of_link(chosen)
    if mine.time_s.size < 2:
        raise InputError(f'the log has no readings of the link "{chosen}"')
    sweeps, tv = load_sweeps(read, shoot), load_tv(read, shoot)
    scene = scene_of(read, sweeps, tv)
    live = next(
        (c for c in scene.calls if any(x.name == chosen for x in c.links) and site in (None, c.site.name)), None
    )
    if live is None:
        raise InputError(f'the link "{chosen}" is live on no site{f" {site!r}" if site else ""} of this shoot')
    chain = scene.chain(next(x for x in live.links if x.name == chosen), live.site)
    power, mhz = given
    if power is None or mhz is None:
        planned_power, planned_khz = _planned(read, live.name, chosen, tell, sweeps, tv)
        power, khz = power or planned_power, khz_from_mhz(mhz) if mhz else planned_khz
    else:
        khz = khz_from_mhz(mhz)
    return AtWork(chosen, chain.ends, khz, power, chain.route), mine


def _the_link(read: Shoot, log: WalkLog) -> str:
    """The link that the log is of, or the only one. Raises InputError."""
    from linkwright.shoot.errors import InputError

    names = sorted({link for link in log.links if link})
    if len(names) == 1:
        return names[0]
    if not names and len(read.link) == 1:
        return read.link[0].name
    which = f"the log has {', '.join(names[:10])}" if names else "the log names none, and the shoot has several"
    raise InputError(f"say which link was walked with --link: {which}")


def _planned(read: Shoot, call: str, name: str, tell: Any, sweeps: Any, tv: Any) -> tuple[float, int]:
    """The power and the carrier that the plan gives a link in a call. Raises InputError where it has none."""
    from linkwright.plan.pipeline import make_plan
    from linkwright.shoot.errors import InputError

    plan = make_plan(read, sweeps, None, tell, tv=tv)
    for link in (link for planned_call in plan.calls if planned_call.call == call for link in planned_call.links):
        if link.link == name:
            return link.power_mw, link.carrier_khz
    raise InputError(f'"{name}" has no carrier in the plan; say --power-mw and --carrier-mhz')


def print_learnt(out: Console, learnt: Learnt, link: AtWork, path: str) -> None:
    """What was learnt, each with its interval, and what to do with it."""
    from linkwright.cli.output import print_table
    from linkwright.units import counted

    where = "better" if learnt.offset_db >= 0 else "worse"
    out.print(
        f"{learnt.site} reaches {abs(learnt.offset_db):.1f} dB {where} than its model at "
        f"{learnt.reference_m:.0f} m (90 %: {learnt.offset_low_db:+.1f} to {learnt.offset_high_db:+.1f} dB).",
        style="bold",
    )
    rows = [
        (
            f"level at {learnt.reference_m:.0f} m",
            f"{learnt.offset_db:+.1f} dB",
            f"{learnt.offset_low_db:+.1f} to {learnt.offset_high_db:+.1f} dB",
        ),
        (
            "further, for each tenfold distance",
            f"{learnt.slope_db:+.1f} dB",
            f"{learnt.slope_low_db:+.1f} to {learnt.slope_high_db:+.1f} dB",
        ),
    ]
    if learnt.body_db is not None and learnt.body_low_db is not None and learnt.body_high_db is not None:
        interval = f"{learnt.body_low_db:.1f} to {learnt.body_high_db:.1f} dB"
        rows.append(("body in the way costs", f"{learnt.body_db:.1f} dB", interval))
    rows.append(("local mean scatters by", f"{learnt.sigma_db:.1f} dB", ""))
    print_table(out, ("learnt", "over the model", "90 % interval"), rows, right=("over the model",))
    on = f"{link.ends.transmitter.shown(link.carrier_khz)} MHz with {link.power_mw:g} mW"
    out.print(
        f"From {counted(learnt.readings, 'reading')} of {link.name} on {on}, "
        f"{learnt.nearest_m:.0f} to {learnt.farthest_m:.0f} m away."
    )
    if learnt.body_db is None:
        out.print("What the body costs was not told: walk out and back, or log which way the talent faces.")
    if path != "-":
        out.print(f'Written to {path}; name it at the site: measured = "{Path(path).name}"')

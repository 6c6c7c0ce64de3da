"""`linkwright rules`: what may be used in a region."""

from __future__ import annotations

from typing import Annotated

import typer


# long: a line for every argument and option, and for what each asks
def run(
    region: Annotated[
        str | None, typer.Argument(help="ISO 3166-1 code such as GB; EU for the common European rows")
    ] = None,
    at: Annotated[str | None, typer.Option(help="LAT,LON in degrees: warnings that hang on the place")] = None,
    stations: Annotated[
        str | None, typer.Option(help="a list of TV stations (CSV) to predict TV from, with --at")
    ] = None,
    date: Annotated[str | None, typer.Option(help="the day, YYYY-MM-DD; default: today")] = None,
    stale: Annotated[
        bool, typer.Option("--stale", help="what is known, the least sure and oldest first, and what to read")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="print everything as JSON")] = False,
) -> None:
    """What may be used in a region: ranges, powers, permits, closed ranges, each with its source.

    With a list of stations, TV is predicted at the place: channels closed, doubtful or free.

    The regulator and your licence override what is shown here.
    """
    from linkwright.cli.options import day_of, position_of
    from linkwright.cli.output import console, print_json
    from linkwright.desk.loading import own_rules
    from linkwright.rules import RulesReport, known_best, stale_document, stale_rows, territory_or_group
    from linkwright.shoot.errors import InputError

    own_rules()
    if stale:
        on = day_of(date, "--date")
        rows = stale_rows(known_best() if region is None else [territory_or_group(region)])
        if json:
            print_json(stale_document(rows, on))
        else:
            from linkwright.cli.rules_table import print_stale

            print_stale(rows, on, console())
        return
    if region is None:
        raise InputError("name a region by its ISO 3166-1 code, such as GB; or say --stale")
    territory, position = territory_or_group(region), position_of(at, "--at")
    report, tv = RulesReport(territory, position, day_of(date, "--date")), None
    if stations is not None:
        from linkwright.desk.tv import tv_report

        tv = tv_report(territory, _needed(position), stations)
    if json:
        print_json(report.document() | (tv.document() if tv is not None else {}))
        return
    from linkwright.cli.rules_table import print_rules

    print_rules(report, tv, console())


def _needed(position: tuple[float, float] | None) -> tuple[float, float]:
    from linkwright.shoot.errors import InputError

    if position is None:
        raise InputError("--stations predicts TV at a place: give the place too, with --at LAT,LON")
    return position

"""`linkwright rules`: what may be used in a region."""

from __future__ import annotations

import datetime
from typing import Annotated

import typer


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
    from linkwright.cli.output import console, print_json
    from linkwright.desk.loading import own_rules
    from linkwright.rules import known_best, rules_document, stale_rows, territory_or_group
    from linkwright.shoot.errors import InputError

    own_rules()
    if stale:
        rows = stale_rows(known_best() if region is None else [territory_or_group(region)], _day(date))
        if json:
            print_json({"rows": rows})
        else:
            from linkwright.cli.rules_table import print_stale

            print_stale(rows, console())
        return
    if region is None:
        raise InputError("name a region by its ISO 3166-1 code, such as GB; or say --stale")
    territory, position = territory_or_group(region), _position(at)
    document = rules_document(territory, position, _day(date))
    if stations is not None:
        from linkwright.desk.tv import tv_document

        document |= tv_document(territory, _needed(position), stations)
    if json:
        print_json(document)
        return
    from linkwright.cli.rules_table import print_rules

    print_rules(document, console())


def _position(text: str | None) -> tuple[float, float] | None:
    """A position from "LAT,LON". Raises InputError."""
    from linkwright.shoot.errors import InputError

    if text is None:
        return None
    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        raise InputError(f'--at is "{text}"; expected LAT,LON in degrees such as 50.155,-5.045') from None
    if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0):
        raise InputError(f'--at is "{text}"; expected latitude -90..90 and longitude -180..180')
    return latitude, longitude


def _needed(position: tuple[float, float] | None) -> tuple[float, float]:
    from linkwright.shoot.errors import InputError

    if position is None:
        raise InputError("--stations predicts TV at a place: give the place too, with --at LAT,LON")
    return position


def _day(text: str | None) -> datetime.date:
    """A day from its text, today for None. Raises InputError."""
    from linkwright.shoot.errors import InputError

    if text is None:
        return datetime.date.today()
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise InputError(f'--date is "{text}"; expected a day such as 2027-05-14') from None

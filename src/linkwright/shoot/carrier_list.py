"""Lists of carriers: other crews', as crews swap them, CSV or JSON (docs/neighbours.md); and what a display shows.

Other crews' become transmitters of others in the shoot. Columns may come in any order, more columns are passed
over, and only the carrier is needed; what is not said is assumed, and told.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from linkwright.shoot.clock import zone_of
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Other, Point, Site
from linkwright.shoot.view import sites
from linkwright.units import khz_from_mhz

FORMAT: Final = "open-carrier-list/1"
COLUMNS: Final = (
    "name", "carrier_mhz", "use", "bandwidth_khz", "radiated_mw", "place", "latitude", "longitude", "from", "to",
    "contact",
)  # fmt: skip
#: A list has at most so many carriers and so much text.
MOST_ROWS: Final = 5_000
MOST_CHARACTERS: Final = 4_000_000
#: Taken where the list does not say it: power [mW], bandwidth [kHz], how far away [m].
ASSUMED_MW: Final = 50.0
ASSUMED_KHZ: Final = 200
ASSUMED_AWAY_M: Final = 50.0
#: Metres in a degree of latitude (a sphere of 6371 km).
DEGREE_M: Final = 6_371_000.0 * math.pi / 180.0


@dataclass(frozen=True)
class Neighbours:
    """What a list holds for a shoot: others to add, and what was passed over or assumed, in sentences."""

    others: tuple[Other, ...]
    told: tuple[str, ...]


def neighbours_of(text: str, name: str, shoot: Shoot) -> Neighbours:
    """The carriers of a list as others of the shoot. Raises InputError where it is no such list.

    Spares are passed over, and so is what is on the air on other days only.
    """
    if len(text) > MOST_CHARACTERS:
        raise InputError(f"has more than {MOST_CHARACTERS} characters; expected a list of carriers", path=name)
    text = text.lstrip("\N{ZERO WIDTH NO-BREAK SPACE}")
    if not text.strip():
        raise InputError("is empty; expected a list of carriers", path=name)
    is_json = text.lstrip().startswith(("{", "["))
    rows = list(_json_rows(text, name) if is_json else _csv_rows(text, name, "carrier_mhz"))
    if not rows:
        raise InputError("holds no carrier; expected rows with a carrier_mhz", path=name)
    if len(rows) > MOST_ROWS:
        raise InputError(f"holds {len(rows)} carriers; expected at most {MOST_ROWS}", path=name)
    others: list[Other] = []
    told: dict[str, int] = {}
    taken = {other.name for other in shoot.other}
    for line, row in rows:
        if str(row.get("use") or "").strip().lower() == "spare":
            _count(told, "spares passed over")
            continue
        other = _other(row, line, name, shoot, taken, told)
        if other is not None:
            others.append(other)
            taken.add(other.name)
    return Neighbours(tuple(others), tuple(f"{count} {what}" for what, count in told.items()))


def _count(told: dict[str, int], what: str) -> None:
    told[what] = told.get(what, 0) + 1


def display_carriers(text: str, name: str) -> list[dict[str, Any]]:
    """What the display of a transmitter or receiver calls its carriers: rows of label, mhz and perhaps group.

    A list without a head is taken to have these columns in this order. Raises InputError.
    """
    if not text.strip():
        raise InputError("is empty; expected rows of label, mhz and perhaps group", path=name)
    if any(character.isdigit() for character in text.partition("\n")[0]):
        delimiter = _delimiter(text.partition("\n")[0])
        text = delimiter.join(("label", "mhz", "group")) + "\n" + text
    carriers = []
    for line, row in _csv_rows(text, name, "mhz"):
        mhz, label = _number(row, "mhz", line, name), str(row.get("label") or "").strip()
        if mhz is None or not label:
            raise InputError(f"a row has no {'mhz' if mhz is None else 'label'}", path=name, line=line)
        group = str(row.get("group") or "").strip()
        carriers.append({"label": label, "mhz": mhz} | ({"group": group} if group else {}))
    return carriers


def _delimiter(first: str) -> str:
    return max((";", "\t", ","), key=first.count)


def _csv_rows(text: str, name: str, needed: str) -> Iterator[tuple[int, dict[str, Any]]]:
    first = text.partition("\n")[0]
    delimiter = _delimiter(first)
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    try:
        head = [cell.strip().lower() for cell in next(reader, [])]
        if needed not in head:
            near = next((cell for cell in head if did_you_mean(needed, [cell])), "")
            said = f'; is "{near}" meant?' if near else ""
            raise InputError(f"has no column {needed}{said}", path=name, line=1)
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, dict(zip(head, (cell.strip() for cell in cells), strict=False))
    except csv.Error as error:
        raise InputError(f"is no CSV ({error})", path=name, line=reader.line_num) from None


def _json_rows(text: str, name: str) -> Iterator[tuple[int | None, dict[str, Any]]]:
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"is no JSON ({error})", path=name) from None
    rows = document.get("carriers") if isinstance(document, dict) else document
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise InputError('holds no list "carriers" of objects', path=name)
    for row in rows:
        yield None, row


def _number(row: dict[str, Any], key: str, line: int | None, name: str) -> float | None:
    value = row.get(key)
    if value is None or (isinstance(value, str) and not value.strip()):
        return None
    try:
        number = float(value.replace(",", ".") if isinstance(value, str) else value)
    except (TypeError, ValueError):
        number = math.nan
    if not math.isfinite(number) or isinstance(value, bool):
        raise InputError(f'{key} is "{str(value)[:40]}"; expected a number', path=name, line=line)
    return number


def _other(
    row: dict[str, Any], line: int | None, name: str, shoot: Shoot, taken: set[str], told: dict[str, int]
) -> Other | None:
    carrier = _number(row, "carrier_mhz", line, name)
    if carrier is None:
        raise InputError("a row has no carrier_mhz", path=name, line=line)
    try:
        khz_from_mhz(carrier)
        times = _times(row, shoot, line, name)
    except ValueError as error:
        raise InputError(f"{error}", path=name, line=line) from None
    if times is None:
        _count(told, "on other days passed over")
        return None
    power, width = _number(row, "radiated_mw", line, name), _number(row, "bandwidth_khz", line, name)
    if power is None:
        _count(told, f"without a power, taken as {ASSUMED_MW:g} mW")
    site, at, assumed = _place(row, shoot, line, name)
    if assumed:
        _count(told, f"without a position, taken as {ASSUMED_AWAY_M:g} m from the first spot")
    try:
        return Other.model_validate(
            {
                "name": _free_name(str(row.get("name") or f"{carrier:.3f} MHz"), taken),
                "carrier_mhz": carrier,
                "radiated_mw": ASSUMED_MW if power is None else power,
                "bandwidth_khz": ASSUMED_KHZ if width is None else round(width),
                "site": site.name if shoot.site else None,
                "at": at,
                **times,
            }
        )
    except ValueError as error:
        first = error.errors()[0] if hasattr(error, "errors") else {"loc": ("row",), "msg": str(error)}
        where = ".".join(str(part) for part in first["loc"]) or "row"
        raise InputError(f"{where}: {first['msg']}", path=name, line=line) from None


def _free_name(name: str, taken: set[str]) -> str:
    """A name that no other has, of at most 80 characters."""
    plain = "".join(c for c in name if c.isprintable()).strip()[:70] or "somebody"
    free, n = plain, 2
    while free in taken:
        free, n = f"{plain} {n}", n + 1
    return free


def _times(row: dict[str, Any], shoot: Shoot, line: int | None, name: str) -> dict[str, datetime.time] | None:
    """From when to when on the shoot's days, in its own time; {} for always, None for other days only."""
    given = [str(row.get(key) or "").strip() for key in ("from", "to")]
    if not any(given):
        return {}
    if not all(given):
        raise InputError("from and to stand together or not at all", path=name, line=line)
    zone = zone_of(shoot)
    moments = []
    for text in given:
        try:
            moments.append(datetime.datetime.fromisoformat(text))
        except ValueError:
            try:
                day = datetime.datetime.combine(shoot.shoot.date, datetime.time.fromisoformat(text), zone)
            except ValueError:
                said = f'"{text[:40]}" is no time; expected ISO 8601 such as 2027-05-14T09:00:00+01:00'
                raise InputError(said, path=name, line=line) from None
            moments.append(day)
    starts, ends = (
        moment.astimezone(zone) if moment.tzinfo is not None else moment.replace(tzinfo=zone) for moment in moments
    )
    days = {shoot.shoot.date, *(call.date for call in shoot.call if call.date is not None)}
    if not any(starts.date() <= day <= ends.date() for day in days):
        return None
    if ends - starts >= datetime.timedelta(hours=23, minutes=59):
        return {}
    return {"from": starts.time().replace(microsecond=0), "to": ends.time().replace(microsecond=0)}


def _place(row: dict[str, Any], shoot: Shoot, line: int | None, name: str) -> tuple[Site, Point, bool]:
    """The site it is on or nearest to, where it stands there, and whether that is assumed."""
    known = sites(shoot)
    named = str(row.get("place") or "").strip().casefold()
    called = [known_site for known_site in known if known_site.name.casefold() == named]
    latitude, longitude = _number(row, "latitude", line, name), _number(row, "longitude", line, name)
    if latitude is not None and longitude is not None and abs(latitude) <= 90.0 and abs(longitude) <= 180.0:
        placed = [(from_site(site, latitude, longitude), site) for site in called or known]
        near = [(math.hypot(*at), n, at) for n, (at, _) in enumerate(placed) if at is not None]
        if near:
            distance, n, (east, north) = min(near)
            scale = min(1.0, 99_000.0 / max(distance, 1.0))
            at = Point(x_m=round(east * scale, 1), y_m=round(north * scale, 1))
            return placed[n][1], at, False
    site = (called or known)[0]
    spot: Sequence[float] = (site.spots[0].x_m, site.spots[0].y_m) if site.spots else (0.0, 0.0)
    return site, Point(x_m=spot[0] + ASSUMED_AWAY_M, y_m=spot[1]), True


def from_site(site: Site, latitude: float, longitude: float) -> tuple[float, float] | None:
    """East and north of a site's origin [m], on a plane; None where the site has no position."""
    if site.latitude is None or site.longitude is None:
        return None
    east = (longitude - site.longitude + 180.0) % 360.0 - 180.0
    return east * DEGREE_M * math.cos(math.radians(site.latitude)), (latitude - site.latitude) * DEGREE_M

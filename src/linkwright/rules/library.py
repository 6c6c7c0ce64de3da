"""The territories' data files, read once and kept.

A territory with a file of its own is that file; a CEPT country without one is what CEPT's rows have in
common, narrowed by the implementation table, and assumed throughout.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from linkwright.rules.corrections import Correction, corrected
from linkwright.rules.models import CheckedFact, Fact, Note, Row, Territory
from linkwright.shoot.errors import InputError, did_you_mean

#: Whole groups of countries, which `linkwright rules` shows and no shoot can take place in.
GROUPS = {"CEPT": "CEPT", "EU": "CEPT"}

#: Abbreviations that are in common use and are not the ISO 3166-1 code.
NOT_ISO = {"UK": "GB", "EL": "GR", "USA": "US"}


#: Territories that were asked for, and of which no published source stands here.
NOT_KNOWN = {"BR": "Brazil", "IL": "Israel", "IN": "India", "MX": "Mexico", "SG": "Singapore"}


class Country(CheckedFact):
    """One country of the implementation table: row -> Y whole band, L limited, N not available."""

    name: str
    itu: str
    rows: dict[str, Literal["Y", "L", "N"]]


class CountryTable(Fact):
    """Which rows of the recommendation each CEPT country is listed to have taken over."""

    caution: str
    country: dict[str, Country]


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads(files("linkwright.rules").joinpath("data", name).read_text(encoding="utf-8"))


@cache
def _own_files() -> dict[str, str]:
    """Code -> file name of every territory with a file of its own."""
    names = sorted(entry.name for entry in files("linkwright.rules").joinpath("data").iterdir())
    return {name[:2].upper(): name for name in names if len(name) == len("xx.toml") and name.endswith(".toml")}


@cache
def implementation_table() -> CountryTable:
    """Which rows each CEPT country is listed to have taken over."""
    return CountryTable.model_validate(_read("cept_countries.toml"))


@cache
def _from_file(name: str) -> Territory:
    shared = _read("cautions.toml")
    return Territory.model_validate(_read(name) | {"cautions": shared["cautions"]})


def known_best() -> tuple[Territory, ...]:
    """The territories with a file of their own, and what the CEPT countries have in common."""
    return (*(territory(code) for code in _own_files()), _from_file("cept.toml"))


def known_codes() -> tuple[str, ...]:
    """The ISO 3166-1 alpha-2 codes that `territory` knows, in order."""
    return tuple(sorted({*_own_files(), *implementation_table().country}))


class _Corrections:
    """The corrections that hold in this program, brought by whoever may read a person's folder."""

    now: tuple[Correction, ...] = ()


def use_corrections(corrections: tuple[Correction, ...]) -> None:
    """From now on the rules are as corrected by these."""
    if corrections != _Corrections.now:
        _Corrections.now = corrections
        territory.cache_clear()


@cache
def territory(region: str) -> Territory:
    """The rules of a country by its ISO 3166-1 alpha-2 code, in capitals or not.

    Raises InputError for a code that is not known, with those that are.
    """
    code = region.upper()
    if code in _own_files():
        return corrected(_from_file(_own_files()[code]), _Corrections.now)
    if code in implementation_table().country:
        return corrected(_narrowed(_from_file("cept.toml"), code, implementation_table()), _Corrections.now)
    if code in GROUPS:
        raise InputError(f'"{region}" is a group of countries; name the country by its ISO 3166-1 code')
    if code in NOT_KNOWN:
        raise InputError(
            f"nothing published is known here of the rules of {NOT_KNOWN[code]}, so nothing can be planned "
            "there: ask its regulator; docs/rules.md says how a territory is added"
        )
    near = f'; did you mean "{NOT_ISO[code]}"?' if code in NOT_ISO else did_you_mean(code, known_codes())
    raise InputError(f'no rules are known for region "{region}" (known: {", ".join(known_codes())}){near}')


def territory_or_group(region: str) -> Territory:
    """As `territory`; besides, "CEPT" and "EU" give the rows that the CEPT countries have in common."""
    return _from_file("cept.toml") if region.upper() in GROUPS else territory(region)


@cache
def rows_beside(code: str) -> tuple[Row, ...]:
    """CEPT's rows, where a CEPT country has rows of its own: their limits hold where its own state none."""
    if code not in _own_files() or code not in implementation_table().country:
        return ()
    return _from_file("cept.toml").rows


def _narrowed(cept: Territory, code: str, table: CountryTable) -> Territory:
    """CEPT's rows as one country is listed to have taken them over."""
    country = table.country[code]
    rows: list[Row] = []
    notes = list(cept.notes)
    for row in cept.rows:
        letter = None if row.table_row is None else country.rows[row.table_row]
        if letter == "N":
            notes.append(_not_available(row, country, table))
        else:
            rows.append(_taken_over(row, code, country, letter, table))
    prefix = code.lower()
    permits = tuple(
        permit.model_copy(update={"also": (f"{prefix}-national", f"{prefix}-licensed", f"{prefix}-coordinated")})
        for permit in cept.permits
    )
    about = f"CEPT's rows, as {country.name} is listed to have taken them over. {table.caution}"
    changed = {"code": code, "name": country.name, "about": about, "permits": permits}
    return cept.model_copy(update=changed | {"rows": tuple(rows), "notes": tuple(notes)})


def _not_available(row: Row, country: Country, table: CountryTable) -> Note:
    return Note(
        from_khz=row.from_khz,
        to_khz=row.to_khz,
        says=f"{country.name} is listed as not having {row.use}",
        source=table.source,
        basis=table.basis,
        evidence=table.evidence,
        as_of=table.as_of,
    )


def _taken_over(row: Row, code: str, country: Country, letter: str | None, table: CountryTable) -> Row:
    """A CEPT row in one country: assumed; and only listed where nothing says that the country has it."""
    changed: dict[str, Any] = {"id": row.id.replace("cept", code.lower(), 1), "evidence": "assumed"}
    if letter is None:
        changed["conditions"] = (*row.conditions, f"whether {country.name} has taken it over is not known")
        changed["listed_only"] = True
    else:
        changed["source"] = f"{row.source}; {table.source}"
        changed["basis"] = "memory" if row.basis == "memory" else table.basis
        if letter == "L":
            limited = f"limited in {country.name}: read the national table of frequencies"
            changed["conditions"] = (*row.conditions, limited)
    if changed.get("basis", row.basis) == "seen":
        changed["doubt"] = "read for CEPT, not for this country"
    return Row.model_validate(row.model_dump() | changed)

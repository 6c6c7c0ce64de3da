"""A strategy for whole shoots: every field of every model, in its range, with everything that it names there."""

from __future__ import annotations

import datetime
import string
from typing import Any

from hypothesis import strategies as st

from linkwright.shoot.catalogue import catalogue
from linkwright.shoot.models import Shoot

coins = st.booleans()
#: Names with what TOML has to quote: quotation marks, dots, brackets, blanks, letters of other scripts.
names = st.text(string.ascii_letters + string.digits + "\"'.[]# =\\\n\tåßé中🎤", min_size=1, max_size=12)
days = st.dates(datetime.date(2000, 1, 1), datetime.date(2199, 12, 31))
times = st.times()
hertz = st.integers(1_000, 10_000_000)
FORMS = ["body-worn", "plug-on", "handheld"]


def optional(**fields: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Any of these fields."""
    return st.fixed_dictionaries({}, optional=fields)


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """A number in a range, whole or not, as TOML has both."""
    return st.floats(low, high) | st.integers(int(low) + 1, int(high)).map(float)


def megahertz(khz: int) -> float:
    """Exactly what a person would type."""
    return float(f"{khz // 1000}.{khz % 1000:03d}")


ranges = st.tuples(hertz, hertz).map(lambda pair: [megahertz(khz) for khz in sorted(pair)])
points = st.fixed_dictionaries({"x_m": numbers(-1e5, 1e5), "y_m": numbers(-1e5, 1e5)}) | st.fixed_dictionaries(
    {"x_m": numbers(-1e5, 1e5), "y_m": numbers(-1e5, 1e5), "z_m": numbers(-500, 2000)}
)
DOES = ["standing", "walking", "running"]
doing = optional(does=st.sampled_from(DOES))
wishes = {
    "breaks_per_hour": numbers(0.01, 600),
    "sure_wanted": st.floats(0.5, 0.99),
    "power": st.sampled_from(["least", "most"]),
    "reserve_db": numbers(0, 60),
    "stay_db": numbers(0, 60),
}
readings = st.fixed_dictionaries(
    {"dbm": numbers(-150, 20)},
    optional={
        "power_mw": numbers(0.01, 10_000),
        "facing": st.sampled_from(["towards", "away", "side"]),
        "seconds": numbers(0, 86_400),
    },
)
pairs = st.lists(numbers(-1e5, 1e5), min_size=2, max_size=2)
walls = st.fixed_dictionaries(
    {"from": pairs, "to": pairs, "material": st.sampled_from(["wood", "brick", "coated-glass", "outer-wall"])},
    optional={"loss_db": numbers(0, 100), "height_m": numbers(-500, 2000)},
)
floors = st.fixed_dictionaries({"z_m": numbers(-500, 2000)}, optional={"loss_db": numbers(0, 100)})
materials = st.fixed_dictionaries(
    {"material": st.sampled_from(["wood", "brick"]), "loss_db": numbers(0, 100)}, optional={"source": names}
)
amplifiers = st.fixed_dictionaries(
    {"gain_db": numbers(-30, 60)},
    optional={"noise_figure_db": numbers(0, 40), "oip3_dbm": numbers(-80, 80), "at": st.sampled_from(["antenna"])},
)
antennas = st.fixed_dictionaries(
    {"name": names, "at": names, "branch": st.sampled_from(["A", "B"])},
    optional={
        "x_m": numbers(-1e5, 1e5),
        "z_m": numbers(-500, 2000),
        "pattern": st.sampled_from(["whip", "dipole"]),
        "gain_dbi": numbers(-40, 40),
        "towards_deg": numbers(-360, 360),
        "polarisation": st.sampled_from(["vertical", "horizontal", "slant", "circular"]),
        "feeder": st.sampled_from(["RG-58", "10 mm foam"]),
        "feeder_db": numbers(0, 100),
        "splitter_ways": st.integers(1, 64),
        "preamplifier": amplifiers,
    },
)
cells = st.fixed_dictionaries(
    {
        "type": st.sampled_from(["AA", "AAA", "9V", "pack"]),
        "chemistry": st.sampled_from(["alkaline", "lithium", "nimh", "li-ion"]),
        "count": st.integers(1, 16),
    },
    optional={"capacity_mah": numbers(1, 1e6), "voltage_v": numbers(0.1, 60)},
)
tuned = {"tunes_mhz": st.lists(ranges, min_size=1, max_size=3)}
transmitters = {
    **tuned,
    "form": st.sampled_from(FORMS),
    "raster_khz": st.integers(1, 1_000_000),
    "powers_mw": st.lists(numbers(0.001, 10_000), min_size=1, max_size=4, unique=True),
}
transmitter_options = {
    "edge_khz": st.integers(0, 1_000_000),
    "bandwidth_khz": st.integers(1, 1_000_000),
    "spacing_khz": st.integers(1, 1_000_000),
    "attenuation_db": st.lists(numbers(0, 60), max_size=4),
    "low_cut_hz": st.lists(numbers(0, 400), max_size=4),
    "latency_ms": numbers(0, 1000),
    "cells": cells,
    "drain_mw": st.fixed_dictionaries({"base": numbers(0, 1e5)}, optional={"per_radiated_mw": numbers(0, 1e4)}),
    "antenna_gain_dbi": numbers(-40, 40),
    "body_facing_db": numbers(0, 60),
    "body_away_db": numbers(0, 60),
    "resting_mw": numbers(0, 1e5),
    "control_mhz": hertz.map(megahertz),
    "control_reach_m": numbers(0.1, 1000),
}
receiver_options = {
    "channels": st.integers(1, 64),
    "branches": st.sampled_from([1, 2]),
    "branch_spacing_m": numbers(0, 100),
    "noise_figure_db": numbers(0, 40),
    "required_cnr_db": numbers(-20, 60),
    "iip3_dbm": numbers(-80, 60),
    "bridges_ms": numbers(0, 100),
    "look_s": numbers(0.001, 60),
    "latency_ms": numbers(0, 1000),
    "antenna_gain_dbi": numbers(-40, 40),
}
microphones = {
    "sensitivity_mv_pa": numbers(0.001, 1000),
    "self_noise_dba": numbers(-10, 80),
    "max_spl_db": numbers(60, 200),
}


def equipment(
    kind: str, needed: dict[str, st.SearchStrategy[Any]], options: dict[str, st.SearchStrategy[Any]]
) -> st.SearchStrategy[dict[str, Any]]:
    """A type with all its figures, or a class of the catalogue and what differs."""
    whole = st.fixed_dictionaries(needed, optional=options)
    use = st.sampled_from(sorted(catalogue()[kind]))
    return whole | st.fixed_dictionaries({"use": use}, optional={**needed, **options})


@st.composite
def calls(draw: st.DrawFn, name: str, sites: list[str], links: list[str]) -> dict[str, Any]:
    """A call with its times in order, breaks inside, some of the links and one of the sites."""
    call: dict[str, Any] = {"name": name}
    if draw(coins) and sites:
        call["site"] = draw(st.sampled_from(sites))
    call |= draw(optional(travel_min=numbers(0, 1440), set_up_min=numbers(0, 1440)))
    if draw(coins):
        call["links"] = draw(st.lists(st.sampled_from(links), unique=True, max_size=3))
    if draw(coins):
        call["date"] = draw(days)
    if draw(coins):
        moments = sorted(draw(st.sets(times, min_size=4, max_size=4)))
        call |= {"from": moments[0], "to": moments[3]}
        if draw(coins):
            call["breaks"] = [{"from": moments[1], "to": moments[2]}]
        if draw(coins):
            call["next_day"] = False
    return call


@st.composite
def sites(draw: st.DrawFn, name: str) -> dict[str, Any]:
    """A site with spots, walls, channels."""
    spots = [
        {"name": spot, **draw(points), **draw(doing)} for spot in draw(st.lists(names, unique=True, max_size=3))
    ]
    site = {
        "name": name,
        **draw(
            optional(
                walls=st.lists(walls, max_size=2),
                walls_complete=st.booleans(),
                floors=st.lists(floors, max_size=2),
                materials=st.lists(materials, max_size=2),
                flat_ground=st.booleans(),
                rice_db=numbers(-12, 15),
                temperature_c=numbers(-60, 60),
                antennas=st.lists(antennas, max_size=2),
                tv=st.lists(names, max_size=2),
            )
        ),
    }
    site |= draw(
        optional(
            surroundings=st.sampled_from(["open", "street", "residential", "office", "hall"]),
            sweeps=st.lists(names, max_size=2),
        )
    )
    if draw(coins):
        site |= {"latitude": draw(numbers(-90, 90)), "longitude": draw(numbers(-180, 180))}
    return site | {"spots": spots} if draw(coins) or spots else site


@st.composite
def others(draw: st.DrawFn, name: str, sites: list[str]) -> dict[str, Any]:
    """A narrow or a wide transmitter of somebody else, always on or at times."""
    low, high = sorted(draw(st.lists(hertz, min_size=2, max_size=2, unique=True)))
    other: dict[str, Any] = {"name": name, "radiated_mw": draw(numbers(1e-3, 1e9)), "at": draw(points)}
    if draw(coins):
        other |= {"carrier_mhz": megahertz(low), "bandwidth_khz": draw(st.integers(1, 1_000_000))}
    else:
        other |= {"from_mhz": megahertz(low), "to_mhz": megahertz(high)}
    if draw(coins) and sites:
        other["site"] = draw(st.sampled_from(sites))
    if draw(coins):
        other |= {"from": draw(times), "to": draw(times)}
    other |= draw(optional(date=days))
    return other


@st.composite
def permits(draw: st.DrawFn, name: str, live: list[str]) -> dict[str, Any]:
    days = st.dates(datetime.date(2027, 1, 1), datetime.date(2027, 12, 31))
    permit: dict[str, Any] = {"name": name, "only": draw(coins), "from": draw(days)}
    if draw(coins):
        permit["carriers_mhz"] = draw(st.lists(st.integers(470_000, 694_000).map(lambda k: k / 1000), min_size=1))
    else:
        permit["ranges_mhz"] = [[470.0, 606.5]]
    if draw(coins):
        permit |= {"max_mw": draw(numbers(0.1, 5000)), "power_reference": draw(st.sampled_from(["erp", "eirp"]))}
    if draw(coins):
        permit |= {"place": [draw(numbers(-90, 90)), draw(numbers(-180, 180))], "radius_m": draw(numbers(1, 1e5))}
    if draw(coins):
        permit |= {"for": [draw(st.sampled_from(live))], "document": "licence.pdf", "document_sha256": "0a" * 32}
    if draw(coins):
        permit["to"] = datetime.datetime(2028, 1, 1, 12, tzinfo=datetime.UTC)
    return permit


@st.composite
def documents(draw: st.DrawFn) -> dict[str, Any]:
    """A shoot as TOML would give it: plain dictionaries, lists, numbers, dates."""
    header = {"title": draw(names), "region": draw(st.sampled_from(["GB", "US", "XX"])), "date": draw(days)}
    header |= draw(
        optional(
            permits=st.lists(names, max_size=2),
            timezone=st.sampled_from(["UTC", "Europe/London", "America/St_Johns", "Pacific/Kiritimati"]),
            cell_reserve=st.floats(0, 0.9),
            set_up=optional(
                sweep_min=numbers(0, 60),
                pair_min=numbers(0, 60),
                settings_min=numbers(0, 60),
                walk_min=numbers(0, 60),
                change_min=numbers(0, 60),
            ),
            guard_khz=optional(im3_two=st.integers(0, 1000), im3_three=st.integers(0, 1000)),
            target=st.floats(0.99, 1.0, exclude_min=True, exclude_max=True),
            **wishes,
            accepts=st.lists(names, max_size=2),
        )
    )
    document: dict[str, Any] = {"shoot": header}
    own = {
        "transmitter": equipment("transmitter", transmitters, transmitter_options),
        "receiver": equipment("receiver", tuned, receiver_options),
        "microphone": equipment("microphone", microphones, {"phantom": st.booleans()}),
    }
    known: dict[str, list[str]] = {}
    for kind, strategy in own.items():
        types = draw(st.dictionaries(names, strategy, max_size=2))
        known[kind] = [*types, *catalogue()[kind]]
        if draw(coins) or types:
            document[kind] = types
    places = [draw(sites(name)) for name in draw(st.lists(names, unique=True, max_size=2))]
    spots = sorted({spot["name"] for place in places for spot in place.get("spots", [])})
    routes = st.lists(st.sampled_from(spots), max_size=3) if spots else st.just([])
    links = []
    for name in draw(st.lists(names, unique=True, min_size=1, max_size=3)):
        link = {"name": name, "transmitter": draw(st.sampled_from(known["transmitter"]))}
        link["receiver"] = draw(st.sampled_from(known["receiver"]))
        link |= draw(
            optional(
                microphone=st.sampled_from(known["microphone"]),
                worn=st.sampled_from(["belt-front", "belt-back", "pocket", "hand", "open"]),
                facing=st.sampled_from(["towards", "away", "side", "walking"]),
                crowd=st.sampled_from(["none", "thin", "dense"]),
                does=st.sampled_from(DOES),
                within_m=numbers(0.1, 10_000),
                **wishes,
                speed_m_s=numbers(0.1, 50),
                voice=st.sampled_from(["casual", "normal", "raised", "loud", "shouted"]),
                spares=st.integers(0, 20),
                locked_mhz=hertz.map(megahertz),
                encrypted=st.booleans(),
                route=routes,
            )
        )
        if draw(coins) and spots:
            link["at"] = draw(st.sampled_from(spots))
        links.append(link)
    document |= {"link": links}
    crews = draw(st.lists(names, unique=True, max_size=2))
    document["crew"] = [{"name": name, **draw(optional(contact=names, phone=st.just("0100")))} for name in crews]
    for link in links if crews else ():
        link |= draw(optional(crew=st.sampled_from(crews)))
    for place in places:
        at = [spot["name"] for spot in place.get("spots", [])]
        if draw(coins) and at:
            who = st.sampled_from([link["name"] for link in links] + [link["transmitter"] for link in links])
            entries = draw(st.lists(readings, min_size=1, max_size=2))
            place["measured_level"] = [
                {"link": draw(who), "spot": draw(st.sampled_from(at)), **entry} for entry in entries
            ]
    if draw(coins) or places:
        document["site"] = places
    on = [place["name"] for place in places]
    document["other"] = [draw(others(name, on)) for name in draw(st.lists(names, unique=True, max_size=2))]
    live = [link["name"] for link in links]
    document["call"] = [draw(calls(name, on, live)) for name in draw(st.lists(names, unique=True, max_size=2))]
    runs = st.fixed_dictionaries(
        {
            "transmitter": st.sampled_from(sorted(catalogue()["transmitter"])),
            "ran_h": numbers(0.1, 1000),
            "power_mw": numbers(0.001, 10_000),
        },
        optional={"temperature_c": numbers(-60, 60), "microphone": st.just("lapel"), "link": names},
    )
    document["run"] = draw(st.lists(runs, max_size=2))
    document["permit"] = [draw(permits(name, live)) for name in draw(st.lists(names, unique=True, max_size=2))]
    return document


def shoots() -> st.SearchStrategy[Shoot]:
    """Shoots that are in order."""
    from linkwright.shoot.reading import shoot_from

    return documents().map(lambda document: shoot_from(document, "", "drawn"))

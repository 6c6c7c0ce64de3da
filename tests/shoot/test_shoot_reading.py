"""The example of the contract, the smallest useful shoot, the catalogue, and the schema."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from linkwright.shoot.catalogue import catalogue
from linkwright.shoot.equipment import Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import parse_shoot, read_shoot
from linkwright.shoot.view import (
    distance_m,
    live_calls,
    microphone_of,
    receiver_of,
    receiving_point,
    recorder_of,
    route_points,
    site_named,
    sites,
    transmitter_of,
    worn_of,
)

QUAY = Path(__file__).parent / "data" / "quay.toml"

SMALLEST = """\
[shoot]
title = "Interview in the yard"
region = "GB"
date = 2027-05-14

[[link]]
name = "Guest"
transmitter = "uhf-body-worn"
receiver = "uhf-camera-slot"
"""


def smallest(extra: str = "") -> Shoot:
    return parse_shoot(SMALLEST + extra, "yard.toml")


def test_the_example_of_the_contract() -> None:
    shoot = read_shoot(QUAY)
    assert shoot.shoot.title == "Harbour pilots, day 2"
    assert shoot.shoot.date == datetime.date(2027, 5, 14)
    assert (shoot.shoot.guard_khz.im3_two, shoot.shoot.guard_khz.im3_three) == (100, 50)
    (site,) = shoot.site
    assert (site.latitude, site.longitude, site.surroundings) == (49.9, -7.5, "street")
    assert [(spot.name, spot.x_m, spot.y_m, spot.z_m) for spot in site.spots] == [
        ("Camera", 0.0, 0.0, 1.6),
        ("Gangway", 35.0, 12.0, 1.3),
    ]
    (wall,) = site.walls
    assert (wall.from_m, wall.to_m, wall.material) == ((20.0, -5.0), (20.0, 30.0), "brick")
    assert site.tv == ("21", "24", "31")
    pocket = shoot.transmitter["pocket"]
    assert (pocket.form, pocket.tunes_khz, pocket.raster_khz) == ("body-worn", ((518_000, 542_000),), 25)
    assert pocket.powers_mw == (5.0, 20.0, 40.0)
    assert pocket.cells is not None
    assert (pocket.cells.type, pocket.cells.chemistry, pocket.cells.count) == ("AA", "lithium", 2)
    assert pocket.drain_mw is not None
    assert (pocket.drain_mw.base, pocket.drain_mw.per_radiated_mw) == (550.0, 8.0)
    slot = shoot.receiver["slot"]
    assert (slot.branches, slot.noise_figure_db, slot.required_cnr_db, slot.iip3_dbm) == (2, 6.0, 18.0, -5.0)
    assert shoot.microphone["lapel"].max_spl_db == 130.0
    (link,) = shoot.link
    assert (link.route, link.worn, link.voice, link.spares) == (("Gangway", "Camera"), "belt-back", "raised", 2)
    assert (link.locked_mhz, link.encrypted) == (523.125, True)
    (other,) = shoot.other
    assert other.band_khz == (606_287.5, 606_312.5)
    assert (other.on_from, other.on_to) == (datetime.time(9), datetime.time(18))
    (call,) = shoot.call
    assert (call.starts, call.ends, call.links) == (datetime.time(8, 30), datetime.time(10, 15), ("Pilot",))
    assert [(one.starts, one.ends) for one in call.breaks] == [(datetime.time(9, 20), datetime.time(9, 40))]


def test_the_smallest_shoot_has_about_ten_lines() -> None:
    assert len(SMALLEST.strip().splitlines()) <= 10
    assert smallest().link[0].name == "Guest"


def test_what_the_smallest_shoot_takes_for_granted() -> None:
    shoot = smallest()
    (link,) = shoot.link
    (site,) = sites(shoot)
    assert (site.surroundings, site.tv, site.sweeps) == ("open", (), ())
    assert (shoot.shoot.guard_khz.im3_two, shoot.shoot.guard_khz.im3_three) == (100, 50)
    assert (shoot.shoot.target, shoot.shoot.permits, shoot.shoot.timezone) == (None, (), None)
    assert (shoot.shoot.breaks_per_hour, shoot.shoot.sure_wanted, shoot.shoot.power) == (2.0, 0.9, "least")
    assert (link.spares, link.voice, link.locked_mhz) == (1, "normal", None)
    assert worn_of(shoot, link) == "belt-back"
    assert microphone_of(shoot, link) is None
    (call,) = live_calls(shoot)
    assert (call.links, call.site, call.starts, call.ends) == (shoot.link, site, None, None)


def test_without_spots_the_talent_is_30_m_away() -> None:
    shoot = smallest()
    site, link = sites(shoot)[0], shoot.link[0]
    (spot,) = route_points(site, link)
    across = ((spot.x_m - receiving_point(site, link).x_m) ** 2 + spot.y_m**2) ** 0.5
    assert (across, spot.name) == (30.0, "30 m away")


SPOTS = """
[[site]]
name = "Yard"
spots = [
  { name = "Cart", x_m = 0, y_m = 0 },
  { name = "Door", x_m = 3, y_m = 4, z_m = 1.5 },
  { name = "Gate", x_m = 0, y_m = 20 },
]
[[site]]
name = "Hall"
surroundings = "hall"
spots = [{ name = "Stage", x_m = 1, y_m = 1 }]
"""


def test_without_a_route_the_talent_goes_everywhere_but_to_the_receiver() -> None:
    shoot = smallest(SPOTS)
    site, link = shoot.site[0], shoot.link[0]
    assert receiving_point(site, link).name == "Cart"
    assert [spot.name for spot in route_points(site, link)] == ["Door", "Gate"]


def test_a_spot_is_a_metre_and_a_half_above_ground_where_nothing_is_said() -> None:
    assert smallest(SPOTS).site[0].spots[0].z_m == 1.5


def test_where_the_only_spot_is_the_receiver_the_talent_is_30_m_from_it() -> None:
    shoot = smallest(SPOTS)
    hall, link = shoot.site[1], shoot.link[0]
    (spot,) = route_points(hall, link)
    assert (spot.x_m, spot.y_m) == (31.0, 1.0)


def test_a_route_keeps_its_order_and_leaves_out_the_spots_of_other_sites() -> None:
    text = SMALLEST + 'route = ["Gate", "Stage", "Door", "Gate"]\nat = "Door"\n' + SPOTS
    shoot = parse_shoot(text, "yard.toml")
    yard, hall, link = shoot.site[0], shoot.site[1], shoot.link[0]
    assert [spot.name for spot in route_points(yard, link)] == ["Gate", "Door", "Gate"]
    assert [spot.name for spot in route_points(hall, link)] == ["Stage"]
    assert (receiving_point(yard, link).name, receiving_point(hall, link).name) == ("Door", "Stage")


def test_distances() -> None:
    cart, door, _ = smallest(SPOTS).site[0].spots
    assert distance_m(cart, door) == 5.0


def test_sites_are_found_by_name_and_the_first_is_the_default() -> None:
    shoot = smallest(SPOTS)
    assert site_named(shoot, "Hall").surroundings == "hall"
    assert site_named(shoot, None).name == "Yard"


@pytest.mark.parametrize(
    ("form", "said", "worn"),
    [
        ("body-worn", None, "belt-back"),
        ("plug-on", None, "hand"),
        ("handheld", None, "hand"),
        ("handheld", "pocket", "pocket"),
        ("body-worn", "open", "open"),
    ],
)
def test_where_it_is_worn(form: str, said: str | None, worn: str) -> None:
    text = SMALLEST.replace('"uhf-body-worn"', '"mine"') + (f'worn = "{said}"\n' if said else "")
    text += f'[transmitter.mine]\nuse = "uhf-body-worn"\nform = "{form}"\n'
    shoot = parse_shoot(text, "yard.toml")
    assert worn_of(shoot, shoot.link[0]) == worn


def test_the_shoot_s_own_type_outranks_the_catalogue_s() -> None:
    shoot = smallest('[receiver.uhf-camera-slot]\nuse = "uhf-camera-slot"\nnoise_figure_db = 4.5\n')
    assert receiver_of(shoot, shoot.link[0]).noise_figure_db == 4.5
    assert receiver_of(smallest(), shoot.link[0]).noise_figure_db == 8.0
    assert receiver_of(shoot, shoot.link[0]).tunes_khz == receiver_of(smallest(), shoot.link[0]).tunes_khz


MODELS: dict[str, type[Transmitter | Receiver | Microphone | Recorder]] = {
    "transmitter": Transmitter,
    "receiver": Receiver,
    "microphone": Microphone,
    "recorder": Recorder,
}
CLASSES = [(kind, name) for kind in MODELS for name in catalogue()[kind]]


def test_the_catalogue_has_a_few_classes_of_each_kind() -> None:
    assert set(catalogue()) == set(MODELS)
    assert all(len(classes) >= 3 for classes in catalogue().values())


@pytest.mark.parametrize(("kind", "name"), CLASSES)
def test_every_class_of_the_catalogue_is_in_order(kind: str, name: str) -> None:
    model = MODELS[kind].model_validate({"use": name})
    stated = catalogue()[kind][name]
    assert "use" not in stated
    assert all(getattr(model, key) is not None for key in stated)


@pytest.mark.parametrize(("kind", "name"), CLASSES)
def test_every_class_of_the_catalogue_can_be_named_by_a_link(kind: str, name: str) -> None:
    text = SMALLEST if kind in ("transmitter", "receiver") else SMALLEST + f'{kind} = "x"\n'
    lines = [f'{kind} = "{name}"' if line.startswith(f"{kind} =") else line for line in text.splitlines()]
    shoot = parse_shoot("\n".join(lines), "yard.toml")
    (link,) = shoot.link
    by_kind = {
        "transmitter": transmitter_of,
        "receiver": receiver_of,
        "microphone": microphone_of,
        "recorder": recorder_of,
    }
    found = by_kind[kind](shoot, link)
    assert found is not None
    assert found.kind() == kind


def test_every_transmitter_class_has_a_receiver_class_that_tunes_to_it() -> None:
    for name in catalogue()["transmitter"]:
        low, high = Transmitter.model_validate({"use": name}).tunes_khz[0]
        receivers = [Receiver.model_validate({"use": other}) for other in catalogue()["receiver"]]
        assert any(r.tunes_khz[0][0] <= low and high <= r.tunes_khz[0][1] for r in receivers)


def test_nothing_can_be_changed_after_reading() -> None:
    shoot = smallest()
    with pytest.raises(ValueError, match="frozen"):
        shoot.link[0].spares = 3  # type: ignore[misc]


# The schema.


def models_of(model: type[BaseModel], seen: set[type[BaseModel]]) -> set[type[BaseModel]]:
    seen.add(model)
    for field in model.model_fields.values():
        for inner in _models_in(field.annotation):
            if inner not in seen:
                models_of(inner, seen)
    return seen


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in getattr(annotation, "__args__", ()) for model in _models_in(inner)]


def test_the_schema_has_every_table_and_key_of_the_contract() -> None:
    schema = Shoot.model_json_schema(by_alias=True)
    assert set(schema["properties"]) == {
        "shoot", "site", "transmitter", "receiver", "microphone", "recorder", "link", "other",
        "call", "permit", "contact", "run", "crew",
    }  # fmt: skip
    for model in models_of(Shoot, set()) - {Shoot}:
        keys = {field.alias or name for name, field in model.model_fields.items()}
        assert set(schema["$defs"][model.__name__]["properties"]) == keys
        assert schema["$defs"][model.__name__]["additionalProperties"] is False


def test_every_key_of_the_schema_is_described() -> None:
    schema = Shoot.model_json_schema(by_alias=True)
    tables = {"Shoot": schema, **schema["$defs"]}
    missing = [
        f"{table}.{key}"
        for table, properties in tables.items()
        for key, value in properties.get("properties", {}).items()
        if not value.get("description")
    ]
    assert missing == []


@pytest.mark.parametrize(
    ("table", "keys"),
    [
        ("Header", "title region permits date timezone guard_khz target accepts"),
        ("Site", "name latitude longitude surroundings spots walls tv sweeps"),
        (
            "Transmitter",
            "form tunes_mhz raster_khz edge_khz powers_mw bandwidth_khz spacing_khz attenuation_db low_cut_hz "
            "latency_ms cells drain_mw use",
        ),
        (
            "Receiver",
            "tunes_mhz channels branches noise_figure_db required_cnr_db iip3_dbm look_s latency_ms use",
        ),
        ("Microphone", "sensitivity_mv_pa self_noise_dba max_spl_db phantom use"),
        (
            "Link",
            "name transmitter receiver microphone at route worn voice spares locked_mhz encrypted",
        ),
        ("Other", "name carrier_mhz from_mhz to_mhz radiated_mw bandwidth_khz site at from to"),
        ("Call", "name site from to links breaks date next_day"),
        ("Wall", "from to material"),
        ("Drain", "base per_radiated_mw"),
        ("Cells", "type chemistry count"),
        ("Guard", "im3_two im3_three"),
        ("Break", "from to"),
        ("Spot", "name x_m y_m z_m"),
    ],
)
def test_every_key_that_the_contract_names_is_there(table: str, keys: str) -> None:
    schema = Shoot.model_json_schema(by_alias=True)
    assert set(keys.split()) <= set(schema["$defs"][table]["properties"])

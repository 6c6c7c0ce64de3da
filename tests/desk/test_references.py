"""A rename is followed wherever a shoot names an entry: the list of such places is held against the models."""

from __future__ import annotations

import importlib.resources
import tomllib
from pathlib import Path

from linkwright.desk.editing import REFERENCES, put, removal
from linkwright.desk.names import names_of
from linkwright.shoot.models import Shoot
from linkwright.store import Store
from linkwright.store.schema import _fields

#: Keys whose values are names of entries, by the kind that they name.
NAMING = {
    "link": "link",
    "links": "link",
    "site": "site",
    "at": "spot",
    "route": "spot",
    "spot": "spot",
    "for": "link",
    "crew": "crew",
}
#: The lists themselves, a point in metres, a word, a moment.
OTHERWISE = {
    ("link",),
    ("site",),
    ("crew",),
    ("other", "*", "at"),
    ("site", "*", "antennas", "*", "preamplifier", "at"),
    ("site", "*", "measured_level", "*", "at"),
}


def test_every_field_that_names_an_entry_is_followed() -> None:
    named = {(NAMING[path[-1]], path) for path, _ in _fields(Shoot) if path[-1] in NAMING and path not in OTHERWISE}
    assert named == set(REFERENCES)


def test_an_antenna_follows_the_spot_of_its_own_site_only(tmp_path: Path) -> None:
    text = importlib.resources.files("linkwright.demo").joinpath("shoot.toml").read_text("utf-8")
    document = tomllib.loads(text)
    first = document["site"][0]
    spot = first["spots"][0]["name"]
    first["antennas"] = [{"name": "North", "at": spot, "branch": "A"}]
    other = {**first, "name": "Another place", "antennas": [{"name": "South", "at": spot, "branch": "B"}]}
    document["site"] = [first, other]
    with Store.open(str(tmp_path / "job.linkwright"), create=True) as store:
        store.replace(document, "Potter")
        draft = store.document()
        (one, _), (two, _) = draft.entries("site")
        ((id_, _), *_rest) = draft.entries("site", one, "spots")
        put(store, names_of(draft, ()), ("site", one, "spots", id_, "name"), spot, "The new spot", "Potter")
        after = store.document()
        assert [entry["at"] for _, entry in after.entries("site", one, "antennas")] == ["The new spot"]
        assert [entry["at"] for _, entry in after.entries("site", two, "antennas")] == [spot]


def test_a_link_that_is_removed_takes_what_was_measured_of_it_alone(tmp_path: Path) -> None:
    text = importlib.resources.files("linkwright.demo").joinpath("shoot.toml").read_text("utf-8")
    document = tomllib.loads(text)
    gone, stays = (link["name"] for link in document["link"][:2])
    site = document["site"][0]
    spot = site["spots"][0]["name"]
    site["measured_level"] = [{"link": name, "spot": spot, "dbm": -60.0} for name in (gone, stays)]
    document["run"] = [{"link": name, "hours": 5.0} for name in (gone, stays)]
    with Store.open(str(tmp_path / "job.linkwright"), create=True) as store:
        store.replace(document, "Potter")
        draft = store.document()
        id_ = next(id_ for id_, link in draft.entries("link") if link["name"] == gone)
        along = removal(draft, ("link", id_))
        assert {"one measured level", "one measured run time"} <= set(along.says)
        store.set_fields(list(along.fields), "Potter")
        after = store.document()
        place = next(one for one, _ in after.entries("site"))
        levels = [level for _, level in after.entries("site", place, "measured_level")]
        assert [one["link"] for one in [*levels, *(run for _, run in after.entries("run"))]] == [stays, stays]
        spot_id = next(one for one, value in after.entries("site", place, "spots") if value["name"] == spot)
        assert "one measured level" in removal(after, ("site", place, "spots", spot_id)).says


def test_links_and_calls_of_a_crew_that_is_removed_are_the_events_own(tmp_path: Path) -> None:
    text = importlib.resources.files("linkwright.demo").joinpath("shoot.toml").read_text("utf-8")
    document = tomllib.loads(text)
    document["crew"] = [{"name": "Radio North"}]
    document["link"][0]["crew"] = document["call"][0]["crew"] = "Radio North"
    with Store.open(str(tmp_path / "job.linkwright"), create=True) as store:
        store.replace(document, "Potter")
        draft = store.document()
        ((id_, _),) = draft.entries("crew")
        put(store, names_of(draft, ()), ("crew", id_, "name"), "Radio North", "Radio South", "Potter")
        renamed = store.document()
        crews = [entry.get("crew") for kind in ("link", "call") for _, entry in renamed.entries(kind)]
        assert crews.count("Radio South") == 2
        assert "Radio North" not in crews
        store.set_fields(list(removal(renamed, ("crew", id_)).fields), "Potter")
        after = store.document()
        assert not any("crew" in entry for kind in ("link", "call") for _, entry in after.entries(kind))

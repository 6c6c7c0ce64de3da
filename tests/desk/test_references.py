"""A rename is followed wherever a shoot names an entry: the list of such places is held against the models."""

from __future__ import annotations

from linkwright.desk.editing import REFERENCES, put
from linkwright.desk.names import Names, names_of
from linkwright.shoot.models import Shoot
from linkwright.store.schema import _fields

#: Keys whose values are names of entries, by the kind that they name.
NAMING = {"link": "link", "links": "link", "site": "site", "at": "spot", "route": "spot", "spot": "spot"}
#: The lists themselves, a point in metres, and a word.
OTHERWISE = {("link",), ("site",), ("other", "*", "at"), ("site", "*", "antennas", "*", "preamplifier", "at")}


def test_every_field_that_names_an_entry_is_followed() -> None:
    named = {
        (NAMING[path[-1]], path) for path, _ in _fields(Shoot) if path[-1] in NAMING and path not in OTHERWISE
    }
    assert named == set(REFERENCES)

"""The table of faults is complete: every kind that the code tells is a row, and every row is told by something."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import linkwright.sound
from linkwright.sound.kinds import GRAVE, KINDS, MOMENTS, RADIO, gravity

FOLDER = Path(linkwright.sound.__file__).parent
SOURCES = [path.read_text("utf-8") for path in sorted(FOLDER.glob("*.py")) if path.name != "kinds.py"]


def test_every_row_is_told_by_something() -> None:
    assert [name for name in KINDS if not any(f'"{name}"' in text for text in SOURCES)] == []


def test_every_kind_that_is_told_is_a_row() -> None:
    told = [name for text in SOURCES for name in re.findall(r"\b(?:Fault|_one)\([^\"]*?\"([a-z]+)\"", text)]
    assert len(told) > 15
    assert set(told) <= set(KINDS)


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_each_row_says_all_that_a_person_needs(kind: object) -> None:
    from linkwright.sound.kinds import Kind

    assert isinstance(kind, Kind)
    assert kind.looks
    assert kind.do.endswith(".")
    assert kind.words
    assert kind.many or kind.of != "moment"
    if kind.level:
        assert kind.level.format(1.0)


def test_the_gravest_stand_first() -> None:
    assert gravity("dead") < gravity("mute") < gravity("rumble") < gravity("click")
    assert set(GRAVE) == {"dead", "torn", "mute", "hold", "repeat", "hole", "clip"}
    assert set(RADIO) == {"mute", "hold", "repeat", "hole", "burst", "click"}
    assert "edit" not in MOMENTS

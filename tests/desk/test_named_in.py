"""Which link a recording is of, by the name of its file."""

from __future__ import annotations

import pytest

from linkwright.desk.names import named_in


@pytest.mark.parametrize(
    ("file", "link"),
    [
        ("boom.wav", "Boom"),
        ("2027-05-14_Boom_2.wav", "Boom 2"),
        ("WORK SONG take 3.flac", "Work song"),
        ("take 3.wav", "Pilot"),
    ],
)
def test_a_file_is_offered_to_the_link_that_it_names(file: str, link: str) -> None:
    """boom.wav was offered to the first link of the shoot."""
    assert named_in(file, ("Pilot", "Boom", "Boom 2", "Work song")) == link


def test_without_links_nothing_is_offered() -> None:
    assert named_in("boom.wav", ()) == ""

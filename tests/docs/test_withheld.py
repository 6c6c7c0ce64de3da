"""Words and figures that recall a product stay out; kept as hashes, so that they do not stand here either."""

from __future__ import annotations

import hashlib
import itertools
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from linkwright.shoot.catalogue import catalogue

ROOT = Path(__file__).parents[2]
#: Words, pairs of words and constants that no tracked file may hold.
WORDS = frozenset(
    [
        "141124d86e27759c",
        "3c987c5b56eac61f",
        "5a8edae960e9d22e",
        "625479ccd89135c4",
        "a17c49658a4ef856",
        "ebc68ae799db4880",
        "fd53212b41ff8442",
        "c643e4f07ec8035d",
        "d947d8c995ce0812",
        "31c0c15d7ca2aeb8",
        "b9d3cc17cdffb296",
        "67f1eb424e72077b",
        "12a0a6643592b358",
        "3161a98ce5b93ddc",
        "8c52d05ecd39e237",
        "97c309714b681f92",
        "be36bb194d108df2",
        "3b1e00e95c3d093d",
        "88e1ca471b255835",
        "5c797ff993775bc1",
    ]
)
#: Figures that no class of the catalogue may have together.
FIGURES = frozenset(
    [
        "aa7392860525a387",
        "6302ab7452937edd",
        "76b717a84a15fe68",
        "b1d0b64a46620266",
        "d3ccd55a412c54d9",
        "3922b64b88f48836",
        "56cbb7a4c256aa57",
    ]
)


def fingerprint(words: str) -> str:
    """The salted hash of some words."""
    return hashlib.sha256(f"lw:{words.lower()}".encode()).hexdigest()[:16]


def tracked_text() -> Iterator[tuple[str, str]]:
    """Name and text of every tracked text file but the locks."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    for name in filter(None, listed.split("\0")):
        path = ROOT / name
        if path.is_file() and path.stat().st_size < 2_000_000 and path.suffix not in (".png", ".woff2", ".txt"):
            try:
                yield name, path.read_text("utf-8")
            except UnicodeDecodeError:
                continue


def test_no_file_holds_a_withheld_word() -> None:
    seen: dict[str, str] = {}
    for name, text in tracked_text():
        for line in text.splitlines():
            tokens = re.findall(r"[A-Za-z0-9][A-Za-z0-9.]*[A-Za-z0-9]", line) if len(line) < 2000 else []
            for phrase in itertools.chain(tokens, map(" ".join, itertools.pairwise(tokens))):
                seen.setdefault(phrase.lower(), name)
    assert seen or not (ROOT / ".git").exists()
    held = {phrase: name for phrase, name in seen.items() if fingerprint(phrase) in WORDS}
    assert not held


def figures(kind: str, fields: dict[str, Any]) -> list[str]:
    """The figures of a class that together could be a data sheet's."""
    told = [f"look {fields['look_s']:g}"] if "look_s" in fields else []
    if kind == "transmitter":
        told += [f"tunes {low} {high}" for low, high in fields["tunes_mhz"]]
        told.append(f"raster {fields['raster_khz']} spacing {fields['spacing_khz']}")
        told.append("powers " + " ".join(f"{power:g}" for power in fields["powers_mw"]))
    if kind == "microphone":
        told.append("microphone {sensitivity_mv_pa:g} {self_noise_dba:g} {max_spl_db:g}".format(**fields))
    return told


@pytest.mark.parametrize("kind", ["transmitter", "receiver", "microphone"])
def test_no_class_is_somebodys_data_sheet(kind: str) -> None:
    for name, fields in catalogue()[kind].items():
        assert not [told for told in figures(kind, fields) if fingerprint(told) in FIGURES], name


def test_the_fingerprints_are_of_what_they_say() -> None:
    """The table is compared with what the functions make, so a change of either is noticed."""
    assert fingerprint("look 0.25") not in FIGURES
    assert figures("receiver", {"look_s": 0.25}) == ["look 0.25"]
    assert len(WORDS) > 10
    assert len(FIGURES) > 5

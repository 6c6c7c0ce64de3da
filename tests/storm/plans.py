"""Shoots that somebody changes without end: there is a plan each time, or one sentence why there is none.

    python -m tests.storm plans --shoots 1000

Kit of the whole catalogue at one to three sites, some locked or set, in calls at the same time, with somebody else
on a carrier; then five changes, each planned anew, from the plan before, or as it goes on from there (`changes`,
`replan`). A plan that the verifier refuses is a fault.
"""

from __future__ import annotations

import argparse
import json
import random
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from linkwright.plan.chain import scene_of
from linkwright.plan.changes import changes
from linkwright.plan.legs import plan_in_pieces
from linkwright.plan.pieces import Pieces
from linkwright.plan.replan import replan
from linkwright.shoot.catalogue import catalogue_entry, catalogue_names
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import parse_shoot

LAWS = (("GB", "gb-coordinated"), ("GB", "gb-coordinated"), ("US", "us-part-74"), ("DE", "de-general"))
STEPS = 6

Table = dict[str, Any]


def tunes(kind: str, name: str) -> list[list[float]]:
    """The ranges of a class of the catalogue [MHz]; none for one that has none of its own."""
    return list(catalogue_entry(kind, name).get("tunes_mhz") or [])


def pairs() -> list[tuple[str, str]]:
    """Classes of transmitter and receiver that tune something in common."""
    return [
        (transmitter, receiver)
        for transmitter in catalogue_names("transmitter")
        for receiver in catalogue_names("receiver")
        if any(
            max(low, begin) < min(high, end)
            for low, high in tunes("transmitter", transmitter)
            for begin, end in tunes("receiver", receiver)
        )
    ]


@dataclass
class Changing:
    """A shoot as tables, and whoever changes it."""

    chance: random.Random
    kinds: list[tuple[str, str]]
    law: tuple[str, str]
    given: int = 0
    site: list[Table] = field(default_factory=list)
    link: list[Table] = field(default_factory=list)
    call: list[Table] = field(default_factory=list)
    other: list[Table] = field(default_factory=list)

    @classmethod
    def begun(cls, seed: int, every: list[tuple[str, str]]) -> Changing:
        """A shoot to begin with."""
        chance = random.Random(seed)
        shoot = cls(chance, chance.sample(every, chance.randint(1, 3)), chance.choice(LAWS))
        for n in range(chance.randint(1, 3)):
            spots = [
                {"name": f"S{n} a", "x_m": 0, "y_m": 0},
                {"name": f"S{n} b", "x_m": chance.choice((10, 40)), "y_m": 5},
            ]
            surroundings = chance.choice(("open", "hall", "office", "street"))
            latitude = 50 + n * chance.choice((0.001, 0.01))
            shoot.site.append(
                {
                    "name": f"S{n}",
                    "latitude": latitude,
                    "longitude": 0.0,
                    "surroundings": surroundings,
                    "spots": spots,
                }
            )
        for _ in range(chance.randint(1, 8)):
            shoot.add_link()
        for _ in range(chance.choice((0, 1, 2, 3, 4))):
            shoot.add_call()
        return shoot

    def name(self, letter: str) -> str:
        """A name that nothing has yet."""
        self.given += 1
        return f"{letter}{self.given}"

    def add_link(self) -> None:
        """One more link, in some call where there are any."""
        transmitter, receiver = self.chance.choice(self.kinds)
        link = {"name": self.name("L"), "transmitter": transmitter, "receiver": receiver}
        self.link.append({**link, "within_m": self.chance.choice((5, 20, 60))})
        if self.call:
            self.chance.choice(self.call)["links"].append(link["name"])

    def add_call(self) -> None:
        """One more call of some links, whenever."""
        begins = self.chance.randint(6, 18)
        names = [link["name"] for link in self.link]
        self.call.append({
            "name": self.name("C"), "site": self.chance.choice(self.site)["name"], "from": f"{begins:02d}:00:00",
            "to": f"{begins + self.chance.randint(1, 4):02d}:00:00",
            "links": self.chance.sample(names, self.chance.randint(1, len(names))),
        })  # fmt: skip

    def change(self, taken_khz: list[int]) -> None:
        """One change of a kind that people make."""
        chance, link = self.chance, self.chance.choice(self.link)
        khz = chance.choice(taken_khz or [500_000])
        kind = chance.choice(
            ("lock", "lock", "lock", "free", "other", "call", "off", "link", "set", "power", "kit")
        )
        if kind == "lock":
            link["locked_mhz"] = (khz + chance.choice((0, 0, 0, 25, 100, 200, 400))) / 1000
        elif kind == "free":
            link.pop("locked_mhz", None)
        elif kind == "other":
            site = chance.choice(self.site)["name"]
            mw = chance.choice((1, 50))
            self.other.append({"name": self.name("O"), "carrier_mhz": khz / 1000, "site": site, "radiated_mw": mw})
        elif kind == "call":
            self.add_call()
        elif kind == "off" and len(self.call) > 1:
            self.call.remove(chance.choice(self.call))
        elif kind == "link":
            self.add_link()
        elif kind == "set":
            link["set_mhz"] = khz / 1000
        elif kind == "power":
            link |= {"power": "most", "spares": chance.choice((0, 1, 3))}
        else:
            link["transmitter"], link["receiver"] = chance.choice(self.kinds)

    def shoot(self) -> Shoot:
        """The shoot, read as a person's file is. Raises InputError."""
        region, permit = self.law
        lines = [
            "[shoot]",
            'title = "Changing"',
            f'region = "{region}"',
            f'permits = ["{permit}"]',
            "date = 2027-05-14",
        ]
        for kind in ("site", "link", "call", "other"):
            for table in getattr(self, kind):
                lines += [f"[[{kind}]]", *(f"{key} = {_toml(key, value)}" for key, value in table.items())]
        return parse_shoot("\n".join(lines), "changing.toml")


def _toml(key: str, value: Any) -> str:
    if key == "spots":
        return (
            "["
            + ", ".join(
                "{ " + ", ".join(f"{k} = {json.dumps(v)}" for k, v in spot.items()) + " }" for spot in value
            )
            + "]"
        )
    return value if key in ("from", "to") else json.dumps(value)


def planned(shoot: Shoot, before: Pieces | None, chance: random.Random) -> Pieces:
    """The plan by one of the ways in which it is made."""
    scene, effort = scene_of(shoot, {}), chance.choice((0.0, 0.25))
    if before is None or chance.random() < 0.2:
        return plan_in_pieces(scene, effort=effort)
    changed = changes(before.scene, scene)
    if changed is None or chance.random() < 0.5:
        return plan_in_pieces(scene, before.plan, effort=effort)
    return replan(before, changed.scene, changed.calls, effort=effort)


def storm(seeds: Iterable[int]) -> list[str]:
    """What went wrong, a line each."""
    every, wrong = pairs(), []
    for seed in seeds:
        changing, pieces = Changing.begun(seed, every), None
        for step in range(STEPS):
            try:
                pieces = planned(changing.shoot(), pieces, changing.chance)
            except InputError as error:
                if "\n" in str(error).strip():
                    wrong.append(f"{seed}, step {step}: {error}")
                break
            except Exception as error:
                wrong.append(f"{seed}, step {step}: {type(error).__name__}: {error}")
                break
            links = [link for call in pieces.plan.calls for link in call.links]
            changing.change([khz for link in links for khz in (link.carrier_khz, *link.spares_khz)])
    return wrong


def main(arguments: list[str]) -> int:
    """The status: 0 where there always was a plan or a sentence."""
    parser = argparse.ArgumentParser(prog="plans")
    parser.add_argument("--shoots", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20_270_514)
    asked = parser.parse_args(arguments)
    began = time.monotonic()
    wrong = storm(range(asked.seed, asked.seed + asked.shoots))
    print("\n".join(wrong))
    print(f"{asked.shoots} shoots in {time.monotonic() - began:.0f} s; {len(wrong)} went wrong")
    return 1 if wrong else 0

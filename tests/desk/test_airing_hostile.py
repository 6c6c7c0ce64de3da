"""Rows of a live sweep that are torn, wild, of other settings, or of no use: nothing breaks, whatever comes."""

from __future__ import annotations

import contextlib
import json
import random
from pathlib import Path

import numpy as np

from linkwright.air.ours import Mine
from linkwright.desk.air_pictures import levels_now, over_time
from linkwright.desk.airing import Airing
from linkwright.desk.background import Background
from linkwright.desk.telling import Nobody
from linkwright.shoot.errors import InputError
from linkwright.store import Store

OURS = (Mine(500_000, 200, 200, "A"), Mine(500_400, 200, 200, "B"), Mine(501_000, 200, 200, "C", spare=True))


def rows(chance: random.Random, rng: np.random.Generator, low: int, bins: int, step: int) -> str:
    """A pass with holes in it, levels that are none, and a torn end."""
    level = rng.normal(-90, chance.choice([0, 3, 80]), bins)
    if chance.random() < 0.3:
        level[rng.integers(bins)] = chance.choice([np.nan, np.inf, -np.inf, 399, -399])
    hop, text = chance.choice([bins, max(2, bins // 3)]), ""
    for at in range(0, bins, hop):
        part = level[at : at + hop]
        if part.size > 1 and chance.random() > 0.1:
            head = f"2027-05-14, 09:30:00, {low + at * step}, {low + (at + part.size) * step}, {step}.00"
            fields = [
                head,
                str(chance.choice([1, 4, 0, 10**6])),
                *(f"{one:.2f}" for one in part),
                f"{part[-1]:.2f}",
            ]
            text += ", ".join(fields) + "\n"
    if chance.random() < 0.2:
        text = text[: chance.randrange(len(text) + 1)] + chance.choice(["\n", "\0", "x,", "\xff"])
    return text


def test_whatever_comes_is_taken_or_refused_in_a_sentence(tmp_path: Path) -> None:
    with Store.open(tmp_path / "job.lwjob", create=True) as store:
        for seed in range(60):
            chance, rng = random.Random(seed), np.random.default_rng(seed)
            airing = Airing(store, Nobody(), Background("airing", "the live sweep", Nobody()))
            now = [1.8e9]
            airing.clock = lambda now=now: now[0]  # type: ignore[misc]
            airing.is_on = lambda _link, chance=chance: chance.choice([True, False, None])  # type: ignore[misc]
            airing.expect({"x": OURS})
            bins, low = chance.choice([2, 3, 10, 64, 200, 900]), chance.choice([499_000_000, 0, 1_000_000])
            step = chance.choice([1000, 6250, 25_000, 100_000, 1_000_000])
            for _ in range(chance.choice([2, 6, 20])):
                step = chance.choice([25_000, 50_000]) if chance.random() < 0.1 else step
                now[0] += chance.choice([0, 1, 8, 1e5])
                with contextlib.suppress(InputError):
                    record = {"rows": rows(chance, rng, low, bins, step), "source": "s", "site": "x"}
                    airing.take(json.dumps(record).encode())
                airing.turn()
                airing.newcomers()
                airing.on_slot("x", 500_000, 200)
                for source in airing.sources("x"):
                    for look in ("now", "highest", "share"):
                        assert levels_now(source.air, look, 499_000, 502_000, 50).shape == (3, 50)
                    over_time(source.air, 499_000, 502_000, 50, 20)

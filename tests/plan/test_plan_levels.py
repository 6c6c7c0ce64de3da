"""Near and far, strong and weak: what the levels do to a plan, and what it says of it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from tests.plan.shoots import links, pocket, shoot

from linkwright.assign import levels
from linkwright.assign.levels import FEW_LINKS, OnCarriers, PlainProducts, Radio, rejections, unwanted
from linkwright.assign.verify import level_faults, strong_faults
from linkwright.plan.model import Plan
from linkwright.plan.pipeline import make_plan

HALL = """
[[site]]
name = "Hall"
surroundings = "hall"
walls = [{ from = [20, -30], to = [20, 30], material = "concrete" }]
spots = [
  { name = "Rack", x_m = 0, y_m = 0 },
  { name = "Desk", x_m = 1, y_m = 0 },
  { name = "Far", x_m = 34, y_m = 0 },
]
"""


def near_far(receiver: str, power: str = "") -> Plan:
    body = HALL + pocket("[[518.0, 526.0]]", power) + f'[receiver.rack]\nuse = "uhf-cart-rack"\n{receiver}\n'
    near = links(3, receiver="rack", more='route = ["Desk"]')
    far = links(1, receiver="rack", more='route = ["Far"]').replace("L1", "Away")
    return make_plan(shoot(body + near + far), {})


def test_blocking_is_told_as_near_far() -> None:
    plan = near_far("blocking_dbm = -55", "powers_mw = [25]")
    away = plan.calls[0].links[-1]
    assert away.verdict != "holds"
    assert any(line.part.startswith("blocking by L") for line in away.ledger)
    assert "Away" in [finding.about for finding in plan.findings if finding.code == "near-far"]


def test_adjacent_carriers_are_told() -> None:
    # 350 kHz of spacing in 1.2 MHz leaves no room to stay away from the near ones.
    plan = make_plan(
        shoot(
            HALL
            + pocket("[[518.2, 519.4]]", "powers_mw = [50]\nedge_khz = 0")
            + links(3, more='route = ["Desk"]')
            + links(1, more='route = ["Far"]').replace("L1", "Away")
        ),
        {},
    )
    away = next(link for link in plan.calls[0].links if link.link == "Away")
    assert any(line.part.startswith("adjacent L") for line in away.ledger)
    assert "Away" in [finding.about for finding in plan.findings if finding.code == "adjacent"]


def test_a_better_receiver_mends_it() -> None:
    poor, good = near_far("iip3_dbm = -30\nblocking_dbm = -60"), near_far("iip3_dbm = 10\nblocking_dbm = 0")
    assert poor.calls[0].links[-1].margin_db < good.calls[0].links[-1].margin_db - 3.0


def test_the_near_ones_take_less_power_than_the_far_one() -> None:
    plan = near_far("")
    near, away = plan.calls[0].links[0], plan.calls[0].links[-1]
    assert near.power_mw < away.power_mw


def test_the_plan_says_which_criterion_and_what_the_other_gives() -> None:
    call = near_far("").calls[0]
    assert call.criterion in ("clean", "power")
    assert call.other_criterion_db is not None
    assert call.other_criterion_holding is not None


def _random_radio(
    rng: np.random.Generator, n: int, own: int, of: np.ndarray | None = None
) -> tuple[Radio, np.ndarray, np.ndarray]:
    """Transmitters n, the first `own` of links, whose receivers are `of` them (one each unless said)."""
    of = np.arange(own) if of is None else of
    gain = 10 ** (rng.uniform(-90, -30, (n, of.size)) / 10)
    coupling = 10 ** (rng.uniform(-60, -40, (n, n)) / 10)
    np.fill_diagonal(coupling, 0.0)
    rejection = np.tile(10 ** (-np.linspace(0, 80, 101) / 10), (2, 2, 1))
    radio = Radio(
        gain, coupling, np.full(n, 0.01), np.full(of.size, 1e-11), np.full(of.size, 100.0), np.full(of.size, 30.0),
        10 ** (rng.uniform(-20, 5, of.size) / 10), np.full(of.size, 0.01), rng.choice([150.0, 200.0], n), rejection,
        25.0, rng.integers(0, 2, n), own, n > FEW_LINKS, of,
    )  # fmt: skip
    carriers = 500_000 + 25 * rng.choice(400, n, replace=False)
    return radio, carriers.astype(np.int64), rng.choice([1.0, 10.0, 50.0], n)


@pytest.mark.parametrize(
    ("room", "most"), [(1, 500_000), (256, 0), (4, 40)], ids=["little room", "none", "too many"]
)
def test_products_are_the_same_whether_they_are_listed_or_found_anew(
    monkeypatch: pytest.MonkeyPatch, room: int, most: int
) -> None:
    rng = np.random.default_rng(3)
    radio, carriers, _ = _random_radio(rng, FEW_LINKS + 14, FEW_LINKS + 9, np.arange(FEW_LINKS + 9))
    listed = OnCarriers(radio, carriers)
    monkeypatch.setattr(levels, "ROOM_A_FILTER", room)
    monkeypatch.setattr(levels, "MOST_LISTED", most)
    other = OnCarriers(radio, carriers)
    for _ in range(3):
        powers = rng.choice([1.0, 10.0, 50.0], FEW_LINKS + 14)
        assert listed.unwanted(powers).total.tolist() == other.unwanted(powers).total.tolist()
        assert listed.unwanted(powers).total.any()


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("more", [0, 3])
def test_compiled_levels_equal_the_plain_ones_and_the_verifier_agrees(seed: int, more: int) -> None:
    """`more` links have two receivers, each of which hears everybody in its own way."""
    rng = np.random.default_rng(seed)
    own = FEW_LINKS + 2
    of = np.sort(np.concatenate([np.arange(own), rng.choice(own, more, replace=False)]))
    radio, carriers, powers = _random_radio(rng, FEW_LINKS + 4, own, of)
    found = unwanted(radio, carriers, powers)
    received = radio.gain * powers[:, None]
    radiated = powers[:, None] * radio.coupling * radio.conversion[None, :] / powers[None, :]
    receiver, transmitter = PlainProducts(radio, carriers).at(received, radiated)
    assert found.receiver == pytest.approx(receiver, rel=1e-9)
    assert found.transmitter == pytest.approx(transmitter, rel=1e-9)
    names = [str(n) for n in range(of.size)]
    claimed, noise = found.receiver + found.transmitter, radio.noise_mw

    def judge(claim: np.ndarray) -> list[str]:
        told = radio.iip3_mw, claim, noise, radio.of
        return list(level_faults(names, carriers, radio.width_khz, received, radiated, *told))

    assert judge(claimed) == []
    wrong = claimed.copy()
    wrong[3] = wrong[3] * 1.1 + 1e-12
    assert [fault.split(":")[0] for fault in judge(wrong)] == ["3"]
    strong = names, received, radio.blocking_mw, found.blocking, noise, radio.of
    assert list(strong_faults(*strong)) == []
    told = list(strong_faults(*strong[:3], 1.1 * found.blocking + 1e-9, *strong[4:]))
    assert len(told) == of.size


def test_an_other_is_heard_beside_its_carrier_but_not_twice_on_it() -> None:
    rng = np.random.default_rng(1)
    radio, carriers, powers = _random_radio(rng, 3, 2)
    carriers[:] = [500_000, 502_000, 500_050]  # the other stands on the first link's carrier
    adjacent = (radio.gain * powers[:, None] * rejections(radio, carriers)).sum(axis=0)
    every = dataclasses.replace(radio, own=3, of=np.arange(2))
    counted = (radio.gain * powers[:, None] * rejections(every, carriers)).sum(axis=0)
    assert adjacent[0] < counted[0]
    assert adjacent[1] == pytest.approx(counted[1])

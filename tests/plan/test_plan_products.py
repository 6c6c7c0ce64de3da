"""What a plan says of products, against all products of everybody on the site by plain loops."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from tests.assign import plain
from tests.plan.shoots import HEADER, links, pocket, shoot

from linkwright.plan.model import PlannedCall
from linkwright.plan.pipeline import make_plan
from linkwright.plan.products import products_sentence
from linkwright.shoot.models import Shoot
from linkwright.units import khz_from_mhz

TWO_KHZ, THREE_KHZ = 100, 50


def random_shoot(seed: int) -> Shoot:
    """Two to six links in a few megahertz, and up to four others, on the raster or beside it."""
    draw = np.random.default_rng(seed)
    span = float(draw.choice([2.0, 5.0, 20.0]))
    body = pocket(f"[[560.0, {560.0 + span}]]", f"spacing_khz = {draw.choice([350, 400])}")
    for n in range(int(draw.integers(2, 7))):
        body += f'[[link]]\nname = "L{n}"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\nwithin_m = 12\n'
    for n in range(int(draw.integers(0, 5))):
        khz = 559_000 + int(draw.integers(0, int(1000 * span) + 2000))
        khz -= khz % 25 if draw.random() < 0.5 else 0
        body += f'[[other]]\nname = "O{n}"\ncarrier_mhz = {khz / 1000}\nradiated_mw = 10\n'
        body += f"at = {{ x_m = 60, y_m = {n} }}\n"
    return shoot(body, HEADER)


def loops(asked: Shoot, call: PlannedCall) -> tuple[plain.Faults, list[int], list[int]]:
    """What plain loops find: faults by kind, hits on each carrier, hits on each spare."""
    others = [khz_from_mhz(other.carrier_mhz) for other in asked.other if other.carrier_mhz is not None]
    stands = [plain.Stand(link.link, link.carrier_khz, link.spares_khz, 0, frozenset()) for link in call.links]
    makers = [*(link.carrier_khz for link in call.links), *others]
    on_carriers = [plain.hits(makers, link.carrier_khz, TWO_KHZ, THREE_KHZ) for link in call.links]
    spares = [khz for link in call.links for khz in link.spares_khz]
    on_spares = [plain.hits(makers, khz, TWO_KHZ, THREE_KHZ) for khz in spares]
    return plain.faults(stands, True, TWO_KHZ, THREE_KHZ, others), on_carriers, on_spares


@pytest.mark.parametrize("batch", range(6))
def test_the_plan_says_what_loops_find(batch: int) -> None:
    """60 random shoots in six parts (300 passed when this was written), searched briefly: any plan will do."""
    for seed in range(10 * batch, 10 * batch + 10):
        asked = random_shoot(seed)
        (call,) = make_plan(asked, {}, effort=0.01).calls
        faults, on_carriers, on_spares = loops(asked, call)
        assert (call.criterion == "clean") == (faults.hit + faults.hit_after_a_move == 0), seed
        assert call.products is not None
        assert call.products.on_carriers == sum(count > 0 for count in on_carriers), seed
        assert call.products.on_spares == sum(count > 0 for count in on_spares), seed
        assert ("fall on" in products_sentence(call)) == any((*on_carriers, *on_spares)), seed


def test_the_sentence_names_others() -> None:
    """Locked where 2A-B of the cook and a stranger falls on the pilot: the ledger's line and the sentence agree."""
    body = pocket("[[560.0, 570.0]]")
    for name, mhz in (("Pilot", 562.0), ("Cook", 564.0)):
        body += (
            f'[[link]]\nname = "{name}"\ntransmitter = "pocket"\nreceiver = "uhf-camera-slot"\nlocked_mhz = {mhz}\n'
            "within_m = 10\nspares = 0\n"
        )
    body += '[[other]]\nname = "Stranger"\ncarrier_mhz = 566.0\nradiated_mw = 50\nat = { x_m = 5, y_m = 0 }\n'
    (call,) = make_plan(shoot(body), {}).calls
    assert call.criterion == "power"
    says = products_sentence(call)
    assert says.startswith("Third-order products fall on two carriers; the strongest is ")
    assert says.endswith("over the noise, 2A-B of Cook, Stranger on Pilot.")
    pilot = call.links[0]
    line = next(line for line in pilot.ledger if line.part == "2A-B of Cook, Stranger")
    noise = next(line for line in pilot.ledger if line.what == "noise")
    assert line.dbm is not None
    assert noise.dbm is not None
    assert call.products is not None
    assert call.products.over_noise_db == pytest.approx(line.dbm - noise.dbm, abs=0.06)


def test_the_room_there_is_is_used() -> None:
    """A gala of twelve in 90 empty megahertz: no product near a carrier, carriers well over the least spacing."""
    asked = shoot(pocket("[[470.0, 560.0]]") + links(12))
    (call,) = make_plan(asked, {}).calls
    carriers = sorted(link.carrier_khz for link in call.links)
    assert min(b - a for a, b in itertools.pairwise(carriers)) > 500
    everything = sorted(khz for link in call.links for khz in (link.carrier_khz, *link.spares_khz))
    nearest = min(plain_nearest(carriers, victim) for victim in everything)
    assert nearest >= 150
    assert call.products is not None
    assert call.products.nearest_khz == nearest
    assert call.products.over_noise_db is None, "none comes within 20 dB of the noise"


def plain_nearest(makers: list[int], victim: int) -> int:
    """How far the nearest product of distinct makers is from a victim [kHz]."""
    near = [abs(2 * a - b - victim) for a, b in itertools.permutations(makers, 2)]
    near += [abs(a + b - c - victim) for a, b, c in itertools.permutations(makers, 3)]
    return min(near)

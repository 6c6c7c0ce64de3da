"""What third-order products do in a call: how near they come, which is the strongest, and the sentence of it.

Everybody who is known to be on at the site makes them: our links, and others with a carrier. The sentence is
computed from the same values that stand in the plan and its ledgers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linkwright.assign.products import nearest_khz, products_near
from linkwright.plan.model import PlannedCall, PlannedLink, Products
from linkwright.plan.prove import KIND_BELOW_NOISE_DB
from linkwright.shoot.models import Guard
from linkwright.shoot.place import Other
from linkwright.units import number_word, sum_dbm

#: How the ledger's lines of single products begin.
SINGLE: Final = ("A+B-C", "2A-B")
#: How far a product is looked for from a carrier [kHz]: half of a product's width and half of a channel's, for
#: carriers of 250 kHz, and as much again.
LOOK_KHZ: Final = 1000
#: Beyond this many transmitters only products within the guards are enumerated: there are too many others.
LOOK_UP_TO: Final = 40


def products_of(
    links: Sequence[PlannedLink],
    widths_khz: Sequence[int],
    others: Sequence[Other],
    guard: Guard,
    beside_khz: Sequence[tuple[int, int]] = (),
) -> Products:
    """What the products of a call's links and of the narrow others that are on come to.

    `widths_khz` are the links' occupied bandwidths, in their order; `beside_khz` are the carriers and widths of
    links of calls at the same time.
    """
    carriers = [link.carrier_khz for link in links]
    makers = [*carriers, *(round(sum(other.band_khz) / 2.0) for other in others), *(khz for khz, _ in beside_khz)]
    widths = [*widths_khz, *(other.bandwidth_khz for other in others), *(width for _, width in beside_khz)]
    victims = [*carriers, *(khz for link in links for khz in link.spares_khz)]
    channels = [
        *widths_khz,
        *(width for link, width in zip(links, widths_khz, strict=True) for _ in link.spares_khz),
    ]
    away = None
    if len(makers) <= LOOK_UP_TO:
        two, three = nearest_khz(makers, victims)
        hits = set(np.flatnonzero((two < guard.im3_two) | (three < guard.im3_three)).tolist())
        away = np.minimum(two, three)
    else:
        hits = {near.victim for near in products_near(makers, victims, guard.im3_two, guard.im3_three)}
    touching = [1.5 * max(widths, default=0) + channel / 2.0 for channel in channels]
    strongest = max(((over, line, link.link) for link in links for over, line in _over_noise(link)), default=None)
    return Products(
        on_carriers=sum(victim < len(carriers) for victim in hits),
        on_spares=sum(victim >= len(carriers) for victim in hits),
        inside=None if away is None else int(np.count_nonzero(away < touching)),
        nearest_khz=None if away is None or away.min(initial=LOOK_KHZ) >= LOOK_KHZ else int(away.min()),
        strongest=strongest[1] if strongest else None,
        strongest_on=strongest[2] if strongest else None,
        over_noise_db=round(strongest[0], 1) if strongest else None,
    )


def _over_noise(link: PlannedLink) -> list[tuple[float, str]]:
    """Each single product of a link's ledger: how far over the noise it is [dB], and whose."""
    levels = [(what, part, dbm) for what, part, _, dbm, *_ in link.ledger.plain if dbm is not None]
    noise = sum_dbm([dbm for what, _, dbm in levels if what == "noise"])
    return [(dbm - noise, part) for what, part, dbm in levels if what == "interference" and part.startswith(SINGLE)]


def products_sentence(call: PlannedCall) -> str:
    """What third-order products do in a call, as a sentence."""
    products = call.products
    if products is None or not call.links:
        return ""
    level = _level_says(products)
    if products.on_carriers or products.on_spares:
        return f"Third-order products fall on {_victims(products)}; {level}."
    if call.criterion == "power":
        return f"A third-order product would fall on a carrier after somebody's move to the first spare; {level}."
    if products.inside:
        return f"No third-order product falls on a carrier or a spare, but some lie beside them; {level}."
    if products.inside == 0:
        away = f"{products.nearest_khz}" if products.nearest_khz is not None else f"{LOOK_KHZ}"
        return f"No third-order product within {away} kHz of a carrier or a spare."
    return f"No third-order product falls on a carrier or a spare; {level}."


def _victims(products: Products) -> str:
    counts = ((products.on_carriers, "carrier"), (products.on_spares, "spare"))
    return " and ".join(f"{number_word(count)} {word}{'s' * (count > 1)}" for count, word in counts if count)


def _level_says(products: Products) -> str:
    if products.over_noise_db is None:
        return f"none in a channel comes nearer to the noise than {KIND_BELOW_NOISE_DB:.0f} dB"
    side = "over" if products.over_noise_db >= 0.0 else "under"
    return (
        f"the strongest is {abs(products.over_noise_db):.0f} dB {side} the noise, {products.strongest} on "
        f"{products.strongest_on}"
    )

"""How much what is observed speaks for each cause: weights of evidence, added up, and shares by Bayes.

A weight of evidence (Good 1950) is the logarithm of a likelihood ratio; those of one observable run straight
between its knots, and one that is not known has none. They were fitted together, so that what two observables
both say counts once (`bench/watch_named.py learn`: penalised multinomial regression on the even seeds of seven
players of logs and an eighth, most varied). What they were measured on are other seeds, and each player left out
(docs/watch.md).
"""

from __future__ import annotations

import csv
import functools
import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Final

import numpy as np

from linkwright.units import FloatArray
from linkwright.watch.diagnose.observables import OBSERVED

#: Weights in the file are in hundredths.
HUNDREDTHS: Final = 100.0
#: The observable that each cause has at all times.
ALWAYS: Final = "always"


Weights = tuple[tuple[str, ...], Mapping[str, FloatArray]]


@functools.cache
def table(track: str) -> Weights:
    """The causes of a track (n,), and the weights of each observable, (n, knots)."""
    return tables(
        list(csv.reader(files(__package__).joinpath("evidence.csv").read_text("utf-8").splitlines()))[1:], track
    )


def tables(rows: Sequence[Sequence[str]], track: str) -> Weights:
    """The same of the rows of such a file without its head. What was not learnt of a cause says nothing of it."""
    mine = [row[1:] for row in rows if row[0] == track]
    causes = tuple(dict.fromkeys(row[1] for row in mine))
    by_name = {
        name: np.zeros((len(causes), len(OBSERVED[name][0]) if name in OBSERVED else 1))
        for name in dict.fromkeys(row[0] for row in mine)
    }
    for name, cause, *weights in mine:
        by_name[name][causes.index(cause)] = [float(weight) / HUNDREDTHS for weight in weights if weight]
    return causes, by_name


def places(value: float, knots: tuple[float, ...]) -> FloatArray:
    """How far a value lies at each knot: 1 at one, shared between two, (knots,); nothing where it is not known."""
    shares = np.zeros(len(knots))
    if math.isnan(value):
        return shares
    at = min(max(value, knots[0]), knots[-1])
    n = min(bisect_right(knots, at) - 1, len(knots) - 2)
    part = (at - knots[n]) / (knots[n + 1] - knots[n])
    shares[n], shares[n + 1] = 1.0 - part, part
    return shares


def weighed(track: str, observed: FloatArray, prior: Mapping[str, float]) -> dict[str, float]:
    """The shares of a track's causes; they sum to one.

    prior : how much likelier each cause is than the others before anything was seen; 1 where it has none.
    """
    causes, weights = table(track)
    total = weights[ALWAYS][:, 0] + np.array([math.log(prior.get(cause, 1.0)) for cause in causes])
    for value, (name, (knots, _)) in zip(observed.tolist(), OBSERVED.items(), strict=True):
        if name in weights and value == value:
            total = total + weights[name] @ places(value, knots)
    share = np.exp(total - total.max())
    return dict(zip(causes, (share / share.sum()).tolist(), strict=True))

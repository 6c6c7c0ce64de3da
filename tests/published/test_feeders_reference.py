"""Cascades and lines against scikit-rf, which multiplies scattering matrices and carries noise along."""

from __future__ import annotations

import functools
import math
from typing import Any

import numpy as np
import pytest

from linkwright.physics.feeders import LINES, Line, Stage, cascade, constants, line_db, lossy
from linkwright.units import SPEED_OF_LIGHT_M_S

skrf = pytest.importorskip("skrf", reason="the reference for cascades is a development dependency")

CHAINS = {
    "preamplifier, line, receiver": [Stage(12.0, 3.0), lossy(6.0), Stage(20.0, 8.0)],
    "line, preamplifier, splitter, receiver": [lossy(4.5), Stage(15.0, 2.5), lossy(7.0), Stage(0.0, 6.0)],
    "line alone": [lossy(9.0), Stage(10.0, 6.0)],
    "three amplifiers": [Stage(8.0, 4.0), Stage(-2.0, 9.0), Stage(25.0, 12.0)],
}


def network(stage: Stage) -> Any:
    """A stage as a matched two-port with its noise; a passive one at 290 K has its loss as its noise figure."""
    frequency = skrf.Frequency(600, 600, 1, "mhz")
    scattering = np.zeros((1, 2, 2), dtype=complex)
    scattering[0, 1, 0] = 10.0 ** (stage.gain_db / 20.0)
    made = skrf.Network(frequency=frequency, s=scattering, z0=50)
    made.set_noise_a(frequency, nfmin_db=stage.noise_figure_db, gamma_opt=0, rn=1)
    return made


@pytest.mark.published("scikit-rf 2.2.0: noise figure and gain of cascaded two-ports by their noise correlation")
@pytest.mark.parametrize("name", list(CHAINS))
def test_noise_and_gain_of_a_chain(name: str) -> None:
    expected = functools.reduce(lambda a, b: a**b, (network(stage) for stage in CHAINS[name]))
    found = cascade(CHAINS[name])
    assert found.noise_figure_db == pytest.approx(10.0 * math.log10(float(expected.nf(50)[0])), abs=1e-6)
    assert found.gain_db == pytest.approx(20.0 * math.log10(abs(expected.s[0, 1, 0])), abs=1e-9)


@pytest.mark.published(
    "scikit-rf 2.2.0: loss of a line with skin effect (by the root of f) and a lossy dielectric (by f)"
)
@pytest.mark.parametrize("line", list(LINES))
def test_loss_of_a_line(line: Line) -> None:
    """Its media take the conductor's loss at one frequency and the dielectric's loss tangent."""
    conductor, dielectric = constants(line)
    relative = 2.25  # of polyethylene; it cancels out
    neper_db = 20.0 / math.log(10.0)
    tangent = dielectric / 100.0 / (neper_db * math.pi * math.sqrt(relative) * 1e6 / SPEED_OF_LIGHT_M_S)
    frequency = skrf.Frequency(100, 900, 9, "mhz")
    media = skrf.media.DefinedAEpTandZ0(
        frequency=frequency, A=conductor * math.sqrt(100.0) / 100.0, f_A=100e6, ep_r=relative, tanD=tangent, z0=50
    )
    expected = -20.0 * np.log10(np.abs(media.line(17.0, "m").s[:, 1, 0]))
    assert line_db(line, frequency.f / 1e6, 17.0) == pytest.approx(expected, rel=2e-3)

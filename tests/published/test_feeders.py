"""Antenna lines and chains of stages, one a value."""

from __future__ import annotations

import math

import pytest

from linkwright.physics.feeders import Stage, cascade, line_db, lossy


@pytest.mark.published("antenna lines at 900 MHz (common practice, no source): 100 ft of RG-58 lose 13.7 dB")
def test_100_feet_at_900_mhz() -> None:
    """A point that the two figures of the line were not made from."""
    assert float(line_db("RG-58", 900.0, 30.48)) == pytest.approx(13.7, abs=0.0501)


@pytest.mark.published("Pozar, Microwave Engineering, chapter 10: noise figure of a front end, 2.55 dB")
def test_noise_of_a_front_end() -> None:
    # The stages are from memory of the book's example; its answer is the book's, quoted by the design.
    chain = cascade([Stage(10.0, 2.0), lossy(1.0), Stage(-3.0, 4.0)])
    assert chain.noise_figure_db == pytest.approx(2.55, abs=0.01)
    assert chain.gain_db == pytest.approx(6.0)


@pytest.mark.published("Pozar, Microwave Engineering, chapter 10: intercept of a front end, 6.49 dBm")
def test_intercept_of_a_front_end() -> None:
    # The stages are from memory of the book's example; its answer is the book's, quoted by the design.
    chain = cascade([Stage(20.0, 0.0, 22.0), Stage(-6.0, 6.0, 7.0)])
    assert chain.oip3_dbm == pytest.approx(6.49, abs=0.01)


@pytest.mark.arithmetic("exact: a pad adds its loss to the noise figure behind it; two alike in phase lose 3.01 dB")
def test_by_hand() -> None:
    assert cascade([lossy(3.0), Stage(20.0, 5.0)]).noise_figure_db == pytest.approx(8.0, abs=1e-9)
    assert cascade([Stage(0.0, 0.0, 10.0), Stage(0.0, 0.0, 10.0)]).oip3_dbm == pytest.approx(
        10.0 - 10.0 * math.log10(2.0), abs=1e-9
    )

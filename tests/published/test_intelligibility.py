"""The Speech Intelligibility Index, one value a test, and its laws. The standard itself was not at hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.sound.intelligibility import (
    NOTHING_DB,
    OCTAVES,
    THIRDS,
    WIDTHS_HZ,
    audibility,
    disturbance_db,
    sii,
)

NORMAL = THIRDS.speech_db
C2 = np.array([40.0, 30.0, 20.0] + [0.0] * 15)
UNEVEN = [np.array(x, float) for x in (
    [90, 5, *[40] * 12, *[-10] * 4], [10, -10, -10, 75, *[-10] * 10, *[10] * 4], [90, *[0] * 17]
)]  # fmt: skip


@pytest.mark.published(
    "ANSI S3.5-1997, annex C, example C.1, as CRAN's package SII 1.0.3.1 quotes it: octaves, 0.504"
)
def test_the_worked_example_by_octaves() -> None:
    speech, noise = (np.array(x) for x in ([50.0, 40, 40, 30, 20, 0], [70.0, 65, 45, 25, 1, -15]))
    assert sii(speech, noise, 0.0, OCTAVES) == pytest.approx(0.504, abs=5e-4)


@pytest.mark.published("ANSI S3.5-1997, annex C, example C.2, as the same quotes it: masking of the first thirds")
def test_the_worked_example_of_masking() -> None:
    found = disturbance_db(np.full(18, 54.0), C2)
    assert found[:3] == pytest.approx([40.0, 34.66, 25.04], abs=0.01)


@pytest.mark.published(
    "an open implementation's report of 54 dB a band in the noise of example C.2: SII 0.851, bands"
)
def test_another_implementation_of_example_c2() -> None:
    speech = np.full(18, 54.0)
    assert sii(speech, C2) == pytest.approx(0.851, abs=5e-4)
    printed = [
        0.90, 0.94, 0.94, 0.94, 0.94, 0.94, 0.93, 0.90, 0.88, 0.87, 0.85, 0.83, 0.81, 0.80, 0.78, 0.76, 0.74, 0.73,
    ]  # fmt: skip
    assert audibility(speech, C2) == pytest.approx(printed, abs=0.0051)


@pytest.mark.published(
    "the open package speech_intelligibility_index, its tests: one-third octaves, 0.445 and 0.438"
)
def test_uneven_spectra() -> None:
    assert sii(UNEVEN[0], UNEVEN[1], UNEVEN[2]) == pytest.approx(0.445, abs=1e-3)
    other = np.array([0.0] * 9 + [0.1] * 7 + [0.3, 0.0])
    assert float(other @ audibility(UNEVEN[0], UNEVEN[1], UNEVEN[2])) == pytest.approx(0.438, abs=1e-3)


@pytest.mark.published("the same: normal voice, no noise, both ears (1.7 dB), 1, 1.5, 2 and 20 m away")
@pytest.mark.parametrize(("away_m", "index"), [(1.0, 0.9969), (1.5, 0.9947), (2.0, 0.9920), (20.0, 0.8627)])
def test_a_voice_far_away(away_m: float, index: float) -> None:
    speech = NORMAL - 20.0 * np.log10(away_m)
    assert sii(speech, np.full(18, NOTHING_DB), -1.7) == pytest.approx(index, abs=1e-4)


@pytest.mark.published("ANSI S3.5-1997, table 3: the standard speech spectrum adds up to 62.35 dB; importance to 1")
def test_the_tables_add_up() -> None:
    assert 10.0 * np.log10((10.0 ** (NORMAL / 10.0) * WIDTHS_HZ).sum()) == pytest.approx(62.35, abs=0.02)
    assert THIRDS.importance.sum() == pytest.approx(1.0)
    assert OCTAVES.importance.sum() == pytest.approx(1.0)


LEVELS = st.lists(st.floats(-120.0, 140.0), min_size=18, max_size=18).map(np.array)


@given(LEVELS, LEVELS, st.lists(st.floats(0.0, 60.0), min_size=18, max_size=18).map(np.array))
def test_more_noise_never_raises_it(speech: np.ndarray, noise: np.ndarray, more: np.ndarray) -> None:
    for bands, every in ((THIRDS, slice(None)), (OCTAVES, slice(2, None, 3))):
        before = sii(speech[every], noise[every], 0.0, bands)
        after = sii(speech[every], (noise + more)[every], 0.0, bands)
        assert 0.0 <= after <= before + 1e-12
        assert before <= 1.0 + 1e-12

"""SigMF recordings: known tones and noise come back where and as strong as they were put."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from linkwright.air.judgement import judge
from linkwright.air.readers import ReadOptions, read_sweep
from linkwright.shoot.errors import InputError

RATE = 2_000_000.0


def record(
    folder: Path,
    samples: np.ndarray[Any, Any],
    datatype: str,
    captures: list[dict[str, Any]] | None = None,
    **told: object,
) -> Path:
    listed = captures or [
        {"core:sample_start": 0, "core:frequency": 600e6, "core:datetime": "2027-05-14T08:30:00Z"}
    ]
    meta = {"global": {"core:datatype": datatype, "core:sample_rate": RATE, "core:version": "1.0.0", **told},
            "captures": listed, "annotations": []}  # fmt: skip
    (folder / "quay.sigmf-meta").write_text(json.dumps(meta), "utf-8")
    samples.tofile(folder / "quay.sigmf-data")
    return folder / "quay.sigmf-meta"


def tone(count: int, offset_hz: float, amplitude: float, noise: float, seed: int = 1) -> np.ndarray[Any, Any]:
    source = np.random.default_rng(seed)
    time = np.arange(count) / RATE
    white = source.normal(0, noise / np.sqrt(2), (count, 2)) @ np.array([1, 1j])
    return np.asarray(amplitude * np.exp(2j * np.pi * offset_hz * time) + white)


def test_a_tone_and_its_noise(tmp_path: Path) -> None:
    samples = tone(400_000, 250_000.0, 0.1, 0.01).astype("<c8")
    sweep = read_sweep(record(tmp_path, samples, "cf32_le"), "quay")
    assert sweep.format == "SigMF recording"
    assert sweep.step_khz == pytest.approx(2000 / 256)
    assert sweep.resolution_khz == pytest.approx(1.5 * 2000 / 256)
    assert sweep.frequencies_khz[0] == 599_000.0
    assert sweep.frequencies_khz[128] == 600_000.0
    assert sweep.lasted_s == 0.2
    assert sweep.started is not None
    peak = int(np.argmax(sweep.mean_db))
    assert sweep.frequencies_khz[peak] == 600_250.0
    assert sweep.mean_db[peak] == pytest.approx(-20.0, abs=0.1)
    # Noise of -40 dB over 2 MHz: -40 - 10 log10(2000 / (1.5 * 2000 / 256)) = -62.3 dB in one Hann bin.
    assert judge(sweep).typical_floor_db == pytest.approx(-40 - 10 * np.log10(256 / 1.5), abs=0.15)
    scatter = np.std(sweep.levels_db[:, :100]) * np.log(10) / 10
    assert scatter == pytest.approx(1 / np.sqrt(sweep.averages or 1), rel=0.15)
    by_data = read_sweep(tmp_path / "quay.sigmf-data", "quay")
    assert np.array_equal(by_data.levels_db, sweep.levels_db)


@pytest.mark.parametrize("datatype", ["ci16_le", "ci16_be", "ci8", "cu8", "cf64_le", "cf32_be", "ci32_le"])
def test_every_datatype_gives_the_same_levels(tmp_path: Path, datatype: str) -> None:
    samples = tone(60_000, -500_000.0, 0.5, 0.05)
    parts = samples.view(np.float64)
    bits = {"ci16": 15, "ci8_": 7, "cu8_": 7, "ci32": 31}.get((datatype + "_")[:4])
    order = ">" if datatype.endswith("be") else "<"
    if bits is None:
        raw = parts.astype(f"{order}f{8 if '64' in datatype else 4}")
    else:
        zero = 2**bits if datatype == "cu8" else 0
        raw = np.rint(parts * 2**bits + zero).clip(0 if zero else None, 255 if zero else None)
        raw = raw.astype(f"{order}{datatype[1]}{(bits + 1) // 8}")
    sweep = read_sweep(record(tmp_path, raw, datatype), "quay")
    peak = int(np.argmax(sweep.mean_db))
    assert sweep.frequencies_khz[peak] == 599_500.0
    assert sweep.mean_db[peak] == pytest.approx(-6.02, abs=0.15)


def test_real_samples_lie_above_the_frequency(tmp_path: Path) -> None:
    wave = (0.2 * np.cos(2 * np.pi * 250_000.0 * np.arange(100_000) / RATE)).astype("<f4")
    wave += np.random.default_rng(2).normal(0, 1e-4, wave.size).astype("<f4")
    sweep = read_sweep(record(tmp_path, wave, "rf32_le"), "quay")
    assert sweep.frequencies_khz[int(np.argmax(sweep.mean_db))] == pytest.approx(600_250.0, abs=8)
    assert sweep.frequencies_khz[0] == 600_000.0


def test_captures_on_several_frequencies_are_one_sweep(tmp_path: Path) -> None:
    samples = np.concatenate([tone(50_000, 250_000.0, 0.1, 0.01, n) for n in range(4)]).astype("<c8")
    captures = [{"core:sample_start": n * 50_000, "core:frequency": (600 + 2 * (n % 2)) * 1e6} for n in range(4)]
    sweep = read_sweep(record(tmp_path, samples, "cf32_le", captures), "quay")
    assert sweep.levels_db.shape == (2, 512)
    assert (sweep.from_khz, sweep.to_khz) == pytest.approx((599_000 - 3.9, 603_000 - 3.9), abs=0.1)
    assert sorted(sweep.frequencies_khz[np.argsort(sweep.mean_db)[-2:]].tolist()) == [600_250.0, 602_250.0]


def test_a_torn_last_sample_and_a_stated_resolution(tmp_path: Path) -> None:
    path = record(tmp_path, tone(100_000, 0.0, 0.1, 0.01).astype("<c8"), "cf32_le")
    with (tmp_path / "quay.sigmf-data").open("ab") as data:
        data.write(b"\0\0\0")
    sweep = read_sweep(path, "quay", ReadOptions(resolution_khz=100.0))
    assert sweep.resolution_khz <= 100.0
    assert sweep.step_khz == pytest.approx(2000 / 32)
    assert any("no whole sample" in warning for warning in sweep.warnings)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"core:datatype": "cf16_le"}, "core:datatype"),
        ({"core:datatype": None}, "core:datatype"),
        ({"core:sample_rate": "fast"}, "core:sample_rate"),
        ({"core:sample_rate": float("inf")}, "core:sample_rate"),
        ({"core:num_channels": 2}, "several channels"),
    ],
)
def test_metadata_that_cannot_be_right(tmp_path: Path, change: dict[str, Any], says: str) -> None:
    path = record(tmp_path, np.zeros(10_000, "<c8"), "cf32_le")
    meta = json.loads(path.read_text())
    meta["global"] |= change
    path.write_text(json.dumps(meta))
    with pytest.raises(InputError, match=says):
        read_sweep(path, "quay")


WHOLE = '{"global": {"core:datatype": "cf32_le", "core:sample_rate": 2e6}, "captures": '


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[]", "global"),
        ("{", "no JSON"),
        (WHOLE + "null}", "captures"),
        (WHOLE + "[{}]}", "core:frequency"),
        (WHOLE + '[{"core:sample_start": -1}]}', "core:sample_start"),
        (WHOLE + "[]}", "no capture"),
        (WHOLE.replace("2e6", "2e9") + '[{"core:frequency": 6e8}]}', "coarser resolution"),
    ],
)
def test_metadata_of_something_else(tmp_path: Path, text: str, says: str) -> None:
    np.zeros(10_000, "<c8").tofile(tmp_path / "quay.sigmf-data")
    path = tmp_path / "quay.sigmf-meta"
    path.write_text(text)
    with pytest.raises(InputError, match=says):
        read_sweep(path, "quay")


def test_half_a_recording(tmp_path: Path) -> None:
    (tmp_path / "quay.sigmf-data").write_bytes(b"\0" * 80)
    with pytest.raises(InputError, match="two files"):
        read_sweep(tmp_path / "quay.sigmf-data", "quay")
    other = tmp_path / "meta.json"
    other.write_text('{"global": {"core:datatype": "cf32_le"}}')
    with pytest.raises(InputError, match=r"named \.sigmf-meta"):
        read_sweep(other, "quay")

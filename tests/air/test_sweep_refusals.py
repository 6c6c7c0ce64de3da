"""Whatever is given to the reader, it reads or refuses in one sentence; nothing else comes out."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from linkwright.air.readers import LIMIT_BYTES, read_sweep, read_sweep_bytes
from linkwright.shoot.errors import InputError

ROW = b"2027-05-14, 08:00:00, 470000000, 470100000, 25000.00, 16, -50.00, -51.00, -52.00, -53.00, -53.00\n"
SWEEPISH = st.text(alphabet="0123456789.,;-+e \t\n\r:naif#\"'MHz", max_size=120)


def reads_or_refuses(data: bytes) -> None:
    refusal: InputError | None = None
    try:
        sweep = read_sweep_bytes(data, "x")
    except InputError as error:
        refusal = error
    if refusal is None:
        assert sweep.levels_db.shape == (sweep.sweeps, sweep.frequencies_khz.size)
        assert sweep.step_khz > 0
        return
    assert refusal.path == "x"
    assert "\n" not in str(refusal)
    assert len(str(refusal)) < 300


@settings(max_examples=300)
@given(st.binary(max_size=200))
@example(b"")
@example(b"\xff\xfe")
@example(b"\xff\xfe1")
@example(b"\xef\xbb\xbf")
@example(b"\x1f\x8b\x08\x00binary")
def test_any_bytes(data: bytes) -> None:
    reads_or_refuses(data)


@settings(max_examples=300)
@given(SWEEPISH)
@example("470.0,-80\n470.1,-81e5\n")
@example("1e400,-80\n2e400,-81\n")
@example("470.0,inf\n471.0,-inf\n")
def test_any_text_that_looks_like_numbers(text: str) -> None:
    reads_or_refuses(text.encode())


@settings(max_examples=200)
@given(st.integers(0, len(ROW) - 1), st.binary(min_size=1, max_size=8), st.integers(0, 20))
def test_a_row_with_any_damage(at: int, damage: bytes, length: int) -> None:
    reads_or_refuses(ROW + ROW[:at] + damage + ROW[at + length :] + ROW)


def refused(path: Path) -> InputError:
    with pytest.raises(InputError) as caught:
        read_sweep(path, "as/given.csv")
    assert caught.value.path == "as/given.csv"
    assert str(caught.value).startswith("as/given.csv")
    return caught.value


def test_a_folder_a_missing_file_and_a_pipe(tmp_path: Path) -> None:
    assert "folder" in refused(tmp_path).says
    assert "no such file" in refused(tmp_path / "none.csv").says
    assert "could not be read" in refused(tmp_path / "a.csv\0").says
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert "pipe" in refused(pipe).says


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "locked.csv"
    path.write_bytes(ROW)

    def closed(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")  # as root nothing on disk says no

    monkeypatch.setattr("linkwright.shoot.regular.os.open", closed)
    assert "right to read" in refused(path).says


def test_500_mb_are_refused_before_they_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "big.csv"
    with path.open("wb") as file:
        file.truncate(500_000_000)

    def opened(*_: object, **__: object) -> None:
        raise AssertionError("the file was opened")

    monkeypatch.setattr(Path, "open", opened)
    says = refused(path).says
    assert "477 MiB" in says
    assert f"at most {LIMIT_BYTES // 2**20} MiB" in says
    assert "cut it" in says


def test_empty_and_binary(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(b"")
    assert "empty" in refused(path).says
    path.write_bytes(b" \n\n")
    assert "empty" in refused(path).says
    path.write_bytes(b"\n" * 400_000 + b" ")
    assert "empty" in refused(path).says
    path.write_bytes(ROW + b"\x00\x01\x02" + ROW)
    found = refused(path)
    assert "binary" in found.says
    assert found.line == 2


def test_the_name_is_the_path_where_none_is_given(tmp_path: Path) -> None:
    path = tmp_path / "quay.csv"
    path.write_bytes(ROW)
    assert read_sweep(path).path == str(path)


@pytest.mark.parametrize("text", [b"470.0,1\n" * 600, ROW * 100])
def test_more_numbers_than_memory_allows(monkeypatch: pytest.MonkeyPatch, text: bytes) -> None:
    monkeypatch.setattr("linkwright.air.readers.text.MOST_NUMBERS", 800)
    with pytest.raises(InputError, match="cut the file"):
        read_sweep_bytes(text, "x")

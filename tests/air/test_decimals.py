"""Numbers out of text: the compiled loop, the plain one and Python's own `float` agree."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from linkwright.air.readers import decimals
from linkwright.air.readers.decimals import Numbers, numbers_in

WRITTEN = st.one_of(
    st.floats(allow_nan=False, width=64).map(repr),
    st.integers(-(10**20), 10**20).map(str),
    st.tuples(st.integers(-99999, 99999), st.integers(0, 9999)).map(lambda p: f"{p[0]}.{p[1]}"),
    st.sampled_from(
        ["-0.0", "+5", ".5", "5.", "-.25e-3", "1E6", "nan", "-NaN", "inf", "-INF", "infinity", "1e400"]
    ),
)


def compiled(block: bytes, separator: bytes, decimal_comma: bool = False, skip: int = 0) -> Numbers:
    found = decimals._compiled(block, separator, decimal_comma, skip)
    return decimals.plain(block, separator, decimal_comma, skip) if found is None else found


def same(one: Numbers, other: Numbers) -> bool:
    return (
        one.bad_line == other.bad_line
        and np.array_equal(one.values, other.values, equal_nan=True)
        and one.counts.tolist() == other.counts.tolist()
        and one.lines.tolist() == other.lines.tolist()
    )


@settings(max_examples=200, deadline=None)
@given(st.lists(st.lists(WRITTEN, min_size=1, max_size=5), max_size=6), st.sampled_from([",", ";", "\t", " "]))
def test_both_loops_read_what_python_reads(rows: list[list[str]], separator: str) -> None:
    block = "".join(separator.join(row) + "\n" for row in rows).encode()
    expected = [float(field) for row in rows for field in row]
    for found in (compiled(block, separator.encode()), numbers_in(block, separator.encode())):
        assert found.bad_line == -1
        assert np.array_equal(found.values, np.array(expected), equal_nan=True)
        assert found.counts.tolist() == [len(row) for row in rows]


@settings(max_examples=500, deadline=None)
@given(st.text(alphabet="0123456789.,;-+e \t\nnaif", max_size=60), st.sampled_from([b",", b";", b"\t", b" "]))
@example("1,,2\n", b",")
@example("1e\n", b",")
@example("- 1\n", b",")
@example("1 2\n", b",")
@example("\t1;2;;\n\n3;4\n", b";")
@example("1\t\t2\n", b"\t")
def test_both_loops_refuse_the_same_line(text: str, separator: bytes) -> None:
    block = text.encode()
    one, other = compiled(block, separator), decimals.plain(block, separator, False, 0)
    assert one.bad_line == other.bad_line
    if one.bad_line == -1:
        assert same(one, other)


def test_a_decimal_comma_and_fields_that_are_left_out() -> None:
    block = b"a; b;1,5;-2,25\n\n;;3;4,\n"
    for found in (compiled(block, b";", True, 2), decimals.plain(block, b";", True, 2)):
        assert found.values.tolist() == [1.5, -2.25, 3.0, 4.0]
        assert found.lines.tolist() == [0, 2]


def test_a_large_block_goes_through_the_compiled_loop(monkeypatch: pytest.MonkeyPatch) -> None:
    line = b"2027-05-14, 08:30:00, 470000000, 470100000, 25000.00, 16, -50.00, -51.25, -52.00\n"
    block = line * (decimals.COMPILED_FROM_BYTES // len(line) + 1)
    found = numbers_in(block, b",", skip=2)
    monkeypatch.setattr(decimals, "COMPILED_FROM_BYTES", 1 << 60)
    assert same(found, numbers_in(block, b",", skip=2))


@pytest.mark.parametrize("text", ["1_0\n", "0x10\n", "1j\n", "(1)\n"])
def test_what_python_takes_for_numbers_and_a_sweep_does_not(text: str) -> None:
    for found in (compiled(text.encode(), b","), decimals.plain(text.encode(), b",", False, 0)):
        assert found.bad_line == 0

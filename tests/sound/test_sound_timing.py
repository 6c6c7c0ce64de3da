"""Lining up paths: after the delays every path comes at the same time."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.sound.timing import Path, line_up


@given(
    st.dictionaries(
        st.text(min_size=1, max_size=5), st.tuples(st.floats(0.0, 30.0), st.floats(0.0, 40.0)), min_size=1
    ),
    st.floats(-20.0, 40.0),
)
def test_every_path_comes_level(parts: dict[str, tuple[float, float]], celsius: float) -> None:
    paths = {name: Path(metres, {"link": own}) for name, (metres, own) in parts.items()}
    found = line_up(paths, 40.0, celsius)
    for name in paths:
        assert found.latency_ms[name] + found.delay_ms[name] == pytest.approx(found.level_at_ms)
        assert found.delay_ms[name] >= 0.0
    assert min(found.delay_ms.values()) == 0.0


def test_a_wired_microphone_beside_a_link() -> None:
    """2.1 and 1.4 ms of a digital link against a wire: the wire waits 3.5 ms; the picture comes late."""
    paths = {"wire": Path(0.2, {}), "link": Path(0.2, {"transmitter": 2.1, "receiver": 1.4})}
    found = line_up(paths, 80.0)
    assert found.delay_ms == pytest.approx({"wire": 3.5, "link": 0.0})
    assert (found.sync, found.keeps_ebu_r37) == ("noticed", False)
    assert line_up(paths, 40.0).keeps_ebu_r37


def test_no_path_at_all() -> None:
    with pytest.raises(ValueError, match="no path"):
        line_up({})

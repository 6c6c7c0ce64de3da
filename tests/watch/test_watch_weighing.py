"""What recordings say of a cause: made by hand where the right answer is plain, and scored on played logs whose
recordings are made from the truth on a clock of their own (tests/watch/recorded.py)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.watch.recorded import every, recorded, with_recordings
from tests.watch.scoring import batch_of, confusion, expected_of, interval, table
from tests.watch.second import Played, play

from linkwright.watch.align.breaks import LinkBreaks
from linkwright.watch.align.clocks import Aligned
from linkwright.watch.align.recordings import Laid, Loss, TrackFaults
from linkwright.watch.align.weighing import (
    HELD,
    LONG,
    NOTHING,
    ONE_SHORT,
    RADIO,
    SHORT,
    SIGNAL,
    SILENT,
    SOUND,
    posterior,
    signal_pattern,
    sound_pattern,
    weighed,
)
from linkwright.watch.diagnose.episode_figures import Figures
from linkwright.watch.diagnose.watcher import Episode, Watcher

BASE_NS = 1_810_000_000_000_000_000
NONE = dict.fromkeys(Figures.__dataclass_fields__, math.nan)


def episode(track: str = "signal", heard: bool = True, **causes: float) -> Episode:
    """From 100 to 110 s, with these causes."""
    shares = tuple(sorted(((name.replace("_", "-"), p) for name, p in causes.items()), key=lambda one: -one[1]))
    figures = Figures(**{**NONE, "runs": 1, "heard": heard})  # type: ignore[arg-type]
    at = [BASE_NS + round(t * 1e9) for t in (100.0, 110.0)]
    return Episode(
        1, "Potter", at[0], at[1], False, *shares[0], shares, "Because.", "Do.", heard, track, (), figures
    )


def laid(*faults: Loss, seen: float = 0.95, fast: bool = False, also: tuple[str, ...] = (), **more: object) -> Laid:
    """A track of 200 s that begins with the log."""
    track = replace(TrackFaults("a.wav", 1, faults, (), 200.0), **more)  # type: ignore[arg-type]
    aligned = Aligned(0.0, 0.0, 10, 10, 10, 1.0, 0.01)
    return Laid(track, "Potter", aligned, BASE_NS, seen=seen, fast=fast, also=also)


def breaks(*unsaid: tuple[float, float]) -> LinkBreaks:
    spans = np.array([[BASE_NS + round(t * 1e9) for t in span] for span in unsaid], dtype=np.int64)
    return LinkBreaks("Potter", np.zeros(0, dtype=np.int64), np.zeros(0), 0, spans.reshape(-1, 2), BASE_NS, BASE_NS)


def said(one: Episode, track: Laid, *unsaid: tuple[float, float]) -> Episode:
    (found,) = weighed([one], [track], [breaks(*unsaid)])
    return found


def share(one: Episode, cause: str) -> float:
    return dict(one.causes).get(cause, 0.0)


def test_short_losses_speak_for_multipath_and_a_long_one_for_a_body() -> None:
    unsure = episode(body=0.5, multipath=0.45, unknown=0.05)
    short = said(unsure, laid(*((100.0 + n, 0.2, "mute") for n in range(5))))
    assert short.cause == "multipath"
    assert short.probability > 0.7
    assert "By the readings alone: body, 50 %." in short.because
    assert "a.wav, track 1, has 5 faults then" in short.because
    long = said(unsure, laid((101.0, 3.0, "mute")))
    assert long.cause == "body"
    assert long.probability > 0.8
    assert long.because.startswith("Because. a.wav"), "the cause is the same, so are its words"


def test_what_came_fast_counts_less() -> None:
    """The receiver has told the lengths of the breaks already: the same evidence must not count twice."""
    unsure = episode(body=0.55, multipath=0.4, unknown=0.05)
    losses = [(100.0 + n, 0.2, "mute") for n in range(5)]
    slow, fast = said(unsure, laid(*losses)), said(unsure, laid(*losses, fast=True))
    assert share(unsure, "multipath") < share(fast, "multipath") < share(slow, "multipath")


def test_a_track_that_goes_through_it_says_that_the_audio_held() -> None:
    guessed = episode(range=0.6, switched_off=0.3, unknown=0.1)
    found = said(guessed, laid(), (90.0, 120.0))
    assert not found.heard
    assert "the audio held; the receiver said neither quality nor mute" in found.because
    assert share(found, "switched-off") < 0.15, "nobody is heard who is switched off"
    told = said(guessed, laid())
    assert told.heard, "the receiver said that it broke"
    assert "goes through it without a loss" in told.because


@pytest.mark.parametrize(
    "track",
    [
        laid(length_s=105.0),  # ends in it
        laid(suspects=(104.0,)),
        laid(seen=0.5),  # of the log's other breaks it has every other one
        laid(also=("Cook",)),  # or it is Cook's
        laid(length_s=None),
    ],
)
def test_who_is_not_to_be_believed_does_not_say_that_it_held(track: Laid) -> None:
    found = said(episode(range=0.6, unknown=0.4), track, (90.0, 120.0))
    assert found.heard


def test_a_loss_says_that_the_audio_broke_even_where_the_link_is_not_sure() -> None:
    quiet = episode(heard=False, body=0.9, unknown=0.1)
    found = said(quiet, laid((104.0, 0.2, "hole"), also=("Cook",)))
    assert found.heard
    assert found.causes == quiet.causes
    at_edge = said(quiet, laid((110.05, 0.2, "mute")))
    assert at_edge.heard, "within 100 ms"
    assert not said(quiet, laid((110.2, 0.2, "mute"))).heard


def test_dead_audio() -> None:
    dead = episode("audio", audio_path=0.9, unknown=0.1)
    radio = said(dead, laid(*((100.0 + n, 0.02, "repeat") for n in range(8))))
    assert share(radio, "audio-path") < 0.6
    silent = said(dead, laid((99.95, 10.1, "edit")))
    assert share(silent, "audio-path") > 0.94
    assert share(said(dead, laid()), "audio-path") > 0.9, "low noise has no loss"


def test_a_branch_s_cause_is_its_own() -> None:
    found = said(episode("branch", heard=False, antenna=0.9, unknown=0.1), laid((104.0, 0.2, "mute")))
    assert (found.cause, found.probability, found.heard) == ("antenna", 0.9, True)


def test_patterns() -> None:
    assert signal_pattern([]) == HELD
    assert signal_pattern([(0.0, 0.5, "mute")]) == ONE_SHORT
    assert signal_pattern([(0.0, 0.5, "mute"), (2.0, 0.1, "hole")]) == SHORT
    assert signal_pattern([(0.0, 0.02, "repeat"), (0.5, 0.95, "mute")]) == LONG
    concealed = [(0.02 * n, 0.02, "repeat") for n in range(60)]
    assert signal_pattern(concealed) == LONG, "repeats one after the other are one loss"
    assert sound_pattern([], 3.0) == NOTHING
    assert sound_pattern([(0.0, 3.0, "mute")], 3.0) == SILENT
    assert sound_pattern([(0.0, 0.1, "mute"), (1.0, 0.1, "mute")], 3.0) == RADIO


def test_the_assumed_tables_are_shares() -> None:
    for row in (*SIGNAL.values(), *SOUND.values()):
        assert sum(row) == pytest.approx(1.0)


@given(
    st.dictionaries(st.sampled_from([*SIGNAL]), st.floats(0.02, 1.0), min_size=1),
    st.integers(0, 3), st.floats(0.05, 1.0), st.sampled_from([0.3, 1.0]),
)  # fmt: skip
def test_shares_stay_shares(weights: dict[str, float], pattern: int, seen: float, power: float) -> None:
    total = sum(weights.values())
    causes = [(cause, weight / total) for cause, weight in weights.items()]
    found = posterior(causes, SIGNAL, pattern, seen, power)
    assert sum(share for _, share in found) == pytest.approx(1.0)
    assert "unknown" in dict(found)
    assert [share for _, share in found] == sorted((share for _, share in found), reverse=True)
    blind = posterior(causes, SIGNAL, HELD, 0.0, power)
    for cause, before in causes:
        if "unknown" in weights:
            assert dict(blind)[cause] == pytest.approx(before), "who hears nothing says nothing"


#: Seeds that the tables were not made with.
SEEDS = (21, 22, 23)


@pytest.mark.parametrize(("nth", "missed"), [(1, 0.1), (1, 0.5), (5, 0.1)])
def test_recordings_of_played_logs_make_it_better_and_never_much_worse(nth: int, missed: float) -> None:
    before: list[tuple[Played, Sequence[Episode]]] = []
    after: list[tuple[Played, Sequence[Episode]]] = []
    right_links, of = 0, 0
    for seed in SEEDS:
        played = play(seed, meter_db=2.0)
        tracks, read = recorded(played, seed, missed=missed), every(played, nth)
        watcher = Watcher(expected_of(played))
        watcher.add(batch_of(read))
        watcher.finish()
        episodes = watcher.episodes()
        found, laid_ones, _ = with_recordings(batch_of(read), tracks, episodes)
        assert all(laid_one.link == f"Talent {laid_one.track.channel}" for laid_one in laid_ones), (
            "laid along another link"
        )
        right_links, of = right_links + len(laid_ones), of + len(tracks)
        before.append((played, episodes))
        after.append((played, found))
    was, now = confusion(before), confusion(after)
    right = [sum(many for (cause, told), many in one.items() if cause == told) for one in (was, now)]
    assert right[1] >= right[0] - 1, f"{table(was)}\n{table(now)}"
    assert right_links >= (0.9 if nth == 1 else 0.5) * of
    if nth == 5:
        assert right[1] >= right[0], "at two readings a second the recording knows how long breaks are"
    assert interval(right[1], now.total())[0] > 0.9, table(now)


def test_the_wrong_recording_changes_nothing() -> None:
    """A recording of another day is not laid anywhere, and no episode is changed."""
    played, other = play(24, meter_db=2.0), play(25, meter_db=2.0)
    watcher = Watcher(expected_of(played))
    watcher.add(batch_of(played))
    watcher.finish()
    episodes = watcher.episodes()
    found, laid_ones, not_laid = with_recordings(batch_of(played), recorded(other, 25), episodes)
    assert laid_ones == ()
    assert len(not_laid) == 6
    assert found == episodes

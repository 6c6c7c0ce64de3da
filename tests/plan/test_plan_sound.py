"""Attenuation, low cut and delay in the plan, and what is found about them."""

from __future__ import annotations

import pytest
from tests.plan.shoots import links, pocket, quay, shoot

from linkwright.plan.model import Finding, Plan
from linkwright.plan.pipeline import make_plan

PLUG_ON = '[transmitter.plug]\nuse = "uhf-plug-on"\ntunes_mhz = [[518.0, 566.0]]\n'


def codes(plan: Plan, code: str) -> list[Finding]:
    return [finding for finding in plan.findings if finding.code == code]


def planned(more: str = "", of: str = "", transmitter: str = "pocket", equipment: str = "") -> Plan:
    kit = equipment or pocket(more=of)
    return make_plan(shoot(kit + links(1, transmitter, more=more)), {})


def test_every_link_of_the_contract_s_example_has_its_settings() -> None:
    plan = make_plan(quay(), {})
    for call in plan.calls:
        for link in call.links:
            assert link.attenuation_db in (0, 4, 8, 12, 16, 20)
            assert link.low_cut_hz in (0, 70, 90, 110, 140, 180)
            assert link.delay_ms == pytest.approx(3.5)  # 2.1 ms of the transmitter, 1.4 ms of the receiver
            assert link.set_delay_ms is not None


def test_a_loud_voice_near_a_sensitive_microphone_is_told() -> None:
    plan = planned('voice = "shouted"\nmouth_m = 0.02\n', of="attenuation_db = [0, 3]")
    (found,) = codes(plan, "gain-hot")
    assert "3 dB of attenuation" in found.says
    assert "less sensitive" in found.do
    (loud,) = codes(plan, "microphone-loud")
    assert "dB SPL" in loud.says


def test_too_little_attenuation_set_by_hand_names_the_better_step() -> None:
    plan = planned('voice = "loud"\nattenuation_db = 0\n')
    (found,) = codes(plan, "gain-hot")
    assert found.do.startswith("Set ")
    assert planned('voice = "loud"\n').calls[0].links[0].attenuation_db == pytest.approx(float(found.do.split()[1]))


def test_a_step_that_the_transmitter_lacks_is_told() -> None:
    plan = planned("attenuation_db = 5\nlow_cut_hz = 95\n")
    assert len(codes(plan, "setting-unknown")) == 2


def test_a_high_low_cut_is_told_for_whose_voice_it_is() -> None:
    assert "a low voice" in codes(planned("low_cut_hz = 180\n"), "low-cut-high")[0].says
    assert "this voice" in codes(planned("low_cut_hz = 180\nvoice_f0_hz = 120\n"), "low-cut-high")[0].says
    assert not codes(planned("low_cut_hz = 180\nvoice_f0_hz = 240\n"), "low-cut-high")


def test_phantom_power_that_nobody_gives_stops() -> None:
    plan = planned('microphone = "short-gun"\n')
    assert codes(plan, "phantom-missing")[0].severity == "stop"
    assert not codes(
        planned('microphone = "short-gun"\n', transmitter="plug", equipment=PLUG_ON), "phantom-missing"
    )


def test_little_voice_over_noise_is_told() -> None:
    plan = planned('voice = "casual"\nmouth_m = 3.0\n')
    assert "over the noise" in codes(plan, "voice-noisy")[0].says


def test_paths_that_come_apart_are_told_and_the_delays_mend_it() -> None:
    slow = pocket().replace("[transmitter.pocket]", "[transmitter.slow]") + "latency_ms = 7.0\n"
    plan = make_plan(shoot(pocket() + slow + links(1) + links(1, "slow").replace('"L1"', '"L2"')), {})
    (found,) = codes(plan, "paths-apart")
    assert "5.0 ms apart" in found.says
    assert "L2" in found.about
    assert "100 Hz" in found.says  # the first notch of 5 ms is 1 / (2 x 5 ms)
    delays = {link.link: link.set_delay_ms for link in plan.calls[0].links}
    assert delays == {"L1": pytest.approx(5.0), "L2": pytest.approx(0.0)}


def test_sound_far_behind_its_picture_is_told() -> None:
    late = pocket(more="latency_ms = 140.0")
    assert "after its picture: noticed" in codes(make_plan(shoot(late + links(1)), {}), "lip-sync")[0].says
    early = "[recorder.camera]\nlatency_ms = 1.0\npicture_ms = 120.0\n"
    plan = make_plan(shoot(pocket() + early + links(1, more='recorder = "camera"')), {})
    assert "before its picture: too far" in codes(plan, "lip-sync")[0].says


def test_a_delay_that_is_set_stands_and_the_others_follow_it() -> None:
    kit = pocket() + links(1, more="set_delay_ms = 4.0") + links(1).replace('"L1"', '"L2"')
    plan = make_plan(shoot(kit), {})
    delays = {link.link: link.set_delay_ms for link in plan.calls[0].links}
    assert delays == {"L1": pytest.approx(4.0), "L2": pytest.approx(4.0)}
    slow = pocket().replace("[transmitter.pocket]", "[transmitter.slow]") + "latency_ms = 9.0\n"
    kit = pocket() + slow + links(1, more="set_delay_ms = 2.0") + links(1, "slow").replace('"L1"', '"L2"')
    (found,) = [code for code in codes(make_plan(shoot(kit), {}), "paths-apart") if code.about == "L1"]
    assert "comes 5.0 ms early" in found.says
    assert found.do == "Set 7.0 ms on L1."


KNOWN = '[transmitter.known]\nuse = "uhf-body-worn"\ntunes_mhz = [[518.0, 566.0]]\nlatency_ms = 2.1\n'
BARE = 'form = "body-worn"\nraster_khz = 25\npowers_mw = [10]\nbandwidth_khz = 200\nspacing_khz = 400'


def test_a_latency_that_nobody_said_sets_no_delay() -> None:
    """Counted as 0 it put a wrong delay on paper."""
    silent = KNOWN.replace("known]", "silent]").replace("latency_ms = 2.1\n", "")
    silent = silent.replace('use = "uhf-body-worn"', BARE)
    level: list[float | None] = [0.0, 0.0]
    for types, delays in (("known known", level), ("silent silent", level), ("known silent", [None, None])):
        both = "".join(links(1, kind).replace('"L1"', f'"{n}"') for n, kind in enumerate(types.split()))
        plan = make_plan(shoot(KNOWN + silent + both), {})
        assert [link.set_delay_ms for link in plan.calls[0].links] == delays
        assert [link.delay_ms is None for link in plan.calls[0].links] == [k == "silent" for k in types.split()]
        told = codes(plan, "latency-missing")
        assert [("silent" in one.says) for one in told] == ([True] if None in delays else [])

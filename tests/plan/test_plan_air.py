"""One air: measurement against prediction, statements against sweeps, and what a plan makes of them."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest
from tests.plan.shoots import flat_sweep, links, pocket, shoot

from linkwright.air.predicted import ExpectedChannel, Predicted, State, StationAtPlace
from linkwright.air.readers import Readout
from linkwright.air.readers.lists import ListedCarrier as Listed
from linkwright.air.sweep import Sweep
from linkwright.plan.chain import Sweeps, scene_of
from linkwright.plan.model import Plan, PlannedLink
from linkwright.plan.pipeline import make_plan
from linkwright.plan.why import why

#: TV channels 27 to 30 of the region's raster: 518 to 550 MHz.
SITE = '[[site]]\nname = "Yard"\nlatitude = 51.0\nlongitude = -1.0\n'
ONE_LINK = pocket("[[518.2, 549.8]]") + links(1)
EIGHTS = {"27": 518_000, "28": 526_000, "29": 534_000, "30": 542_000}


def predicted(**levels_dbm: float) -> dict[str, Predicted]:
    """TV as predicted: a level [dBm] for each channel "c27" ..., closed above -90, else doubtful; none is free."""
    channels, heard = [], []
    for name, low in EIGHTS.items():
        level = levels_dbm.get(f"c{name}")
        state: State = "free" if level is None else "closed" if level > -90 else "doubtful"
        channels.append(
            ExpectedChannel(
                name, low, low + 8000, state, "Mast, 20.0 km away", level, 8.0 if level else None, "modelled"
            )
        )
        if level is not None:
            heard.append(StationAtPlace(name, "Mast", 20.0, 60.0, level, level + 5.0, 8.0, None, False, "modelled"))
    return {"Yard": Predicted(tuple(channels), tuple(heard), ())}


def plan(text: str, sweeps: Sweeps | None = None, tv: dict[str, Predicted] | None = None) -> Plan:
    return make_plan(shoot(text), sweeps or {}, tv=tv)


def carriers(made: Plan) -> list[int]:
    return [khz for link in made.calls[0].links for khz in (link.carrier_khz, *link.spares_khz)]


def codes(made: Plan) -> set[str]:
    return {finding.code for finding in made.findings}


def in_channel(khz: int, name: str) -> bool:
    return EIGHTS[name] < khz + 100 and khz - 100 < EIGHTS[name] + 8000


def tv_line(link: PlannedLink) -> float | None:
    return next((line.dbm for line in link.ledger if line.part == "predicted TV"), None)


def test_predicted_tv_closes_its_channel() -> None:
    made = plan(SITE + ONE_LINK, tv=predicted(c27=-60.0, c29=-60.0, c30=-60.0))
    assert carriers(made)
    assert all(in_channel(khz, "28") for khz in carriers(made))
    free = plan(SITE + ONE_LINK, tv=predicted())
    assert not all(in_channel(khz, "28") for khz in carriers(free))


def test_why_names_the_station() -> None:
    tv = predicted(c27=-60.0)
    text = shoot(SITE + ONE_LINK)
    reasons = why(scene_of(text, {}, tv), make_plan(text, {}, tv=tv), "L1", 520_000)[0].reasons
    assert any(reason.code == "tv-cochannel" and "Mast, 20.0 km away" in reason.says for reason in reasons)


def test_doubtful_tv_is_a_line_of_the_ledger_with_its_spread_and_a_finding() -> None:
    locked = ONE_LINK + "locked_mhz = 520.0\n"
    made = plan(SITE + locked, tv=predicted(c27=-95.0))
    (link,) = made.calls[0].links
    (line,) = [line for line in link.ledger if line.part == "predicted TV"]
    # 200 kHz of 8 MHz: 16.02 dB less.
    assert line.dbm == pytest.approx(-95.0 - 16.02, abs=0.01)
    assert (line.evidence, line.spread_db) == ("modelled", 8.0)
    assert [one.says for one in made.findings if one.code == "tv-doubtful"] == [
        "At Yard TV may be heard in channel 27."
    ]


@pytest.mark.parametrize("where", ["on it", "beside it"])
def test_a_sweep_that_sees_it_or_did_not_look_there_contradicts_no_prediction(where: str) -> None:
    sweep = noisy("seen.csv", [(518_000, 526_000)]) if where == "on it" else flat_sweep(530_000, 551_000, -110.0)
    made = plan(SITE + ONE_LINK, {"Yard": [sweep]}, predicted(c27=-60.0))
    assert "air-contradicts" not in codes(made)
    assert not any(in_channel(khz, "27") for khz in carriers(made))


def test_a_calibrated_sweep_outweighs_prediction_and_the_contradiction_is_told() -> None:
    quiet = flat_sweep(517_000, 551_000, -110.0)
    locked = ONE_LINK + "locked_mhz = 520.0\n"
    made = plan(SITE + locked, {"Yard": [quiet]}, predicted(c27=-60.0))
    (link,) = made.calls[0].links
    assert link.carrier_khz == 520_000
    assert tv_line(link) is None
    assert "air-contradicts" in codes(made)
    doubtful = plan(SITE + locked, {"Yard": [quiet]}, predicted(c27=-95.0)).calls[0].links[0]
    assert tv_line(doubtful) is None


def test_a_relative_sweep_does_not_outweigh_prediction() -> None:
    ranking = replace(flat_sweep(517_000, 551_000, -110.0), unit="dB")
    made = plan(SITE + ONE_LINK, {"Yard": [ranking]}, predicted(c27=-60.0, c29=-60.0, c30=-60.0))
    assert all(in_channel(khz, "28") for khz in carriers(made))
    assert "sweep-relative" in codes(made)


def test_an_old_sweep_is_assumed_and_prediction_counts_beside_it() -> None:
    sweep = replace(flat_sweep(517_000, 551_000, -110.0), started=datetime.datetime(2027, 5, 10, 9, 0))
    call = '[[call]]\nname = "Day"\nsite = "Yard"\nfrom = 09:00:00\nto = 12:00:00\nlinks = ["L1"]\n'
    made = plan(SITE + ONE_LINK + "locked_mhz = 520.0\n" + call, {"Yard": [sweep]}, predicted(c27=-95.0))
    assert "sweep-old" in codes(made)
    assert tv_line(made.calls[0].links[0]) is not None


def test_a_sweep_counts_at_the_first_site_that_names_it() -> None:
    other = '[[site]]\nname = "Roof"\n'
    call = '[[call]]\nname = "{0}"\nsite = "{0}"\nlinks = ["L1"]\n'
    text = SITE + other + ONE_LINK + call.format("Yard") + call.format("Roof")
    sweep = flat_sweep(517_000, 551_000)
    made = plan(text, {"Yard": [sweep], "Roof": [sweep]})
    assert [finding.about for finding in made.findings if finding.code == "sweep-elsewhere"] == ["Roof"]
    assert [finding.about for finding in made.findings if finding.code == "sweep-missing"] == ["Roof"]


def noisy(path: str, humps: list[tuple[int, int]], over_db: float = 25.0, seed: int = 1) -> Sweep:
    """A calibrated sweep of gamma noise in 25 kHz bins, 16 averages, with flat wide signals on it."""
    draw = np.random.default_rng(seed)
    base = flat_sweep(517_000, 551_000, -110.0)
    f = base.frequencies_khz
    power = np.full(f.size, 1e-11)
    for low, high in humps:
        power[(f > low + 200) & (f < high - 200)] *= 10.0 ** (over_db / 10.0)
    levels = 10.0 * np.log10(power * draw.gamma(16.0, 1.0 / 16.0, (6, f.size)))
    return replace(base, path=path, levels_db=levels, averages=16, detector="rms")


def test_a_multiplex_in_the_sweep_closes_its_channel_and_is_told_where_it_is_not_listed() -> None:
    seen = noisy("seen.csv", [(518_000, 526_000)])
    made = plan(SITE.rstrip() + '\ntv = ["30"]\n' + ONE_LINK, {"Yard": [seen]})
    assert not any(in_channel(khz, "27") or in_channel(khz, "30") for khz in carriers(made))
    assert {"tv-unlisted", "air-contradicts"} <= codes(made)  # 27 is seen and not listed, 30 listed and not seen


def test_a_deaf_sweep_is_refused() -> None:
    tv = [(518_000, 526_000), (534_000, 542_000)]
    made = plan(SITE + ONE_LINK, {"Yard": [noisy("good.csv", tv), noisy("deaf.csv", [], seed=2)]})
    (found,) = [finding for finding in made.findings if finding.code == "sweep-deaf"]
    assert "deaf.csv" in found.says


def test_a_better_antenna_at_the_receiver_hears_more_of_what_was_swept() -> None:
    humming = noisy("hum.csv", [(517_000, 551_000)], over_db=0.0)
    bumpy = flat_sweep(517_000, 551_000, -112.0, {520_000 + 25 * n: -100.0 for n in range(-4, 5)})
    assert humming.calibrated

    def heard(site: str, receiver: str) -> float:
        text = site + ONE_LINK.replace("uhf-cart-rack", "rack") + "locked_mhz = 520.0\n" + receiver
        link = plan(text, {"Yard": [bumpy]}).calls[0].links[0]
        return next(line.dbm for line in link.ledger if line.part == "sweep" and line.dbm is not None)

    rack = '[receiver.rack]\nuse = "uhf-cart-rack"\nantenna_gain_dbi = {}\n'
    plain = heard(SITE, rack.format(0))
    assert heard(SITE, rack.format(6)) == pytest.approx(plain + 6.0, abs=0.02)
    assert heard(SITE + "sweep_antenna_dbi = 2.0\n", rack.format(6)) == pytest.approx(plain + 4.0, abs=0.02)


def test_a_typed_list_makes_its_carriers_busy_and_nothing_clean() -> None:
    ear = Readout("heard.txt", (), (Listed(533_000.0, -70.0, "dBm", "intercom"),))
    made = plan(SITE + pocket("[[532.9, 533.1]]") + links(1), {"Yard": [ear]})
    assert "busy" in codes(made)
    assert made.calls[0].missed is None
    assert "sweep-partial" in codes(made)


def test_the_plan_says_how_much_a_sweep_may_have_missed() -> None:
    once = plan(SITE + ONE_LINK, {"Yard": [flat_sweep(517_000, 551_000)]})
    assert once.calls[0].missed == pytest.approx(
        0.95, abs=0.01
    )  # one short look at somebody who is on 5 % of the time
    assert "sweep-brief" in codes(once)
    assert plan(SITE + ONE_LINK).calls[0].missed is None

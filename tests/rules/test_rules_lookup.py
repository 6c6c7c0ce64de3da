"""The look-up: what it allows, and the laws that it keeps whatever it is asked."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.rules import (
    Allowance,
    Terms,
    Territory,
    acceptable,
    allowance,
    check_permits,
    closed_ranges,
    known_codes,
    most_conducted_mw,
    territory,
    tv_channel,
    why_not,
)
from linkwright.shoot.errors import InputError
from linkwright.shoot.permits import PermitHeld

ON = datetime.date(2027, 5, 14)
EVERY = st.sampled_from(known_codes())
FORMS = st.sampled_from(["body-worn", "plug-on", "handheld"])
DAYS = st.dates(datetime.date(2009, 1, 1), datetime.date(2035, 1, 1))
GAINS_DBI = st.floats(-10.0, 6.0)
WIDTHS_KHZ = st.integers(1, 400)


def ask(
    region: str,
    *permits: str,
    carrier_khz: int,
    width_khz: int = 200,
    on: datetime.date = ON,
    form: str = "handheld",
    gain_dbi: float = 0.0,
) -> Allowance:
    return allowance(territory(region), permits, np.array([carrier_khz]), width_khz, form, gain_dbi, on)


def say(region: str, *permits: str, carrier_khz: int, width_khz: int = 200, on: datetime.date = ON) -> str:
    one = territory(region)
    terms = Terms(indoor=True, accepts=acceptable(one))
    return why_not(one, permits, carrier_khz, width_khz, "handheld", 0.0, on, terms=terms)


def every_permit(one: Territory) -> list[str]:
    return [permit.id for permit in one.permits]


def carriers_about(one: Territory, seed: int) -> np.ndarray:
    """Carriers all over the spectrum [kHz], crowded about the edges of the rows and the closed ranges."""
    rng = np.random.default_rng(seed)
    edges = np.array([edge for span in (*one.rows, *one.closed) for edge in (span.from_khz, span.to_khz)])
    near = rng.choice(edges, 200) + rng.integers(-400, 400, 200)
    inside = [rng.integers(row.from_khz, row.to_khz, 4) for row in one.rows]
    return np.concatenate([near, *inside, rng.integers(20_000, 8_000_000, 50)])


@settings(max_examples=60, deadline=None)
@given(EVERY, FORMS, GAINS_DBI, WIDTHS_KHZ, DAYS, st.integers(0, 2**32 - 1))
def test_whatever_is_allowed_lies_in_its_row(
    region: str, form: str, gain_dbi: float, width_khz: int, on: datetime.date, seed: int
) -> None:
    one = territory(region)
    carriers = carriers_about(one, seed)
    found = allowance(one, every_permit(one), carriers, width_khz, form, gain_dbi, on)
    for index, carrier_khz in enumerate(carriers.tolist()):
        row = found.row_at(index)
        assert (row is not None) == (found.most_mw[index] > 0.0)
        if row is None:
            continue
        assert row.from_khz <= carrier_khz - width_khz / 2
        assert carrier_khz + width_khz / 2 <= row.to_khz
        assert row.kind == "microphone"
        assert not row.listed_only
        assert row.until is None or on <= row.until
        assert width_khz <= (row.bandwidth_khz or width_khz)
        if row.raster_khz:
            assert (carrier_khz - row.from_khz) % row.raster_khz == 0


@settings(max_examples=60, deadline=None)
@given(EVERY, FORMS, GAINS_DBI, WIDTHS_KHZ, DAYS, st.integers(0, 2**32 - 1))
def test_radiated_power_never_exceeds_the_row(
    region: str, form: str, gain_dbi: float, width_khz: int, on: datetime.date, seed: int
) -> None:
    one = territory(region)
    carriers = carriers_about(one, seed)
    found = allowance(one, every_permit(one), carriers, width_khz, form, gain_dbi, on)
    for index in range(len(carriers)):
        row = found.row_at(index)
        assert math.isfinite(found.most_mw[index])
        if row is None or row.max_mw is None:
            continue
        limit_mw = row.max_mw
        if form == "body-worn" and row.max_body_worn_mw is not None:
            limit_mw = row.max_body_worn_mw
        conducted_dbm = 10.0 * math.log10(found.most_mw[index])
        over_limit_db = {"conducted": 0.0, "eirp": gain_dbi, "erp": gain_dbi - 2.15}[row.power_reference or ""]
        assert conducted_dbm + over_limit_db <= 10.0 * math.log10(limit_mw) + 1e-9


@settings(max_examples=60, deadline=None)
@given(EVERY, WIDTHS_KHZ, DAYS, st.integers(0, 2**32 - 1))
def test_nothing_is_allowed_in_a_closed_range(region: str, width_khz: int, on: datetime.date, seed: int) -> None:
    one = territory(region)
    carriers = carriers_about(one, seed)
    found = allowance(one, every_permit(one), carriers, width_khz, "handheld", 0.0, on)
    for index, carrier_khz in enumerate(carriers.tolist()):
        for closed in closed_ranges(one, on):
            low_khz = max(carrier_khz - width_khz / 2, closed.from_khz)
            high_khz = min(carrier_khz + width_khz / 2, closed.to_khz)
            assert low_khz >= high_khz or found.row[index] == -1


@settings(max_examples=60, deadline=None)
@given(EVERY, WIDTHS_KHZ, DAYS, st.integers(0, 2**32 - 1), st.data())
def test_fewer_permits_or_more_width_never_allow_more(
    region: str, width_khz: int, on: datetime.date, seed: int, data: st.DataObject
) -> None:
    one = territory(region)
    some = data.draw(st.sets(st.sampled_from(every_permit(one)))) if one.permits else set()
    wider_khz = width_khz + data.draw(st.integers(0, 200))
    carriers = carriers_about(one, seed)
    much = allowance(one, every_permit(one), carriers, width_khz, "handheld", 0.0, on)
    less = allowance(one, some, carriers, width_khz, "handheld", 0.0, on)
    least = allowance(one, some, carriers, wider_khz, "handheld", 0.0, on)
    assert not ((less.row >= 0) & (much.row < 0)).any()
    assert not ((least.row >= 0) & (less.row < 0)).any()


@settings(max_examples=40, deadline=None)
@given(EVERY, WIDTHS_KHZ, DAYS, st.integers(0, 2**32 - 1), st.data())
def test_the_sentence_agrees_with_the_decision(
    region: str, width_khz: int, on: datetime.date, seed: int, data: st.DataObject
) -> None:
    one = territory(region)
    permits = data.draw(st.sets(st.sampled_from(every_permit(one)))) if one.permits else set()
    carriers = carriers_about(one, seed)[::10]
    found = allowance(one, permits, carriers, width_khz, "handheld", 0.0, on)
    for index, carrier_khz in enumerate(carriers.tolist()):
        says = why_not(one, permits, carrier_khz, width_khz, "handheld", 0.0, on)
        assert (" MHz may be used, " in says) == (found.row[index] >= 0)
        assert says.endswith(".")
        assert "\n" not in says


def test_the_highest_conducted_power_decides() -> None:
    licensed = ask("US", "us-part-74", carrier_khz=571_125).row_at(0)
    exempt = ask("US", carrier_khz=571_125).row_at(0)
    assert licensed is not None
    assert exempt is not None
    assert (licensed.id, exempt.id) == ("us-part-74-470-608", "us-part-15-470-608")


@pytest.mark.parametrize("limits_mw", [(5.0, 8.0), (8.0, 5.0)])
def test_of_two_licences_for_one_carrier_the_higher_decides(limits_mw: tuple[float, float]) -> None:
    """Nobody has to use the lower one, in whichever order they were typed in."""
    held = tuple(
        PermitHeld(name=f"Quay {n}", carriers_mhz=(571.125,), max_mw=limit_mw, power_reference="conducted")
        for n, limit_mw in enumerate(limits_mw)
    )
    found = allowance(
        territory("GB"), [], np.array([571_125]), 200, "handheld", 0.0, ON, terms=Terms(licences=held)
    )
    assert found.most_mw[0] == 8.0


def test_a_licence_of_a_range_is_for_what_fits_into_it_with_its_bandwidth() -> None:
    held = PermitHeld(name="Quay", ranges_mhz=((571.0, 572.0), (580.0, 580.2)))
    carriers = np.array([1_000, 571_075, 571_100, 571_500, 571_900, 571_925, 576_000, 580_075, 580_100, 580_125])
    found = allowance(territory("GB"), [], carriers, 200, "handheld", 0.0, ON, terms=Terms(licences=(held,)))
    assert carriers[found.row >= 0].tolist() == [571_100, 571_500, 571_900, 580_100]


def test_which_row_is_highest_depends_on_the_antenna() -> None:
    """50 mW EIRP beats 250 mW conducted only with an antenna that loses more than 6.99 dB."""
    row = ask("US", "us-part-74", carrier_khz=571_125, gain_dbi=-8.0).row_at(0)
    assert row is not None
    assert row.id == "us-part-15-470-608"


def test_of_equal_rows_the_permit_that_is_held_decides() -> None:
    row = ask("US", "us-part-74", carrier_khz=200_000).row_at(0)
    assert row is not None
    assert row.id == "us-part-74-174-216"


def test_of_equal_rows_the_stated_one_decides() -> None:
    told = territory("US")
    stated = next(row for row in told.rows if row.id == "us-part-15-470-608")
    assumed = stated.model_copy(update={"id": "us-a-row", "evidence": "assumed"})
    both = told.model_copy(update={"rows": (assumed, stated)})
    assert allowance(both, [], np.array([500_000]), 200, "handheld", 0.0, ON).row_at(0) == stated


def test_a_known_limit_decides_before_none() -> None:
    """A row without a limit must not stand in for one that has it."""
    told = territory("GB")
    known = next(row for row in told.rows if row.id == "gb-coordinated-470-606")
    unknown = known.model_copy(update={"id": "gb-a-row", "max_mw": None, "power_reference": None})
    both = told.model_copy(update={"rows": (unknown, known)})
    found = allowance(both, ["gb-coordinated"], np.array([500_000]), 200, "handheld", 0.0, ON)
    assert found.row_at(0) == known


@pytest.mark.parametrize(
    ("region", "permit", "carrier_khz", "form", "eirp_mw"),
    [
        ("NZ", "nz-general", 550_000, "handheld", 100.0),  # the only limit that is known there
        ("ES", None, 824_000, "handheld", 20.0),  # CEPT's own limits, which stand in the same folder
        ("ES", None, 829_000, "handheld", 100.0),
        ("ES", None, 826_000, "handheld", 20.0),  # over the edge of two: the stricter
        ("GB", "gb-coordinated", 829_000, "handheld", 100.0),
        ("GB", "gb-coordinated", 1_795_000, "handheld", 20.0),
        ("GB", "gb-coordinated", 1_795_000, "body-worn", 50.0),
        ("GB", "gb-coordinated", 1_804_900, "handheld", 0.04),
        ("GB", "gb-coordinated", 700_000, "handheld", 16.406),  # 10 mW ERP of the other rows
        ("IT", "it-national", 740_000, "handheld", 16.406),
        ("JP", None, 74_640, "handheld", 1.0),
    ],
)
def test_a_row_without_a_limit_takes_the_strictest_known(
    region: str, permit: str | None, carrier_khz: int, form: str, eirp_mw: float
) -> None:
    width_khz = 60 if region == "JP" else 200
    found = ask(region, *([permit] if permit else []), carrier_khz=carrier_khz, form=form, width_khz=width_khz)
    assert found.most_mw[0] == pytest.approx(eirp_mw, rel=1e-4)


@pytest.mark.parametrize(
    ("region", "permit", "carrier_khz", "width_khz", "open_"),
    [
        *(("JP", None, khz, 60, True) for khz in (74_580, 74_640, 74_700, 74_760)),
        *(("JP", None, khz, 60, False) for khz in (73_700, 74_600, 74_000)),
        *(("JP", None, khz, 30, True) for khz in (322_025, 322_150, 322_250, 322_400)),
        *(("JP", None, khz, 30, False) for khz in (322_175, 322_200, 322_425, 322_975)),
        ("JP", None, 322_100, 200, False),
        *(("JP", None, khz, 200, True) for khz in (806_125, 809_750)),
        *(("JP", None, khz, 200, False) for khz in (806_100, 809_900, 806_200)),
        *(("US", "us-part-90", khz, 54, True) for khz in (169_445, 171_905)),
        *(("US", "us-part-90", khz, 54, False) for khz in (169_600, 170_000)),
        ("US", "us-part-90", 171_875, 200, True),
        *(("DE", "de-general", khz, 200, True) for khz in (864_000, 1_795_000)),
        ("DE", "de-general", 826_500, 200, False),
        ("KR", None, 926_000, 200, True),
        ("KR", None, 745_000, 200, False),
        ("ZA", None, 864_000, 200, True),
        ("ZA", None, 600_000, 200, False),
        ("AE", None, 600_000, 200, False),
        ("AE", "ae-authorised", 600_000, 200, False),  # no power is known: until the authorisation is typed in
    ],
)
def test_only_the_actual_carriers_are_open(
    region: str, permit: str | None, carrier_khz: int, width_khz: int, open_: bool
) -> None:
    found = ask(region, *([permit] if permit else []), carrier_khz=carrier_khz, width_khz=width_khz)
    assert bool(found.row[0] >= 0) is open_


@pytest.mark.parametrize("region", ["IN", "BR", "SG", "MX", "IL"])
def test_a_territory_of_which_nothing_published_stands_here_says_so(region: str) -> None:
    with pytest.raises(InputError, match="nothing published is known here of the rules of"):
        territory(region)


def test_the_body_worn_allowance_is_for_the_body_worn_form_only() -> None:
    row = next(row for row in territory("GB").rows if row.id == "gb-shared-606p5-613p5")
    powers_mw = {form: most_conducted_mw(row, 2.15, form) for form in ("body-worn", "plug-on", "handheld")}
    assert powers_mw == pytest.approx({"body-worn": 50.0, "plug-on": 10.0, "handheld": 10.0})


def test_a_site_licence_is_another_name() -> None:
    assert check_permits(territory("GB"), ["gb-site-licence"]) == {"gb-coordinated"}
    assert ask("GB", "gb-site-licence", carrier_khz=571_125).row[0] >= 0


@pytest.mark.parametrize(
    ("region", "permit", "says"),
    [
        ("GB", "gb-coordinate", 'did you mean "gb-coordinated"'),
        ("GB", "us-part-74", "known: gb-coordinated, gb-shared"),
        ("ES", "es-licensed", "known: none"),
    ],
)
def test_an_unknown_permit_is_refused(region: str, permit: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        check_permits(territory(region), [permit])
    with pytest.raises(InputError):
        ask(region, permit, carrier_khz=500_000)


def test_wideband_rows_do_not_let_a_narrow_band_microphone_in() -> None:
    carriers = np.array([599_000])
    wide = allowance(territory("US"), [], carriers, 6000, "handheld", 0.0, ON, kind="wideband")
    narrow = allowance(territory("US"), [], carriers, 6000, "handheld", 0.0, ON)
    assert (wide.most_mw[0], narrow.most_mw[0]) == (100.0, 0.0)


def test_data_rows_decide_for_data_equipment() -> None:
    carriers = np.array([2_440_000])
    data = allowance(territory("US"), [], carriers, 1000, "handheld", 0.0, ON, kind="data")
    microphone = allowance(territory("US"), [], carriers, 200, "handheld", 0.0, ON)
    assert (data.most_mw[0], microphone.most_mw[0]) == (1000.0, 0.0)


def test_a_closed_range_closes_on_its_day() -> None:
    before, after = datetime.date(2020, 7, 12), datetime.date(2020, 7, 13)
    spans = [
        {closed_range.from_khz for closed_range in closed_ranges(territory("US"), day)} for day in (before, after)
    ]
    assert spans == [{608_000, 698_000}, {608_000, 617_000, 663_000, 698_000}]


def test_carriers_that_only_touch_a_closed_range_stay() -> None:
    assert ask("US", carrier_khz=607_900).row[0] >= 0
    assert ask("US", carrier_khz=614_100).row[0] >= 0


def test_an_odd_width_is_halved_exactly() -> None:
    """With 25 kHz about a carrier 12 kHz from the edge, half a kilohertz is outside."""
    assert [ask("GB", carrier_khz=863_100, width_khz=w).row[0] >= 0 for w in (200, 201)] == [True, False]


@pytest.mark.parametrize(
    ("says", "region", "permits", "carrier_khz"),
    [
        ("which is closed: channel 37", "US", (), 611_000),
        ("with its 200 kHz reaches into 608-614 MHz", "US", (), 607_950),
        ("needs the permit gb-coordinated", "GB", (), 571_125),
        ("is off the raster: carriers lie at 470.000 MHz + n x 25 kHz", "US", (), 571_130),
        ("carriers go from 606.600 to 613.400 MHz", "GB", ("gb-shared",), 606_550),
        ("was open until 2025-12-31; find the act that followed", "DE", ("de-general",), 826_500),
        ("cannot be decided from what is known here (five old spot frequencies, ", "GB", (), 174_500),
        ("is open to digital or hopping data equipment only", "US", (), 2_440_000),
        ("nearest are 694-703 MHz below it (row gb-coordinated-694-703)", "GB", (), 750_000),
        ("only 614-616 MHz is left since 13 July 2020", "US", (), 616_500),
        ("only 614-616 MHz is left since 13 July 2020", "US", ("us-part-74",), 630_000),
        ("France is listed as not having audio PMSE row A4", "FR", (), 740_000),
        ("up to 50 mW conducted: row us-part-15-470-608", "US", (), 571_125),
        ("the strictest limit that is known there", "NZ", ("nz-general",), 550_000),
        ("from memory", "CN", (), 710_000),
    ],
)
def test_what_the_sentence_says(says: str, region: str, permits: tuple[str, ...], carrier_khz: int) -> None:
    assert says in say(region, *permits, carrier_khz=carrier_khz)


def test_of_two_rows_the_one_that_comes_nearer_to_allowing_it_is_told() -> None:
    said = say("US", carrier_khz=655_000)
    assert "needs the permit us-part-74" in said
    assert "us-part-74-wmas-653-657" not in said  # of other equipment, whoever holds what


@pytest.mark.parametrize(("width_khz", "told"), [(200, False), (201, True)])
def test_a_note_is_told_from_half_a_kilohertz_into_its_range(width_khz: int, told: bool) -> None:
    said = [say("GB", carrier_khz=khz, width_khz=width_khz) for khz in (469_900, 694_100)]
    assert ["470-694 MHz is remembered as kept for TV" in one for one in said] == [told, told]


def test_what_the_sentence_says_of_width() -> None:
    assert "is open to 200 kHz at most, and this is 300 kHz wide" in say("US", carrier_khz=571_125, width_khz=300)
    assert "too narrow for 3000 kHz" in say("GB", carrier_khz=864_000, width_khz=3000)


@pytest.mark.parametrize(
    ("region", "number", "says"),
    [
        ("US", "37", "2 to 4, 5 to 6, 7 to 13 and 14 to 36"),
        ("GB", "49", "its channels are 21 to 48"),
        ("GB", "", "its channels are 21 to 48"),
        ("GB", "21.5", "its channels are 21 to 48"),
        ("AU", "9B", "its channels are 6 to 12 and 28 to 51"),
        ("NZ", "30", r"\[\[other\]\] with from_mhz and to_mhz"),
        ("CN", "30", r"\[\[other\]\] with from_mhz and to_mhz"),
    ],
)
def test_an_unknown_tv_channel_is_refused(region: str, number: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        tv_channel(territory(region), number)


@pytest.mark.parametrize("written", ["9a", " 9A", "09A"])
def test_a_channel_is_found_as_people_write_it(written: str) -> None:
    assert tv_channel(territory("AU"), written).number == "9A"


def test_the_middle_of_a_channel() -> None:
    assert tv_channel(territory("US"), "30").centre_khz == 569_000  # 566-572 MHz, 47 CFR 73.603(a)

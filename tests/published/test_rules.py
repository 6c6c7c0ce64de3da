"""Limits, closed ranges and conversions of the rules, one a value, with the document it stands in."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from linkwright.physics.geodesy import great_circle_km
from linkwright.rules import (
    Terms,
    acceptable,
    allowance,
    eirp_mw_from_erp_mw,
    hard_warnings,
    most_conducted_mw,
    territory,
)

ON = datetime.date(2027, 5, 14)
#: Gain of a half-wave dipole [dBi]; ITU Radio Regulations Nos. 1.161-1.162.
DIPOLE_DBI = 2.15


def most_mw(
    region: str,
    carrier_khz: int,
    *permits: str,
    form: str = "handheld",
    gain_dbi: float = 0.0,
    on: datetime.date = ON,
    width_khz: int = 200,
) -> float:
    """Indoors, with everything accepted that can be."""
    carriers, one = np.array([carrier_khz]), territory(region)
    terms = Terms(indoor=True, accepts=acceptable(one))
    allowed = allowance(one, permits, carriers, width_khz, form, gain_dbi, on, terms=terms)
    return float(allowed.most_mw[0])


@pytest.mark.published("ITU Radio Regulations Nos. 1.161-1.162: ERP + 2.15 dB = EIRP")
def test_50_mw_erp_is_82_mw_eirp() -> None:
    assert eirp_mw_from_erp_mw(50.0) == pytest.approx(82.03, abs=0.01)


@pytest.mark.published("ITU Radio Regulations Nos. 1.161-1.162: ERP is what a half-wave dipole would need")
def test_50_mw_erp_from_a_dipole_is_50_mw_conducted() -> None:
    assert most_mw("GB", 571_125, "gb-coordinated", form="body-worn", gain_dbi=DIPOLE_DBI) == pytest.approx(50.0)


@pytest.mark.published("47 CFR 15.236(d)(1)(i): 50 mW EIRP in the TV bands")
def test_us_unlicensed_tv_bands() -> None:
    assert most_mw("US", 571_125) == 50.0


@pytest.mark.published("47 CFR 15.236(d)(1)(i): 50 mW EIRP, hence less at the connector of a dipole")
def test_us_unlicensed_tv_bands_from_a_dipole() -> None:
    assert most_mw("US", 571_125, gain_dbi=DIPOLE_DBI) == pytest.approx(30.477, abs=0.001)


@pytest.mark.published("47 CFR 74.861(e)(1)(ii): 250 mW conducted at 470-608 MHz")
def test_us_licensed_uhf() -> None:
    assert most_mw("US", 571_125, "us-part-74") == 250.0


@pytest.mark.published("47 CFR 74.861(e)(1)(ii): a conducted limit does not depend on the antenna")
def test_us_licensed_uhf_from_a_dipole() -> None:
    assert most_mw("US", 571_125, "us-part-74", gain_dbi=DIPOLE_DBI) == 250.0


@pytest.mark.published("47 CFR 74.861(e)(1)(i): 50 mW EIRP at 54-72, 76-88 and 174-216 MHz")
@pytest.mark.parametrize("carrier_khz", [60_000, 80_000, 200_000])
def test_us_licensed_vhf(carrier_khz: int) -> None:
    assert most_mw("US", carrier_khz, "us-part-74") == 50.0


@pytest.mark.published("47 CFR 74.861(e)(1)(iii): 20 mW EIRP in the licensed part of the duplex gap, 653-657 MHz")
def test_us_licensed_duplex_gap() -> None:
    assert most_mw("US", 655_000, "us-part-74") == 20.0


@pytest.mark.published("47 CFR 74.802(a): 653-657 MHz is for licensed users only")
def test_us_unlicensed_has_no_653_657() -> None:
    assert most_mw("US", 655_000) == 0.0


@pytest.mark.published("47 CFR 15.236(c)(2),(d)(2): 20 mW EIRP in the unlicensed part of the duplex gap")
def test_us_unlicensed_duplex_gap() -> None:
    assert most_mw("US", 660_000) == 20.0


@pytest.mark.published("47 CFR 15.236(c)(3),(d)(2): 20 mW EIRP in the guard band 614-616 MHz")
def test_us_unlicensed_guard_band() -> None:
    assert most_mw("US", 615_000) == 20.0


@pytest.mark.published("47 CFR 74.802(f), 15.236(c)(3): of 614-638 MHz only 614-616 MHz is left")
@pytest.mark.parametrize("permits", [(), ("us-part-74",)])
def test_us_616_to_638_is_lost(permits: tuple[str, ...]) -> None:
    carriers = np.arange(616_000, 638_001, 25)
    allowed = allowance(territory("US"), permits, carriers, 200, "handheld", 0.0, ON)
    assert not allowed.most_mw.any()


@pytest.mark.published("47 CFR 73.603(c): channel 37, 608-614 MHz, is never available")
@pytest.mark.parametrize("permits", [(), ("us-part-74", "us-part-74-coordinated", "us-part-74-broadcast")])
def test_us_channel_37(permits: tuple[str, ...]) -> None:
    carriers = np.arange(608_000, 614_001, 25)
    allowed = allowance(territory("US"), permits, carriers, 200, "handheld", 0.0, ON)
    assert not allowed.most_mw.any()


@pytest.mark.published("47 CFR 74.802(f), 27.4: 663-698 MHz belongs to the 600 MHz service")
def test_us_663_to_698() -> None:
    assert most_mw("US", 680_000, "us-part-74") == 0.0


@pytest.mark.published("47 CFR 74.861(e)(5): operating bandwidth at most 200 kHz")
def test_us_licensed_uhf_is_200_khz_wide() -> None:
    assert most_mw("US", 571_125, "us-part-74", width_khz=201) == 0.0


@pytest.mark.published("47 CFR 74.802(c)(1), 15.236(f)(1): carriers n x 25 kHz from the edge of the band")
def test_us_raster() -> None:
    assert [most_mw("US", carrier_khz) for carrier_khz in (571_112, 571_125)] == [0.0, 50.0]


@pytest.mark.published("47 CFR 74.861(d)(1): 1 W conducted at 944-952 MHz")
def test_us_licensed_944() -> None:
    assert most_mw("US", 948_000, "us-part-74") == 1000.0


@pytest.mark.published("47 CFR 74.803(d): 1435-1525 MHz only as coordinated with flight test")
def test_us_flight_test_band_needs_coordination() -> None:
    assert most_mw("US", 1_480_000, "us-part-74") == 0.0


@pytest.mark.published("47 CFR 74.861(d)(1): 250 mW conducted at 1435-1525 MHz")
def test_us_flight_test_band_coordinated() -> None:
    assert most_mw("US", 1_480_000, "us-part-74-coordinated") == 250.0


@pytest.mark.published("47 CFR 15.249(a): 50 mV/m at 3 m at 902-928 MHz, P = E^2 d^2 / 30 = 0.75 mW EIRP")
def test_us_915_any_modulation() -> None:
    assert most_mw("US", 915_000) == pytest.approx(0.75)


@pytest.mark.published("47 CFR 74.802(b)(1), 73.619(c)(1): contours of 28, 36 and 41 dB(uV/m), 4 km outside them")
def test_us_protected_contours() -> None:
    protection = territory("US").tv_protection
    assert protection is not None
    told = [(one.first, one.last, one.field_dbuv_m) for one in protection.contour]
    assert told == [(2, 6, 28.0), (7, 13, 36.0), (14, 36, 41.0)]
    assert protection.extra_separation_km == 4.0


@pytest.mark.published("Ofcom IR 2038, channel 38 (as a page quotes it): 10 mW ERP hand-held at 606.5-613.5 MHz")
def test_gb_channel_38_handheld() -> None:
    assert most_mw("GB", 610_000, "gb-shared", gain_dbi=DIPOLE_DBI) == pytest.approx(10.0)


@pytest.mark.published("Ofcom IR 2038, channel 38 (as a page quotes it): 50 mW ERP body-worn")
def test_gb_channel_38_body_worn() -> None:
    worn = most_mw("GB", 610_000, "gb-shared", form="body-worn", gain_dbi=DIPOLE_DBI)
    assert worn == pytest.approx(50.0)


@pytest.mark.published("Ofcom IR 2038, channel 38 (as a page quotes it): a guard at each end, 606.5-613.5 MHz")
@pytest.mark.parametrize(
    ("carrier_khz", "is_allowed"), [(606_575, False), (606_600, True), (613_400, True), (613_425, False)]
)
def test_gb_channel_38_edges(carrier_khz: int, is_allowed: bool) -> None:
    assert (most_mw("GB", carrier_khz, "gb-shared") > 0.0) is is_allowed


@pytest.mark.published("Ofcom IR 2030 (as a page quotes it): carriers from 863.1 to 864.9 MHz, without a licence")
@pytest.mark.parametrize(
    ("carrier_khz", "is_allowed"), [(863_075, False), (863_100, True), (864_900, True), (864_925, False)]
)
def test_gb_863_carriers(carrier_khz: int, is_allowed: bool) -> None:
    assert (most_mw("GB", carrier_khz, width_khz=100) > 0.0) is is_allowed


@pytest.mark.published("Spain, CNAF UN-36: 50 mW ERP at 470-694 MHz, common use")
def test_es_uhf() -> None:
    assert most_mw("ES", 600_000, gain_dbi=DIPOLE_DBI) == pytest.approx(50.0)


@pytest.mark.published("Spain, CNAF UN-119: 20 mW EIRP, 50 mW EIRP body-worn at 1785-1805 MHz")
@pytest.mark.parametrize(("form", "expected_mw"), [("handheld", 20.0), ("body-worn", 50.0)])
def test_es_1800(form: str, expected_mw: float) -> None:
    assert most_mw("ES", 1_795_000, form=form) == expected_mw


@pytest.mark.published("Spain, CNAF UN-153: 694-790 MHz mobile since 31 October 2020")
def test_es_700_mhz_is_closed() -> None:
    assert [(one.from_khz, one.to_khz) for one in territory("ES").closed] == [(694_000, 790_000)]


@pytest.mark.published("BNetzA Vfg 34/2020 (as the press reported it): 470-608 and 614-694 MHz, 608-614 left out")
@pytest.mark.parametrize(("carrier_khz", "is_allowed"), [(607_000, True), (611_000, False), (615_000, True)])
def test_de_radio_astronomy_is_left_out(carrier_khz: int, is_allowed: bool) -> None:
    assert (most_mw("DE", carrier_khz, "de-general") > 0.0) is is_allowed


@pytest.mark.published("BNetzA Vfg 34/2020 (as the press reported it): valid to 31 December 2030")
def test_de_last_day() -> None:
    days = (datetime.date(2030, 12, 31), datetime.date(2031, 1, 1))
    assert [most_mw("DE", 600_000, "de-general", on=day) > 0.0 for day in days] == [True, False]


@pytest.mark.published("RSS-210 Issue 10 preface: 616-652 and 663-698 MHz removed")
def test_ca_600_mhz_is_closed() -> None:
    closed = [(one.from_khz, one.to_khz) for one in territory("CA").closed]
    assert closed == [(616_000, 652_000), (663_000, 698_000)]


@pytest.mark.published("ACMA wireless-audio page: 694-820 MHz closed since 1 January 2015")
def test_au_digital_dividend() -> None:
    (closed,) = territory("AU").closed
    assert (closed.from_khz, closed.to_khz, closed.since) == (694_000, 820_000, datetime.date(2015, 1, 1))


@pytest.mark.published("New Zealand, RSM radio-microphone decision page (2013): -10 dBW EIRP at 502-510 MHz")
def test_nz_502() -> None:
    assert most_mw("NZ", 506_000, "nz-general") == pytest.approx(100.0)


@pytest.mark.published("New Zealand, RSM page and Gazette: 698-806 MHz ended on 11 March 2015")
def test_nz_700_mhz() -> None:
    (closed,) = territory("NZ").closed
    assert (closed.from_khz, closed.to_khz, closed.since) == (698_000, 806_000, datetime.date(2015, 3, 11))


@pytest.mark.published("2014/641/EU: 1785-1805 MHz, 20 mW EIRP, body-worn 50 mW EIRP")
@pytest.mark.parametrize(("form", "expected_mw"), [("plug-on", 20.0), ("body-worn", 50.0)])
def test_cept_1800(form: str, expected_mw: float) -> None:
    assert most_mw("FR", 1_795_000, "fr-national", form=form) == expected_mw


@pytest.mark.published("EFIS report on ERC/REC 25-10 Annex 4, row A3: Y for France, L for Denmark")
@pytest.mark.parametrize(("region", "is_limited"), [("FR", False), ("DK", True)])
def test_cept_implementation_limited(region: str, is_limited: bool) -> None:
    row = next(row for row in territory(region).rows if row.table_row == "A3")
    assert any("limited" in condition for condition in row.conditions) is is_limited


@pytest.mark.published("EFIS report on ERC/REC 25-10 Annex 4, row A2: N for Norway")
def test_cept_implementation_not_available() -> None:
    assert [row.table_row for row in territory("NO").rows if row.table_row] == [
        "A3",
        "A4",
        "A5",
        "A5",
        "A6",
        "A9",
    ]


@pytest.mark.published("GRS 80 mean radius R1 6371.0088 km: a quarter of the circumference is R pi / 2")
def test_pole_to_equator() -> None:
    assert great_circle_km(90.0, 0.0, 0.0, 123.0) == pytest.approx(10_007.557, abs=0.001)


@pytest.mark.published(
    "47 CFR 74.709(a), 74.870(c)(4): New York on channels 14, 15, 16 (and 19), at 40.75 N 73.99375 W"
)
def test_us_land_mobile_new_york() -> None:
    found = hard_warnings(territory("US"), 40.75, -73.99375, [(470_000, 512_000)])
    near = {one.about for one in found if one.distance_km == 0.0}
    assert near == {f"land mobile on channel {n}, New York/NE NJ" for n in (14, 15, 16, 19)}


@pytest.mark.published("47 CFR 74.709(a): land mobile in 13 cities")
def test_us_land_mobile_cities() -> None:
    land_mobile = territory("US").land_mobile
    assert land_mobile is not None
    assert len({city.name for city in land_mobile.city}) == 13


@pytest.mark.published("47 CFR 15.712(h)(1): 2.4 km about 14 radio-astronomy sites")
def test_us_radio_astronomy_sites() -> None:
    radio_astronomy = territory("US").radio_astronomy
    assert radio_astronomy is not None
    assert (radio_astronomy.exclusion_km, len(radio_astronomy.site)) == (2.4, 14)


@pytest.mark.published("CEPT 863-865 MHz: 10 mW ERP, exempt (ERC/REC 70-03 Annex 10; Spain, CNAF UN-118)")
def test_cept_863() -> None:
    row = next(row for row in territory("FR").rows if row.table_row == "A6")
    assert most_conducted_mw(row, DIPOLE_DBI, "handheld") == pytest.approx(10.0)

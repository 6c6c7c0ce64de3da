"""TV channel edges, one a value, with the document they stand in."""

from __future__ import annotations

import pytest

from linkwright.rules import territory, tv_channel, tv_channels
from linkwright.shoot.errors import InputError


def edges_khz(region: str, number: str) -> tuple[int, int]:
    channel = tv_channel(territory(region), number)
    return channel.from_khz, channel.to_khz


@pytest.mark.published("47 CFR 73.603(a): channel 2 = 54-60 MHz")
def test_us_channel_2() -> None:
    assert edges_khz("US", "2") == (54_000, 60_000)


@pytest.mark.published("47 CFR 73.603(a): channel 5 = 76-82 MHz")
def test_us_channel_5() -> None:
    assert edges_khz("US", "5") == (76_000, 82_000)


@pytest.mark.published("47 CFR 73.603(a): channel 13 = 210-216 MHz")
def test_us_channel_13() -> None:
    assert edges_khz("US", "13") == (210_000, 216_000)


@pytest.mark.published("47 CFR 73.603(a): channel 14 = 470-476 MHz")
def test_us_channel_14() -> None:
    assert edges_khz("US", "14") == (470_000, 476_000)


@pytest.mark.published("47 CFR 73.603(a): channel 30 = 566-572 MHz")
def test_us_channel_30() -> None:
    assert edges_khz("US", "30") == (566_000, 572_000)


@pytest.mark.published("47 CFR 73.603(a): channel 36 = 602-608 MHz")
def test_us_channel_36() -> None:
    assert edges_khz("US", "36") == (602_000, 608_000)


@pytest.mark.published("common practice, no source: channels 22-25 are 518-542 MHz (edges by 47 CFR 73.603(a))")
def test_us_channels_22_to_25() -> None:
    assert (edges_khz("US", "22")[0], edges_khz("US", "25")[1]) == (518_000, 542_000)


@pytest.mark.published("47 CFR 73.603(c): channel 37 is no TV channel")
def test_us_channel_37_is_refused() -> None:
    with pytest.raises(InputError, match=r"channel 37 \(608-614 MHz\) is never TV"):
        tv_channel(territory("US"), "37")


@pytest.mark.published("47 CFR 73.603(a) as of 2024: channels 38-51 are TV no longer")
def test_us_channel_38_is_refused() -> None:
    with pytest.raises(InputError, match="14 to 36"):
        tv_channel(territory("US"), "38")


@pytest.mark.published("GE06: centre 474 + 8 (n - 21) MHz, channel 21 = 474 MHz")
@pytest.mark.parametrize("region", ["GB", "DE", "ES", "FR"])
def test_cept_channel_21(region: str) -> None:
    assert tv_channel(territory(region), "21").centre_khz == 474_000


@pytest.mark.published("GE06: centre 474 + 8 (n - 21) MHz, channel 48 = 690 MHz")
def test_cept_channel_48() -> None:
    assert tv_channel(territory("GB"), "48").centre_khz == 690_000


@pytest.mark.published("GE06: channel 27 = 518-526 MHz")
def test_cept_channel_27() -> None:
    assert edges_khz("GB", "27") == (518_000, 526_000)


@pytest.mark.published(
    "Australia: lower edge 526 + 7 (n - 28) MHz, channel 28 = 526 MHz (government paper, quoted)"
)
def test_au_channel_28() -> None:
    assert edges_khz("AU", "28") == (526_000, 533_000)


@pytest.mark.published(
    "Australia: lower edge 526 + 7 (n - 28) MHz, channel 51 = 687 MHz (government paper, quoted)"
)
def test_au_channel_51() -> None:
    assert edges_khz("AU", "51") == (687_000, 694_000)


@pytest.mark.published("Australia: channels 6-12 with 9A fill 174-230 MHz (from memory)")
def test_au_channel_12_after_9a() -> None:
    assert (edges_khz("AU", "9A"), edges_khz("AU", "12")) == ((202_000, 209_000), (223_000, 230_000))


@pytest.mark.published("ARIB STD-B31: channel 13 = 470-476 MHz")
def test_jp_channel_13() -> None:
    assert edges_khz("JP", "13") == (470_000, 476_000)


@pytest.mark.published("ARIB STD-B31: channel 52 = 704-710 MHz")
def test_jp_channel_52() -> None:
    assert edges_khz("JP", "52") == (704_000, 710_000)


@pytest.mark.published("47 CFR 73.603(a), 73.619(c): channels 2-36 without a gap in the numbers")
def test_us_has_35_channels() -> None:
    assert [channel.number for channel in tv_channels(territory("US"))] == [str(n) for n in range(2, 37)]

"""What is wrong with a shoot is told in a sentence: file, line, key, what was found, what was expected.

Each case changes one thing in data/quay.toml. The expected line is where the new text stands in the file (or the
table's header, where a key is missing or several keys together are wrong), counted here, not by the program.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from linkwright.shoot.errors import InputError, InputErrors
from linkwright.shoot.reading import MOST_BYTES, parse_shoot, read_shoot

QUAY = (Path(__file__).parent / "data" / "quay.toml").read_text("utf-8")


def refused(text: str, name: str = "quay.toml") -> InputError:
    with pytest.raises(InputError) as caught:
        parse_shoot(text, name)
    return caught.value


def sentences(text: str) -> list[str]:
    error = refused(text)
    return [str(one) for one in error.errors] if isinstance(error, InputErrors) else [str(error)]


def changed(old: str, new: str) -> str:
    assert QUAY.count(old) >= 1, f"{old!r} is not in the file"
    return QUAY.replace(old, new, 1)


#: (old text, new text, line that is named, sentence after file and line); one mistake, one sentence.
ONE_MISTAKE = [
    # [shoot]
    ('region = "GB"', "region = 3", 3, "shoot, region is 3; expected text in quotes"),
    (
        'region = "GB"',
        'region = "gb"',
        3,
        'shoot, region is "gb"; expected two capital letters (ISO 3166-1), such as "GB"',
    ),
    (
        'permits = ["gb-site-licence"]',
        'permits = "gb-site-licence"',
        4,
        'shoot, permits is "gb-site-licence"; expected a list in brackets [ ]',
    ),
    (
        "date = 2027-05-14",
        'date = "2027-05-14"',
        5,
        'shoot, date is "2027-05-14"; expected a date such as 2027-05-14, without quotes',
    ),
    (
        "date = 2027-05-14",
        "date = 2027-05-14T10:00:00",
        5,
        "shoot, date is 2027-05-14 10:00:00; expected a date such as 2027-05-14, without quotes",
    ),
    ("date = 2027-05-14", "date = 9999-12-31", 5, "shoot, date is 9999-12-31; expected 2199-12-31 or less"),
    ("date = 2027-05-14", "date = 0001-01-01", 5, "shoot, date is 0001-01-01; expected 2000-01-01 or more"),
    (
        "Europe/London",
        "Europe/Londn",
        6,
        'shoot, timezone is "Europe/Londn"; expected an IANA time zone such as "Europe/London"; '
        'did you mean "Europe/London"?',
    ),
    ("target = 0.999", "target = 1.5", 8, "shoot, target is 1.5; expected less than 1.0"),
    ("target = 0.999", "target = 0.5", 8, "shoot, target is 0.5; expected more than 0.99"),
    (
        "im3_two = 100",
        "im3_tow = 100",
        7,
        'shoot, guard_khz has an unknown key "im3_tow"; did you mean "im3_two"?',
    ),
    ("im3_two = 100", "im3_two = 100.5", 7, "shoot, guard_khz, im3_two is 100.5; expected a whole number"),
    ("im3_two = 100", "im3_two = -1", 7, "shoot, guard_khz, im3_two is -1; expected 0 or more"),
    ('"Harbour pilots, day 2"', '""', 2, 'shoot, title is ""; expected at least 1 character'),
    # [[site]]
    ("latitude = 49.9000", "latitude = 91", 12, 'site "Quay", latitude is 91; expected 90.0 or less'),
    ("latitude = 49.9000", "latitude = nan", 12, 'site "Quay", latitude is nan; expected a finite number'),
    (
        "longitude = -7.5000",
        "# gone",
        10,
        'site "Quay": latitude and longitude stand together or not at all',
    ),
    (
        '"street" ',
        '"streets" ',
        14,
        'site "Quay", surroundings is "streets"; expected "open", "street", "residential", "office" or "hall"; '
        'did you mean "street"?',
    ),
    ("x_m = 0,", "x_m = inf,", 16, 'site "Quay", spots "Camera", x_m is inf; expected a finite number'),
    ("x_m = 35,", 'x_m = "35",', 17, 'site "Quay", spots "Gangway", x_m is "35"; expected a number'),
    (
        'material = "brick"',
        'material = "bricks"',
        19,
        'site "Quay", walls 1, material is "bricks"; expected "plasterboard", "wood", "glass", "coated-glass", '
        '"brick", "concrete", "metal", "outer-wall" or "insulated-outer-wall"; did you mean "brick"?',
    ),
    ("from = [20, -5]", "from = [20]", 19, 'site "Quay", walls 1, from is [20]; expected at least 2 entries'),
    (
        "from = [20, -5]",
        "from = [20, -5, 0]",
        19,
        'site "Quay", walls 1, from is [20, -5, 0]; expected a list of at most 2',
    ),
    ('tv = ["21", ', "tv = [2.1, ", 20, 'site "Quay", tv 1 is 2.1; expected text in quotes'),
    # [transmitter.pocket]
    (
        '"body-worn" ',
        '"bodyworn" ',
        23,
        'transmitter, pocket, form is "bodyworn"; expected "body-worn", "plug-on", "handheld" or "mounted"; '
        'did you mean "body-worn"?',
    ),
    ("[[518.0, 542.0]]", "[]", 24, "transmitter, pocket, tunes_mhz is []; expected a list of at least 1"),
    (
        "[[518.0, 542.0]]",
        "[[542.0, 518.0]]",
        22,
        "transmitter, pocket: tunes_mhz runs from 542.0 down to 518.0; put the lower end first",
    ),
    (
        "[[518.0, 542.0]]",
        "[[518000, 542]]",
        24,
        "transmitter, pocket, tunes_mhz 1 1 is 518000; write MHz: 518",
    ),
    ("raster_khz = 25 ", "raster_khz = 0 ", 25, "transmitter, pocket, raster_khz is 0; expected 1 or more"),
    ("raster_khz = 25 ", "raster_khz = -25 ", 25, "transmitter, pocket, raster_khz is -25; expected 1 or more"),
    (
        "raster_khz = 25 ",
        'raster_khz = "25" ',
        25,
        'transmitter, pocket, raster_khz is "25"; expected a whole number',
    ),
    (
        "raster_khz = 25 ",
        "raster_khz = 99999999999999999999 ",
        25,
        "transmitter, pocket, raster_khz is 99999999999999999999; expected 1000000 or less",
    ),
    ("[5, 20, 40]", "[5, -10, 50]", 27, "transmitter, pocket, powers_mw 2 is -10; expected more than 0.0"),
    ("[5, 20, 40]", "[5, nan]", 27, "transmitter, pocket, powers_mw 2 is nan; expected a finite number"),
    ("[5, 20, 40]", "[5, 10, 10]", 22, "transmitter, pocket: powers_mw names a step twice; each step once"),
    ("[5, 20, 40]", "50", 27, "transmitter, pocket, powers_mw is 50; expected a list in brackets [ ]"),
    (
        '"lithium"',
        '"litium"',
        33,
        'transmitter, pocket, cells, chemistry is "litium"; expected "alkaline", "lithium", "nimh" or "li-ion"; '
        'did you mean "lithium"?',
    ),
    ("base = 550", "base = -550", 34, "transmitter, pocket, drain_mw, base is -550; expected 0.0 or more"),
    ("edge_khz", "egde_khz", 26, 'transmitter, pocket has an unknown key "egde_khz"; did you mean "edge_khz"?'),
    # [receiver.slot] and [microphone.lapel]
    ("branches = 2 ", "branches = 3 ", 39, "receiver, slot, branches is 3; expected 1 or 2"),
    (
        "noise_figure_db = 6",
        "noise_figure_db = inf",
        40,
        "receiver, slot, noise_figure_db is inf; expected a finite number",
    ),
    (
        "noise_figure_db = 6",
        'use = "uhf-camera-slo"',
        36,
        'receiver, slot: the catalogue has no receiver "uhf-camera-slo"; did you mean "uhf-camera-slot"?',
    ),
    ("phantom = false", "phantom = 0", 50, "microphone, lapel, phantom is 0; expected true or false"),
    (
        "sensitivity_mv_pa = 16",
        "sensitivity_mv_pa = -16",
        47,
        "microphone, lapel, sensitivity_mv_pa is -16; expected more than 0.0",
    ),
    # [[link]]
    (
        'transmitter = "pocket"',
        'transmitter = "poket"',
        54,
        'link "Pilot" names the unknown transmitter "poket"; did you mean "pocket"?',
    ),
    (
        'receiver = "slot"',
        'receiver = "xyzzy"',
        55,
        'link "Pilot" names the unknown receiver "xyzzy"; known are slot and the classes that '
        "`linkwright kit` lists",
    ),
    (
        'microphone = "lapel"',
        'microphone = "lapell"',
        56,
        'link "Pilot" names the unknown microphone "lapell"; did you mean "lapel"?',
    ),
    (
        'at = "Camera"',
        'at = "Camra"',
        57,
        'link "Pilot", at: there is no spot "Camra"; did you mean "Camera"?',
    ),
    (
        '["Gangway", "Camera"]',
        '["Gangway", "Lighthouse"]',
        58,
        'link "Pilot", route: there is no spot "Lighthouse"; known are Camera, Gangway',
    ),
    (
        'worn = "belt-back"',
        'worn = "belt"',
        59,
        'link "Pilot", worn is "belt"; expected "belt-front", "belt-back", "pocket", "hand", "open" or "mounted"; '
        'did you mean "belt-back"?',
    ),
    (
        'voice = "raised"',
        'voice = "whisper"',
        60,
        'link "Pilot", voice is "whisper"; expected "casual", "normal", "raised", "loud" or "shouted"',
    ),
    ("spares = 2", "spares = -1", 61, 'link "Pilot", spares is -1; expected 0 or more'),
    ("spares = 2", "spares = true", 61, 'link "Pilot", spares is true; expected a whole number'),
    ("spares = 2", "spare = 2", 61, 'link "Pilot" has an unknown key "spare"; did you mean "spares"?'),
    (
        "locked_mhz = 523.125",
        "locked_mhz = 523.1255",
        62,
        'link "Pilot", locked_mhz: 523.1255 MHz is not a whole number of kHz',
    ),
    (
        "locked_mhz = 523.125",
        "locked_mhz = 523125",
        62,
        'link "Pilot", locked_mhz is 523125; write MHz: 523.125',
    ),
    (
        "encrypted = true",
        'encrypted = "yes"',
        63,
        'link "Pilot", encrypted is "yes"; expected true or false',
    ),
    # [[other]]
    (
        "carrier_mhz = 606.3 ",
        "from_mhz = 606.3 ",
        65,
        'other "Stage intercom base": give either carrier_mhz, or from_mhz and to_mhz',
    ),
    (
        "carrier_mhz = 606.3 ",
        "carrier_mhz = 606.3\nto_mhz = 700.0 ",
        65,
        'other "Stage intercom base": give either carrier_mhz, or from_mhz and to_mhz',
    ),
    (
        "carrier_mhz = 606.3 ",
        "from_mhz = 606.3\nto_mhz = 600.0 ",
        65,
        'other "Stage intercom base": from_mhz 606.3 is not below to_mhz 600.0',
    ),
    (
        "radiated_mw = 100",
        "radiated_mw = 0",
        68,
        'other "Stage intercom base", radiated_mw is 0; expected more than 0.0',
    ),
    (
        'site = "Quay"\nat',
        'site = "Pier"\nat',
        70,
        'other "Stage intercom base" is on the unknown site "Pier"; known are Quay',
    ),
    (
        "from = 09:00:00 ",
        "# ",
        65,
        'other "Stage intercom base": from and to stand together or not at all',
    ),
    # [[call]]
    (
        "from = 08:30:00",
        "from = 11:30:00",
        75,
        'call "Arrival": the call ends at 10:15:00 and begins at 11:30:00; '
        "say next_day = true where it runs past midnight",
    ),
    (
        "from = 08:30:00",
        'from = "08:30"',
        78,
        'call "Arrival", from is "08:30"; expected a time such as 08:30:00, without quotes',
    ),
    ("from = 08:30:00\n", "", 75, 'call "Arrival": from and to stand together or not at all'),
    (
        'site = "Quay"\nfrom',
        'site = "Quai"\nfrom',
        77,
        'call "Arrival" is on the unknown site "Quai"; did you mean "Quay"?',
    ),
    (
        'links = ["Pilot"]',
        'links = ["Pilo"]',
        80,
        'call "Arrival" names the unknown link "Pilo"; did you mean "Pilot"?',
    ),
    (
        'links = ["Pilot"]',
        'links = ["Pilot", "Pilot"]',
        80,
        'call "Arrival", link "Pilot" stands twice; each name once',
    ),
    (
        "from = 09:20:00, to = 09:40:00",
        "from = 09:40:00, to = 09:20:00",
        81,
        'call "Arrival": a break ends at 09:20:00 and begins at 09:40:00',
    ),
    (
        "from = 09:20:00, to = 09:40:00",
        "from = 08:20:00, to = 09:40:00",
        81,
        'call "Arrival": the break 08:20:00 to 09:40:00 lies outside the call',
    ),
    (
        "from = 09:20:00, to = 09:40:00",
        "from = 09:20:00, to = 10:40:00",
        81,
        'call "Arrival": the break 09:20:00 to 10:40:00 lies outside the call',
    ),
    # whole tables
    ("[[link]]", "[[links]]", 52, 'the shoot has an unknown key "links"; did you mean "link"?'),
    ("[[link]]", "[link]", 52, "link is a table; there may be several: write [[link]]"),
    # TOML itself
    ("[shoot]", "[shoot", 1, "is not valid TOML: expected ']' at the end of a table declaration"),
    ("raster_khz = 25 ", "raster_khz = 25\nraster_khz = 25 ", 26, "is not valid TOML: cannot overwrite a value"),
    ("date = 2027-05-14", "date = 2027-02-30", 5, "is not valid TOML: invalid date or datetime"),
    ('"Harbour', '"Harb\x01our', 2, "is not valid TOML: illegal character '\\x01'"),
    ("[receiver.slot]", "[transmitter.pocket]", 36, "is not valid TOML: cannot declare"),
]


@pytest.mark.parametrize(("old", "new", "line", "says"), ONE_MISTAKE, ids=[new for _, new, _, _ in ONE_MISTAKE])
def test_one_mistake_is_one_sentence(old: str, new: str, line: int, says: str) -> None:
    said = sentences(changed(old, new))
    assert len(said) == 1
    assert said[0].startswith(f"quay.toml, line {line}: {says}")
    assert "\n" not in said[0]


def test_the_error_holds_its_parts() -> None:
    error = refused(changed("spares = 2", "spares = -1"))
    assert (error.path, error.line) == ("quay.toml", 61)
    assert error.says == 'link "Pilot", spares is -1; expected 0 or more'


def test_a_key_that_is_misspelt_is_unknown_and_missed() -> None:
    assert sentences(changed("title = ", "titel = ")) == [
        'quay.toml, line 1: shoot lacks "title"',
        'quay.toml, line 2: shoot has an unknown key "titel"; did you mean "title"?',
    ]


def test_a_unit_that_is_wrong_is_an_unknown_key() -> None:
    assert sentences(changed("raster_khz = 25 ", "raster_mhz = 0.125 ")) == [
        'quay.toml, line 22: transmitter, pocket lacks "raster_khz"',
        'quay.toml, line 25: transmitter, pocket has an unknown key "raster_mhz"; did you mean "raster_khz"?',
    ]


def test_an_unknown_key_like_no_other_gets_the_whole_list() -> None:
    (said,) = sentences(changed("voice = ", "zzz = "))
    assert said == (
        'quay.toml, line 60: link "Pilot" has an unknown key "zzz"; known are at, attenuation_db, '
        "block, breaks_per_hour, crew, crowd, does, encrypted, facing, heard_at, locked_mhz, locked_mw, "
        "low_cut_hz, microphone, mouth_m, name, power, receive, receiver, recorder, reserve_db, route, serves, "
        "set_at, set_delay_ms, set_mhz, spares, speed_m_s, stay_db, sure_wanted, transmit, transmitter, voice, "
        "voice_f0_hz, within_m, worn"
    )


def test_several_mistakes_are_told_at_once_in_the_order_of_the_models() -> None:
    text = QUAY.replace("spares = 2", "spares = -1").replace("raster_khz = 25 ", "raster_khz = 0 ")
    text = text.replace("branches = 2 ", "branches = 5 ")
    assert sentences(text) == [
        "quay.toml, line 25: transmitter, pocket, raster_khz is 0; expected 1 or more",
        "quay.toml, line 39: receiver, slot, branches is 5; expected 1 or 2",
        'quay.toml, line 61: link "Pilot", spares is -1; expected 0 or more',
    ]


def test_references_are_looked_at_all_together() -> None:
    text = QUAY.replace('at = "Camera"', 'at = "Kamera"').replace('links = ["Pilot"]', 'links = ["Pilots"]')
    assert sentences(text) == [
        'quay.toml, line 80: call "Arrival" names the unknown link "Pilots"; did you mean "Pilot"?',
        'quay.toml, line 57: link "Pilot", at: there is no spot "Kamera"; did you mean "Camera"?',
    ]


LINK = '\n[[link]]\nname = "{}"\ntransmitter = "pocket"\nreceiver = "slot"\n'


@pytest.mark.parametrize(
    ("extra", "says"),
    [
        (LINK.format("Pilot"), 'link "Pilot" stands twice; each name once'),
        ('\n[[site]]\nname = "Quay"\n', 'site "Quay" stands twice; each name once'),
        ('\n[[call]]\nname = "Arrival"\n', 'call "Arrival" stands twice; each name once'),
        (
            '\n[[other]]\nname = "Stage intercom base"\ncarrier_mhz = 610.0\nradiated_mw = 1\n'
            "at = { x_m = 0, y_m = 0 }\n",
            'other "Stage intercom base" stands twice; each name once',
        ),
    ],
)
def test_a_name_that_stands_twice(extra: str, says: str) -> None:
    text = QUAY + extra
    line = QUAY.count("\n") + 2
    assert sentences(text) == [f"quay.toml, line {line}: {says}"]


def test_a_spot_that_stands_twice() -> None:
    text = changed(
        '  { name = "Gangway", x_m = 35', '  { name = "Gangway", x_m = 0, y_m = 0 },\n{ name = "Gangway", x_m = 35'
    )
    (said,) = sentences(text)
    assert said.endswith('site "Quay", spot "Gangway" stands twice; each name once')


def test_a_break_in_a_call_without_times() -> None:
    text = QUAY + '\n[[call]]\nname = "Later"\nbreaks = [{ from = 09:20:00, to = 09:40:00 }]\n'
    assert sentences(text) == [
        f'quay.toml, line {QUAY.count(chr(10)) + 4}: call "Later" has a break but no from and to'
    ]


@pytest.mark.parametrize(
    ("pause", "is_inside"),
    [
        ("from = 22:30:00, to = 22:45:00", True),
        ("from = 23:45:00, to = 00:15:00", True),
        ("from = 01:00:00, to = 01:30:00", True),
        ("from = 21:30:00, to = 22:30:00", False),
        ("from = 01:30:00, to = 02:30:00", False),
        ("from = 12:00:00, to = 12:30:00", False),
    ],
)
def test_breaks_of_a_call_past_midnight(pause: str, is_inside: bool) -> None:
    text = QUAY + (
        f'\n[[call]]\nname = "Night"\nfrom = 22:00:00\nto = 02:00:00\nnext_day = true\nbreaks = [{{ {pause} }}]\n'
    )
    if is_inside:
        assert parse_shoot(text, "quay.toml").call[1].next_day
    else:
        assert 'call "Night"' in str(refused(text))


def test_no_link_at_all() -> None:
    text = '[shoot]\ntitle = "x"\nregion = "GB"\ndate = 2027-05-14\n'
    assert sentences(text) == ["quay.toml, line 1: the shoot has no link; expected at least one [[link]]"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", 'quay.toml: the shoot lacks "shoot"'),
        ("\n\n# nothing\n", 'quay.toml: the shoot lacks "shoot"'),
        ("shoot = 3\n", "quay.toml, line 1: shoot is 3; expected a table"),
        ("x", "quay.toml: is not valid TOML: expected '=' after a key in a key/value pair"),
        ("[[[[", "quay.toml, line 1: is not valid TOML"),
        ("a = " + "[" * 100_000, "quay.toml: is not TOML that can be read: nested too deep"),
        ("a = " + "{a = " * 100_000, "quay.toml: is not TOML that can be read: nested too deep"),
        (".".join("a" * 5_000) + " = 1", "quay.toml, line 1: has a key of more than 32 parts"),
        ("[" + ".".join("a" * 5_000) + "]", "quay.toml, line 1: has a key of more than 32 parts"),
        ("a = " + "9" * 10_000, "quay.toml: is not TOML that can be read"),
    ],
    ids=["empty", "comment", "no table", "word", "brackets", "lists", "tables", "dots", "header", "digits"],
)
def test_what_is_no_shoot_at_all(text: str, says: str) -> None:
    assert str(refused(text)).startswith(says)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "spares = 2",
            "spares = 0x",
            'line 61: link "Pilot", spares is a number of 40000 bits; expected 20 or less',
        ),
        ("x_m = 35", "x_m = 0x", 'line 17: site "Quay", spots "Gangway", x_m is a number of 40000 bits'),
        ("im3_two = 100", "im3_two = 0x", "line 7: shoot, guard_khz, im3_two is a number of 40000 bits"),
    ],
)
def test_a_hexadecimal_number_of_any_length(old: str, new: str, says: str) -> None:
    # 12 000 decimal digits: more than Python writes out.
    (said,) = sentences(changed(old, new + "f" * 10_000))
    assert said.startswith(f"quay.toml, {says}")


def test_ten_thousand_links_are_too_many_for_one_call() -> None:
    text = QUAY.split("[[call]]")[0] + "".join(LINK.format(f"link {n}") for n in range(10_000))
    assert sentences(text) == [
        "quay.toml, line 1: the shoot has 10001 links live at once; expected at most 1000: "
        "split it into calls and sites"
    ]


def test_thirty_thousand_links_are_too_many_for_a_shoot() -> None:
    text = QUAY + "".join(LINK.format(f"link {n}") for n in range(30_000))
    assert sentences(text) == ["quay.toml, line 52: link is a list; expected a list of at most 20000"]


CREW = '[[crew]]\nname = "Radio North"\n'


@pytest.mark.parametrize(
    ("crews", "kind", "says"),
    [
        (CREW, "link", 'link "Pilot" is of the unknown crew "Radio Noth"; did you mean "Radio North"?'),
        (CREW, "call", 'call "Arrival" is of the unknown crew "Radio Noth"; did you mean "Radio North"?'),
        ("", "link", 'link "Pilot" is of the unknown crew "Radio Noth"; the shoot has no [[crew]]'),
    ],
)
def test_a_crew_that_nobody_is(crews: str, kind: str, says: str) -> None:
    text = QUAY.replace(f"[[{kind}]]\n", f'[[{kind}]]\ncrew = "Radio Noth"\n', 1) + crews
    (said,) = sentences(text)
    assert said.endswith(says)


def test_a_crew_stands_once() -> None:
    assert 'crew "Radio North" stands twice' in sentences(QUAY + CREW + CREW)[0]


def test_thousands_of_unknown_names_do_not_take_long() -> None:
    # To look for the nearest of 20 000 names takes a third of a second; only those that are told are looked for.
    links = "".join(LINK.format(f"link {n}") for n in range(5_000))
    calls = "".join(f'[[call]]\nname = "call {n}"\nlinks = ["lnk {n}"]\n' for n in range(5_000))
    said = sentences(QUAY.split("[[call]]")[0] + links + calls)
    assert len(said) == 11
    assert 'did you mean "link ' in said[0]


def test_many_mistakes_are_cut_off() -> None:
    text = QUAY + "".join(LINK.format(f"link {n}") + "volume = 11\n" for n in range(500))
    said = sentences(text)
    assert len(said) == 11
    assert said[-1] == "quay.toml: and 490 more problems"


def test_what_is_quoted_stays_on_its_line_and_away_from_the_terminal() -> None:
    text = changed('name = "Pilot"', 'name = "Pi\\u001b[2Jlot\\nroot"').replace("spares = 2", "spares = -1")
    (said,) = [sentence for sentence in sentences(text) if "spares" in sentence]
    assert said.isprintable()


def test_what_is_quoted_is_cut() -> None:
    text = changed('name = "Pilot"', f'name = "{"x" * 100_000}"').replace("voice = ", f"{'k' * 100_000} = ")
    assert all(len(said) < 600 for said in sentences(text))


def test_a_line_of_blanks_in_a_text_does_not_take_long() -> None:
    # A header pattern that can split blanks in several ways takes hours for this one.
    text = changed("spares = 2", 'spares = -1\nvoice_ = """\n[' + " " * 100_000 + '\n"""')
    assert sentences(text)[0] == 'quay.toml, line 61: link "Pilot", spares is -1; expected 0 or more'


def test_lines_are_counted_as_toml_does() -> None:
    text = changed("# conducted", "# \u2028 \x85 conducted").replace("spares = 2", "spares = -1")
    assert sentences(text) == ['quay.toml, line 61: link "Pilot", spares is -1; expected 0 or more']


def test_a_list_entry_on_its_own_line_is_no_header() -> None:
    text = changed("[[518.0, 542.0]]", "[\n  [518.0, 542.0]\n]").replace("raster_khz = 25 ", "raster_khz = 0 ")
    assert sentences(text) == ["quay.toml, line 27: transmitter, pocket, raster_khz is 0; expected 1 or more"]


# Files.


def refused_file(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_shoot(path, "shoot.toml")
    return str(caught.value)


def test_a_byte_order_mark_is_accepted(tmp_path: Path) -> None:
    path = tmp_path / "shoot.toml"
    path.write_bytes(b"\xef\xbb\xbf" + QUAY.encode())
    assert read_shoot(path) == parse_shoot(QUAY, "quay.toml")


def test_windows_line_ends_are_accepted_and_counted(tmp_path: Path) -> None:
    path = tmp_path / "shoot.toml"
    path.write_bytes(QUAY.replace("\n", "\r\n").encode())
    assert read_shoot(path) == parse_shoot(QUAY, "quay.toml")
    path.write_bytes(QUAY.replace("spares = 2", "spares = -1").replace("\n", "\r\n").encode())
    assert refused_file(path) == 'shoot.toml, line 61: link "Pilot", spares is -1; expected 0 or more'


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (bytes(range(256)), "shoot.toml: is not UTF-8 text (byte 128); expected a text file"),
        (QUAY.encode("utf-16-le"), "shoot.toml, line 1: is not valid TOML"),
        (b"\x00" * 100, "shoot.toml, line 1: is not valid TOML: invalid statement"),
        (b"", 'shoot.toml: the shoot lacks "shoot"'),
        (b"# " + b"x" * MOST_BYTES, "shoot.toml: has more than 33554432 bytes; expected a text file"),
    ],
    ids=["binary", "utf-16 without a mark", "zeros", "empty", "32 MiB and more"],
)
def test_files_that_are_no_shoot(data: bytes, says: str, tmp_path: Path) -> None:
    path = tmp_path / "shoot.toml"
    path.write_bytes(data)
    assert refused_file(path).startswith(says)


def test_a_folder(tmp_path: Path) -> None:
    assert refused_file(tmp_path) == "shoot.toml: is a folder; expected a file"


def test_no_such_file(tmp_path: Path) -> None:
    assert refused_file(tmp_path / "none.toml") == "shoot.toml: there is no such file"


def test_a_file_as_a_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    assert refused_file(tmp_path / "file" / "shoot.toml") == "shoot.toml: cannot be read: Not a directory"


def test_a_name_that_no_file_can_have() -> None:
    assert refused_file(Path("a\0b")).startswith("shoot.toml: ")


def test_a_device_that_never_ends_is_left_in_time() -> None:
    endless = Path("/dev/zero")
    if not endless.exists():
        pytest.skip("this system has no endless device")
    assert "is a pipe or a device" in refused_file(endless)

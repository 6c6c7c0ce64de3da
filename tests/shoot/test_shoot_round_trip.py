"""What is written can be read again, and is the same; whatever is read, only InputError says no."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.shoot.shoots import documents, shoots

from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import parse_shoot, read_shoot
from linkwright.shoot.writing import write_shoot

QUAY = (Path(__file__).parent / "data" / "quay.toml").read_text("utf-8")


@settings(max_examples=80)
@given(shoots())
def test_what_is_written_is_read_again(shoot: Shoot) -> None:
    text = write_shoot(shoot)
    again = parse_shoot(text, "written.toml")
    assert again == shoot
    assert again.model_dump() == shoot.model_dump()
    assert write_shoot(again) == text


@settings(max_examples=40)
@given(documents())
def test_a_document_is_read_as_it_stands(document: dict[str, object]) -> None:
    """Every given value is found in the shoot, every number as it was."""
    shoot = parse_shoot(tomli_w.dumps(document), "drawn.toml")
    assert holds(document, shoot.model_dump(by_alias=True))


def holds(given_: object, found: object) -> bool:
    if isinstance(given_, dict) and isinstance(found, dict):
        return all(holds(value, found[key]) for key, value in given_.items())
    if isinstance(given_, list) and isinstance(found, tuple):
        return len(given_) == len(found) and all(holds(a, b) for a, b in zip(given_, found, strict=True))
    return given_ == found


def test_of_catalogue_equipment_only_what_differs_is_written() -> None:
    text = (
        '[shoot]\ntitle = "x"\nregion = "GB"\ndate = 2027-05-14\n'
        '[transmitter.mine]\nuse = "uhf-handheld"\nspacing_khz = 450\nbandwidth_khz = 200\n'
        '[[link]]\nname = "A"\ntransmitter = "mine"\nreceiver = "uhf-cart-rack"\n'
    )
    written = tomllib.loads(write_shoot(parse_shoot(text, "shoot.toml")))
    assert written["transmitter"] == {"mine": {"use": "uhf-handheld", "spacing_khz": 450}}


def test_the_example_of_the_contract_survives() -> None:
    shoot = parse_shoot(QUAY, "quay.toml")
    assert parse_shoot(write_shoot(shoot), "again.toml") == shoot


def only_input_errors(text: str) -> None:
    """Reading gives a shoot that can be written, or an InputError whose sentences are fit to print."""
    said = ""
    try:
        shoot = parse_shoot(text, "fuzz.toml")
    except InputError as error:
        said = str(error)
    else:
        assert parse_shoot(write_shoot(shoot), "again.toml") == shoot
    assert all(line.startswith("fuzz.toml") and line.isprintable() for line in said.splitlines())


@settings(max_examples=150)
@given(st.text(max_size=200))
def test_random_text(text: str) -> None:
    only_input_errors(text)


@settings(max_examples=100)
@given(st.binary(max_size=200))
def test_random_bytes(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.toml"
    path.write_bytes(data)
    with pytest.raises(InputError):
        read_shoot(path)


LINES = QUAY.splitlines()
VALUES = [
    "nan", "-inf", "-1", "0", "1e999", "9223372036854775808", "true", '""', '"\\u0000"', "[]", "[[]]", "{}",
    "{ x = 1 }", "2027-05-14", "23:59:60", "24:00:00", "0001-01-01", "9999-12-31", "2027-05-14T08:00:00Z",
    "[1, [2, [3]]]", '"Quay"', "0x" + "f" * 30, "1_000", '"""\n"""', "[nan]", "[{ }]", "-0.0", "5e-324", "1e308",
]  # fmt: skip


@st.composite
def mutations(draw: st.DrawFn) -> str:
    """The example with a few of its lines dropped, doubled, swapped, cut, or given another value."""
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        kind = draw(st.integers(0, 5))
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines.insert(draw(st.integers(0, len(lines))), lines[at])
        elif kind == 2:
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == 3:
            cut = draw(st.integers(0, len(lines[at])))
            lines[at] = lines[at][:cut] + draw(st.text(max_size=3)) + lines[at][cut + draw(st.integers(0, 3)) :]
        elif "=" in lines[at]:
            key = lines[at].partition("=")[0]
            lines[at] = f"{key}= {draw(st.sampled_from(VALUES))}"
        if not lines:
            break
    return "\n".join(lines)


@settings(max_examples=400)
@given(mutations())
def test_mutations_of_the_example(text: str) -> None:
    only_input_errors(text)


@pytest.mark.parametrize("value", VALUES)
def test_every_key_with_every_odd_value(value: str) -> None:
    for at, line in enumerate(LINES):
        key, equals, _ = line.partition("=")
        if equals and not line.startswith(" "):
            only_input_errors("\n".join([*LINES[:at], f"{key}= {value}", *LINES[at + 1 :]]))

"""A licence as it is typed in: read, judged in sentences, and a table of the page Shoot."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.plan.shoots import HEADER, links, pocket

from linkwright.desk.form.sections import field_at

LICENCE = """
[[permit]]
name = "Quay, May"
number = "1234567/1"
holder = "Harbour Pictures"
carriers_mhz = [518.0, 519.2]
max_mw = 50
power_reference = "erp"
place = [50.155, -5.045]
radius_m = 500
from = 2027-05-14
to = 2027-05-16T18:00:00+01:00
for = ["L1"]
document = "licence.pdf"
outranks = ["gb-coordinated-470-606"]
only = true
"""


def check(capsys: pytest.CaptureFixture[str], tmp_path: Path, permit: str) -> tuple[int, str]:
    path = tmp_path / "shoot.toml"
    path.write_text(HEADER + pocket() + links(2) + permit, "utf-8")
    said = call(capsys, "check", str(path))
    return said.status, said.err


def test_a_licence_is_read(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    status, said = check(capsys, tmp_path, LICENCE)
    assert (status, said) == (0, "")


@pytest.mark.parametrize(
    ("was", "given", "words"),
    [
        ('for = ["L1"]', 'for = ["L3"]', 'permit "Quay, May" is for the unknown link "L3"; known are L1, L2'),
        ("from = 2027-05-14", "from = 2027-05-17", "ends at 2027-05-16 18:00:00+01:00 and begins at 2027-05-17"),
        ("carriers_mhz = [518.0, 519.2]", "", "lists nothing; expected carriers_mhz or ranges_mhz"),
        ("carriers_mhz = [518.0, 519.2]", "ranges_mhz = [[520.0, 518.0]]", "which is no range upwards"),
        ("radius_m = 500", "", "place and radius_m stand together"),
        ('power_reference = "erp"', "", "max_mw and power_reference stand together"),
        ("518.0, 519.2", "518000.0", "write MHz: 518"),
        ('document = "licence.pdf"', f'document_sha256 = "{"0a" * 32}"', "document_sha256 stands without document"),
        ("gb-coordinated-470-606", "gb-cordinated-470-606", 'outranks "gb-cordinated-470-606"'),
        ("gb-coordinated-470-606", "gb-cordinated-470-606", 'did you mean "gb-coordinated-470-606"?'),
        ("only = true", "onyl = true", 'did you mean "only"?'),
    ],
)
def test_what_does_not_fit_is_one_sentence(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, was: str, given: str, words: str
) -> None:
    assert was in LICENCE
    status, said = check(capsys, tmp_path, LICENCE.replace(was, given))
    assert status == 2
    assert words in said


@pytest.mark.parametrize("key", ["name", "carriers_mhz", "ranges_mhz", "from", "to", "for", "outranks", "only"])
def test_the_page_has_a_field_for_it(key: str) -> None:
    assert field_at(("permit", "p1", key)) is not None

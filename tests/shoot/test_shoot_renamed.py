"""Keys of older files: read under their new name, and told."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.shoot.test_shoot_bad_input import QUAY

from linkwright.shoot.reading import parse_shoot

OLDER = QUAY.replace("[receiver.slot]", "power_save_mw = 300\n\n[receiver.slot]")


def test_an_older_name_is_read_and_the_new_one_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "older.toml"
    path.write_text(OLDER, "utf-8")
    told = call(capsys, "check", str(path))
    assert told.status == 0
    assert 'transmitter "pocket": power_save_mw is called resting_mw now and was read as that' in told.err
    assert parse_shoot(OLDER, "older.toml").transmitter["pocket"].resting_mw == 300


def test_todays_name_outranks_the_older_one() -> None:
    both = OLDER.replace("power_save_mw = 300", "power_save_mw = 300\nresting_mw = 200")
    with pytest.raises(Exception, match='unknown key "power_save_mw"'):
        parse_shoot(both, "both.toml")

"""Calling the command line from tests, in this process: what it printed and with which status it left."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from linkwright.cli import main


@dataclass(frozen=True)
class Said:
    """What a command printed and its exit status."""

    status: int
    out: str
    err: str


def call(capsys: pytest.CaptureFixture[str], *arguments: str) -> Said:
    """Run one command."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as left:
        main(arguments)
    printed = capsys.readouterr()
    return Said(int(left.value.code or 0), printed.out, printed.err)

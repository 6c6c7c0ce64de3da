"""Run the commands of README.md and docs/walk.md and put what they print into them; with --check compare instead.

A ```toml block after `<!-- file: NAME -->` is written to that file. A ```console block holds a command after `$ `
and then its output.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGES = ROOT / "README.md", ROOT / "docs" / "walk.md"
BLOCK = re.compile(
    r"<!-- file: (?P<name>\S+?) -->\n```toml\n(?P<toml>.*?)```"
    r"|```console\n\$ (?P<command>[^\n]*)\n(?P<output>.*?)```",
    re.DOTALL,
)


def refreshed(text: str, folder: Path) -> str:
    """The text with every console block as the command prints now, run in `folder`."""

    def replace(block: re.Match[str]) -> str:
        if block["name"]:
            (folder / block["name"]).write_text(block["toml"], encoding="utf-8")
            return block[0]
        return f"```console\n$ {block['command']}\n{run(block['command'], folder)}```"

    return BLOCK.sub(replace, text)


def run(command: str, folder: Path) -> str:
    """What a `linkwright ...` command prints."""
    program, *arguments = shlex.split(command)
    if program != "linkwright":
        raise SystemExit(f"a page runs {program}; expected linkwright")
    done = subprocess.run(
        [sys.executable, "-m", "linkwright.cli", *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "COLUMNS": "110"},
    )
    if done.returncode not in (0, 1):
        raise SystemExit(f"{command}: {done.stderr}")
    return "\n".join(line.rstrip() for line in done.stdout.splitlines()) + "\n"


def main() -> int:
    """Rewrite the pages; with --check, 1 where one is out of date."""
    old = 0
    for page in PAGES:
        text = page.read_text("utf-8")
        with tempfile.TemporaryDirectory() as folder:
            new = refreshed(text, Path(folder))
        if "--check" not in sys.argv[1:]:
            page.write_text(new, encoding="utf-8")
        elif new != text:
            print(f"{page.name} is out of date; run make table")
            old = 1
    return old


if __name__ == "__main__":
    sys.exit(main())

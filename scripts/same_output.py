"""What people see of forty shoots, a digest a thing: run before and after a change that must change nothing.

    PYTHONPATH=src:. python scripts/same_output.py before.txt

Commands as text and as JSON, papers byte for byte, pages as they are served; what is a time of day or how long it
took is left out.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[1]
COMMANDS: Final = (
    "plan shoot.toml -o plan.json",
    "plan shoot.toml --json",
    "check shoot.toml",
    "check shoot.toml --json",
    "why shoot.toml {link}",
    "reach shoot.toml",
    "reach shoot.toml --json",
    "day shoot.toml",
    "fit shoot.toml",
    "apply shoot.toml",
    "neighbours shoot.toml --export carriers.csv",
    "sheets shoot.toml -o papers",
    "simulate shoot.toml --seed 4 -o log.csv --truth truth.json",
    "diagnose log.csv --shoot shoot.toml",
    "diagnose log.csv --json",
)
PAGES: Final = (
    "shoot",
    "bag",
    "plan",
    "plan/body",
    "air",
    "ground",
    "day",
    "setup",
    "sound",
    "live",
    "wrap",
    "history",
)
#: How far a work is: as many lines as it had time for.
PROGRESS: Final = re.compile(r"^[a-z][^,\n]*, \d+ %\n", re.MULTILINE)
#: What differs from run to run: the clock, durations, digests, ports.
CLOCKED: Final = re.compile(
    r"data-now=\"[^<]*|\b\d+(\.\d+)? m?s\b|[0-9a-f]{16,64}|127\.0\.0\.1:\d+"
    r"|20\d\d-\d\d-\d\dT[\d:.]+(Z|\+00:00)|\b\d\d:\d\d:\d\d\b"
)


def shoots() -> Iterator[tuple[str, str]]:
    """Forty shoots, by name, as files."""
    from tests.plan.ends import gala_text
    from tests.plan.shoots import HEADER, QUAY, links, pocket
    from tests.plan.test_plan_products import random_shoot

    from linkwright.shoot.writing import write_shoot

    yield "demo", (ROOT / "src/linkwright/demo/shoot.toml").read_text("utf-8")
    yield "quay", QUAY.read_text("utf-8")
    yield "gala", gala_text("US")
    for count in (1, 12, 26):
        yield f"crowded {count}", HEADER + pocket("[[518.0, 526.0]]") + links(count, more="spares = 1")
    for seed in range(34):
        yield f"random {seed}", write_shoot(random_shoot(seed))


def printed(arguments: list[str]) -> str:
    """What a command prints, and its status."""
    from linkwright.cli import main

    out, err, status = io.StringIO(), io.StringIO(), None
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(arguments)
        except SystemExit as left:
            status = left.code
    return f"{status}\n{out.getvalue()}\n{err.getvalue()}"


def digest(content: str) -> str:
    """Its digest, without what differs from run to run."""
    return hashlib.sha256(CLOCKED.sub("#", PROGRESS.sub("", content)).encode()).hexdigest()[:24]


def of_commands() -> Iterator[tuple[str, str]]:
    """What the commands print and write of each shoot."""
    for name, text in shoots():
        with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
            Path("shoot.toml").write_text(text, "utf-8")
            Path("sweep.csv").write_bytes((ROOT / "src/linkwright/demo/sweep.csv").read_bytes())
            link = re.search(r'\[\[link\]\]\s*name = "([^"]+)"', text)
            for command in COMMANDS:
                given = [part.format(link=link[1] if link else "") for part in command.split()]
                yield f"{name}: {command}", digest(printed(given))
            for path in sorted(Path().rglob("*.*")):
                yield f"{name}: {path}", digest(path.read_bytes().decode("latin-1"))


def of_pages() -> Iterator[tuple[str, str]]:
    """The pages of the demo, as they are served."""
    from tests.web.conftest import client_of, demo_into, desk_of_client, wait_for_plan

    from linkwright.store import Store

    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "job.lwjob", create=True) as store:
        os.environ["XDG_DATA_HOME"] = folder
        demo_into(store)
        with client_of(store) as client:
            wait_for_plan(desk_of_client(client))
            for page in PAGES:
                answer = client.get(f"/{page}")
                yield f"page {page}", f"{answer.status_code} {digest(answer.text)}"


def run(target: Path) -> None:
    """Write a line a thing."""
    sys.path[:0] = [str(ROOT), str(ROOT / "src")]
    os.environ |= {"TZ": "UTC", "SOURCE_DATE_EPOCH": "1700000000"}
    with target.open("w", encoding="utf-8") as out:
        for things in (of_commands(), of_pages()):
            for name, value in things:
                out.write(f"{value}  {name}\n")


if __name__ == "__main__":
    run(Path(sys.argv[1]).absolute())

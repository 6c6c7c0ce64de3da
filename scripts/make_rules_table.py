"""Write the table of docs/rules.md: every row planned once with 1 W and 10 mW, outdoors and in."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Final

from linkwright.plan.chain import Scene, scene_of
from linkwright.plan.input_findings import rule_reason
from linkwright.plan.pipeline import make_plan
from linkwright.rules import Row, Territory, known_codes, territory
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import shoot_from

PAGE: Final = Path(__file__).resolve().parents[1] / "docs" / "rules.md"
BEGIN, END = "<!-- planned: made by `make table` -->", "<!-- planned: end -->"
ON: Final = datetime.date(2027, 5, 14)
#: The powers [mW] and surroundings, in the order of the columns.
ASKED: Final = (
    ("1 W", 1000.0, "street"),
    ("1 W", 1000.0, "hall"),
    ("10 mW", 10.0, "street"),
    ("10 mW", 10.0, "hall"),
)
#: What a reason says, and what the table says for it.
SHORT: Final = (
    (r"nothing above ([\d.e-]+ mW)", r"at most \1"),
    (r"is for indoors", "indoors only"),
    (r"first of all for (\w[\w ]*) use", r"\1 first"),
    (r"was open until (\S+?);", r"ended \1"),
    (r"cannot be decided", "too coarse"),
    (r"is open to (?:a |digital).*only", "other equipment"),
    (r"which is closed: .*outranks \"(\S+?)\"", r"closed by \1"),
    (r"which is closed", "closed"),
    (r"none of its carriers", "not its carriers"),
    (r"too narrow|too near to an edge", "too wide"),
)


def the_shoot(region: str, row: Row) -> Shoot:
    """A shoot that tunes just what a row covers: a link of each power on a site of each kind."""
    span = [[row.from_khz / 1000, row.to_khz / 1000]]
    width = min(200, row.bandwidth_khz or 200, (row.to_khz - row.from_khz) // 2)
    calls, sites, links, types = [], [], [], {}
    for n, (_, power_mw, surroundings) in enumerate(ASKED):
        types[f"T{n}"] = {
            "use": "uhf-body-worn", "form": "handheld", "tunes_mhz": span, "powers_mw": [power_mw], "edge_khz": 0,
            "antenna_gain_dbi": 0.0, "bandwidth_khz": width, "raster_khz": 5 if row.carriers_khz else 25,
        }  # fmt: skip
        sites.append({"name": f"S{n}", "surroundings": surroundings})
        links.append({"name": f"L{n}", "transmitter": f"T{n}", "receiver": "rack", "spares": 0})
        calls.append({"name": f"C{n}", "site": f"S{n}", "links": [f"L{n}"]})
    header = {"title": "row", "region": region, "date": ON, "permits": [row.permit] if row.permit else []}
    return shoot_from(
        {
            "shoot": header, "site": sites, "link": links, "call": calls, "transmitter": types,
            "receiver": {"rack": {"use": "uhf-cart-rack", "tunes_mhz": span}},
        }, "", row.id,
    )  # fmt: skip


def answers(one: Territory, row: Row) -> list[str]:
    """What the plan answers for a row, a cell a question."""
    shoot = the_shoot(one.code, row)
    plan, scene = make_plan(shoot, {}, effort=0.0), scene_of(shoot, {})
    cells = []
    for n, call in enumerate(plan.calls):
        khz = call.links[0].carrier_khz if call.links else _middle(row)
        cells.append(_cell(scene, n, khz, row, bool(call.links)))
    return cells


def _middle(row: Row) -> int:
    """A carrier that stands for the row: one of its own, else one a quarter from its lower edge."""
    quarter = (3 * row.from_khz + row.to_khz) // 4
    return row.carriers_khz[0] if row.carriers_khz else row.from_khz + (quarter - row.from_khz) // 25 * 25


def _cell(scene: Scene, n: int, khz: int, row: Row, placed: bool) -> str:
    live = scene.calls[n]
    says = rule_reason(scene, scene.chain(live.links[0], live.site), khz)
    if placed:
        by = re.search(r"row (\S+) \(", says)
        other = f", by {by.group(1)}" if by and by.group(1) != row.id else ""
        return f"yes{other}"
    for pattern, short in SHORT:
        found = re.search(pattern, says)
        if found:
            return found.expand(short)
    return says


def table() -> str:
    """The table as Markdown, rows by frequency; one country stands for those with CEPT's rows only."""
    lines = ["| row | MHz | 1 W outdoors | 1 W indoors | 10 mW outdoors | 10 mW indoors |", "| --- " * 6 + "|"]
    own = [code for code in known_codes() if not territory(code).about.startswith("CEPT's rows")]
    for code in [*own, "AT"]:
        one = territory(code)
        for row in sorted(one.rows, key=lambda row: (row.from_khz, row.to_khz, row.id)):
            cells = answers(one, row)
            span = f"{row.from_khz / 1000:g}-{row.to_khz / 1000:g}"
            lines.append(f"| `{row.id}` | {span} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


if __name__ == "__main__":
    text = PAGE.read_text("utf-8")
    before, _, rest = text.partition(BEGIN)
    PAGE.write_text(before + BEGIN + "\n\n" + table() + "\n\n" + END + rest.partition(END)[2], "utf-8")

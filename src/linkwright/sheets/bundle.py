"""All sheets of a shoot: files by their name, made in turn."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import quote

from linkwright.draw.coverage import reach_pages
from linkwright.draw.ink import in_black
from linkwright.draw.plan_score import drawn_plan
from linkwright.plan.chain import Scene
from linkwright.plan.coverage import reaching
from linkwright.plan.model import Plan
from linkwright.progress import Tell, quiet
from linkwright.sheets import content
from linkwright.sheets.application import application, application_csv
from linkwright.sheets.calendar import calendar_bytes
from linkwright.sheets.carriers import carriers_csv, carriers_json
from linkwright.sheets.codes import code_svg
from linkwright.sheets.pdf import Paper, Setter, preview, setting
from linkwright.sheets.tables import day_csv, links_csv
from linkwright.sheets.wrap import figures_csv, wrap_csv, wrap_sheet
from linkwright.shoot.errors import InputError
from linkwright.watch.figures.day_figures import WrapUp

#: What each file is, by its name; the pictures of sites come besides.
FILES: Final[dict[str, str]] = {
    "crew.pdf": "the crew sheet: links, carriers, spares, settings, cells, cautions",
    "cards.pdf": "a card for each link",
    "coordination.pdf": "for whoever coordinates carriers, or the regulator",
    "application.pdf": "what an application for a permit asks",
    "application.csv": "the same as a table",
    "if-it-breaks-up.pdf": "what to do, with the spares in order",
    "links.csv": "every link's settings",
    "day.csv": "calls, breaks, changes of cells",
    "day.ics": "the day as a calendar",
    "carriers.csv": "our carriers, for other crews",
    "carriers.json": "the same as JSON",
}
#: What comes besides where there is something to wrap up.
WRAP_FILES: Final[dict[str, str]] = {
    "wrap.pdf": "the wrap report: what failed, why, what was done, what was learnt",
    "wrap.csv": "the time line as a table",
    "wrap-links.csv": "every link's statistics of the day",
}
#: Who asks for what: each reader's files in the order in which they help; pictures of sites by their kind.
READERS: Final[tuple[tuple[str, tuple[str, ...]], ...]] = (
    ("The crew", ("crew.pdf", "if-it-breaks-up.pdf", "links.csv", "day.csv", "day.ics")),
    ("Whoever sets or wears a pack", ("cards.pdf",)),
    ("Whoever places antennas", ("ground", "score")),
    ("Other crews, and whoever coordinates carriers", ("coordination.pdf", "carriers.csv", "carriers.json")),
    ("The regulator", ("application.pdf", "application.csv")),
    ("Production, after the day", tuple(WRAP_FILES)),
)
#: How tall a score is at least, so that it fills a page that is wider than tall [px].
SCORE_TALL_PX: Final = 720.0
Maker = Callable[[], bytes]


@dataclass(frozen=True)
class Sheets:
    """What sheets are made from. `address` is where the pages are, for the codes on the cards; none: no codes.
    `wrap` is what happened, once there is something to tell."""

    scene: Scene
    plan: Plan
    paper: Paper = "a4"
    address: str | None = None
    wrap: WrapUp | None = None

    def made(self, tell: Tell = quiet, only: frozenset[str] | None = None) -> Iterator[tuple[str, bytes]]:
        """Every file with its bytes, as they are made; `only` some. Raises InputError for a name that is none."""
        head = content.header(self.scene.shoot, self.paper)
        with setting(head) as set_one:
            makers = self._makers(set_one)
            unknown = sorted((only or frozenset()) - set(makers))
            if unknown:
                raise InputError(f"there is no sheet {unknown[0]}; expected one of {', '.join(makers)}")
            wanted = [name for name in makers if only is None or name in only]
            for n, name in enumerate(wanted):
                tell(name, n / len(wanted))
                yield name, makers[name]()

    def names(self) -> list[str]:
        """The names of all files."""
        pictures = (f"{kind}-{n}.pdf" for n, _ in self._sites() for kind in ("score", "ground"))
        return [*FILES, *pictures, *(WRAP_FILES if self.wrap is not None else ())]

    def about(self, name: str) -> str:
        """What a file is."""
        if name in FILES or name in WRAP_FILES:
            return {**FILES, **WRAP_FILES}[name]
        kind, _, n = name.removesuffix(".pdf").partition("-")
        site = next((site for number, site in self._sites() if str(number) == n), "")
        return f"the {kind} of {site}"

    def by_reader(self) -> list[tuple[str, list[str]]]:
        """The names of all files by who asks for them."""
        names = self.names()
        papers = [
            (reader, [name for kind in kinds for name in names if name == kind or name.startswith(f"{kind}-")])
            for reader, kinds in READERS
        ]
        return [(reader, files) for reader, files in papers if files]

    def previewed(self, name: str) -> bytes:
        """The first page of a PDF as SVG. Raises InputError for a name that has none."""
        made: dict[str, tuple[str, dict[str, Any]]] = {}

        def keep(template: str, sheet: dict[str, Any]) -> bytes:
            made[name] = template, sheet
            return b""

        makers = self._makers(keep)
        if name not in makers or not name.endswith(".pdf"):
            raise InputError(f"there is no sheet {name[:80]} to look at")
        makers[name]()
        return preview(content.header(self.scene.shoot, self.paper), *made[name])

    def _sites(self) -> list[tuple[int, str]]:
        return [(n + 1, site.name) for n, site in enumerate(self.scene.used_sites)]

    def _makers(self, set_one: Setter) -> dict[str, Maker]:
        shoot, plan = self.scene.shoot, self.plan
        makers: dict[str, Maker] = {
            "crew.pdf": lambda: set_one("crew", content.crew(shoot, plan)),
            "cards.pdf": lambda: set_one("cards", content.cards(shoot, plan, self._codes())),
            "coordination.pdf": lambda: set_one("coordination", content.coordination(shoot, plan)),
            "application.pdf": lambda: set_one("application", application(self.scene, plan)),
            "application.csv": lambda: application_csv(self.scene, plan).encode(),
            "if-it-breaks-up.pdf": lambda: set_one("contingency", content.contingency(shoot, plan)),
            "links.csv": lambda: links_csv(shoot, plan).encode(),
            "day.csv": lambda: day_csv(shoot, plan).encode(),
            "day.ics": lambda: calendar_bytes(shoot, plan),
            "carriers.csv": lambda: carriers_csv(shoot, plan).encode(),
            "carriers.json": lambda: carriers_json(shoot, plan).encode(),
        }
        for n, site in self._sites():
            makers[f"score-{n}.pdf"] = lambda site=site: self._score(set_one, site)  # type: ignore[misc]
            makers[f"ground-{n}.pdf"] = lambda site=site: self._ground(set_one, site)  # type: ignore[misc]
        wrap = self.wrap
        if wrap is not None:
            makers["wrap.pdf"] = lambda: set_one("wrap", {**wrap_sheet(wrap), "svg": in_black(wrap.svg)})
            makers["wrap.csv"] = lambda: wrap_csv(wrap).encode()
            makers["wrap-links.csv"] = lambda: figures_csv(wrap).encode()
        return makers

    def _codes(self) -> dict[str, str]:
        if self.address is None:
            return {}
        base = self.address.rstrip("/")
        return {
            link.name: code_svg(f"{base}/setup?link={quote(link.name, safe='')}") for link in self.scene.shoot.link
        }

    def _score(self, set_one: Setter, site: str) -> bytes:
        svg = on_page(drawn_plan(self.scene, self.plan, site, SCORE_TALL_PX))
        alt = f"Lanes over frequency at {site}: measured, allowed, TV, others, and our carriers with their spares"
        return set_one("picture", {"name": f"The score of {site}", "pictures": [svg], "alt": alt})

    def _ground(self, set_one: Setter, site: str) -> bytes:
        ways = [way for call in self.plan.calls if call.site == site for way in reaching(self.scene, call)]
        alt = (
            f"The ground of {site} in metres, north up, with routes, antennas and what the weakest link has in hand"
        )
        pictures = [on_page(svg) for svg in reach_pages(self.scene.shoot, ways)]
        return set_one("picture", {"name": f"The ground of {site}", "pictures": pictures, "alt": alt})


def on_page(svg: str) -> str:
    """A drawing in black, without the margins that a page has of its own."""

    def inside(match: re.Match[str]) -> str:
        wide, tall = float(match[1]) - 2 * EDGE_PX, float(match[2]) - 2 * EDGE_PX
        return f'viewBox="{EDGE_PX:g} {EDGE_PX:g} {wide:g} {tall:g}"'

    whole = re.sub(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', inside, in_black(svg), count=1)
    return re.sub(r'(<svg[^>]*?) width="[^"]*"( height="[^"]*")?', r"\1", whole, count=1)


#: Margins of a drawing that are left away on a page [px].
EDGE_PX: Final = 18.0

"""Every task of docs/pages.md by the keyboard alone, as somebody who hears the page would do it.

Each stop of Tab has a role, a name and a visible outline; a control is found by what a screen reader says of it
(the browser's accessibility tree), never by where it stands.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from tests.web.conftest import Served, served, wait_for_plan
from tests.web.test_live_api import eventually
from tests.web.test_pages_by_hand import SWEEP

ROOT: Final = Path(__file__).parents[2]
MOST_STOPS: Final = 120
#: Whether what is focused can be seen to be: it, or the label or group that shows it.
OUTLINED: Final = """() => {
  const at = document.activeElement, style = one => getComputedStyle(one);
  const shown = one => one && style(one).outlineStyle !== "none" && parseFloat(style(one).outlineWidth) > 0;
  const drawn = [...at.querySelectorAll(".hit, .sign")].some(one => parseFloat(style(one).strokeWidth) >= 4);
  if (at === document.body) return true;  // what was focused ended: the next Tab goes on from where it was
  return shown(at) || shown(at.closest("label")) || shown(at.parentElement) || drawn;
}"""


class Keys:
    """Somebody at the keyboard, with what a screen reader would say."""

    def __init__(self, page: Any, url: str) -> None:
        self.page, self.url = page, url
        self.tree = page.context.new_cdp_session(page)

    def opens(self, path: str) -> None:
        self.page.goto(self.url + path)
        self.page.locator("main h1, #answer").first.wait_for()

    def says(self) -> tuple[str, str]:
        """The role and the name of what is focused."""
        self.page.wait_for_function("document.activeElement")
        focused = self.tree.send("Runtime.evaluate", {"expression": "document.activeElement"})["result"]
        asked = {"objectId": focused["objectId"], "fetchRelatives": False}
        node = self.tree.send("Accessibility.getPartialAXTree", asked)["nodes"][0]
        return node.get("role", {}).get("value", ""), node.get("name", {}).get("value", "")

    def to(self, name: str) -> None:
        """Go on to what is called so (a pattern for its begin)."""
        heard: list[str] = []
        role, said = self.says()
        for _ in range(MOST_STOPS):
            if re.match(name, said) and role != "RootWebArea" and self.says() == (role, said):  # and stays there
                return
            self.page.keyboard.press("Tab")
            role, said = self.says()
            heard.append(said)
            if role not in {"RootWebArea", "none", "dialog"}:  # beyond the last stop
                assert said, f"a {role} without a name after {heard[-3:]}"
                self.page.wait_for_function(OUTLINED)  # that it has the focus can be seen
        raise AssertionError(f"no {name!r} among {heard}")

    def presses(self, name: str, key: str = "Enter") -> None:
        self.to(name)
        self.page.keyboard.press(key)

    def key(self, *keys: str) -> None:
        for one in keys:
            self.page.keyboard.press(one)

    def types(self, name: str, text: str, done: str = "") -> None:
        self.to(name)
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(text)
        if done:
            self.page.keyboard.press(done)

    def picks(self, name: str, text: str) -> None:
        """Choose of a list, by the first letter as often as it takes."""
        self.to(name)
        for _ in range(12):
            self.page.keyboard.press(text[0])
            if self.page.evaluate("document.activeElement.selectedOptions[0].text") == text:
                return
        raise AssertionError(f"{name} does not offer {text}")

    def chooses(self, name: str, *files: dict[str, Any]) -> None:
        """Open files: the browser's own dialog is no page; on a busy machine it may not come at first."""
        chosen: list[Any] = []
        self.page.on("filechooser", lambda one: chosen.append(one))
        self.to(name)
        for _ in range(100):
            self.page.keyboard.press("Space")
            self.page.wait_for_timeout(300)
            if chosen:
                break
        chosen[0].set_files(list(files))

    def shows(self, selector: str, *texts: str) -> None:
        from playwright.sync_api import expect

        for text in texts:
            expect(self.page.locator(selector).first).to_contain_text(text)

    def told(self, text: str) -> None:
        """The status line says it, where a screen reader hears it."""
        self.shows("#status", text)


def a_file(name: str, text: str, kind: str = "text/csv") -> dict[str, Any]:
    return {"name": name, "mimeType": kind, "buffer": text.encode()}


def begin(by: Keys) -> None:
    by.opens("/shoot")
    by.types("The place's name", "Quay")
    by.picks("Whose rules apply", "United Kingdom")
    by.presses("I hold: coordinated licence", "Space")
    by.types("Names, one a line", "Pilot\nCrane\nBoom")
    by.presses("Plan it")
    by.shows("#beneath", "All three links hold")


def bag(by: Keys) -> None:
    by.opens("/bag")
    by.picks("What is it", "body-worn, 470-694 MHz")
    by.types("Your name for it", "spare pack")
    by.presses("Put it in")
    by.told("spare pack")


def same_people(by: Keys) -> None:
    by.opens("/shoot")
    by.presses("Same people, new place")
    by.types("The place's name", "Weir")
    by.shows("#questions", "With what?")
    assert by.page.locator("[name=who]").input_value().startswith("Presenter")


def say_more(by: Keys) -> None:
    by.opens("/shoot")
    by.presses("Salter")
    by.presses("Add a contact")
    by.page.wait_for_timeout(1500)
    by.page.keyboard.type("Lockkeeper")
    by.key("Tab")
    by.shows("main", "Lockkeeper")


def batteries(by: Keys) -> None:
    by.opens("/day")
    by.to("Break in Raking")
    by.key("ArrowRight")
    by.told("Raking")
    by.presses("Changed now: Salter")
    by.told("Salter")


def clean(by: Keys) -> None:
    by.opens("/air")
    by.shows("#answer", "carrier")
    by.chooses("Open a sweep file", a_file("noon.csv", SWEEP))
    by.shows("#uploads", "columns")
    by.opens("/air")
    by.to("Lanes over frequency")
    by.key("ArrowRight", "+", "ArrowLeft")
    by.shows("#score-readout, .pinned", "MHz")


def comes_up(by: Keys) -> None:
    """Two passes of a live sweep, as a program sends them; then the buttons of what is shown."""
    rows = "".join(f"{566 + n * 0.025:.3f},{-100 + (n * 7) % 3}\n" for n in range(961))
    for _ in range(3):
        sent = by.page.request.post(
            f"{by.url}/log/sweeps", data={"rows": rows, "source": "cart"}, headers={"origin": by.url}
        )
        assert sent.ok, sent.text()
    by.opens("/air")
    by.presses("Highest", "Space")
    by.presses("Over time", "Space")
    by.presses("Now", "Space")
    assert by.page.get_by_role("button", name="Now").get_attribute("aria-pressed") == "true"


def give(by: Keys) -> None:
    by.opens("/air")
    by.types("What is at this frequency", "590.500")
    by.picks("for which link", "Raker")
    by.presses("Ask")
    by.shows("#why", "What it does to everybody")
    by.presses("Move Raker to 590.500")
    by.told("590.500")


def another_crew(by: Keys) -> None:
    by.opens("/air")
    theirs = "carrier_mhz,bandwidth_khz,eirp_mw\n578.500,200,50\n"
    by.chooses("Open another crew's list", a_file("theirs.csv", theirs))
    by.shows("main", "theirs.csv")


def reach(by: Keys) -> None:
    by.opens("/ground?site=Pans")
    by.to("Far bank")
    by.key("ArrowRight", "ArrowUp")
    by.shows("#beside", "Far bank: 64.5 m east")
    by.presses("Map of what is in hand", "Space")
    by.shows("#ground", "dB and more")
    by.presses("Place a spot", "Space")
    by.page.keyboard.press("Shift+Tab")
    while not by.says()[1].startswith("The site in metres"):
        by.page.keyboard.press("Shift+Tab")
    by.key("ArrowRight", "Shift+ArrowDown", "Enter")
    by.types("This spot is called", "Gate", "Enter")
    by.told("Gate")
    by.presses("Play the walk", "Space")
    by.shows("#beside", "on the way")


def measured(by: Keys) -> None:
    by.opens("/ground?site=Pans")
    by.presses("Far bank")
    by.shows("#readout", "A level read here can be typed below")
    by.types("Level, dBm", "-61.5", "Enter")
    by.shows("#levels", "Far bank")


def weakest(by: Keys) -> None:
    by.opens("/plan")
    by.to("Presenter.* MHz")
    assert re.search(r"spare|no spare", by.says()[1])
    assert re.search(r"dB in hand|short by", by.says()[1])
    assert re.search(r"holds|thin|fails", by.says()[1])


def why_thin(by: Keys) -> None:
    by.opens("/plan")
    by.presses("Salter.* MHz")
    by.shows("details.link[open]", "dB")
    by.presses("Every contribution")
    by.shows("details.link[open] table", "Evidence")


def move(by: Keys) -> None:
    by.opens("/plan")
    by.presses("Boom.* MHz")
    by.presses("What would")
    by.presses("Move Boom to")
    by.told("Boom")


def keep_carrier(by: Keys) -> None:
    by.opens("/plan")
    by.presses("Presenter.* MHz")
    by.presses("Lock Presenter here")
    by.told("Presenter")


def compare(by: Keys) -> None:
    by.opens("/plan")
    by.presses("Keep for comparison")
    by.told("Kept")


def sheets(by: Keys) -> None:
    by.opens("/sheets")
    with by.page.expect_download() as got:
        by.presses("crew.pdf")
    assert got.value.suggested_filename.endswith(".pdf")


def set_packs(by: Keys) -> None:
    by.opens("/setup")
    left = by.page.locator(".people .left").first.inner_text()
    by.presses("Done")
    by.page.wait_for_function("was => document.querySelector('.people .left').innerText !== was", arg=left)
    eventually(lambda: by.says()[1] == "Done")  # the next step's tick is under the finger
    by.presses("All steps of")


def sound(by: Keys) -> None:
    by.opens("/sound")
    by.presses("Chain of Salter")
    by.shows("main", "dBFS")


def day(by: Keys) -> None:
    by.opens("/live")
    by.presses("Take 1")
    by.told("Take 1")
    by.presses("Note")
    by.types("Note", "slate is late", "Enter")
    by.presses("Log")
    by.shows("#happened", "slate is late")


def breaks_up(by: Keys) -> None:
    by.opens("/live")
    by.presses("Salter: what is wrong")
    by.to("not tried")
    by.key("ArrowDown")
    assert by.says()[1] == "yes, somebody is there"
    by.presses("What to do")
    by.shows(".strip", "Somebody else on the carrier")
    by.presses("Which spare is good now")
    by.presses("Move Salter to")
    by.presses("Both ends, sounds clean")
    by.presses("I listened: it is free")
    by.presses("Log")
    by.shows("#happened", "sounds clean")


def cells(by: Keys) -> None:
    by.opens("/live")
    by.presses("Raker: what is wrong")
    by.presses("Its cells were changed now")
    by.presses("Log")
    by.shows("#happened", "cells")


def happened(by: Keys) -> None:
    by.opens("/wrap")
    by.to("Time line; arrow keys")
    by.key("+", "ArrowLeft", "Home")
    by.presses("Done and noted")
    by.shows("main", "noted")


def history(by: Keys) -> None:
    by.opens("/history")
    by.presses("Take back: ")
    by.told("Taken back")


def telephone(by: Keys) -> None:
    by.opens("/connect")
    by.types("Called", "boom operator")
    by.presses("Make a code|Make a key")
    by.shows("#code, #key", "")


def give_crews(by: Keys) -> None:
    by.opens("/crews")
    by.types("Name", "Harbour")
    by.types("Who answers for it", "Ines Dahl", "Enter")
    by.told("Harbour is a crew of this job")
    by.shows("#body", "Ines Dahl")
    by.types("What they are to know", "quiet from noon", "Enter")
    by.told("Told to everybody")


def at_a_glance(by: Keys) -> None:
    by.opens("/crews")
    by.presses("The event in pictures")
    by.shows("#answer", "carriers:")
    by.to(r"[\d.]+ MHz, .*; planned")
    first = by.says()[1]
    by.key("ArrowDown")
    assert re.match(r"[\d.]+ MHz", by.says()[1])
    assert by.says()[1] != first
    by.shows(".pinned", by.says()[1])
    by.presses(r".*: \d+ links?, ")
    by.shows("#h-band", "Carriers at")


def in_the_way(by: Keys) -> None:
    by.opens("/crews")
    by.presses("Who is in the way")
    by.to("Whose link")
    by.key("ArrowDown")
    by.types("What is the matter", "breaks up", "Enter")
    by.told("Begun: ")
    by.shows(".hunt", "Who it may be")
    by.opens("/crews/hunts")  # from the top again
    by.presses("Tell more of what was found out")
    by.types("Level, dBm", "-82", "Enter")
    by.told("Read: ")
    by.shows(".hunt", "read at Pans: −82 dBm")
    by.presses("Take back what was found out last")
    by.told("Taken back: ")
    by.types("What it was", "a loose plug", "Enter")
    by.told("Closed: ")


#: What is done for each row of the table in docs/pages.md.
TASKS: Final[dict[str, Callable[[Keys], None]]] = {
    "begin a shoot": begin,
    "keep what you own for every shoot": bag,
    "the same people at a new place": same_people,
    "say more: spots, walls, breaks, equipment, others, licences, contacts": say_more,
    "know whether the batteries and the schedule hold": batteries,
    "know whether my carriers are clean here": clean,
    "see who comes up on the air while we shoot": comes_up,
    "give a link a carrier that is clean here": give,
    "fit another crew in": another_crew,
    "know whether it will reach, and where the cart must stand": reach,
    "take a level that a receiver shows as measured": measured,
    "see who is on what, and which link is the weakest": weakest,
    "know why a link is thin": why_thin,
    "give other crews carriers": give_crews,
    "see a whole event at a glance": at_a_glance,
    "find who is in the way at an event": in_the_way,
    "move a link: somebody is on my carrier": move,
    "keep a carrier": keep_carrier,
    "compare with another plan": compare,
    "give everybody a sheet": sheets,
    "set the packs, one value at a time": set_packs,
    "set gain, low cut and delay; hear a test recording": sound,
    "watch the day": day,
    "a link breaks up and no readings come": breaks_up,
    "cells will not last to the break": cells,
    "know what happened at 14:32": happened,
    "know who changed what": history,
    "let a telephone in": telephone,
}


def rows() -> list[str]:
    """The tasks of docs/pages.md."""
    text = (ROOT / "docs" / "pages.md").read_text("utf-8")
    return [row[1] for row in re.finditer(r"^\| ([^|]+?) \|", text.split("## How it works")[0], re.M)][2:]


def test_every_task_of_the_docs_is_done_here() -> None:
    assert rows() == list(TASKS)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("job") / "job.lwjob", with_demo=True) as pages:
        wait_for_plan(pages.desk)
        yield pages


@pytest.mark.parametrize("task", list(TASKS), ids=lambda task: TASKS[task].__name__)
def test_by_keys_alone(
    task: str, job: Served, browser: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    does = TASKS[task]
    if does in {begin, history}:  # what they do, or take back, is the whole shoot
        with served(tmp_path / "job.lwjob", with_demo=does is history) as own:
            does(Keys(page, own.url))
            page.goto("about:blank")
    else:
        does(Keys(page, job.url))
    context.close()


def test_what_is_drawn_anew_keeps_the_focus(job: Served, browser: Any) -> None:
    page = browser.new_page()
    by = Keys(page, job.url)
    by.opens("/plan")
    by.to("Plan again")
    with page.expect_response("**/plan/body*"):
        page.evaluate("document.body.dispatchEvent(new CustomEvent('lw:plan', {detail: {}}))")
    page.wait_for_timeout(200)
    assert by.says() == ("button", "Plan again")
    page.close()


def test_a_row_keeps_the_focus_though_its_numbers_change(job: Served, browser: Any) -> None:
    """A plan that comes between two keys: the second is not lost because the row says another level now."""
    page = browser.new_page()
    by = Keys(page, job.url)
    by.opens("/plan")
    by.to("Presenter.* MHz")
    page.route("**/plan/body*", lambda route: route.fulfill(body=route.fetch().text().replace("dB in hand", "dB")))
    with page.expect_response("**/plan/body*"):
        page.evaluate("document.body.dispatchEvent(new CustomEvent('lw:plan', {detail: {}}))")
    page.locator("#body summary", has_text=re.compile("Presenter(?!.*in hand)")).first.wait_for()
    by.key("Enter")
    page.locator("details.link[open]", has_text="Presenter").wait_for()
    page.close()


def test_what_is_pressed_while_it_is_drawn_anew_is_done(job: Served, browser: Any) -> None:
    """A part that comes anew between the press and the lift of a finger: the press is not lost."""
    page = browser.new_page()
    page.goto(f"{job.url}/plan")
    row = page.locator("#body details > summary").first
    row.hover()
    with page.expect_response("**/plan/body*") as came:
        page.mouse.down()
        page.evaluate("document.body.dispatchEvent(new CustomEvent('lw:plan', {detail: {}}))")
    came.value.finished()
    page.evaluate("new Promise((next) => requestAnimationFrame(() => requestAnimationFrame(next)))")
    page.mouse.up()
    page.locator("#body details[open]").wait_for()
    page.close()

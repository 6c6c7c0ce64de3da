"""The page Ground by a person's hands: numbers beside the finger, a key, nothing asked by the browser."""

from __future__ import annotations

from typing import Any

from tests.web.boxes import faint_marks, faint_text, untidy
from tests.web.conftest import GROUNDS, Served, on_ground


def shown(page: Any, url: str) -> None:
    from playwright.sync_api import expect

    page.goto(url)
    expect(page.locator("#ground .spot").first).to_be_attached()
    expect(page.locator("#margins .disc").first).to_be_visible()
    page.wait_for_timeout(200)


def middle(page: Any, name: str) -> tuple[float, float]:
    """Where a spot stands on the screen, scrolled into sight."""
    spot = page.locator(f"#ground .spot[aria-label^='{name},'] .hit")
    spot.scroll_into_view_if_needed()
    box = spot.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_what_everybody_has_in_hand_is_told_beside_the_finger(job: Served, page: Any) -> None:
    shown(page, f"{job.url}/ground?site=Pans")
    x, y = middle(page, "Camera")
    page.mouse.move(x, y)
    page.mouse.down()
    with page.expect_response("**/api/ground/margins*"):
        page.mouse.move(x + 40, y - 30, steps=4)
    page.wait_for_timeout(300)
    told, ground = page.locator("#beside").bounding_box(), page.locator("#ground").bounding_box()
    text = page.locator("#beside").inner_text()
    page.keyboard.press("Escape")
    page.mouse.move(x, y)
    page.mouse.up()
    assert "east" in text
    assert "dB" in text
    assert "Salter" in text
    assert told["x"] >= ground["x"] - 1
    assert told["x"] + told["width"] <= ground["x"] + ground["width"] + 1
    assert told["y"] >= 0
    assert told["y"] + told["height"] <= page.viewport_size["height"] - 59
    assert abs(told["y"] + told["height"] / 2 - (y - 30)) < 220, "beside the finger"


def test_a_spot_is_named_beside_where_it_is_placed(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    asked: list[str] = []

    def refuse(dialog: Any) -> None:
        asked.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", refuse)
    shown(page, f"{job.url}/ground?site=Pans")
    page.get_by_role("button", name="Place a spot").click()
    page.locator("#ground").scroll_into_view_if_needed()
    box = page.locator("#ground").bounding_box()
    page.mouse.click(box["x"] + 60, box["y"] + 60)
    expect(page.get_by_label("This spot is called")).to_be_focused()
    page.keyboard.type("Crane")
    page.keyboard.press("Enter")
    expect(page.locator("#ground .spot[aria-label^='Crane,']")).to_be_attached()
    page.set_input_files("#picture", {"name": "plan.png", "mimeType": "image/png", "buffer": b"\x89PNG\r\n\x1a\n"})
    expect(page.get_by_label("The picture is")).to_be_visible()
    assert not asked


def test_the_picture_has_its_key_and_drawing_is_told_from_playing(job: Served, page: Any) -> None:
    shown(page, f"{job.url}/ground?site=Boiling+house")
    words = page.locator("#ground .strip ~ text").all_text_contents()
    assert {"north", "spot", "antennas", "route", "wall"} <= set(words)
    assert page.get_by_role("button", name="Draw a route").count() == 1
    assert page.get_by_role("button", name="Play the walk").count() == 1


def test_a_level_read_on_a_receiver_is_taken_at_the_power_it_is_sent_with(
    job: Served,
    page: Any,
) -> None:
    from playwright.sync_api import expect

    shown(page, f"{job.url}/ground?site=Pans")
    x, y = middle(page, "Far bank")
    page.mouse.click(x, y)
    form = page.locator("#level")
    expect(form.locator("[name=spot]")).to_have_value("Far bank")
    form.locator("[name=link]").select_option("Salter")
    form.locator("[name=dbm]").fill("-61.5")
    page.get_by_role("button", name="Take this level as measured").click()
    expect(page.locator("#levels tr").last).to_contain_text("Salter")
    site = next(one for one in job.store.document().at("site") if one["name"] == "Pans")
    level = site["measured_level"][-1]
    plan = job.desk.snapshot().plan
    assert plan is not None
    assert level["dbm"] == -61.5
    assert level["power_mw"] == next(link.power_mw for link in plan.calls[0].links if link.link == "Salter")
    page.locator("#levels").get_by_role("button", name="Remove").last.click()
    expect(page.locator("#levels-table")).to_be_hidden()


def test_walls_scale_and_words_are_seen_on_every_ground(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    shown(page, f"{job.url}/ground?site=Boiling+house")
    page.locator("#link").select_option(label="Packer")
    with page.expect_response("**/ground/map.svg*"):
        page.get_by_role("button", name="Map of what is in hand").click()
    expect(page.locator("#ground svg path").first).to_be_attached()
    page.wait_for_timeout(300)
    assert untidy(page, ".ground-set") == []
    for ground in GROUNDS:
        on_ground(page, ground)
        assert faint_text(page, ".ground-set") == [], ground
        assert faint_marks(page, "#ground .wall, #ground .rule, #ground .sign, #ground .route") == [], ground


def test_swipes_and_wheel_turn_the_page_over_the_ground(job: Served, page: Any) -> None:
    shown(page, f"{job.url}/ground?site=Pans")
    box = page.locator("#ground").bounding_box()
    before = page.locator("#ground .spot rect").first.get_attribute("x")
    page.mouse.move(box["x"] + 30, box["y"] + 30)
    page.mouse.wheel(0, 150)
    page.wait_for_timeout(300)
    assert page.evaluate("scrollY") > 80
    assert page.locator("#ground .spot rect").first.get_attribute("x") == before
    actions = page.evaluate(
        "[...document.querySelectorAll('#ground, .spot')].map(one => getComputedStyle(one).touchAction)"
    )
    assert actions[0] == "pan-x pan-y"
    assert set(actions[1:]) == {"none"}, "what can be held is held at once"


def test_no_name_leaves_the_picture_or_covers_another(crowds: dict[int, Served], page: Any) -> None:
    for links, pages in crowds.items():
        shown(page, f"{pages.url}/ground")
        assert untidy(page, "main") == [], links
        names = page.locator("#ground > text").all_text_contents()
        assert {"Camera", "Steps", "Crane house", "Pontoon"} <= set(names)

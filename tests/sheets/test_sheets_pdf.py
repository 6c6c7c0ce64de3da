"""The PDFs as readers take them: pypdf and poppler; tagged, on both papers, the same bytes again."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pypdf
import pytest
from tests.sheets.made import files, sheets

from linkwright.shoot.errors import InputError
from linkwright.units import mhz_text

#: All of the built-in shoot; `test_the_same_plan_gives_the_same_bytes` holds that there are no others.
PDFS = [
    "application.pdf", "cards.pdf", "coordination.pdf", "crew.pdf", "ground-1.pdf", "ground-2.pdf",
    "if-it-breaks-up.pdf", "score-1.pdf", "score-2.pdf",
]  # fmt: skip


def read(name: str, which: str = "demo", **more: Any) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(files(which, **more)[name]))


def root_of(name: str) -> Any:
    """The document's catalogue, as plain nested values."""
    return read(name).trailer["/Root"]


def text_of(name: str, which: str = "demo", **more: Any) -> str:
    return " ".join(" ".join(page.extract_text() for page in read(name, which, **more).pages).split())


@pytest.mark.parametrize("name", PDFS)
def test_every_pdf_is_tagged_titled_and_says_its_language(name: str) -> None:
    """What PDF/UA-1 (ISO 14289-1, clauses 5, 7.1, 7.2) asks of a document as a whole, by an outside reader."""
    reader = read(name)
    root = root_of(name)
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    assert reader.metadata is not None
    assert reader.metadata.title
    assert "/StructTreeRoot" in root
    assert b"pdfuaid" in root["/Metadata"].get_data()
    for page in reader.pages:
        assert str(page["/Tabs"]) == "/S"


def roles(node: Any, found: set[str]) -> set[str]:
    node = node.get_object()
    if isinstance(node, list):
        for one in node:
            roles(one, found)
    elif isinstance(node, dict):
        if "/S" in node:
            found.add(str(node["/S"]))
            if node["/S"] == "/Figure":
                assert node.get("/Alt"), "a figure without words"
        if "/K" in node:
            roles(node["/K"], found)
    return found


def test_tables_have_heads_and_pictures_have_words() -> None:
    tags = roles(root_of("crew.pdf")["/StructTreeRoot"]["/K"], set())
    assert {"/Table", "/TH", "/TD", "/H1", "/H2"} <= tags
    assert "/Figure" in roles(root_of("score-1.pdf")["/StructTreeRoot"]["/K"], set())
    assert "/Figure" in roles(root_of("cards.pdf")["/StructTreeRoot"]["/K"], set())


def test_the_crew_sheet_is_one_page_with_every_carrier_spare_and_setting() -> None:
    assert len(read("crew.pdf").pages) == 1
    text = text_of("crew.pdf")
    for call in sheets().plan.calls:
        for link in call.links:
            for khz in (link.carrier_khz, *link.spares_khz):
                assert mhz_text(khz) in text
            assert link.link in text
    assert "set up from" in text
    assert "Licence" in text
    for battery in sheets().plan.batteries:
        assert battery.change_at[11:16] in text


def test_a_card_for_each_link_and_a_row_for_each_carrier() -> None:
    text = text_of("cards.pdf")
    names = {link.name for link in sheets().scene.shoot.link}
    assert len(read("cards.pdf").pages) == -(-len(names) // 4)
    assert "at both ends" in text
    assert all(name in text for name in names)
    table = text_of("coordination.pdf")
    assert "coordinated licence, by site, frequency and time" in table
    assert not [name for name in PDFS if "gb-coordinated" in text_of(name)], "a permit is told in words"
    assert "49.90000" in table
    breaks = text_of("if-it-breaks-up.pdf")
    assert "Fresh cells first" in breaks


@pytest.mark.parametrize(("paper", "wide", "tall"), [("a4", 595.276, 841.89), ("us-letter", 612.0, 792.0)])
def test_both_papers(paper: Any, wide: float, tall: float) -> None:
    """A4 is 210 mm x 297 mm (ISO 216), US Letter 8.5 in x 11 in (ANSI/ASME Y14.1); a point is 1/72 in."""
    box = read("crew.pdf", paper=paper).pages[0].mediabox
    assert float(box.width) == pytest.approx(wide, abs=0.1)
    assert float(box.height) == pytest.approx(tall, abs=0.1)
    across = read("coordination.pdf", paper=paper).pages[0].mediabox
    assert float(across.width) == pytest.approx(tall, abs=0.1)


def test_the_same_plan_gives_the_same_bytes() -> None:
    assert dict(sheets().made()) == files()
    assert sorted(name for name in files() if name.endswith(".pdf")) == PDFS


def test_what_people_type_is_printed_as_they_typed_it() -> None:
    for name in ("crew.pdf", "cards.pdf", "if-it-breaks-up.pdf"):
        text = text_of(name, "hostile").replace(" ", "")
        assert "*bold*" in text
        assert '#image("a.png")' in text
        assert "@ref" in text


def test_letters_that_no_font_has_are_marked_and_the_sheet_is_made() -> None:
    made = {name for name in files("strange") if name.endswith(".pdf")}
    assert made >= {"crew.pdf", "cards.pdf", "if-it-breaks-up.pdf"}
    for name in ("crew.pdf", "cards.pdf"):
        assert "Ada" in text_of(name, "strange")
        assert "\N{WHITE SQUARE}" in text_of(name, "strange")


def test_black_and_white_is_enough() -> None:
    """No colour operator of a page's own ink: everything but pictures is grey."""
    for name in ("crew.pdf", "cards.pdf", "coordination.pdf", "if-it-breaks-up.pdf"):
        for page in read(name).pages:
            contents = page.get_contents()
            assert contents is not None
            for r, g, b in re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG|scn|SCN)\b", contents.get_data()):
                assert r == g == b


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="Debian's poppler-utils is not installed")
@pytest.mark.parametrize("name", PDFS)
def test_poppler_reads_it_too(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(files()[name])

    def said(*command: str) -> str:
        return subprocess.run([*command], capture_output=True, text=True, check=True).stdout

    info = said("pdfinfo", str(path))
    assert re.search(r"Tagged:\s+yes", info)
    text = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "Salt works, day 1" in text or name == "cards.pdf"
    assert "Presenter" in text or "MHz" in text


def test_previews_are_pictures_of_the_first_page() -> None:
    assert sheets().previewed("crew.pdf").startswith(b"<svg")
    for wrong in ("links.csv", "nothing.pdf"):
        with pytest.raises(InputError, match="there is no sheet"):
            sheets().previewed(wrong)


def test_an_unknown_sheet_is_told() -> None:
    with pytest.raises(InputError, match=r"there is no sheet x\.pdf; expected one of crew\.pdf"):
        list(sheets().made(only=frozenset({"x.pdf"})))


def placed(name: str, which: str = "demo") -> list[list[tuple[str, float, float]]]:
    """The words of each page and where they stand, as shares of its width and height."""
    found = []
    for page in read(name, which).pages:
        words: list[tuple[str, float, float]] = []
        wide, tall = float(page.mediabox.width), float(page.mediabox.height)

        def hear(text: str, user: Any, matrix: Any, *_: Any, words: Any = words, of: Any = (wide, tall)) -> None:
            x = matrix[4] * user[0] + matrix[5] * user[2] + user[4]
            y = matrix[4] * user[1] + matrix[5] * user[3] + user[5]
            if text.strip():
                words.append((text.strip(), x / of[0], y / of[1]))

        page.extract_text(visitor_text=hear)
        found.append(words)
    return found


@pytest.mark.parametrize("name", [name for name in PDFS if name.startswith(("score", "ground"))])
def test_pictures_fill_their_page_in_black_and_keep_their_labels(name: str) -> None:
    first = placed(name)[0]
    assert max(x for _, x, _ in first) - min(x for _, x, _ in first) > 0.75
    assert max(y for _, _, y in first) > 0.8
    assert sorted(y for _, _, y in first)[len(first) // 10] < 0.3, "down to the foot of the page"
    text = text_of(name)
    if name.startswith("score"):
        for call in sheets().plan.calls:
            for link in call.links if call.site in text else ():
                assert text.count(link.link) >= 1 + len(link.spares_khz), link.link
    for page in read(name).pages:
        for stream in [page.get_contents(), *page.get("/Resources", {}).get("/XObject", {}).values()]:
            data = stream.get_object().get_data() if stream is not None else b""
            for r, g, b in re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG|scn|SCN)\b", data):
                assert r == g == b, "black on white"


def test_what_is_left_out_is_said_and_in_hand_stands_on_every_sheet() -> None:
    crew = text_of("crew.pdf")
    assert re.search(r"Left out here: \w+ more warnings? and \w+ notes?; all stand on the page Plan", crew)
    for name in ("crew.pdf", "if-it-breaks-up.pdf"):
        assert "In hand, dB" in text_of(name)
    assert re.search(r"(in hand|short by [\d.]+ dB), weakest at", text_of("cards.pdf"))


def test_whoever_gets_a_card_needs_nothing_else() -> None:
    """Carrier, spares, when and where, whom to call, what to do; and of many settings none is dropped."""
    text = text_of("cards.pdf", "calls").replace("\n", " ")
    assert (
        text.count("Keeper of the quay")
        == len(read("cards.pdf", "calls").pages[0].extract_text().split("paired")) - 1
    )
    assert "+44 0000 000000" in text
    assert "If it breaks up" in text
    for call in sheets("calls").plan.calls:
        assert f"{call.call}, {call.site}" in text
        for link in call.links:
            assert link.carrier in text
    assert "card 2 of 2" in text

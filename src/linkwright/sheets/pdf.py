"""Sheets as PDF: a template of this package, filled with values as JSON, so that a value is always text.

The documents are tagged (PDF/UA-1, which the compiler checks as far as a machine can) and the same values give the
same bytes. Templates read nothing but this package's own folder; letters are of our faces or the compiler's fonts.
"""

from __future__ import annotations

import contextlib
import importlib.resources
import json
import re
from collections.abc import Callable, Iterator
from typing import Any, Final, Literal

from linkwright.draw.ink import FACES

Paper = Literal["a4", "us-letter"]
Setter = Callable[[str, dict[str, Any]], bytes]

#: What stands for a letter that no font here has, and how the compiler names such letters.
MARK: Final = "\N{WHITE SQUARE}"
NOT_IN_FONT: Final = re.compile(r'the text `"([^`]*)"` could not be displayed')
#: A backslash in JSON text, or a control character as JSON writes it.
STEERS: Final = re.compile(r"\\\\|\\u00[01][0-9a-f]|\x7f")
#: The standard that is kept: universal accessibility, ISO 14289-1.
STANDARD: Final = "ua-1"


@contextlib.contextmanager
def setting(head: dict[str, Any]) -> Iterator[Setter]:
    """A function that sets a template (by its name) with a sheet's values, below the same head, as PDF."""
    import typst

    with importlib.resources.as_file(
        importlib.resources.files("linkwright.sheets").joinpath("templates")
    ) as folder:
        root = str(folder)

        def set_one(template: str, sheet: dict[str, Any]) -> bytes:
            data = _json({"head": head, "sheet": sheet})
            while True:
                try:
                    made: bytes = typst.compile(
                        f"{root}/{template}.typ", root=root, ignore_system_fonts=True, font_paths=[FACES],
                        sys_inputs={"data": data}, pdf_standards=STANDARD,
                    )  # fmt: skip
                except typst.TypstError as error:
                    data = _displayable(data, error)
                else:
                    return made

        yield set_one


def _json(values: dict[str, Any]) -> str:
    """Values as JSON, with a mark in place of signs that steer a device and have no picture."""
    text = json.dumps(values, ensure_ascii=False)
    return STEERS.sub(lambda match: match[0] if match[0] in ("\\\\", "\\u0009", "\\u000a") else MARK, text)


def _displayable(data: str, error: Exception) -> str:
    """The values with a mark in place of the letters that no font here has, as the compiler names them."""
    refused = NOT_IN_FONT.search(str(error))
    text = "" if refused is None else re.sub(r"\\u\{(\w+)\}", lambda code: chr(int(code[1], 16)), refused[1])
    strange = {
        letter
        for letter in text
        if letter != MARK and letter in data and not (letter.isascii() and letter.isprintable())
    }
    if not strange:
        raise error
    return data.translate({ord(letter): MARK for letter in strange})


def preview(head: dict[str, Any], template: str, sheet: dict[str, Any]) -> bytes:
    """The first page of a sheet as SVG, to be looked at."""
    import typst

    templates = importlib.resources.files("linkwright.sheets").joinpath("templates")
    with importlib.resources.as_file(templates) as folder:
        data = _json({"head": head, "sheet": sheet})
        made = typst.compile(
            f"{folder}/{template}.typ", root=str(folder), ignore_system_fonts=True, font_paths=[FACES],
            sys_inputs={"data": data}, format="svg",
        )  # fmt: skip
    pages: list[bytes] = made if isinstance(made, list) else [made]
    return pages[0]

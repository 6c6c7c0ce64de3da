"""Sheets as PDF: a template of this package, filled with values as JSON, so that a value is always text.

The documents are tagged (PDF/UA-1, which the compiler checks as far as a machine can) and the same values give the
same bytes. Templates read nothing but this package's own folder, and only the fonts that the compiler brings.
"""

from __future__ import annotations

import contextlib
import importlib.resources
import json
from collections.abc import Callable, Iterator
from typing import Any, Final, Literal

Paper = Literal["a4", "us-letter"]
Setter = Callable[[str, dict[str, Any]], bytes]

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
            data = json.dumps({"head": head, "sheet": sheet}, ensure_ascii=False)
            made: bytes = typst.compile(
                f"{root}/{template}.typ", root=root, ignore_system_fonts=True, sys_inputs={"data": data},
                pdf_standards=STANDARD,
            )  # fmt: skip
            return made

        yield set_one


def preview(head: dict[str, Any], template: str, sheet: dict[str, Any]) -> bytes:
    """The first page of a sheet as SVG, to be looked at."""
    import typst

    templates = importlib.resources.files("linkwright.sheets").joinpath("templates")
    with importlib.resources.as_file(templates) as folder:
        data = json.dumps({"head": head, "sheet": sheet}, ensure_ascii=False)
        made = typst.compile(
            f"{folder}/{template}.typ", root=str(folder), ignore_system_fonts=True, sys_inputs={"data": data},
            format="svg",
        )  # fmt: skip
    pages: list[bytes] = made if isinstance(made, list) else [made]
    return pages[0]

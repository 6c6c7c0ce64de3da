"""An SVG as PNG, by way of Typst: the same tool and faces that set the sheets, and no other renderer."""

from __future__ import annotations

import json
import re
import tempfile
from pathlib import Path

from linkwright.draw.ink import FACES

#: Pixels of the PNG for one of the SVG: sharp on paper and on a telephone.
SCALE = 2
_SIZE = re.compile(r'<svg [^>]*viewBox="0 0 ([\d.]+) ([\d.]+)"')
#: A point is 1/72 inch, and one pixel of the SVG is made one point.
_PPI = 72.0 * SCALE


def png_of(svg: str) -> bytes:
    """The PNG of an SVG document made by this package. Raises ValueError for one without a size.

    Typst sees a folder with the picture in it and nothing else.
    """
    import typst

    size = _SIZE.search(svg)
    if size is None:
        raise ValueError("the SVG does not state its size")
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "picture.svg").write_text(svg, encoding="utf-8")
        title = re.search(r"<title[^>]*>(.*?)</title>", svg)
        source = (
            f"#set page(width: {size[1]}pt, height: {size[2]}pt, margin: 0pt)\n"
            f"#set document(title: {json.dumps(title[1] if title else '')}, date: none)\n"
            f'#image("picture.svg", width: 100%)\n'
        )
        main = Path(folder) / "main.typ"
        main.write_text(source, encoding="utf-8")
        return bytes(typst.compile(str(main), root=folder, format="png", font_paths=[FACES], ppi=_PPI))

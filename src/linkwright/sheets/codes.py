"""QR codes of addresses, as SVG; ISO/IEC 18004."""

from __future__ import annotations


def code_svg(address: str) -> str:
    """The code of an address, dark on light, with the quiet zone of four modules that the standard asks for."""
    import segno

    svg: str = segno.make(address, error="m", micro=False).svg_inline(
        scale=4, dark="#000000", light="#ffffff", border=4
    )
    return svg

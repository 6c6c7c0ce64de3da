"""QR codes of addresses, as SVG; ISO/IEC 18004."""

from __future__ import annotations


def code_svg(
    address: str, *, scale: int = 4, dark: str = "#000000", light: str = "#ffffff", border: int = 4
) -> str:
    """The code of an address, dark on light whatever the ground is; a module is `scale` pixels.

    border : the quiet zone [modules]; the standard asks for four.
    """
    import segno

    svg: str = segno.make(address, error="m", micro=False).svg_inline(
        scale=scale, dark=dark, light=light, border=border
    )
    return svg

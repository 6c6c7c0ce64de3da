"""QR codes of addresses, as SVG; ISO/IEC 18004."""

from __future__ import annotations


def code_svg(address: str, *, scale: int = 4, dark: str = "#000000", fills: bool = False) -> str:
    """The code of an address, dark on light whatever the ground is, with the quiet zone of four modules that the
    standard asks for; a module is `scale` pixels, or it `fills` what it stands in."""
    import segno

    svg: str = segno.make(address, error="m", micro=False).svg_inline(
        scale=scale, dark=dark, light="#ffffff", border=4, omitsize=fills
    )
    return svg

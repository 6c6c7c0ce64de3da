"""Pictures: pure functions that turn numbers into SVG, and SVG into PNG."""

"""QR codes: a text as rows of light and dark, for a page that draws them and for a terminal."""

QUIET = 2
"""Light modules around it. The standard (ISO/IEC 18004) asks for 4; a screen's own edge is light as well."""


def qr_rows(text: str) -> tuple[str, ...]:
    """Rows of 0 (light) and 1 (dark), without the quiet edge; error correction M."""
    # imported here: only whoever pairs a phone needs it, and the start is quicker without
    import segno

    return tuple("".join("1" if dark else "0" for dark in row) for row in segno.make_qr(text, error="m").matrix)


def in_terminal(text: str) -> str:
    """The code in half blocks, two rows to a line; light on dark or dark on light, scanners take both."""
    rows = qr_rows(text)
    width = len(rows[0]) + 2 * QUIET
    padded = ["0" * width] * QUIET + [f"{'0' * QUIET}{row}{'0' * QUIET}" for row in rows] + ["0" * width] * QUIET
    if len(padded) % 2:
        padded.append("0" * width)
    blocks = {"00": "█", "01": "▀", "10": "▄", "11": " "}
    pairs = zip(padded[::2], padded[1::2], strict=True)
    return "\n".join("".join(blocks[f"{up}{down}"] for up, down in zip(*pair, strict=True)) for pair in pairs)


def as_path(rows: tuple[str, ...]) -> str:
    """The dark modules as the `d` of one SVG path, a unit each."""
    return "".join(
        f"M{x} {y}h1v1h-1z" for y, row in enumerate(rows) for x, module in enumerate(row) if module == "1"
    )

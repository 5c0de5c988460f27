"""The icons of the build: what the drawing says is what another program sees in the PNG."""

import io
from pathlib import Path

import pytest
from PIL import Image

from pwa.build.icons import ICONS, draw, png, read_svg

SVG = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100"><rect width="100" height="100" fill="#FFFFFF"/>
<g stroke="#000000" stroke-width="10"><path d="{path}"/></g></svg>"""


def _seen(path: str, side: int = 100) -> Image.Image:
    drawing = read_svg(SVG.format(path=path))
    return Image.open(io.BytesIO(png(draw(drawing, side, 1.0), side))).convert("L")


def test_a_line_covers_its_width_and_its_round_ends_and_nothing_else() -> None:
    seen = _seen("M20 50h60")
    black = [(x, y) for x in range(100) for y in range(100) if seen.getpixel((x, y)) == 0]
    assert {y for _, y in black} == set(range(45, 55))
    assert min(x for x, _ in black) == 16 and max(x for x, _ in black) == 83  # the half pixel at each end is grey
    assert seen.getpixel((10, 50)) == seen.getpixel((50, 40)) == 255


def test_relative_and_absolute_steps_make_the_same_path() -> None:
    same = [_seen(path).tobytes() for path in ("M20 20h40v30", "M20 20 60 20 60 50", "M20 20L60 20L60 50")]
    assert same[0] == same[1] == same[2]


def test_what_is_not_drawn_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="path command 'C'"):
        read_svg(SVG.format(path="M0 0C1 1 2 2 3 3"))


def test_another_program_reads_every_icon_in_its_size(app_dir: Path) -> None:
    for name, (side, _) in ICONS.items():
        with Image.open(app_dir / "icons" / name) as icon:
            icon.load()
            assert (icon.format, icon.mode, icon.size) == ("PNG", "RGB", (side, side))

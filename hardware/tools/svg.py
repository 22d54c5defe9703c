# SPDX-License-Identifier: MIT
"""The schematic as pictures, one A4 page each, in black on white."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape

from tools.geometry import Point
from tools.page import CHARACTER, HEIGHT_MM, WIDTH_MM, Page, lay_out
from tools.sexp import number, read

# A typeface of one width is 0.602 of its size wide; letters are set so that they are as wide as
# the page reckons with.
_SIZE = CHARACTER / 0.602
_STYLE = (
    "line,polyline,circle{fill:none;stroke:#000;stroke-linecap:round;stroke-linejoin:round}"
    ".w{stroke-width:.3}.s{stroke-width:.2}.f{stroke-width:.15;stroke-dasharray:1.5 1}"
    ".d{fill:#000;stroke:none}text{font-family:'DejaVu Sans Mono',Menlo,Consolas,monospace}"
)


def pictures(folder: Path) -> dict[str, str]:
    """Picture's file name to content, for every schematic file in `folder`."""
    return {
        path.with_suffix(".svg").name: picture(lay_out(read(path.read_text(encoding="utf-8"))))
        for path in sorted(folder.glob("*.kicad_sch"))
    }


def picture(page: Page) -> str:
    """One page as SVG."""
    items = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM:g}mm" height="{HEIGHT_MM:g}mm"'
        f' viewBox="0 0 {WIDTH_MM:g} {HEIGHT_MM:g}">',
        f"<title>{escape(page.title)}</title><style>{_STYLE}</style>",
        f'<rect width="{WIDTH_MM:g}" height="{HEIGHT_MM:g}" fill="#fff"/>',
    ]
    for kind, lines in (("f", page.frames), ("w", page.wires), ("s", page.lines)):
        items += [f'<polyline class="{kind}" points="{_joined(line)}"/>' for line in lines]
    for (x, y), radius in page.circles:
        items.append(f'<circle class="s" cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"/>')
    items += [f'<circle class="d" cx="{number(x)}" cy="{number(y)}" r=".5"/>' for x, y in page.dots]
    for x, y in page.crosses:
        for sign in (1.0, -1.0):
            ends = _joined([(x - 0.8, y - sign * 0.8), (x + 0.8, y + sign * 0.8)])
            items.append(f'<polyline class="s" points="{ends}"/>')
    for words in [*page.words, page.footer]:
        x, y = words.at
        items.append(
            f'<text x="{number(x)}" y="{number(y + 0.5 * words.height_mm)}"'
            f' font-size="{number(words.height_mm * _SIZE)}" text-anchor="{words.anchor}">'
            f"{escape(words.text)}</text>"
        )
    return "\n".join([*items, "</svg>"]) + "\n"


def _joined(points: list[Point]) -> str:
    return " ".join(f"{number(round(x, 3))},{number(round(y, 3))}" for x, y in points)

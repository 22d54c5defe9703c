# SPDX-License-Identifier: MIT
"""The pages of the schematic as one PDF, in black on white, for a printer.

Written here rather than by a library, so that the bytes are the same everywhere: no time, no
identifier, nothing compressed. Lines, circles and one of the fourteen typefaces that every
reader of PDF has (ISO 32000-1, 9.6.2.2); its letters are 0.6 of their size wide.
"""

from __future__ import annotations

from tools.geometry import Point
from tools.page import CHARACTER, HEIGHT_MM, WIDTH_MM, Page
from tools.sexp import number

_POINT = 72.0 / 25.4
_SIZE = CHARACTER / 0.6
# Four arcs make a circle: control points at this share of the radius.
_ARC = 0.5523
_WIDTHS = {"f": 0.15, "w": 0.3, "s": 0.2}


def document(pages: list[Page]) -> bytes:
    """The pages in their order."""
    objects = ["<< /Type /Catalog /Pages 2 0 R >>", ""]
    objects.append(
        "<< /Type /Font /Subtype /Type1 /BaseFont /Courier /Encoding /WinAnsiEncoding >>"
    )
    kids = []
    size = f"[0 0 {number(WIDTH_MM * _POINT)} {number(HEIGHT_MM * _POINT)}]"
    for page in pages:
        drawn = _content(page)
        objects.append(f"<< /Length {len(drawn.encode('cp1252'))} >>\nstream\n{drawn}\nendstream")
        kids.append(f"{len(objects) + 1} 0 R")
        objects.append(
            f"<< /Type /Page /Parent 2 0 R /MediaBox {size} /Contents {len(objects)} 0 R"
            " /Resources << /Font << /F 3 0 R >> >> >>"
        )
    objects[1] = f"<< /Type /Pages /Kids [{' '.join(kids)}] /Count {len(kids)} >>"
    # The four bytes past 127 say to whoever carries it that it is no text.
    data = b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n"
    places = []
    for index, each in enumerate(objects):
        places.append(len(data))
        data += f"{index + 1} 0 obj\n{each}\nendobj\n".encode("cp1252")
    table = "".join(f"{place:010} 00000 n \n" for place in places)
    tail = (
        f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n{table}"
        f"trailer\n<< /Size {len(objects) + 1} /Root 1 0 R >>\nstartxref\n{len(data)}\n%%EOF\n"
    )
    return data + tail.encode("ascii")


def _content(page: Page) -> str:
    """Drawn in millimetres from the upper left corner, as the page has them."""
    items = [f"{_POINT:.5f} 0 0 {-_POINT:.5f} 0 {number(HEIGHT_MM * _POINT)} cm 1 J 1 j"]
    for kind, lines in (("f", page.frames), ("w", page.wires), ("s", page.lines)):
        items.append(f"{_WIDTHS[kind]} w [{'1.5 1' if kind == 'f' else ''}] 0 d")
        items += [_path(line) + " S" for line in lines]
    items += [_circle(centre, radius) + " S" for centre, radius in page.circles]
    items += [_circle(dot, 0.5) + " f" for dot in page.dots]
    for x, y in page.crosses:
        for sign in (0.8, -0.8):
            items.append(_path([(x - 0.8, y - sign), (x + 0.8, y + sign)]) + " S")
    for words in [*page.words, page.footer]:
        left, _, _, bottom = words.box
        size = words.height_mm * _SIZE
        place = f"{number(left)} {number(bottom - 0.1 * words.height_mm)}"
        # Letters stand on their heads where y runs down: turned back here.
        items.append(f"BT /F {number(size)} Tf 1 0 0 -1 {place} Tm ({_escaped(words.text)}) Tj ET")
    return "\n".join(items)


def _path(points: list[Point]) -> str:
    steps = [f"{number(round(x, 3))} {number(round(y, 3))}" for x, y in points]
    return f"{steps[0]} m " + " ".join(f"{step} l" for step in steps[1:])


def _circle(centre: Point, radius: float) -> str:
    x, y, r, k = *centre, radius, radius * _ARC
    corners = [(r, 0.0), (r, k), (k, r), (0.0, r), (-k, r), (-r, k), (-r, 0.0)]
    corners += [(-r, -k), (-k, -r), (0.0, -r), (k, -r), (r, -k), (r, 0.0)]
    at = [f"{number(round(x + dx, 3))} {number(round(y + dy, 3))}" for dx, dy in corners]
    return f"{at[0]} m " + " ".join(f"{' '.join(at[n : n + 3])} c" for n in (1, 4, 7, 10))


def _escaped(text: str) -> str:
    for mark in "\\()":
        text = text.replace(mark, "\\" + mark)
    return text

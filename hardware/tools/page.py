# SPDX-License-Identifier: MIT
"""What is on a page of the schematic, as lines, circles and words in millimetres.

The picture is made of these, and the test that no words overlap looks at the same ones.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

from tools.geometry import Point, bodies, pin_points, transform
from tools.sexp import Expression, every, first, numbers

WIDTH_MM, HEIGHT_MM = 297.0, 210.0
TITLE_BLOCK_MM = (176.0, 164.0)
"""Left and top of what KiCad fills in the lower right corner."""
CHARACTER = 0.84
"""Width of a character of the picture's typeface (of one width for all), in its height."""
_PIN_TEXT_GAP_MM = 0.6
_LABEL_POINT_MM = 1.4


@dataclass(frozen=True)
class Words:
    """A text by the middle of its left, right or whole: `anchor` start, end or middle."""

    text: str
    at: Point
    height_mm: float
    anchor: str

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom."""
        width = len(self.text) * CHARACTER * self.height_mm
        x, y = self.at
        left = {"start": x, "middle": x - width / 2.0, "end": x - width}[self.anchor]
        return left, y - 0.6 * self.height_mm, left + width, y + 0.6 * self.height_mm


@dataclass
class Page:
    """`lines` are symbols' own, `wires` and `frames` the drawing's."""

    title: str
    wires: list[list[Point]] = field(default_factory=list)
    lines: list[list[Point]] = field(default_factory=list)
    frames: list[list[Point]] = field(default_factory=list)
    circles: list[tuple[Point, float]] = field(default_factory=list)
    dots: list[Point] = field(default_factory=list)
    crosses: list[Point] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)

    @property
    def footer(self) -> Words:
        """What stands below the drawing, where KiCad has its title block."""
        text = f"sagline rig: {self.title}. Values in ohm and farad."
        return Words(text, (10.0, HEIGHT_MM - 9.0), 2.0, "start")


def lay_out(page: Expression) -> Page:
    """All that is drawn on a page that was read."""
    done = Page(str(first(first(page, "title_block"), "title")[1]))
    for wire in every(page, "wire"):
        done.wires.append(_points(first(wire, "pts")))
    for line in every(page, "polyline"):
        done.frames.append(_points(first(line, "pts")))
    done.dots += [_pair(first(each, "at")) for each in every(page, "junction")]
    done.crosses += [_pair(first(each, "at")) for each in every(page, "no_connect")]
    for note in every(page, "text"):
        done.words.append(Words(str(note[1]), _pair(first(note, "at")), _height(note), "start"))
    for label in every(page, "global_label"):
        _label(label, done)
    for sheet in every(page, "sheet"):
        _sheet(sheet, done)
    library = {str(symbol[1]): symbol for symbol in every(first(page, "lib_symbols"), "symbol")}
    for symbol in every(page, "symbol"):
        _symbol(symbol, library[str(first(symbol, "lib_id")[1])], done)
    return done


def _pair(expression: Expression) -> Point:
    x, y = numbers(expression)[:2]
    return x, y


def _points(expression: Expression) -> list[Point]:
    return [_pair(xy) for xy in every(expression, "xy")]


def _height(expression: Expression) -> float:
    return numbers(first(first(first(expression, "effects"), "font"), "size"))[0]


def _label(label: Expression, done: Page) -> None:
    """A flag around the name, its point at the wire."""
    x, y, angle = numbers(first(label, "at"))
    height, text = _height(label), str(label[1])
    way = 1.0 if angle == 0.0 else -1.0
    words = Words(text, (x + way * _LABEL_POINT_MM, y), height, "start" if way > 0.0 else "end")
    done.words.append(words)
    far = x + way * (_LABEL_POINT_MM + len(text) * CHARACTER * height + 0.5)
    near, up = x + way * 0.9, 0.98 * height
    done.lines.append(
        [(x, y), (near, y - up), (far, y - up), (far, y + up), (near, y + up), (x, y)]
    )


def _sheet(sheet: Expression, done: Page) -> None:
    x, y = _pair(first(sheet, "at"))
    width, height = numbers(first(sheet, "size"))
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)]
    done.lines.append(corners)
    for words in every(sheet, "property"):
        done.words.append(Words(str(words[2]), _pair(first(words, "at")), _height(words), "start"))


def _symbol(symbol: Expression, library: Expression, done: Page) -> None:
    unit = int(str(first(symbol, "unit")[1]))
    for body in bodies(library, unit):
        for line in every(body, "polyline"):
            done.lines.append([transform(symbol, point) for point in _points(first(line, "pts"))])
        for box in every(body, "rectangle"):
            (x0, y0), (x1, y1) = _pair(first(box, "start")), _pair(first(box, "end"))
            corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
            done.lines.append([transform(symbol, corner) for corner in corners])
        for circle in every(body, "circle"):
            centre = transform(symbol, _pair(first(circle, "center")))
            done.circles.append((centre, numbers(first(circle, "radius"))[0]))
    named = "hide" not in first(library, "pin_names")
    for pin, at in pin_points(symbol, library, unit):
        _pin(symbol, pin, at, named, done)
    for words in every(symbol, "property"):
        hidden = "hide" in first(words, "effects")
        if not hidden and str(words[2]):
            done.words.append(
                Words(str(words[2]), _pair(first(words, "at")), _height(words), "middle")
            )


def _pin(symbol: Expression, pin: Expression, at: Point, named: bool, done: Page) -> None:
    x, y, degrees = numbers(first(pin, "at"))
    length = numbers(first(pin, "length"))[0]
    dx, dy = {0: (1, 0), 90: (0, 1), 180: (-1, 0), 270: (0, -1)}[int(degrees)]
    inner = transform(symbol, (x + dx * length, y + dy * length))
    if length:
        done.lines.append([at, inner])
    if named:
        way = 1.0 if inner[0] > at[0] else -1.0
        name, number = (first(pin, each) for each in ("name", "number"))
        done.words.append(
            Words(
                str(name[1]), (inner[0] + way * _PIN_TEXT_GAP_MM, inner[1]), _height(name),
                "start" if way > 0.0 else "end",
            )
        )  # fmt: skip
        middle = ((at[0] + inner[0]) / 2.0, at[1] - 0.85)
        done.words.append(Words(str(number[1]), middle, _height(number), "middle"))


def clashes(page: Page) -> list[str]:
    """Words that run into other words, into a line or off the paper."""
    found = []
    for index, words in enumerate(page.words):
        left, top, right, bottom = words.box
        if min(left, top) < 5.0 or right > WIDTH_MM - 5.0 or bottom > HEIGHT_MM - 12.0:
            found.append(f"{words.text!r} runs off the paper")
        if right > TITLE_BLOCK_MM[0] and bottom > TITLE_BLOCK_MM[1]:
            found.append(f"{words.text!r} in KiCad's title block")
        for other in page.words[index + 1 :]:
            x0, y0, x1, y1 = other.box
            if left < x1 and x0 < right and top < y1 and y0 < bottom:
                found.append(f"{words.text!r} on {other.text!r}")
        for line in (*page.wires, *page.lines, *page.frames):
            for a, b in itertools.pairwise(line):
                if _crosses(words.box, a, b):
                    found.append(f"{words.text!r} on a line at {a}")
        for round_one in (*page.circles, *((dot, 0.5) for dot in page.dots)):
            if _touches(words.box, *round_one):
                found.append(f"{words.text!r} on a circle at {round_one[0]}")
        for x, y in page.crosses:
            if _touches(words.box, (x, y), 0.8):
                found.append(f"{words.text!r} on a cross at {(x, y)}")
    return found


def _touches(box: tuple[float, float, float, float], centre: Point, radius: float) -> bool:
    """Whether a disc reaches a box: its middle is nearer than the radius to the box."""
    x = min(max(centre[0], box[0]), box[2]) - centre[0]
    y = min(max(centre[1], box[1]), box[3]) - centre[1]
    return x * x + y * y < radius * radius


def _crosses(box: tuple[float, float, float, float], a: Point, b: Point) -> bool:
    """Whether a straight line meets a box: cut at its sides, something is left."""
    start, end = 0.0, 1.0
    for axis in (0, 1):
        along = b[axis] - a[axis]
        low, high = box[axis] - a[axis], box[axis + 2] - a[axis]
        if along == 0.0:
            if not low < 0.0 < high:
                return False
        else:
            start = max(start, min(low / along, high / along))
            end = min(end, max(low / along, high / along))
    return start < end

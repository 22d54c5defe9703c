# SPDX-License-Identifier: MIT
"""Curves, points with error bars and bars of shares as SVG. Numbers in, markup out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sagline.report.markup import Html, join, tag
from sagline.roundvalues import ticks

WIDTH, HEIGHT = 640.0, 340.0
LEFT, RIGHT, TOP, BOTTOM = 78.0, 16.0, 14.0, 46.0
MARGIN = 0.05
LONGEST_NAME = 24
MOST_POINTS = 600
"""More than the page has columns to show them in."""

Point = tuple[float, float]


@dataclass(frozen=True)
class Curve:
    """A line through points; `bound` for one that only encloses."""

    points: Sequence[Point]
    bound: bool = False


@dataclass(frozen=True)
class Dot:
    """A point that was read, and half of its error bar where there is one."""

    x: float
    y: float
    half: float | None = None


@dataclass(frozen=True)
class Note:
    """Words beside a point."""

    x: float
    y: float
    words: str


def plot(
    title: str,
    x_name: str,
    y_name: str,
    curves: Sequence[Curve],
    dots: Sequence[Dot] = (),
    notes: Sequence[Note] = (),
    x_lines: Sequence[float] = (),
) -> Html:
    """A drawing of `curves` and `dots` in one pair of axes; `x_lines` are marked throughout.

    Raises ValueError where there is nothing to draw.
    """
    xs = [x for curve in curves for x, _ in curve.points] + [dot.x for dot in dots]
    ys = [y for curve in curves for _, y in curve.points]
    ys += [dot.y + side * (dot.half or 0.0) for dot in dots for side in (-1.0, 1.0)]
    if not xs:
        raise ValueError("a drawing needs a point")
    frame = _Frame(_wide(xs, 0.0), _wide(ys, MARGIN))
    parts = [*frame.axes(x_name, y_name)]
    parts += [
        tag("line", x1=frame.x(x), x2=frame.x(x), y1=TOP, y2=HEIGHT - BOTTOM, class_="grid")
        for x in x_lines
    ]
    for curve in curves:
        placed = " ".join(f"{frame.x(x)},{frame.y(y)}" for x, y in _fewer(curve.points))
        parts.append(tag("polyline", points=placed, class_="bound" if curve.bound else "curve"))
    for dot in dots:
        x, y = frame.x(dot.x), frame.y(dot.y)
        if dot.half:
            low, high = frame.y(dot.y - dot.half), frame.y(dot.y + dot.half)
            parts.append(tag("line", x1=x, x2=x, y1=low, y2=high, class_="error"))
            parts += [
                tag("line", x1=x - 4, x2=x + 4, y1=end, y2=end, class_="error")
                for end in (low, high)
            ]
        parts.append(tag("circle", cx=x, cy=y, r=4, class_="mark"))
    for note in notes:
        x, y = frame.x(note.x), frame.y(note.y)
        near_right = x > WIDTH - 180
        parts.append(
            tag(
                "text",
                note.words,
                x=x + (-9 if near_right else 9),
                y=max(TOP + 12, y - 8),
                text_anchor="end" if near_right else "start",
            )
        )
    return _svg(title, WIDTH, HEIGHT, parts)


def shares(title: str, named: Sequence[tuple[str, float]]) -> Html:
    """A bar for each name, as long as its share (0 to 1) of the longest."""
    each, left = 24.0, 250.0
    most = max((share for _, share in named), default=0.0) or 1.0
    parts: list[Html] = []
    for number, (name, share) in enumerate(named):
        y = 6.0 + each * number
        length = max(1.0, (WIDTH - left - 70.0) * max(0.0, share) / most)
        parts += [
            tag("text", name, x=left - 8, y=y + 14, text_anchor="end"),
            tag("rect", x=left, y=y + 3, width=_short(length), height=14, class_="bar"),
            tag("text", f"{share:.1%}", x=_short(left + length + 6), y=y + 14, class_="soft"),
        ]
    return _svg(title, WIDTH, 12.0 + each * len(named), parts)


@dataclass(frozen=True)
class Interval:
    """A value with the half of its interval, None where it has none."""

    name: str
    value: float
    half: float | None


def intervals(
    title: str,
    x_name: str,
    lines: Sequence[Interval],
    middle: float,
    beside: Sequence[Interval] = (),
) -> Html:
    """A line for each interval under one axis; `middle` is marked through all of them.

    The axis has room for those `beside` too, which are drawn elsewhere.

    Raises ValueError where there is none.
    """
    if not lines:
        raise ValueError("a drawing needs an interval")
    each, left, top = 26.0, 190.0, 10.0
    floor = top + each * len(lines)
    ends = [
        one.value + side * (one.half or 0.0) for one in (*lines, *beside) for side in (-1.0, 1.0)
    ]
    low, high = _wide([*ends, middle], MARGIN)

    def x(value: float) -> float:
        return _short(left + (value - low) / (high - low) * (WIDTH - left - RIGHT))

    parts = [tag("line", x1=x(middle), x2=x(middle), y1=top, y2=floor, class_="bound")]
    for number, one in enumerate(lines):
        y = top + each * (number + 0.5)
        parts.append(tag("text", _brief(one.name), x=left - 10, y=y + 4, text_anchor="end"))
        if one.half:
            from_x, to_x = x(one.value - one.half), x(one.value + one.half)
            parts.append(tag("line", x1=from_x, x2=to_x, y1=y, y2=y, class_="error"))
            parts += [
                tag("line", x1=end, x2=end, y1=y - 5, y2=y + 5, class_="error")
                for end in (from_x, to_x)
            ]
        parts.append(tag("circle", cx=x(one.value), cy=y, r=4, class_="mark"))
    parts.append(tag("path", d=f"M{left},{floor}H{WIDTH - RIGHT}", class_="axis"))
    values, places = ticks(low, high, 6)
    for value in values:
        parts += [
            tag("line", x1=x(value), x2=x(value), y1=floor, y2=floor + 5, class_="axis"),
            tag("text", f"{value:.{places}f}", x=x(value), y=floor + 19, text_anchor="middle"),
        ]
    parts.append(tag("text", x_name, x=WIDTH - RIGHT, y=floor + 38, text_anchor="end"))
    return _svg(title, WIDTH, floor + 46.0, parts)


class _Frame:
    """Where values lie on the drawing."""

    def __init__(self, x: tuple[float, float], y: tuple[float, float]) -> None:
        self._x, self._y = x, y

    def x(self, value: float) -> float:
        low, high = self._x
        return _short(LEFT + (value - low) / (high - low) * (WIDTH - LEFT - RIGHT))

    def y(self, value: float) -> float:
        low, high = self._y
        return _short(HEIGHT - BOTTOM - (value - low) / (high - low) * (HEIGHT - TOP - BOTTOM))

    def axes(self, x_name: str, y_name: str) -> list[Html]:
        floor = HEIGHT - BOTTOM
        parts = []
        values, places = ticks(*self._x, 8)
        for value in values:
            at = self.x(value)
            parts += [
                tag("line", x1=at, x2=at, y1=floor, y2=floor + 5, class_="axis"),
                tag("text", f"{value:.{places}f}", x=at, y=floor + 19, text_anchor="middle"),
            ]
        values, places = ticks(*self._y, 7)
        for value in values:
            at = self.y(value)
            parts += [
                tag("line", x1=LEFT, x2=WIDTH - RIGHT, y1=at, y2=at, class_="grid"),
                tag("text", f"{value:.{places}f}", x=LEFT - 9, y=at + 4, text_anchor="end"),
            ]
        middle = _short((TOP + floor) / 2.0)
        return [
            *parts,
            tag("path", d=f"M{LEFT},{TOP}V{floor}H{WIDTH - RIGHT}", class_="axis"),
            tag("text", x_name, x=WIDTH - RIGHT, y=HEIGHT - 6, text_anchor="end"),
            tag("text", y_name, x=16, y=middle, text_anchor="middle",
                transform=f"rotate(-90 16 {middle})"),
        ]  # fmt: skip


def _svg(title: str, width: float, height: float, parts: Sequence[Html]) -> Html:
    return tag(
        "svg",
        tag("title", title),
        join(parts),
        viewBox=f"0 0 {width:g} {height:g}",
        role="img",
        aria_label=title,
    )


def _wide(values: Sequence[float], margin: float) -> tuple[float, float]:
    low, high = min(values), max(values)
    spread = (high - low) or max(abs(high), 1e-3) * 1e-2
    return low - margin * spread, high + margin * spread + (0.0 if high > low else spread)


def _fewer(points: Sequence[Point]) -> Sequence[Point]:
    """Of very many points as many as can be told apart, the first and the last among them."""
    if len(points) <= MOST_POINTS:
        return points
    step = (len(points) - 1) / (MOST_POINTS - 1)
    return [points[round(step * n)] for n in range(MOST_POINTS)]


def _brief(name: str) -> str:
    """A name that is too long without its middle: labels often differ at their ends."""
    if len(name) <= LONGEST_NAME:
        return name
    half = (LONGEST_NAME - 1) // 2
    return f"{name[:half]}…{name[-half:]}"


def _short(value: float) -> float:
    return round(value, 2)

# SPDX-License-Identifier: MIT
"""A curve with labelled axes as lines of text. Pure: numbers in, characters out."""

from collections.abc import Sequence
from dataclasses import dataclass

from sagline.roundvalues import ticks
from sagline.tui.widgets.braille import DOTS_HIGH, DOTS_WIDE, Canvas

# Room left free above and below the curve, as a share of its height.
MARGIN = 0.06
# How much of the step is drawn beside the time under load, as a share of that time.
BEFORE, AFTER = 0.35, 1.0
Mark = tuple[float, str]


@dataclass(frozen=True)
class Curve:
    """What is drawn: points, the window of x, names, and marks as (value, text).

    `x_marks` are written below the axis, the first ones going before where they would
    touch; `y_marks` stand at the right edge.
    """

    x: tuple[float, ...]
    y: tuple[float, ...]
    x_low: float
    x_high: float
    x_name: str
    y_name: str
    x_marks: tuple[Mark, ...] = ()
    y_marks: tuple[Mark, ...] = ()


@dataclass(frozen=True)
class Row:
    """One line of the drawing in three parts, all together as wide as was asked for."""

    axis: str
    curve: str
    mark: str

    @property
    def text(self) -> str:
        return self.axis + self.curve + self.mark


def step_curve(
    t_s: Sequence[float],
    sense_v: Sequence[float],
    *,
    number: int,
    on_s: float,
    read_s: float,
    marks_v: tuple[Mark, ...],
) -> Curve:
    """Return the curve of one step: terminal voltage from shortly before load on (t = 0)
    to well after load off, marked where the load goes on, where r is read, where it goes off.
    """
    return Curve(
        tuple(t_s),
        tuple(sense_v),
        -BEFORE * on_s,
        (1.0 + AFTER) * on_s,
        "s after load on",
        f"voltage in V, repeat {number}",
        tuple((value, f"{value:g}") for value in (0.0, read_s, on_s)),
        marks_v,
    )


def draw(curve: Curve, width: int, height: int) -> list[Row]:
    """Return `height` rows of `width` characters; too small a place stays empty."""
    inside = [
        (x, y) for x, y in zip(curve.x, curve.y, strict=True) if curve.x_low <= x <= curve.x_high
    ]
    rows = height - 4
    if not inside or rows < 2 or width < 20:
        return [Row(" " * width, "", "") for _ in range(height)]
    low, high = _with_margin([y for _, y in inside])
    values, places = ticks(low, high, max(1, rows // 3))
    labels = {_row_of(value, low, high, rows): f"{value:.{places}f}" for value in values}
    margin = max((len(label) for label in labels.values()), default=0)
    columns = width - margin - 4
    canvas = Canvas(columns, rows)
    canvas.path(
        [
            (
                _place(x, curve.x_low, curve.x_high, canvas.width),
                canvas.height - 1 - _place(y, low, high, canvas.height),
            )
            for x, y in inside
        ]
    )
    marks = {_row_of(value, low, high, rows): text for value, text in curve.y_marks}
    at = [
        (_place(value, curve.x_low, curve.x_high, canvas.width) // DOTS_WIDE, text)
        for value, text in curve.x_marks
    ]
    left = " " * (margin + 1)
    drawn = [Row(_fit(curve.y_name, width), "", "")]
    for number, dots in enumerate(canvas.lines()):
        edge = f"{labels.get(number, ''):>{margin}} {'┤' if number in labels else '│'}"
        drawn.append(Row(edge, dots, f" {marks.get(number, ' ')[:1]}"))
    drawn.append(Row(f"{left}└{_axis(at, columns)}", "", "  "))
    drawn.append(Row(f"{left} {_x_labels(at, columns)}", "", "  "))
    drawn.append(Row(f"{left} {_fit(curve.x_name.rjust(columns), columns)}", "", "  "))
    return drawn


def _with_margin(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    # A flat line is given a height, so that it lies in the middle.
    spread = (high - low) or max(abs(high), 1e-3) * 1e-3
    return low - MARGIN * spread, high + MARGIN * spread


def _place(value: float, low: float, high: float, dots: int) -> int:
    return round((value - low) / (high - low) * (dots - 1))


def _row_of(value: float, low: float, high: float, rows: int) -> int:
    dots = rows * DOTS_HIGH
    return (dots - 1 - _place(value, low, high, dots)) // DOTS_HIGH


def _axis(at: Sequence[tuple[int, str]], columns: int) -> str:
    places = {column for column, _ in at}
    return "".join("┬" if column in places else "─" for column in range(columns))


def _x_labels(at: Sequence[tuple[int, str]], columns: int) -> str:
    line = [" "] * columns
    for column, text in at:
        start = max(0, min(column - (len(text) - 1) // 2, columns - len(text)))
        room = line[max(0, start - 1) : start + len(text) + 1]
        if all(character == " " for character in room):
            line[start : start + len(text)] = text
    return "".join(line)


def _fit(text: str, width: int) -> str:
    return text[:width].ljust(width)

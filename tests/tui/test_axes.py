# SPDX-License-Identifier: MIT
"""Round values on axes, and a curve with them as text."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagline.tui.widgets.axes import Curve, draw, step_curve, ticks

FLAT_THEN_SAG = step_curve(
    [-0.2, -0.1, -0.001, 0.001, 0.1, 0.299, 0.301, 0.5],
    [1.6, 1.6, 1.6, 1.5, 1.49, 1.48, 1.58, 1.59],
    number=3,
    on_s=0.3,
    read_s=0.1,
    marks_v=((1.6, "E"), (1.49, "V")),
)


def test_ticks_are_round() -> None:
    values, places = ticks(1.4734, 1.6066, 4)
    assert values == pytest.approx([1.5, 1.55, 1.6]) and places == 2
    assert ticks(0.0, 10.0, 3) == ([0.0, 5.0, 10.0], 0)
    assert ticks(1.0, 1.0, 3) == ([], 0)


@given(st.floats(-20.0, 20.0), st.floats(1e-5, 20.0), st.integers(min_value=1, max_value=12))
def test_ticks_lie_inside_are_few_and_are_told_apart(low: float, span: float, most: int) -> None:
    values, places = ticks(low, low + span, most)
    assert len(values) <= most
    assert all(low - 1e-6 * span <= value <= low + (1 + 1e-6) * span for value in values)
    assert len({f"{value:.{places}f}" for value in values}) == len(values)
    # Any span holds a round value if there may be at least a handful of them.
    assert values or most < 5


@pytest.mark.parametrize(("width", "height"), [(31, 14), (71, 30), (20, 6)])
def test_a_drawing_fills_its_place(width: int, height: int) -> None:
    rows = draw(FLAT_THEN_SAG, width, height)
    assert len(rows) == height
    assert {len(row.text) for row in rows} == {width}


def test_axes_are_named_and_marked_where_they_should_be() -> None:
    rows = [row.text for row in draw(FLAT_THEN_SAG, 71, 30)]
    assert rows[0].startswith("voltage in V, repeat 3")
    assert rows[-1].rstrip().endswith("s after load on")
    assert rows[-2].split() == ["0", "0.1", "0.3"]
    assert [rows[-3][rows[-2].index(text)] for text in ("0",)] == ["┬"]
    at_e = next(number for number, row in enumerate(rows) if row.endswith("E"))
    at_v = next(number for number, row in enumerate(rows) if row.endswith("V"))
    assert at_e < at_v
    # The level before the load is drawn where E is marked.
    curve = [row.curve for row in draw(FLAT_THEN_SAG, 71, 30)]
    assert curve[at_e][:3].strip()


def test_the_window_leaves_out_what_is_far_from_the_load() -> None:
    far = Curve((-5.0, 0.0, 0.1), (99.0, 1.0, 1.1), -0.1, 0.6, "x", "y")
    labels = "".join(row.axis for row in draw(far, 60, 20))
    assert "99" not in labels and "1.1" in labels


def test_labels_that_would_touch_are_left_out() -> None:
    close = Curve((0.0, 1.0), (0.0, 1.0), 0.0, 1.0, "x", "y", ((0.5, "half"), (0.52, "more")))
    assert draw(close, 30, 10)[-2].text.split() == ["half"]


@pytest.mark.parametrize("values", [(1.5, 1.5, 1.5), (0.0, 0.0, 0.0)])
def test_a_flat_line_lies_in_the_middle(values: tuple[float, ...]) -> None:
    rows = draw(Curve((0.0, 0.5, 1.0), values, 0.0, 1.0, "x", "y"), 40, 14)
    drawn = [number for number, row in enumerate(rows) if row.curve.strip()]
    assert drawn and set(drawn) <= {5, 6}


@pytest.mark.parametrize(("width", "height"), [(0, 0), (5, 3), (19, 14), (40, 5)])
def test_too_small_a_place_stays_empty(width: int, height: int) -> None:
    rows = draw(FLAT_THEN_SAG, width, height)
    assert [row.text for row in rows] == [" " * width] * height

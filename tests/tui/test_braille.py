# SPDX-License-Identifier: MIT
"""Dots to characters. Numbering of the dots: Unicode chart U+2800, Braille Patterns."""

import pytest

from sagline.tui.widgets.braille import Canvas

# Unicode numbers the dots 1-2-3-7 down the left, 4-5-6-8 down the right column; bit n-1 is dot n.
DOT_NUMBER = {
    (0, 0): 1,
    (0, 1): 2,
    (0, 2): 3,
    (0, 3): 7,
    (1, 0): 4,
    (1, 1): 5,
    (1, 2): 6,
    (1, 3): 8,
}


@pytest.mark.parametrize("place", DOT_NUMBER)
def test_each_dot_is_its_unicode_bit(place: tuple[int, int]) -> None:
    canvas = Canvas(1, 1)
    canvas.dot(*place)
    assert canvas.lines() == [chr(0x2800 + (1 << (DOT_NUMBER[place] - 1)))]


def test_lines_hold_both_ends_and_no_gap() -> None:
    diagonal = Canvas(2, 1)
    diagonal.line(0, 0, 3, 3)
    assert diagonal.lines() == ["⠑⢄"]
    straight = Canvas(2, 1)
    straight.line(3, 1, 0, 1)
    assert straight.lines() == ["⠒⠒"]
    upright = Canvas(1, 2)
    upright.line(0, 7, 0, 0)
    assert upright.lines() == ["⡇", "⡇"]


def test_a_path_of_one_point_is_a_dot_and_outside_is_left_out() -> None:
    canvas = Canvas(1, 1)
    canvas.path([(0, 3)])
    canvas.path([(9, 9)])
    canvas.path([])
    assert canvas.lines() == ["⡀"]

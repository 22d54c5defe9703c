# SPDX-License-Identifier: MIT
"""The diode's operating point, and its place among parts of its class (from memory)."""

import pytest

from sagline.virtual.schottky import BLOCKING


def test_typical_drops() -> None:
    assert BLOCKING.drop_v(0.35) == pytest.approx(0.35, abs=0.01)
    assert 0.48 < BLOCKING.drop_v(5.0) < 0.58


@pytest.mark.parametrize(
    "source_v, source_ohm", [(1.58, 3.5), (16.5, 3.4), (9.4, 1.4e5), (0.02, 5.0)]
)
def test_operating_point_satisfies_the_loop(source_v: float, source_ohm: float) -> None:
    current, intercept_v, ohm = BLOCKING.through(source_v, source_ohm)
    assert BLOCKING.drop_v(current) + source_ohm * current == pytest.approx(source_v, abs=1e-9)
    assert intercept_v + ohm * current == pytest.approx(BLOCKING.drop_v(current), abs=1e-9)
    step = 1e-4 * current
    rise_v = BLOCKING.drop_v(current + step) - BLOCKING.drop_v(current - step)
    assert ohm == pytest.approx(rise_v / (2 * step), rel=1e-6)


def test_reversed_it_blocks() -> None:
    current, _, ohm = BLOCKING.through(-16.5, 1.4e5)
    assert current == pytest.approx(-BLOCKING.saturation_a, rel=1e-6)
    assert ohm > 1e9


def test_the_tangent_of_a_conducting_diode_does_not_serve_a_blocking_one() -> None:
    _, conducting_v, conducting_ohm = BLOCKING.through(1.58, 3.5)
    _, blocking_v, blocking_ohm = BLOCKING.through(-4.0, 1.4e5)
    below = -1.5 * BLOCKING.saturation_a
    assert BLOCKING.tangent_error_v(conducting_v, conducting_ohm, below) == float("inf")
    assert BLOCKING.tangent_error_v(blocking_v, blocking_ohm, below) == 0.0
    assert BLOCKING.tangent_error_v(blocking_v, blocking_ohm, 0.3) > 1.0

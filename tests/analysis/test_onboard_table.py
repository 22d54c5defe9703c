# SPDX-License-Identifier: MIT
"""The on-board converter's table against drawn converters, and its wide codes."""

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, Cell, make_step
from bench.true_calibration import calibration_of, true_correction_lsb
from sagline.analysis.estimate import estimate
from sagline.analysis.onboard_table import OnboardTable, corrected, straddled
from sagline.analysis.values import AnalysisError, RawStep
from sagline.virtual.parts import draw_parts


@pytest.mark.parametrize("wide_codes", [True, False])
def test_a_table_undoes_a_drawn_converter(wide_codes: bool) -> None:
    """Knots every 16 codes: what is left of a half cosine over 128 codes is h²/8 of its curvature,
    16²/8 · 3.55 (π/128)² = 0.07 LSB; twice that with 8 LSB of it (no wide codes)."""
    for seed in range(6):
        parts = draw_parts(np.random.default_rng(seed), wide_codes)
        found = calibration_of(
            parts, serial="one", rng=np.random.default_rng(1), residual_lsb=0.0
        ).onboard_table
        assert found is not None
        table = OnboardTable(tuple(found.code), tuple(found.correction_lsb))
        ideal = np.arange(20.0, 4070.0, 0.37)
        output = ideal + parts.converters[0].linearity.at(ideal)
        clear = np.array([straddled(code, code) is None for code in output])
        left = (table.corrected(output) - ideal)[clear | (not wide_codes)]
        assert np.abs(left).max() < 0.2
        assert np.abs(output - ideal).max() > 3.0


def test_the_true_correction_is_the_middle_inside_a_wide_code() -> None:
    parts = draw_parts(np.random.default_rng(3), wide_codes=True)
    at = true_correction_lsb(parts, np.array([1535.0, 1536.0, 1537.0]))
    # 8.9 LSB of the input give this one code (RP2040 erratum E11); the bow stretches them by
    # at most 3.55 LSB half a cosine over 128 codes, 9 %.
    assert at[2] - at[0] == pytest.approx(8.9, abs=0.9)
    assert at[1] == pytest.approx(0.5 * (at[0] + at[2]), abs=0.4)


def step(codes: list[float], source: int = 0, n: int = 10) -> RawStep:
    count = len(codes)
    return RawStep(
        source=np.full(count, source), start_us=np.arange(count), length_us=np.arange(count) + 1,
        n=np.full(count, n), total=np.array([round(n * code) for code in codes]),
        edges_us=(1,), load=0, range_high=False, segments=((0, 1),),
    )  # fmt: skip


def test_only_the_on_board_converters_sums_are_corrected_and_ends_are_left() -> None:
    table = OnboardTable((0.0, 1000.0, 4095.0), (-1.0, 3.0, 3.0))
    raw = step([0.0, 500.0, 2000.25, 4095.0])
    found = corrected(raw, table, 4095)
    assert (found.total / found.n).tolist() == pytest.approx([0.0, 501.0, 2003.2, 4095.0])
    assert raw.total.tolist() == [0, 5000, 20002, 40950], "the record stays"
    other = step([500.0], source=4)
    assert corrected(other, table, 4095).total.tolist() == [5000.0]
    empty = step([0.0], n=0)
    assert corrected(empty, table, 4095).total.tolist() == [0.0]


def test_a_clipped_step_still_shows_as_clipped() -> None:
    from sagline.analysis.calibrated import Calibration

    table = OnboardTable((0.0, 4095.0), (-8.0, -8.0), 0.3)
    high = make_step(Cell(7.0, 0.1), converter=0)
    full = RawStep(
        **{name: getattr(high, name) for name in ("source", "start_us", "length_us", "n")},
        total=np.minimum(high.total, high.n * 4095), edges_us=high.edges_us, load=0,
        range_high=False, segments=high.segments,
    )  # fmt: skip
    with pytest.raises(AnalysisError) as caught:
        estimate([full], PROFILE, 0, calibration=Calibration("x", table=table))
    assert caught.value.code == "clipped"


@pytest.mark.parametrize(
    ("open_code", "loaded_code", "expected"),
    [
        (1100.0, 1000.0, None),
        (1600.0, 1500.0, 1536),
        (1500.0, 1600.0, 1536),
        (520.0, 515.0, None),
        (520.0, 514.5, 512),
        (508.5, 509.5, 512),
        (3000.0, 400.0, 512),
        (4000.0, 3588.0, None),
    ],
)
def test_a_step_across_or_at_a_wide_code_is_told(
    open_code: float, loaded_code: float, expected: int | None
) -> None:
    assert straddled(open_code, loaded_code) == expected

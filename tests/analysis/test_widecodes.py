# SPDX-License-Identifier: MIT
"""Wide codes of the RP2040's converter (data sheet, erratum E11) without a table of the board."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, WIDE_PROFILE, Cell, Rig, make_step
from analysis.any_course import both
from sagline.analysis.calibrated import Calibration
from sagline.analysis.estimate import estimate
from sagline.analysis.values import AnalysisError, RawStep
from sagline.analysis.widecodes import crossing, nominal_table
from sagline.virtual.linearity import onboard_curve

LR6 = Cell(1.58, 0.12, 0.05, 0.2)


def wide(code):
    """Ideal codes as a converter gives them whose codes 512, 1536, ... are 8.9 LSB too wide:
    counted code by code from the widths, apart from any closed form."""
    widths = np.ones(4200)
    widths[[512, 1536, 2560, 3584]] += 8.9
    # All others are narrower, so that a thousand codes still span a thousand LSB.
    per_kilo = (1024 - 9.9) / 1023
    widths[widths == 1.0] = per_kilo
    upper = np.cumsum(widths)
    upper += 512.5 - 0.5 * (upper[511] + upper[512])
    return np.interp(code, upper - 0.5 * widths, np.arange(4200.0))


def bent(raw: RawStep) -> RawStep:
    total = raw.total.astype(float)
    onboard = raw.source < 4
    total[onboard] = (raw.n * wide(raw.total / np.maximum(raw.n, 1)))[onboard]
    return replace(raw, total=np.rint(total).astype(np.int64))


def test_the_nominal_table_undoes_the_widths_between_wide_codes() -> None:
    table = nominal_table(4095, 8.9)
    for low, high in ((530.0, 1510.0), (1560.0, 2540.0), (2590.0, 3560.0)):
        ideal = np.arange(low, high, 7.3)
        left = table.corrected(wide(ideal)) - ideal
        # Half a code of offset at most, and that the same at all of them.
        assert np.ptp(left) < 0.2 and abs(left.mean()) < 0.6
        assert np.abs(wide(ideal) - ideal).max() > 4.0


def test_it_undoes_what_the_virtual_rig_draws() -> None:
    curve = onboard_curve(np.random.default_rng(3), 4095, 4.45 + 0.2501, wide_codes=True)
    ideal = np.arange(540.0, 1500.0, 3.7)
    table = nominal_table(4095, 8.9)
    # Fine blocks of 0.25 LSB are left.
    assert np.abs(table.corrected(ideal + curve.at(ideal)) - ideal).max() < 0.3


def test_r_between_wide_codes_is_right() -> None:
    raws = [bent(make_step(LR6, converter=0, rng=np.random.default_rng(n), rest_s=1.0))
            for n in range(5)]  # fmt: skip
    assert crossing(raws[0]) is None
    true = LR6.r_at(0.1, sum(Rig().loop_ohm(0)))
    assert estimate(raws, WIDE_PROFILE, 0).r_at[0][1].value == pytest.approx(true, rel=4e-3)
    # Not undone, the narrow codes make it 0.9 % too large.
    left = estimate(raws, PROFILE, 0)
    assert left.r_at[0][1].value == pytest.approx(1.0087 * true, rel=4e-3)


def crossed(cell: Cell) -> list[RawStep]:
    return [bent(both(cell, np.random.default_rng(n), rest_s=1.0)) for n in range(3)]


def test_a_step_across_one_is_refused_or_done_without() -> None:
    # Code 1536 is 1.125 V at the pin, 2.44 V at the cell.
    raws = crossed(Cell(2.46, 0.12, 0.05, 0.2))
    assert crossing(raws[0]) == 1536
    with pytest.raises(AnalysisError) as caught:
        estimate([replace(raw, source=np.where(raw.source < 4, raw.source, 99)) for raw in raws],
                 WIDE_PROFILE, 0)  # fmt: skip
    assert caught.value.code == "wide_code" and "--load" in caught.value.remedy
    found = estimate(raws, WIDE_PROFILE, 1)
    assert "wide_code" in {notice.code for notice in found.notices}
    assert found.ohmic[0] == 4e-3
    # A chip without wide codes is not asked.
    assert estimate(raws, PROFILE, 1).ohmic[0] == 1e-4


@pytest.mark.parametrize("open_v", [2.430, 2.436, 2.442, 2.448])
def test_with_a_table_a_level_on_one_is_carried_in_u(open_v: float) -> None:
    """The open level anywhere within code 1536, whose input volts the converter answers alike:
    its middle is taken, and U(E) is half of the code's width or more."""
    cell = Cell(open_v, 0.12, 0.05, 0.2)
    raws = [bent(make_step(cell, converter=0, rng=np.random.default_rng(n), rest_s=1.0))
            for n in range(3)]  # fmt: skip
    half_v = 4.45 * 3.0 / 4096 / 0.411
    table = replace(nominal_table(4095, 8.9), residual_lsb=0.3, span_codes=16.0)
    found = estimate(raws, WIDE_PROFILE, 0, calibration=Calibration("one", table=table))
    assert "wide_code" in {notice.code for notice in found.notices}
    low, high = found.emf.low95, found.emf.high95
    assert low is not None and high is not None
    assert low < open_v < high
    assert 0.9 * half_v < 0.5 * (high - low) < 2.5 * half_v
    r = found.r_at[0][1]
    assert r.low95 is not None and r.high95 is not None
    assert r.low95 < cell.r_at(0.1, sum(Rig().loop_ohm(0))) < r.high95


def test_with_a_table_levels_away_from_one_are_as_sure_as_ever() -> None:
    raws = [bent(make_step(LR6, converter=0, rng=np.random.default_rng(n), rest_s=1.0))
            for n in range(3)]  # fmt: skip
    table = replace(nominal_table(4095, 8.9), residual_lsb=0.3, span_codes=16.0)
    known = Calibration("one", table=table)
    wide_u, plain_u = (
        estimate(raws, profile, 0, calibration=known).emf.u for profile in (WIDE_PROFILE, PROFILE)
    )
    assert wide_u == pytest.approx(plain_u, rel=1e-6)

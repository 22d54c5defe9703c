# SPDX-License-Identifier: MIT
"""The step at release against what the loaded part lets expect."""

import re
from dataclasses import replace

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, Cell, Rig, make_step
from sagline.analysis.estimate import estimate
from sagline.analysis.values import RawStep

LR6 = Cell(1.58, 0.12, 0.05, 0.2)


def steps(cell: Cell = LR6, count: int = 3) -> list[RawStep]:
    return [make_step(cell, rng=np.random.default_rng(seed), rest_s=1.0) for seed in range(count)]


def said(raws: list[RawStep]) -> list[str]:
    notices = estimate(raws, PROFILE, 1).notices
    return [notice.text for notice in notices if notice.code == "rebound_differs"]


@pytest.mark.parametrize("cell", [LR6, Cell(1.58, 0.16), Cell(1.3, 0.02, 0.01, 0.05)])
def test_a_linear_cell_comes_back_as_it_went(cell: Cell) -> None:
    assert not said(steps(cell))


def test_a_contact_that_was_worse_under_load_is_told() -> None:
    """30 mohm of contact at 0.33 A that has gone at release: 10 mV more come back."""
    raws = []
    for raw in steps():
        per_volt = Rig().code(1, 0, 1.0, False) - Rig().code(1, 0, 0.0, False)
        after = (raw.source == 4) & (raw.start_us >= raw.edges_us[1])
        raised = raw.total + np.where(after, np.rint(raw.n * 0.010 * per_volt), 0).astype(np.int64)
        raws.append(replace(raw, total=raised))
    (text,) = said(raws)
    loop_ohm = sum(Rig().loop_ohm(0))
    r = {t_s: LR6.r_at(t_s, loop_ohm) for t_s in (0.1, 0.3, 0.4)}
    expected = r[0.1] + r[0.3] - r[0.4]
    back, wanted = (float(word) for word in re.findall(r"(0\.\d+) Ω", text))
    assert wanted == pytest.approx(expected, rel=0.01)
    assert back == pytest.approx(expected + 0.010 / LR6.loaded(0.3, loop_ohm)[1], rel=0.02)


def test_a_short_recovery_says_nothing() -> None:
    raws = [make_step(LR6, rng=np.random.default_rng(1), rest_s=1.0, recovery_s=0.1)]
    assert not said(raws * 2)

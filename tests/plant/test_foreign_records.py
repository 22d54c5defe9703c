# SPDX-License-Identifier: MIT
"""Waveforms of cells in a circuit simulator as another instrument would have written them.

The truth is read off the waveform by the definition of r(t); neither the virtual rig nor the
recorder of boards' records has a part in it."""

import numpy as np
import pytest

from analysis.foreign_records import as_csv
from plant import measured
from plant.cases import HEADLINE_S
from plant.cells import CELLS
from sagline.computing import result_of
from sagline.filecsv import parse
from sagline.filerecord import FileOptions, FileRecord
from sagline.results import Result
from sagline_board import profile

pytestmark = pytest.mark.skipif(measured.NO_NGSPICE, reason=measured.WHY)

BIAS = 0.003
"""Of r(0.1 s), without noise."""
DIGITS = 7


def analysed(text: str) -> Result:
    from datetime import UTC, datetime

    record = FileRecord.of(
        parse(text), "plant.csv", datetime.now(UTC), FileOptions.model_validate({}),
        label=None, designation=None, operator=None, temperature_c=None,
    )  # fmt: skip
    return result_of(record)


def instants_s(end_s: float, readings_per_s: float, seed: int) -> np.ndarray:
    """From 0.3 to 1.7 of the mean spacing apart."""
    rng = np.random.default_rng(seed)
    gaps = rng.uniform(0.3, 1.7, int(end_s * readings_per_s)) / readings_per_s
    t_s = np.round(np.cumsum(gaps), DIGITS)
    return t_s[t_s < end_s]


@pytest.mark.parametrize("name", CELLS)
@pytest.mark.parametrize("readings_per_s", (430.0, 2000.0))
def test_a_current_finds_r_and_e(name: str, readings_per_s: float) -> None:
    run = measured.run(CELLS[name])
    t_s = instants_s(run.t_s[-1], readings_per_s, 1)
    columns = {
        "time_s": t_s,
        "sense_v": np.interp(t_s, run.t_s, run.terminal_v),
        "current_a": np.interp(t_s, run.t_s, run.cell_a),
    }
    result = analysed(as_csv(columns, DIGITS))
    truth_ohm = run.r_ohm(HEADLINE_S)
    assert len(result.repeats) == len(run.on_s) and not result.rejected
    assert result.r_ohm.value == pytest.approx(truth_ohm, rel=BIAS)
    for figure, truth in (
        (result.r_ohm, truth_ohm),
        (result.r_ohmic_ohm, run.r_ohm(result.r_ohmic_ohm.from_s)),
    ):
        assert figure.low95 <= truth <= figure.high95
    # Narrow all the same: the readings leave the instant of switching open, no more.
    assert result.r_ohm.u < 2e-3 * truth_ohm
    # The dividers draw some microamperes, which the open voltage is less by.
    assert result.emf_v.value == pytest.approx(run.emf_v(), rel=2e-4)


@pytest.mark.parametrize("name", ("LR6", "CR2032", "18650"))
def test_a_force_voltage_below_a_diode_finds_r(name: str) -> None:
    cell = CELLS[name]
    run = measured.run(cell)
    bank = profile.LOADS[cell.load]
    t_s = instants_s(run.t_s[-1], 1000.0, 2)
    columns = {
        "time_s": t_s,
        "sense_v": np.interp(t_s, run.t_s, run.terminal_v),
        "force_v": np.interp(t_s, run.t_s, run.force_v),
        "return_v": np.interp(t_s, run.t_s, run.return_v),
    }
    result = analysed(
        as_csv(
            columns,
            DIGITS,
            load_ohm=bank["load_milliohm"] / 1e3,
            switch_ohm=bank["switch_milliohm"] / 1e3,
        )
    )
    assert result.r_ohm.value == pytest.approx(run.r_ohm(HEADLINE_S), rel=BIAS)

# SPDX-License-Identifier: MIT
"""The truth against the cell's own parameters, the measurement equation and typical ranges."""

import json
from dataclasses import replace

import numpy as np
import pytest

from sagline.designations import DESIGNATIONS, find
from sagline.errors import UsageError
from sagline.virtual.cells import CELLS, Cell
from sagline.virtual.circuit import Circuit
from sagline.virtual.parts import draw_parts
from sagline.virtual.truth import truth
from sagline_board import profile


def resistance(answer: dict, t_s: float) -> float:
    return next(item["value"] for item in answer["truth"]["r_at"] if item["t_s"] == t_s)


@pytest.mark.parametrize("cell", CELLS.values(), ids=CELLS.keys())
def test_shape(cell: Cell) -> None:
    answer = truth(cell, None, [1.0, 0.02])
    assert set(answer) == {"truth"}
    assert set(answer["truth"]) == {"emf_v", "r_instant_ohm", "r_at", "load_ohm"}
    assert [item["t_s"] for item in answer["truth"]["r_at"]] == [0.02, 0.1, 1.0]
    assert answer["truth"]["emf_v"] == cell.emf_v
    assert answer["truth"]["r_instant_ohm"] == pytest.approx(cell.r_instant_ohm, rel=1e-9)
    assert answer["truth"]["load_ohm"] == DESIGNATIONS[cell.designation].load_ohm
    assert json.loads(json.dumps(answer)) == answer
    assert truth(cell, None, [0.1, 0.1])["truth"]["r_at"] == truth(cell)["truth"]["r_at"]


@pytest.mark.parametrize("cell", CELLS.values(), ids=CELLS.keys())
def test_at_small_current_it_is_the_step_response(cell: Cell) -> None:
    """Into a large resistor the current is constant, so r(t) = r + Σ R·(1 − e^(−t/τ)) + w·√t,
    and the EMF falls by its slope over the capacity for each coulomb."""
    times = [0.001, 0.01, 0.1, 1.0]
    answer = truth(cell, 1000.0, times)
    for t_s in times:
        pairs = sum(ohm * -np.expm1(-t_s / tau_s) for ohm, tau_s in cell.rc)
        diffusion = cell.diffusion_ohm_per_sqrt_s * np.sqrt(t_s)
        charge = cell.emf_slope_v / (cell.capacity_ah * 3600.0) * t_s
        expected = cell.r_instant_ohm + pairs + diffusion + charge
        assert resistance(answer, t_s) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    "name, mask, load_ohm, high", [("lr6", 1, 3.3, False), ("6lr61", 4, 68.0, True)]
)
def test_a_perfect_reading_of_any_rig_finds_it(
    name: str, mask: int, load_ohm: float, high: bool
) -> None:
    """r = ΔV/(I − G·ΔV), E = V_open·(1 + r·G), I = (V_force − V_return)/(R_load + R_switch).

    E leaves out the microamperes that the channels' lifts send back, hence its tolerance.
    """
    cell = CELLS[name]
    parts = replace(draw_parts(np.random.default_rng(21)), sense_path_ohm=0.0)
    circuit = Circuit(cell, parts)
    circuit.switch(0, high)
    circuit.advance(5.0)
    open_v = circuit.voltage()
    circuit.switch(mask, high)
    sense_v, force_v, return_v = circuit.taps(np.array([0.1]), np.zeros(1))[:, 0]
    k = mask.bit_length() - 1
    current_a = (force_v - return_v) / (parts.load_ohm[k] + parts.switch_ohm[k])
    siemens = sum(
        parts.channels[c].loading(parts.reference_v, high)[0]
        for c in (profile.SENSE, profile.FORCE)
    )
    drop_v = open_v - sense_v
    r_ohm = drop_v / (current_a - siemens * drop_v)
    assert r_ohm == pytest.approx(resistance(truth(cell, load_ohm), 0.1), rel=1e-4)
    # 5 s of the dividers' microamperes have polarised the cell by w·√5 s times them.
    assert open_v * (1 + r_ohm * siemens) == pytest.approx(cell.emf_v, rel=2e-5)


def test_the_load_matters_little_but_its_value_is_used() -> None:
    heavy, light = truth(CELLS["lr6"], 1.0, [1.0]), truth(CELLS["lr6"], 22.0, [1.0])
    assert light["truth"]["load_ohm"] == 22.0
    assert resistance(heavy, 1.0) == pytest.approx(resistance(light, 1.0), rel=0.02)
    assert resistance(heavy, 1.0) != resistance(light, 1.0)


@pytest.mark.parametrize("load_ohm", [0.0, -3.3, float("nan")])
def test_a_load_of_nothing_or_less_is_refused(load_ohm: float) -> None:
    with pytest.raises(UsageError, match=r"^--load must be greater than 0 Ω, not") as caught:
        truth(CELLS["lr6"], load_ohm)
    assert caught.value.code == "bad_load"


@pytest.mark.parametrize("load_ohm", [1e-9, 1e9, float("inf")])
def test_a_load_beyond_the_circuits_digits_is_refused(load_ohm: float) -> None:
    with pytest.raises(UsageError, match=r"--load must be from 0\.001 to 1e"):
        truth(CELLS["lr6"], load_ohm)


@pytest.mark.parametrize("t_s", [-0.1, float("nan"), float("inf"), 101.0])
def test_a_time_outside_the_model_of_diffusion_is_refused(t_s: float) -> None:
    with pytest.raises(UsageError, match="--at must be from 0 to 100 s"):
        truth(CELLS["lr6"], None, [t_s])


def test_without_a_designation_the_load_must_be_stated() -> None:
    for designation, named in (("", "A cell without one"), ("LR99", "LR99")):
        cell = replace(CELLS["lr6"], designation=designation)
        with pytest.raises(UsageError, match=f"{named} has no planned load.*--load"):
            truth(cell)
        assert truth(cell, 3.3) == truth(CELLS["lr6"])
    assert truth(replace(CELLS["lr6"], designation="lr6")) == truth(CELLS["lr6"])


def test_designations_are_keyed_and_loaded_from_the_bank() -> None:
    bank = {entry["load_milliohm"] / 1000 for entry in profile.LOADS}
    planned = {name: kind.load_ohm for name, kind in DESIGNATIONS.items()}
    assert planned == {
        "LR6": 3.3,
        "LR03": 15.0,
        "6LR61": 68.0,
        "CR2032": 470.0,
        "HR6": 3.3,
        "ICR18/65": 3.3,
        "IFpR26/65": 3.3,
        "PB12": 15.0,
    }
    assert set(planned.values()) <= bank
    for name, kind in DESIGNATIONS.items():
        assert kind.designation == name
        assert kind.low_v < kind.nominal_v < kind.high_v
    rechargeable = {name for name, kind in DESIGNATIONS.items() if kind.rechargeable}
    assert rechargeable == {"HR6", "ICR18/65", "IFpR26/65", "PB12"}
    assert find("ifpr26/65") is DESIGNATIONS["IFpR26/65"]
    assert find("nothing") is None

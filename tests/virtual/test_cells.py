# SPDX-License-Identifier: MIT
"""The catalogue against the ranges it claims and those usual in the trade."""

from dataclasses import fields

import pytest

from sagline.designations import DESIGNATIONS
from sagline.virtual.address import parse
from sagline.virtual.cells import CATALOGUE, CELLS, Cell
from sagline.virtual.clock import VirtualClock
from sagline.virtual.port import build_hardware
from sagline.virtual.truth import truth

NAMES = ["lr6", "lr6-worn", "6lr61", "cr2032", "18650", "lfp", "hr6", "sla12", "starter12"]

# r at 0.1 s in ohm, usual for the kind (from memory); a worn cell has more.
USUAL_OHM = {
    "lr6": (0.1, 0.3),
    "lr6-worn": (0.3, 0.9),
    "6lr61": (1.0, 3.0),
    "cr2032": (10.0, 40.0),
    "18650": (0.015, 0.080),
    "lfp": (0.006, 0.015),
    "hr6": (0.015, 0.050),
    "sla12": (0.015, 0.030),
    "starter12": (0.003, 0.008),
}

every_cell = pytest.mark.parametrize("name", NAMES)


def test_the_catalogue_is_its_folder() -> None:
    assert list(CELLS) == NAMES
    assert {path.stem for path in CATALOGUE.iterdir()} == set(NAMES)


@every_cell
def test_every_value_lies_in_the_range_that_its_origin_states(name: str) -> None:
    cell = CELLS[name]
    values: dict[str, list[float]] = {
        f.name: [getattr(cell, f.name)]
        for f in fields(Cell)
        if f.name not in ("name", "title", "designation", "rc", "origin")
    }
    values |= {"rc_ohm": [ohm for ohm, _ in cell.rc], "rc_s": [tau_s for _, tau_s in cell.rc]}
    assert set(cell.origin) == set(values)
    for key, origin in cell.origin.items():
        assert origin.low < origin.high
        assert "from memory" in origin.text
        for value in values[key]:
            assert origin.low <= value <= origin.high, key


@every_cell
def test_names_and_designations(name: str) -> None:
    cell = CELLS[name]
    assert cell.name == name
    assert DESIGNATIONS[cell.designation].low_v < cell.emf_v < DESIGNATIONS[cell.designation].high_v
    # Flat, it is not beyond what its kind falls to, by more than a quarter.
    assert cell.emf_v - cell.emf_slope_v > 0.75 * DESIGNATIONS[cell.designation].low_v


@every_cell
def test_resistance_is_usual_for_the_kind(name: str) -> None:
    low, high = USUAL_OHM[name]
    assert low < truth(CELLS[name])["truth"]["r_at"][0]["value"] < high


@pytest.mark.parametrize(
    ("name", "lightest", "densest"), [("starter12", 1.26, 1.30), ("sla12", 1.29, 1.33)]
)
def test_lead_acid_follows_the_density_of_its_acid(
    name: str, lightest: float, densest: float
) -> None:
    """E of one of six cells is the acid's density in kg/l plus 0.84 V (common practice); charged,
    1.28 kg/l is usual in a starter battery and 1.31 in a sealed one (from memory)."""
    assert lightest < CELLS[name].emf_v / 6.0 - 0.84 < densest


@every_cell
def test_the_seed_draws_the_rig_and_never_the_cell(name: str) -> None:
    rigs = [
        build_hardware(parse(f"virtual://{name}?seed={seed}"), VirtualClock(real_pace=False))
        for seed in range(5)
    ]
    assert all(rig.circuit.cell == CELLS[name] for rig in rigs)
    assert len({rig.circuit.parts.load_ohm for rig in rigs}) == 5

# SPDX-License-Identifier: MIT
"""The cell's temperature from a thermistor: a maker's table, its error, broken leads."""

import math

import numpy as np
import pytest

from sagline.analysis.thermistor import SHAPE_LIMIT_K_PER_K, ThermistorProfile, cell_temperature
from sagline.analysis.values import AnalysisError
from sagline.virtual.thermistor import VirtualThermistor
from sagline_board import profile

PROFILE = ThermistorProfile.from_integers(profile.THERMISTOR)
SUPPLY = 26_300
# R/R25 of the usual 10 kohm bead (B25/100 3988 K, the curve that its maker numbers 8016; from
# memory of the table in its data sheet).
TABLE = {0: 3.265, 10: 1.990, 20: 1.249, 25: 1.0, 30: 0.8057, 40: 0.5327, 50: 0.3603}


def bead(ratio: float) -> int:
    return round(SUPPLY * ratio / (1.0 + ratio))


@pytest.mark.parametrize(("celsius", "ratio"), TABLE.items())
def test_a_makers_table_departs_by_no_more_than_the_shape_may(celsius: int, ratio: float) -> None:
    found = cell_temperature(PROFILE, bead(ratio), SUPPLY)
    assert abs(found.celsius - celsius) <= SHAPE_LIMIT_K_PER_K * abs(celsius - 25) + 0.02
    # The part of it that the one B value is to blame for, by hand: 3950 instead of the curve.
    kelvin = 1.0 / (1.0 / 298.15 + math.log(ratio) / 3950.0)
    assert found.celsius == pytest.approx(kelvin - 273.15, abs=0.02)


def test_at_25_degrees_only_resistors_and_contact_count() -> None:
    """dT = T^2/B times 1 % and 0.1 %: 0.225 K and 0.0225 K; 0.5 K of contact; all rectangular."""
    found = cell_temperature(PROFILE, SUPPLY // 2, SUPPLY)
    assert found.celsius == pytest.approx(25.0, abs=0.01)
    by_hand = math.sqrt((0.2250**2 + 0.0225**2 + 0.5**2) / 3.0)
    assert found.u_k == pytest.approx(by_hand, rel=0.01)


@pytest.mark.parametrize("celsius", [5.0, 23.0, 40.0])
def test_drawn_beads_lie_within_the_interval_and_not_all_well_within(celsius: float) -> None:
    off = []
    for seed in range(400):
        codes = VirtualThermistor(np.random.default_rng(seed)).codes(celsius)
        found = cell_temperature(PROFILE, *codes)
        off.append((found.celsius - celsius) / found.u_k)
    assert abs(np.mean(off)) < 0.15
    # Of a few rectangles 2 u hold 95 to 100 %; the curve's shape, which no bead here has, widens.
    assert np.mean(np.abs(off) <= 2.0) >= 0.95
    assert np.std(off) > 0.6


@pytest.mark.parametrize(
    ("codes", "code"),
    [((26_290, SUPPLY), "thermistor_open"), ((20, SUPPLY), "thermistor_shorted"),
     ((0, 0), "thermistor_open")],
)  # fmt: skip
def test_a_lead_that_tells_nothing_is_told(codes: tuple[int, int], code: str) -> None:
    with pytest.raises(AnalysisError) as caught:
        cell_temperature(PROFILE, *codes)
    assert caught.value.code == code

# SPDX-License-Identifier: MIT
"""The readings of the worked equation: a student gets with a calculator what the fit says."""

import pytest

from bench.nearrig import open_near
from sagline.results import Result
from sagline.wording import Working


def worked(address: str) -> tuple[Result, Working]:
    with open_near(address) as rig:
        result = rig.measure(repeats=5)
    assert result.current_a is not None
    working = Working.of(result.terminal, result.current_a.value)
    assert working is not None
    return result, working


@pytest.mark.parametrize("seed", [3, 7, 11])
def test_a_small_sag_is_that_of_the_null_difference(seed: int) -> None:
    # Unknown, and so on its lightest useful load: a sag of 3 mV in 1.58 V.
    result, working = worked(f"virtual://lr6?seed={seed}")
    assert working.open_v - working.loaded_v < 0.005
    assert working.r_ohm == pytest.approx(result.r_ohm.value, rel=4e-3)
    assert working.repeats == 5


def test_without_the_null_channel_it_is_what_was_read() -> None:
    result, working = worked("virtual://6lr61?seed=3&null=off")
    assert working.r_ohm == pytest.approx(result.r_ohm.value, rel=4e-3)

# SPDX-License-Identifier: MIT
"""The result document: round trip, no NaN, ids that sort by time."""

import json
import time
import uuid

import pytest
from pydantic import ValidationError

import sagline
from sagline.results import Quantity, Result


@pytest.fixture(scope="module")
def result():
    with sagline.open_rig("virtual://lr6?seed=1") as rig:
        return rig.measure(designation="LR6", repeats=2)


def test_round_trip_through_json(result):
    text = json.dumps(result.to_dict(), allow_nan=False)
    assert Result.model_validate_json(text) == result


def test_measured_at_carries_its_offset(result):
    assert result.measured_at.utcoffset() is not None


def test_ids_are_unique_and_sort_by_time(result):
    with sagline.open_rig("virtual://lr6?seed=1") as rig:
        time.sleep(0.002)
        later = rig.measure(designation="LR6", repeats=2)
    assert uuid.UUID(result.id).version == 7
    assert result.id < later.id


def test_a_result_is_immutable(result):
    with pytest.raises(ValidationError):
        result.label = "other"


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_figures_are_finite(bad):
    with pytest.raises(ValidationError):
        Quantity(value=bad, u=None, dof=None, k=None, low95=None, high95=None)


def test_one_repeat_gives_figures_without_intervals():
    with sagline.open_rig("virtual://lr6?seed=1") as rig:
        alone = rig.measure(designation="LR6", repeats=1)
    assert alone.r_ohm.value == pytest.approx(0.16, rel=0.05)
    assert alone.r_ohm.u is None
    assert alone.r_ohm.low95 is None
    assert "single_repeat" in {warning.code for warning in alone.warnings}
    json.dumps(alone.to_dict(), allow_nan=False)

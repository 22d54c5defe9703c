# SPDX-License-Identifier: MIT
"""The studies' short way to a simulated rig gives what the whole way gives."""

from typing import Any

import numpy as np

from bench.nearrig import open_near
from sagline.analysis.values import RawStep
from sagline.device.procedure import run
from sagline.device.progress import RepeatDone
from sagline.device.rig import Rig, open_rig
from sagline.device.settings import Settings

ADDRESS = "virtual://6lr61?seed=5"


def first_step(rig: Rig, **settings: Any) -> RawStep:
    with rig:
        for item in run(rig, Settings(designation="6LR61", repeats=1, **settings)):
            if isinstance(item, RepeatDone):
                return item.step.raw()
    raise AssertionError("no repeat")


def test_the_record_is_the_same_count_for_count() -> None:
    whole, near = first_step(open_rig(ADDRESS)), first_step(open_near(ADDRESS))
    assert near.edges_us == whole.edges_us and near.null_setting == whole.null_setting
    for name in ("source", "start_us", "length_us", "n", "total"):
        assert np.array_equal(getattr(near, name), getattr(whole, name)), name

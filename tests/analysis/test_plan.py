# SPDX-License-Identifier: MIT
"""Which load is chosen, why, and what is refused before anything is switched."""

from dataclasses import replace

import pytest

from analysis.analytic_cell import PROFILE
from sagline.analysis.plan import (
    choose,
    expected_u_rel,
    limit_exceeded,
    needs_high_range,
    probe_load,
)
from sagline.analysis.values import AnalysisError
from sagline.designations import DESIGNATIONS


def refused(*args: object, **kwargs: object) -> AnalysisError:
    with pytest.raises(AnalysisError) as caught:
        choose(PROFILE, *args, **kwargs)  # type: ignore[arg-type]
    return caught.value


@pytest.mark.parametrize("name", DESIGNATIONS)
def test_every_designation_has_its_load_in_the_bank_and_within_limits(name: str) -> None:
    found = DESIGNATIONS[name]
    plan = choose(PROFILE, 1, found.nominal_v, name)
    assert plan.load_ohm == found.load_ohm
    typical = expected_u_rel(PROFILE, 1, plan.load_index, found.nominal_v, found.typical_r_ohm)
    assert plan.expected_u_rel == typical and name in plan.reason
    assert found.r_low_ohm < found.typical_r_ohm < found.r_high_ohm
    assert (plan.rest_ms, plan.on_ms, plan.recovery_ms, plan.repeats) == (5000, 300, 1000, 5)


def test_a_stated_load_goes_first_and_must_be_in_the_bank() -> None:
    asked = choose(PROFILE, 1, 1.5, "LR6", load_ohm=15.0)
    usual = choose(PROFILE, 1, 1.5, "LR6").expected_u_rel
    assert asked.load_index == 1 and usual is not None
    assert asked.expected_u_rel is not None and asked.expected_u_rel > usual
    assert choose(PROFILE, 1, 1.5, "of my own", load_ohm=15.0).expected_u_rel is None
    error = refused(1, 1.5, load_ohm=5.0)
    assert error.code == "load_not_in_bank"
    assert "3.3, 15, 68, 470" in error.remedy


def test_an_unknown_designation_is_refused_with_the_list() -> None:
    error = refused(1, 1.5, "XX1")
    assert error.code == "unknown_designation" and "LR6" in error.remedy
    assert choose(PROFILE, 1, 1.5, "lr6").load_ohm == 3.3


def test_an_unknown_cell_is_probed_with_the_largest_load() -> None:
    assert probe_load(PROFILE, 1.5) == 3
    plan = choose(PROFILE, 1, 1.5)
    assert (plan.load_ohm, plan.repeats, plan.expected_u_rel) == (470.0, 1, None)


@pytest.mark.parametrize(("r_ohm", "open_v"), [(0.16, 1.58), (1.7, 9.2), (20.0, 3.0), (0.03, 1.3)])
def test_the_lightest_load_that_meets_the_target_is_taken(r_ohm: float, open_v: float) -> None:
    plan = choose(PROFILE, 1, open_v, probe_r_ohm=r_ohm)
    assert plan.expected_u_rel is not None and plan.expected_u_rel <= 0.03
    for index, load in enumerate(PROFILE.loads):
        if load.load_ohm > plan.load_ohm:
            assert expected_u_rel(PROFILE, 1, index, open_v, r_ohm) > 0.03


def test_a_target_of_ones_own_decides_on_the_load() -> None:
    """As little as it takes: lighter for a modest target, heavier for a strict one."""
    loads = [
        choose(PROFILE, 1, 12.7, probe_r_ohm=0.1, target_u_rel=target).load_ohm
        for target in (0.1, None, 0.011)
    ]
    assert loads == [68.0, 15.0, 3.3]
    plan = choose(PROFILE, 1, 12.7, probe_r_ohm=0.1, target_u_rel=0.1)
    assert "within 10 %" in plan.reason and plan.expected_u_rel is not None
    assert 0.03 < plan.expected_u_rel <= 0.1


def test_where_none_meets_the_target_the_best_one_is_taken_but_none_below_r() -> None:
    plan = choose(PROFILE, 0, 1.58, probe_r_ohm=0.16)
    assert plan.expected_u_rel is not None and plan.expected_u_rel > 0.03
    allowed = [expected_u_rel(PROFILE, 0, index, 1.58, 0.16) for index in range(4)]
    assert plan.expected_u_rel == min(allowed)
    coin = choose(PROFILE, 0, 3.0, probe_r_ohm=20.0)
    assert coin.load_ohm == 68.0


@pytest.mark.parametrize("probe_r_ohm", [0.0, -0.5])
def test_a_probe_that_could_not_tell_r_from_zero_leads_to_the_best_load(probe_r_ohm: float) -> None:
    plan = choose(PROFILE, 1, 12.8, probe_r_ohm=probe_r_ohm)
    assert (plan.repeats, plan.expected_u_rel) == (5, None)
    # 1 mohm of the smallest load is what the probe could not tell from zero.
    expected = [expected_u_rel(PROFILE, 1, index, 12.8, 3.3e-3) for index in range(4)]
    assert plan.load_index == expected.index(min(expected))


def test_a_better_rig_expects_less() -> None:
    bank = tuple(replace(load, tolerance_ppm=100) for load in PROFILE.loads)
    better = replace(PROFILE, loads=bank)
    assert expected_u_rel(better, 1, 0, 1.58, 0.16) < expected_u_rel(PROFILE, 1, 0, 1.58, 0.16)


@pytest.mark.parametrize(
    ("load", "open_v", "on_ms", "word"),
    [
        (0, 13.9, 300, "V"),
        (0, 13.5, 300, "A"),
        (1, 16.0, 1200, None),
        (1, 16.6, 300, "V"),
        (2, 16.5, 2000, None),
        (2, 16.5, 2001, "s"),
        (3, 16.5, 5000, None),
    ],
)
def test_limits_of_a_load(load: int, open_v: float, on_ms: int, word: str | None) -> None:
    found = limit_exceeded(PROFILE.loads[load], open_v, on_ms)
    assert found is None if word is None else found is not None and found.endswith(f" {word}")


def test_energy_of_a_pulse_is_limited() -> None:
    small = replace(PROFILE.loads[1], max_pulse_mj=100)
    # 1.5 V on 15 ohm is 0.15 W: 0.1 J after 0.667 s.
    assert limit_exceeded(small, 1.5, 666) is None
    assert limit_exceeded(small, 1.5, 667) is not None


def test_what_the_limits_forbid_is_refused() -> None:
    assert refused(1, 14.0, load_ohm=3.3).code == "load_limit"
    assert refused(1, 24.0).code == "voltage_out_of_range"
    assert refused(1, -1.5).code == "voltage_out_of_range"
    assert refused(5, 1.5).code == "no_converter"
    assert refused(1, 1.5, load_ohm=3.3, times_s=(1.0,)).code == "load_limit"
    # On 12.8 V the 3.3 ohm load is within its limits at 0.3 s, so it may be chosen; on 16 V not.
    assert choose(PROFILE, 1, 12.8, probe_r_ohm=0.025).load_ohm == 3.3
    assert choose(PROFILE, 1, 16.0, probe_r_ohm=0.025).load_ohm == 15.0


def test_a_later_time_makes_the_pulse_longer() -> None:
    plan = choose(PROFILE, 1, 1.5, "LR6", times_s=(0.1, 0.5))
    assert (plan.on_ms, plan.rest_ms, plan.resting_ms) == (700, 2000, 7000)


def test_range() -> None:
    assert not needs_high_range(PROFILE, 4.5)
    assert needs_high_range(PROFILE, 4.501)

# SPDX-License-Identifier: MIT
"""What is said of other loads: only those that the bank has and its limits allow."""

from dataclasses import replace

import pytest

from analysis.analytic_cell import PROFILE
from sagline.analysis.advice import before, heavier, recommended, remedy
from sagline.analysis.plan import choose, expected_u_rel
from sagline.designations import DESIGNATIONS


def test_loads_of_fewer_ohms_the_lightest_first() -> None:
    found = heavier(PROFILE, 1, 3, 9.0, 1.0, 300)
    assert [better.load_ohm for better in found] == [68.0, 15.0, 3.3]
    assert [better.current_a for better in found] == [
        pytest.approx(9.0 / better.load_ohm) for better in found
    ]
    assert found[0].u_rel == expected_u_rel(PROFILE, 1, 2, 9.0, 1.0)
    assert found[0].u_rel > found[1].u_rel
    # None that a limit forbids (3.3 ohm: 13.8 V), none below r, none for r that is not known.
    assert [better.load_ohm for better in heavier(PROFILE, 1, 3, 14.0, 1.0, 300)] == [68.0, 15.0]
    assert [better.load_ohm for better in heavier(PROFILE, 1, 3, 3.0, 20.0, 300)] == [68.0]
    assert heavier(PROFILE, 1, 1, 12.0, 0.0, 300) == []


def test_one_is_recommended_only_where_it_halves_u() -> None:
    better = recommended(PROFILE, 1, 1, 12.7, 0.006, 300)
    assert better is not None and better.load_ohm == 3.3
    assert 2.0 * better.u_rel <= expected_u_rel(PROFILE, 1, 1, 12.7, 0.006)
    # An alkaline cell on 15 ohm gains less: there the load's own 1 % is what counts.
    assert recommended(PROFILE, 1, 1, 1.58, 0.4, 300) is None


@pytest.mark.parametrize(
    ("load", "open_v", "on_ms", "words"),
    [
        (1, 12.7, 300, "measure with --load 3.3, if the cell bears 3.8 A for 0.3 s"),
        (0, 12.7, 300, "none of fewer ohms"),
        (1, 15.0, 300, "beyond their limits at 15 V and 0.3 s"),
        (1, 12.7, 1200, "beyond their limits at 12.7 V and 1.2 s"),
    ],
)
def test_a_remedy_names_a_load_of_the_bank_or_says_there_is_none(load, open_v, on_ms, words):
    assert words in remedy(PROFILE, 1, load, open_v, 0.006, on_ms)


def test_a_recommendation_is_for_large_u_only() -> None:
    def said(name: str, converter: int = 1) -> list[str]:
        known = DESIGNATIONS[name]
        plan = choose(PROFILE, converter, known.nominal_v, name)
        return [n.code for n in before(PROFILE, converter, plan, known.nominal_v, name, None)]

    assert said("PB12") == ["heavier_load_advised"]
    assert said("LR6") == said("6LR61") == said("CR2032") == []
    assert said("6LR61", converter=0) == ["heavier_load_advised"]
    assert said("HR6", converter=0) == [], "3.3 ohm is the least there is"


def test_a_pack_is_unknown_above_the_voltage_of_a_single_cell() -> None:
    def said(open_v: float, designation: str | None) -> bool:
        plan = replace(choose(PROFILE, 1, open_v, probe_r_ohm=0.5), repeats=5)
        notices = before(PROFILE, 1, plan, open_v, designation, 0.5)
        return "unknown_pack" in {notice.code for notice in notices}

    assert said(5.1, None) and not said(4.2, None) and not said(9.0, "6LR61")

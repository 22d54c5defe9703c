# SPDX-License-Identifier: MIT
"""The working of a result: its numbers come out on a calculator, its bars are its shares."""

import math
import re

import pytest

from sagline.device.procedure import measure
from sagline.device.rig import open_rig
from sagline.device.settings import Settings
from sagline.results import Result
from sagline.wording import expanded
from sagline.working import emf_bars, r_bars, working_lines


@pytest.fixture(scope="module")
def result() -> Result:
    with open_rig("virtual://lr6?seed=5") as rig:
        return measure(rig, Settings(repeats=3))


def test_every_equation_comes_out_with_the_numbers_that_are_shown(result: Result) -> None:
    text = "\n".join(working_lines(result))
    sag = re.search(r"= \(([\d.]+) − ([\d.]+)\) V / ([\d.]+) A\n +r?\(?.*= ([\d.]+) Ω", text)
    assert sag, text
    open_v, loaded_v, current_a, r_ohm = map(float, sag.groups())
    assert (open_v - loaded_v) / current_a == pytest.approx(r_ohm, rel=2e-3)
    load = re.search(r"R_x = V / I = ([\d.]+) V / ([\d.]+) A = ([\d.]+) Ω", text)
    ratio = re.search(r"= ([\d.]+) Ω · \(([\d.]+) − 1\)\n +=? ?= ([\d.]+) Ω", text)
    assert load and ratio, text
    assert float(load[1]) / float(load[2]) == pytest.approx(float(load[3]), rel=1e-3)
    assert float(ratio[1]) * (float(ratio[2]) - 1.0) == pytest.approx(float(ratio[3]), rel=2e-3)
    # The two ways are one equation: r = R_x·(E/V − 1) (Physics textbooks, e.g. NCERT XII, ch. 3).
    assert float(ratio[3]) == pytest.approx(r_ohm, rel=2e-3)


def test_u_is_the_root_of_the_sum_of_squares_that_is_shown(result: Result) -> None:
    """GUM 5.1.2 for u, 6.2.1 for U = k·u."""
    text = "\n".join(working_lines(result))
    found = re.search(r"= √\(([^)]*)\) mΩ = ([\d.]+) mΩ", text)
    assert found, text
    terms = [float(term.strip().rstrip("²")) for term in found[1].split("+")]
    assert len(terms) == 4
    assert math.hypot(*terms) == pytest.approx(float(found[2]), rel=0.01)
    product = re.search(r"U = k · u = ([\d.]+) · ([\d.]+) mΩ = ([\d.]+) mΩ", text)
    assert product
    assert float(product[1]) * float(product[2]) == pytest.approx(float(product[3]), rel=0.05)
    big = expanded(result.r_ohm)
    assert big is not None and float(product[3]) == pytest.approx(1e3 * big, rel=0.05)


@pytest.mark.parametrize("width", [48, 78, 118])
def test_bars_are_as_long_as_their_shares_and_stay_within_their_width(
    result: Result, width: int
) -> None:
    for lines, rows in (
        (r_bars(result, width), result.budget), (emf_bars(result, width), result.emf_budget)
    ):  # fmt: skip
        assert all(len(line) <= width for line in lines)
        lengths = [line.count("█") + 0.5 * line.count("▌") for line in lines[1:]]
        assert lengths == sorted(lengths, reverse=True) and len(lengths) == len(rows)
        largest = max(row.share for row in rows)
        for row in rows:
            drawn = next(n for n, line in zip(lengths, lines[1:], strict=True)
                         if line.startswith(f"  {row.source} "))  # fmt: skip
            assert drawn == pytest.approx(lengths[0] * row.share / largest, abs=1.0)


def test_a_single_repeat_says_that_u_is_not_known() -> None:
    with open_rig("virtual://lr6?seed=5") as rig:
        alone = measure(rig, Settings(repeats=1))
    assert "U is not known" in working_lines(alone)[-1]

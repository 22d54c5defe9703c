# SPDX-License-Identifier: MIT
"""What may be put beside each other, and when a difference is more than chance."""

from dataclasses import replace
from math import inf, sqrt

import pytest
from uncertainties import ufloat

from sagline.analysis.comparison import Candidate, compare
from sagline.analysis.values import AnalysisError

ONE = Candidate("a", "one", 0.160, 0.003, 0.1, 3.3, 20.0, "nickel", "rig 1", "m")
TWO = replace(ONE, id="b", name="two", r_ohm=0.165, u95_ohm=0.004, rig="rig 2")


def codes(*candidates: Candidate) -> list[str]:
    return [notice.code for notice in compare(candidates).notices]


def refused(*candidates: Candidate) -> AnalysisError:
    with pytest.raises(AnalysisError) as caught:
        compare(candidates)
    assert caught.value.exit_status == 4
    return caught.value


def test_en_is_the_difference_over_both_u() -> None:
    """0.005 over sqrt(0.003² + 0.004²) = 0.005 is 1; ISO/IEC 17043 calls up to 1 agreement."""
    done = compare([TWO, ONE])
    assert [row.id for row in done.rows] == ["a", "b"], "the smallest first"
    pair = done.pair("a", "b")
    assert pair.en == pytest.approx(1.0)
    assert (pair.difference_ohm, pair.u95_ohm) == (pytest.approx(0.005), pytest.approx(0.005))
    three = compare([ONE, TWO, replace(TWO, id="c", r_ohm=0.16)])
    assert len(three.pairs) == 3 and three.pair("a", "c").en == 0.0


def test_temperature_enters_by_the_sensitivity_of_the_kind() -> None:
    """By the `uncertainties` package: r (1 + 3 %/K ΔT), ΔT of the typed digit and of the two."""
    alkaline = [replace(one, chemistry="alkaline", temperature_c=t)
                for one, t in ((ONE, 20.0), (TWO, 22.0))]  # fmt: skip
    pair = compare(alkaline).pair("a", "b")
    assert pair.en is not None and pair.en < 1.0
    parts = [ufloat(one.r_ohm, one.u95_ohm / 1.96) * (1 + 0.03 * (
        ufloat(0, 0.5 / sqrt(3)) + ufloat(0, 1.0 / sqrt(3)))) for one in alkaline]  # fmt: skip
    assert pair.u95_ohm == pytest.approx(1.96 * (parts[1] - parts[0]).s, rel=1e-6)
    assert codes(*alkaline) == []
    assert codes(ONE, TWO) == ["temperature_not_counted"]


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"load_ohm": 3.34}, "mixed_loads"),
        ({"load_ohm": None}, "unknown_conditions"),
        ({"t_s": 0.11}, "mixed_times"),
        ({"t_s": None}, "unknown_conditions"),
        ({"temperature_c": 23.1}, "mixed_temperatures"),
    ],
)
def test_other_conditions_are_refused(changed: dict[str, float | None], code: str) -> None:
    error = refused(ONE, replace(TWO, **changed))  # type: ignore[arg-type]
    assert error.code == code
    assert error.remedy


def test_conditions_that_are_near_enough() -> None:
    compare([ONE, replace(TWO, load_ohm=3.33)])
    compare([ONE, replace(TWO, temperature_c=23.0)])
    assert refused(ONE).code == "nothing_to_compare"


def test_what_is_not_known_is_said() -> None:
    nowhere = [replace(one, temperature_c=None) for one in (ONE, TWO)]
    assert codes(*nowhere) == ["temperature_unknown"]
    assert "two" in compare([ONE, replace(TWO, temperature_c=None)]).notices[0].text
    single = compare([ONE, replace(TWO, u95_ohm=None)])
    assert single.pairs[0].en is None and single.pairs[0].u95_ohm is None
    assert "u_unknown" in [notice.code for notice in single.notices]
    assert "one_rig" in codes(ONE, replace(TWO, rig="rig 1"))
    assert "mixed_methods" in codes(ONE, replace(TWO, method="other"))


def test_figures_without_any_u_have_no_en() -> None:
    exact = [replace(one, u95_ohm=0.0) for one in (ONE, TWO)]
    assert compare(exact).pairs[0].en is None
    assert compare([ONE, replace(TWO, r_ohm=1e6)]).pairs[0].en != inf

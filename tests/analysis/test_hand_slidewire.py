# SPDX-License-Identifier: MIT
"""Slide-wire lengths: u against another library's propagation, several loads, and refusals."""

from math import sqrt

import pytest
from uncertainties import ufloat

from analysis.sheets import codes, said
from sagline.analysis.values import AnalysisError
from sagline.errors import UsageError

THREE = sqrt(3.0)


def test_u_with_every_option_is_that_of_another_library() -> None:
    """By the `uncertainties` package: u of lengths, load and leads, null width and end."""
    l1, l2 = ufloat(76.3, 0.05), ufloat(64.8, 0.05)
    null1, null2 = ufloat(0.0, 0.1 / THREE), ufloat(0.0, 0.1 / THREE)
    end, load, lead = ufloat(0.40, 0.005 / THREE), ufloat(9.5, 0.095), ufloat(0.02, 0.005 / THREE)
    per_cm = ufloat(0.0201, 0.00005 / THREE)
    first, second = l1 + null1 + end, l2 + null2 + end
    r, e = (load + lead) * (first - second) / second, per_cm * first
    found = said(
        "slidewire", "open=76.3 loaded=64.8 load=9.5", u_length="0.05", u_ohm="1%",
        null_width="0.2", end_correction="0.40", lead_ohm="0.02", gradient="0.0201",
    )  # fmt: skip
    assert found.r.value == pytest.approx(r.n)
    assert found.r.u == pytest.approx(r.s, rel=1e-9)
    assert found.emf is not None
    assert found.emf.value == pytest.approx(e.n)
    assert found.emf.u == pytest.approx(e.s, rel=1e-9)
    assert "width of the null" in {line.source for line in found.budget}
    assert "end correction" in {line.source for line in found.budget}


def test_a_standard_cell_shares_the_end_correction() -> None:
    """By the `uncertainties` package: E = Es (l1 + e)/(ls + e), one e in both."""
    end = ufloat(0.4, 0.05 / THREE)
    e = ufloat(1.0186, 0.0005) * (ufloat(76.3, 0.05) + end) / (ufloat(50.9, 0.05) + end)
    found = said(
        "slidewire", "open=76.3 loaded=64.8 load=9.5", u_length="0.05", u_volts="0.0005",
        end_correction="0.4", standard_emf="1.0186", standard_length="50.9",
    )  # fmt: skip
    assert found.emf is not None
    assert found.emf.value == pytest.approx(e.n)
    assert found.emf.u == pytest.approx(e.s, rel=1e-9)


def test_lengths_are_averaged_and_r_computed_once() -> None:
    """By the `uncertainties` package, s/sqrt(n) of each mean; pairs or not is all the same."""
    opens, loaded = (76.3, 76.4, 76.5), (64.8, 64.7, 64.9)
    u = sqrt(0.01 / 3.0 + 1e-12)
    wanted = 9.5 * (ufloat(76.4, u) / ufloat(64.8, u) - 1.0)
    listed = [*(f"open={one}" for one in opens), *(f"loaded={one}" for one in loaded)]
    paired = [f"open={a} loaded={b} load=9.5" for a, b in zip(opens, loaded, strict=True)]
    for readings in (" ".join([*listed, "load=9.5"]), " ".join(paired)):
        found = said("slidewire", readings, u_length="1e-6", u_ohm="1e-6")
        assert found.r.value == pytest.approx(wanted.n)
        assert found.r.u == pytest.approx(wanted.s, rel=1e-4)
        # Two means of nearly one u with 2 degrees of freedom each (Welch-Satterthwaite).
        assert found.r.dof == pytest.approx(4.0, rel=0.06)


def test_the_driver_may_drift() -> None:
    found = said(
        "slidewire", "open=76.30 loaded=64.80 load=9.5 open=76.10", u_length="1e-6", u_ohm="1e-6"
    )
    assert found.r.value == pytest.approx(9.5 * (76.2 / 64.8 - 1.0))
    assert found.r.u == pytest.approx(9.5 / 64.8 * 0.1 / THREE, rel=1e-4)
    assert found.budget[0].source == "drift of the driver"


def lengths(loads, r_ohm: float = 0.6, l1: float = 80.0, end: float = 0.0) -> str:
    return " ".join(
        f"loaded={(l1 + end) * load / (load + r_ohm) - end:.9f} load={load}" for load in loads
    )


@pytest.mark.parametrize("opened", ["open=80.000000000 ", ""])
@pytest.mark.parametrize("loads", [(1.0, 10.0), (1.0, 2.0, 5.0, 15.0)])
def test_several_loads_are_a_line_of_reciprocals(opened: str, loads) -> None:
    found = said("slidewire", opened + lengths(loads), u_length="0.05", u_ohm="0.5%")
    assert found.r.value == pytest.approx(0.6, rel=1e-5)
    assert found.emf is None and found.line is None
    assert ("two_points" in codes(found)) == (not opened and len(loads) == 2)


def test_two_loads_without_an_open_length_by_another_library() -> None:
    """By the `uncertainties` package: r = (1/l2b - 1/l2a) / (xb/l2a - xa/l2b), x = 1/R."""
    la, lb = ufloat(50.0, 0.05), ufloat(70.0, 0.05)
    xa, xb = 1.0 / ufloat(1.0, 0.005), 1.0 / ufloat(5.0, 0.025)
    slope = (1.0 / la - 1.0 / lb) / (xa - xb)
    wanted = slope / (1.0 / la - slope * xa)
    found = said(
        "slidewire", "loaded=50.0 load=1.0 loaded=70.0 load=5.0", u_length="0.05", u_ohm="0.5%"
    )
    assert found.r.value == pytest.approx(wanted.n)
    assert found.r.u == pytest.approx(wanted.s, rel=1e-9)


def test_end_correction_and_gradient_with_several_loads() -> None:
    readings = "open=80.000000 " + lengths((1.0, 2.0, 5.0), end=0.4)
    found = said("slidewire", readings, u_length="0.05", end_correction="0.4", gradient="0.02000")
    assert found.r.value == pytest.approx(0.6, rel=1e-5)
    assert found.emf is not None and found.emf.value == pytest.approx(0.02 * 80.4, rel=1e-6)
    assert found.line is not None and found.line.emf == found.emf
    assert [point.load_ohm for point in found.line.points] == [1.0, 2.0, 5.0]
    assert found.line.points[0].v_v == pytest.approx(0.02 * 80.4 / 1.6)
    assert found.line.points[0].current_a == pytest.approx(0.02 * 80.4 / 1.6)


@pytest.mark.parametrize(
    ("readings", "options", "error", "code"),
    [
        ("open=64.8 loaded=76.3 load=9.5", {}, AnalysisError, "longer_loaded"),
        ("open=76.3 loaded=64.8 load=9.5", {"wire_length": "70"}, AnalysisError, "beyond_the_wire"),
        ("open=-1 loaded=64.8 load=9.5", {}, AnalysisError, "length_not_positive"),
        ("loaded=64.8 load=9.5", {}, AnalysisError, "no_open_length"),
        ("open=64.8", {}, AnalysisError, "no_readings"),
        ("open=76.3 loaded=64.8 amps=0.5", {}, UsageError, "not_a_load"),
        ("open=7 loaded=6 load=9", {"standard_emf": "1.02"}, UsageError, "half_a_standard"),
        (
            "open=7 loaded=6 load=9",
            {"standard_emf": "1.02", "standard_length": "50", "gradient": "0.02"},
            UsageError,
            "two_gradients",
        ),
    ],
)
def test_what_no_wire_shows_is_refused(readings: str, options: dict, error, code: str) -> None:
    with pytest.raises(error) as caught:
        said("slidewire", readings, **options)
    assert caught.value.code == code and caught.value.remedy


def test_a_loaded_length_no_shorter_within_u_gives_a_bound() -> None:
    found = said("slidewire", "open=64.8 loaded=64.8 load=9.5", u_length="0.1")
    assert found.r.value == 0.0 and "r_not_told_from_zero" in codes(found)
    with pytest.raises(AnalysisError) as caught:
        said("slidewire", "open=64.8 loaded=65.2 load=9.5", u_length="0.1")
    assert "driver" in caught.value.remedy


def test_advice_needs_no_volts_but_asks_for_safety() -> None:
    readings = "open=76.30 loaded=75.20 load=33.0"
    unknown = said("slidewire", readings, u_ohm="0.1%")
    told = next(one for one in unknown.notices if one.code == "other_load")
    assert "not known" in told.text and "data sheet" in told.remedy
    named = said("slidewire", readings, u_ohm="0.1%", designation="LR6")
    told = next(one for one in named.notices if one.code.startswith("other_load"))
    assert " A " in told.text

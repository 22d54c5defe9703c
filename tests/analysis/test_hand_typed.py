# SPDX-License-Identifier: MIT
"""Numbers as typed: what the last digit leaves open, and how readings become groups."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.sheets import said, sheet
from sagline.analysis.hand.sheet import groups_of
from sagline.analysis.hand.typed import mean, positive, stated, typed
from sagline.errors import UsageError


@pytest.mark.parametrize(
    ("text", "value", "digit"),
    [
        ("1.580", 1.58, 0.001),
        ("1,58", 1.58, 0.01),
        ("350", 350.0, 1.0),
        ("-10.0", -10.0, 0.1),
        ("−2,00", -2.0, 0.01),
        (" .5 ", 0.5, 0.1),
        ("4.7e3", 4700.0, 100.0),
        ("+3.", 3.0, 1.0),
    ],
)
def test_a_number_and_its_last_digit(text: str, value: float, digit: float) -> None:
    found = typed("--open", text)
    assert found.value == value
    assert found.digit == pytest.approx(digit)


@given(st.decimals(min_value=-1000, max_value=1000, places=4), st.booleans())
def test_what_was_written_comes_back(number, comma: bool) -> None:
    text = str(number).replace(".", ",") if comma else str(number)
    found = typed("--open", text)
    assert found.value == float(number)
    assert found.digit == pytest.approx(1e-4)


@pytest.mark.parametrize(
    "text", ["", "1.5V", "1.2.3", "1,234.5", "nan", "inf", "0x10", "1_0", "1e999", "١", "5%"]
)
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(UsageError) as caught:
        typed("--open", text)
    assert caught.value.code == "not_a_number" and "--open" in caught.value.message


def test_a_standard_uncertainty_is_absolute_or_a_share() -> None:
    assert stated("--u-volts", "0.002").of(1.5) == 0.002
    assert stated("--u-volts", "0,5%").of(-2.0) == pytest.approx(0.01)
    for bad in ("0", "-0.1", "%", "x"):
        with pytest.raises(UsageError):
            stated("--u-volts", bad)
    with pytest.raises(UsageError):
        positive("--load", "0.0")


def test_a_mean_has_its_scatter_and_its_range() -> None:
    """s of 1, 2, 4 is sqrt(7/3); GUM 4.2.3 divides it by sqrt(n)."""
    found = mean([typed("--open", text) for text in ("1.0", "2.0", "4.00")])
    assert found.value == pytest.approx(7.0 / 3.0)
    assert found.scatter_u == pytest.approx(sqrt(7.0 / 3.0) / sqrt(3.0))
    assert (found.dof, found.half_range) == (2, 1.5)
    assert found.half_digit == pytest.approx(0.05), "the coarsest of them"


def test_what_closes_a_group_takes_the_readings_before_it() -> None:
    readings = "open=1.58 open=1.57 loaded=1.49 load=10 loaded=1.40 loaded=1.41 load=5 open=1.56"
    first, second = groups_of(sheet("voltmeter", readings).entries)
    assert [one.value for one in first.opened] == [1.58, 1.57]
    assert [one.value for one in first.loaded] == [1.49]
    assert (first.closer, first.setting.value) == ("load", 10.0)
    assert second.opened == () and [one.value for one in second.reopened] == [1.56]
    assert [one.value for one in second.loaded] == [1.40, 1.41]


@pytest.mark.parametrize(
    ("readings", "code"),
    [
        ("open=1.58 loaded=1.49", "not_closed"),
        ("open=1.58 load=10", "no_loaded_reading"),
        ("open=1.58 loaded=1.49 load=0", "not_positive"),
        ("open=1.58 loaded=1.49 watts=-2", "not_positive"),
        ("open=1.5x loaded=1.49 load=10", "not_a_number"),
    ],
)
def test_readings_that_make_no_group(readings: str, code: str) -> None:
    with pytest.raises(UsageError) as caught:
        said("voltmeter", readings)
    assert caught.value.code == code


def test_an_option_of_another_way_is_told() -> None:
    for way, readings, options in (
        ("voltmeter", "open=1.58 loaded=1.49 load=10", {"u_length": "0.1"}),
        ("voltmeter", "open=1.58 loaded=1.49 load=10", {"fit_open": True}),
        ("slidewire", "open=70 loaded=60 load=10", {"u_amps": "0.1"}),
        ("line", "loaded=1.4 load=10 loaded=1.5 load=20", {"null_width": "0.1"}),
    ):
        with pytest.raises(UsageError) as caught:
            said(way, readings, **options)
        assert caught.value.code == "option_without_use"
    with pytest.raises(UsageError):
        said("voltmeter", "open=1.58 loaded=1.49 load=10", closed_s=-1.0)

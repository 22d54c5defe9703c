# SPDX-License-Identifier: MIT
"""The equation and its numbers in words, by hand-made values."""

from dataclasses import replace

import pytest

from sagline.analysis.plan import Plan
from sagline.analysis.terminal import Terminal
from sagline.analysis.values import Notice, RepeatRow
from sagline.wording import (
    Working,
    amperes,
    count,
    decimals_of,
    equation_lines,
    letter_lines,
    notice_lines,
    ohms,
    plan_lines,
    plan_sentence,
    repeat_lines,
    sag_places,
    wrapped,
)


def test_the_equation_fills_from_the_left() -> None:
    assert equation_lines(0.1) == [
        "r(0.1 s) = (E − V) / I",
        "         = (… − …) V / …",
        "         = …",
    ]
    assert equation_lines(0.1, 1.5)[1] == "         = (1.5000 − …) V / …"
    # 1.5 V behind 0.5 ohm with 1 A: 1 V is left at the terminals.
    assert equation_lines(0.1, 1.5, 1.0, 1.0, 0.5) == [
        "r(0.1 s) = (E − V) / I",
        "         = (1.5000 − 1.0000) V / 1.000 A",
        "         = 0.5000 Ω",
    ]


def test_letters_stand_below_each_other() -> None:
    lines = letter_lines(0.1, 1.57756, 1.56424, 0.08349)
    assert [line[:13] for line in lines] == ["E = 1.57756 V", "V = 1.56424 V", "I = 0.08349 A"]
    meanings = zip(lines, ("open voltage", "voltage at", "current at"), strict=True)
    assert {line.index(word) for line, word in meanings} == {15}
    assert all(
        line.endswith(", mean of 5") for line in letter_lines(0.1, 1.57756, 1.56424, 0.08349, 5)
    )


def test_the_working_is_what_a_calculator_gives() -> None:
    found = Working.of(Terminal(1.5, 1.0, 2), 1.0)
    assert found == Working(1.5, 1.0, 1.0, 2) and found.r_ohm == 0.5
    assert Working.of(None, 1.0) is None and Working.of(Terminal(1.5, 1.5, 2), 0.0) is None


@pytest.mark.parametrize(
    ("u_rel", "words"),
    [
        (0.0226, " Expected U(r): about 2.3 %."),
        (1.7, " U(r) is expected to be more than r itself."),
        (None, " U(r) cannot be said beforehand: nothing is known of r."),
    ],
)
def test_a_plan_says_what_is_done_why_and_what_to_expect(u_rel: float | None, words: str) -> None:
    plan = Plan(1, 15.0, 5000, 300, 1000, 5, "the usual load for PB12", u_rel)
    said = plan_sentence(plan)
    assert said.startswith("Plan: 5 repeats on 15 Ω, each 5 s of rest and 0.3 s of load; the usual")
    assert said.endswith(words)
    assert "Plan: 1 repeat on 15 Ω" in plan_sentence(replace(plan, repeats=1))
    lines = plan_lines(plan, [Notice("code", "this is so", "do that")])
    assert lines[-2:] == ["  This is so.", "  Do that."] and max(map(len, lines)) <= 79


def test_broken_lines_hang_behind_what_they_belong_to() -> None:
    lines = [
        "1. Nothing is certain here.",
        "   Look again and again.",
        "",
        "x   stop it at once now",
    ]
    assert wrapped(lines, 20) == [
        "1. Nothing is", "   certain here.", "   Look again and", "   again.", "",
        "x   stop it at once", "    now",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("value", "significant", "places"),
    [(0.1607, 4, 4), (0.0834, 4, 5), (12.7, 4, 2), (0.0, 4, 3), (12345.0, 4, 0), (1e-9, 4, 6)],
)
def test_decimals_show_the_significant_digits(value: float, significant: int, places: int) -> None:
    assert decimals_of(value, significant) == places


def test_volts_keep_four_digits_of_the_sag_but_no_more_than_a_run_tells() -> None:
    assert sag_places(1.5, 1.0) == 4
    assert sag_places(1.57756, 1.56424) == 5
    assert sag_places(1.57756, 1.57424) == 6
    assert sag_places(12.70001, 12.7) == 6


def test_repeats_in_left_out_and_to_come() -> None:
    rows = (
        RepeatRow(1, 0.1607, 1.579, True, None),
        RepeatRow(2, None, None, False, "the cell moved"),
    )
    assert repeat_lines(rows, 3, 0.1) == [
        "repeat  r(0.1 s)   E",
        "     1  0.1607 Ω   1.5790 V",
        "     2  …          …  left out: the cell moved",
        "     3  …",
    ]


def test_small_words() -> None:
    assert (ohms(None), amperes(0.5), count([1], "note"), count([], "note")) == (
        "…", "0.5000 A", "1 note", "0 notes",
    )  # fmt: skip
    assert notice_lines([Notice("c", "it drifts", "wait")]) == ["1. It drifts.", "   Wait.", ""]

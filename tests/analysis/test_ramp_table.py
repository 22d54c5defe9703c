# SPDX-License-Identifier: MIT
"""The linearity table found of converters whose errors are known."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, WIDE_PROFILE
from analysis.converters import WIDE, Bow, Discharge, Quantizer, ramp
from sagline.analysis.calibrating.ramp import Piece
from sagline.analysis.calibrating.ramptable import FoundTable, table_of
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import AnalysisError

WIDE_LSB = 8.9
"""Too much of each of four codes: an independent characterisation of the RP2040."""


def base(profile: RigProfile) -> RigProfile:
    """The build without an ADS1115."""
    return replace(profile, converters={0: profile.converters[0]})


def left_lsb(quantizer: Quantizer, found: FoundTable, wide: bool) -> np.ndarray:
    """Corrected codes less the input, but for a straight line, at the codes that were reached.

    Near a wide code no table helps: one mean code stands for several inputs.
    """
    code = np.arange(found.reached[0] + 4.0, found.reached[1] - 4.0, 0.25)
    if wide:
        code = code[np.abs(code[:, None] - np.array(WIDE)).min(axis=1) > 4.0]
    left = found.table.corrected(code) - quantizer.input_at(code)
    return left - np.polyval(np.polyfit(code, left, 1), code)


@pytest.mark.parametrize("wide", [False, True])
def test_against_the_ads1115_the_table_is_right_within_what_it_says(wide: bool) -> None:
    """Two sides: 95 % of the codes are within the bound, and it is not above thrice what holds
    95 % of them. The converter has errors finer than any knot; the ADS1115's own is 0.04 LSB."""
    profile = WIDE_PROFILE if wide else PROFILE
    for seed in range(4):
        rng = np.random.default_rng(seed)
        fine = rng.uniform(-0.25, 0.25, 1024)
        quantizer = Quantizer(Bow.drawn(rng, 1.5), WIDE_LSB if wide else 0.0, fine)
        ramps = [ramp(quantizer, Discharge(), rng, ads=True) for _ in range(2)]
        found = table_of(ramps, profile)
        assert found.against_ads1115 and found.notices == ()
        left, bound = left_lsb(quantizer, found, wide), found.table.residual_lsb
        assert bound is not None
        assert np.mean(np.abs(left) < bound) >= 0.95
        assert bound <= 3.0 * np.quantile(np.abs(left), 0.95)
        assert bound < 0.4


def test_against_time_alone_the_bound_holds_over_many_converters_and_is_no_wider_than_needed() -> (
    None
):
    """40 drawn converters, a capacitor that gives 0.8 % late: of all codes of all of them 95 %
    within the bound, and what is left has at least a third of the size that is claimed."""
    inside, size, claimed = [], [], []
    for seed in range(40):
        rng = np.random.default_rng(100 + seed)
        quantizer = Quantizer(Bow.drawn(rng, 1.5), WIDE_LSB)
        course = Discharge(late=rng.uniform(-20, 20), late_s=rng.uniform(4, 20))
        ramps = [ramp(quantizer, replace(course, top=top), rng, ads=False) for top in (2690, 2670)]
        found = table_of(ramps, base(WIDE_PROFILE))
        assert not found.against_ads1115 and found.notices == ()
        left, bound = left_lsb(quantizer, found, True), found.table.residual_lsb
        assert bound is not None
        inside.append(np.mean(np.abs(left) < bound))
        size.append(np.mean(left**2))
        claimed.append((bound / 2.0) ** 2)
    assert np.mean(inside) >= 0.95
    assert 1 / 9 < np.mean(size) / np.mean(claimed) < 1.4


def test_what_stays_of_a_slow_bow_hardly_touches_a_small_sag() -> None:
    """The span says how: two codes 30 apart differ by no more than twice what it allows, and by
    less than a third of what independent errors within the bound would make."""
    from sagline.analysis.nonlinearity import Process

    differ, allowed, independent = [], [], []
    for seed in range(10):
        rng = np.random.default_rng(200 + seed)
        quantizer = Quantizer(Bow.drawn(rng, 1.5))
        ramps = [ramp(quantizer, Discharge(), rng, ads=False) for _ in range(2)]
        table = table_of(ramps, base(PROFILE)).table
        assert table.residual_lsb is not None and table.span_codes is not None
        code = np.arange(400.0, 2600.0)
        left = table.corrected(code) - quantizer.input_at(code)
        left -= np.polyval(np.polyfit(code, left, 1), code)
        differ.append(np.mean((left[30:] - left[:-30]) ** 2))
        process = Process(table.residual_lsb, table.span_codes, between="cosine")
        near, far = process.correlation(np.array([0.0, 30.0]))
        independent.append(2.0 * table.residual_lsb**2 / 3.0)
        allowed.append((near - far) * 2.0 * table.residual_lsb**2 / 3.0)
    assert np.mean(differ) < 2.0 * np.mean(allowed)
    assert np.mean(allowed) < np.mean(independent) / 9.0


def test_a_step_at_a_wide_code_is_in_the_table() -> None:
    rng = np.random.default_rng(5)
    found = table_of([ramp(Quantizer(Bow(), WIDE_LSB), Discharge(), rng, True)] * 2, WIDE_PROFILE)
    for code in (512, 1536, 2560):
        below, above = np.interp([code - 1, code + 1], found.table.code, found.table.correction_lsb)
        # One code's width lies between them besides.
        assert above - below == pytest.approx(WIDE_LSB, abs=0.6)
        assert code in found.table.code
    assert found.table.code == tuple(sorted(set(found.table.code)))


@pytest.mark.parametrize("ads", [True, False])
def test_gain_and_offset_are_no_linearity(ads: bool) -> None:
    """A straight converter gets a table of nothing, whatever the ADS1115's gain and offset."""
    rng = np.random.default_rng(3)
    profile = PROFILE if ads else base(PROFILE)
    ramps = [ramp(Quantizer(Bow()), Discharge(), rng, ads) for _ in range(2)]
    assert np.abs(table_of(ramps, profile).table.correction_lsb).max() < 0.25


def test_ramps_of_both_ranges_make_one_table() -> None:
    """The 16.5 V range reaches the codes near zero volts: 90 to 540 here."""
    rng = np.random.default_rng(8)
    quantizer = Quantizer(Bow.drawn(rng, 1.5))
    low = [ramp(quantizer, Discharge(), rng, False) for _ in range(2)]
    lower = Discharge(top=540.0, end=55.0, tau_s=55.0, down_to=66.0)
    found = table_of([*low, ramp(quantizer, lower, rng, False, high=True)], base(PROFILE))
    assert found.reached[0] < 70.0
    left = left_lsb(quantizer, found, False)
    assert found.table.residual_lsb is not None
    assert np.mean(np.abs(left) < found.table.residual_lsb) >= 0.95


def changed(pieces: list[Piece], at: int, add: float) -> list[Piece]:
    """A ramp that is `add` codes off from one piece on."""
    moved = [
        Piece(
            p.start_s, replace(p.raw, total=p.raw.total + np.rint(add * p.raw.n).astype(np.int64))
        )
        for p in pieces[at:]
    ]
    return [*pieces[:at], *moved]


@pytest.mark.parametrize("add", [-60.0, 40.0])
def test_a_ramp_that_was_disturbed_is_refused(add: float) -> None:
    rng = np.random.default_rng(1)
    good = ramp(Quantizer(Bow()), Discharge(), rng, False)
    with pytest.raises(AnalysisError, match="jumps" if add < 0 else "rises") as caught:
        table_of([good, changed(good, 20, add)], base(PROFILE))
    assert caught.value.code == "ramp_disturbed"


def test_no_windows_no_table() -> None:
    rng = np.random.default_rng(1)
    good = ramp(Quantizer(Bow()), Discharge(), rng, False)
    for ramps, profile in (
        ([], base(PROFILE)),
        ([good[:0]], base(PROFILE)),
        # The ADS1115 is fitted and said nothing.
        ([good], PROFILE),
    ):
        with pytest.raises(AnalysisError) as caught:
            table_of(ramps, profile)
        assert caught.value.code == "no_ramp"


def codes_of(ramps: list[list[Piece]], ads: bool) -> set[str]:
    found = table_of(ramps, PROFILE if ads else base(PROFILE))
    return {notice.code for notice in found.notices}


def test_what_is_amiss_with_ramps_is_said() -> None:
    rng = np.random.default_rng(2)
    plain = Quantizer(Bow())
    good = ramp(plain, Discharge(), rng, True)
    assert codes_of([good], True) == set()
    assert codes_of([good], False) == {"ramp_single"}
    fast = ramp(plain, Discharge(tau_s=15.0), rng, True)
    assert {"ramp_fast", "codes_thin"} <= codes_of([fast], True)
    for part in (Discharge(top=1500.0), Discharge(down_to=900.0)):
        assert codes_of([ramp(plain, part, rng, True)], True) == {"codes_not_reached"}
    other = ramp(Quantizer(Bow(((2.0, 300.0, 0.0),))), Discharge(), rng, True)
    assert codes_of([good, other], True) == {"ramps_differ"}
    bent = Quantizer(Bow(((25.0, 900.0, 0.0),)))
    assert "linearity_beyond_limit" in codes_of([ramp(bent, Discharge(), rng, True)] * 2, True)

# SPDX-License-Identifier: MIT
"""What lies between the clips, from readings worked out by Millman's theorem, not by the module."""

from dataclasses import replace

import numpy as np
import pytest
from analytic_cell import PROFILE, Cell, make_step

from sagline.analysis import presence, stuck
from sagline.analysis.presence import Taps, find
from sagline.analysis.step import read_step
from sagline.analysis.values import AnalysisError

# A tap that touches nothing: no current in the top resistor, so tap and node are one. 3 V through
# 1 Mohm on 75 kohm is 0.2093 V; with the 16 kohm foot beside it 0.0390 V. (Return: 3 V through
# 220 kohm and 22 kohm on the 10 kohm tie is 0.1190 V.)
FLOATS_V = {False: 3.0 * 75 / 1075, True: 3.0 / 1e6 / (1 / 1e6 + 1 / 75e3 + 1 / 16e3)}
TIED_V = 3.0 * 10 / 252


def code(high: bool, sense_v: float, force_v: float, return_v: float = 0.0, converter: int = 1):
    found = find(PROFILE, converter, high, Taps(sense_v, force_v, return_v))
    return found and found.code


@pytest.mark.parametrize("high", [False, True])
def test_a_floating_tap_rests_where_millman_says(high: bool) -> None:
    for channel in (0, 1):
        assert presence.floating_v(PROFILE, channel, high) == pytest.approx(FLOATS_V[high])


@pytest.mark.parametrize("converter", [0, 1])
@pytest.mark.parametrize("high", [False, True])
@pytest.mark.parametrize("emf_v", [0.6, 1.2, 1.58, 3.7, 4.4, 9.4, 12.6])
def test_each_cause_has_its_own_finding(converter: int, high: bool, emf_v: float) -> None:
    none, drop_v = FLOATS_V[high], 0.06

    def at(*taps: float):
        return code(high, *taps, converter=converter)

    assert at(emf_v, emf_v - drop_v) is None
    assert at(none, none, TIED_V) == "no_cell"
    assert at(none, emf_v - drop_v) == "sense_pos_open"
    assert at(emf_v, none) == "force_pos_open"
    assert at(emf_v, emf_v - drop_v, TIED_V) == "force_neg_open"
    assert at(emf_v, emf_v - drop_v, -0.02) == "sense_neg_open"
    assert at(-0.12 if high else -0.25, -0.1) == "cell_reversed"


@pytest.mark.parametrize("emf_v", [0.8, 1.0, 1.2, 1.5, 3.0])
def test_a_lost_sense_minus_shows_in_one_range_or_the_other(emf_v: float) -> None:
    """Kirchhoff at the ground node: both dividers' currents, less the return's lift, flow through
    the tie; its diode, which bends this above 50 mV, leaves the sign as it is."""
    readings = []
    for high in (False, True):
        foot_s = 1 / 75e3 + (1 / 16e3 if high else 0.0)
        node_v = (emf_v / 100e3 + 3.0 / 1e6) / (1 / 100e3 + 1 / 1e6 + foot_s)
        tie_a = 2 * (emf_v - node_v) / 100e3 - 3.0 / 242e3
        back_v = -10e3 * tie_a
        readings.append((high, Taps(emf_v + back_v, emf_v + back_v - 0.05, back_v)))
    if emf_v == 1.0:
        assert readings[0][1].return_v > 0.02 > -0.02 > readings[1][1].return_v
    with pytest.raises(AnalysisError) as caught:
        presence.refuse(PROFILE, 1, readings)
    assert caught.value.code == "sense_neg_open"


def test_the_first_finding_counts() -> None:
    good, none = Taps(1.5, 1.45, 0.0), Taps(FLOATS_V[False], FLOATS_V[False], TIED_V)
    presence.refuse(PROFILE, 1, [(False, good), (True, good)])
    with pytest.raises(AnalysisError, match="No cell"):
        presence.refuse(PROFILE, 1, [(False, none), (True, Taps(1.5, 1.45, -0.02))])
    with pytest.raises(AnalysisError, match="negative force"):
        presence.refuse(PROFILE, 1, [(False, good), (True, Taps(1.5, 1.45, TIED_V))])


def test_the_low_range_tells_no_volts_from_no_cell_with_either_converter() -> None:
    for converter in (0, 1):
        assert code(False, 0.0, 0.0156, converter=converter) == "no_voltage"
        assert code(False, 0.1, 0.1, converter=converter) == "no_voltage"
    assert code(True, 0.0, 0.003, converter=1) == "no_voltage"


def test_limits_follow_the_profile() -> None:
    """A worse converter makes the search blunter; the figures by hand: return, ADS1115:
    (0.5 mV + (3 + 1 + 2.5) codes of 62.5 µV + 0.2727 V of 0.55 %) / 0.909."""
    by_hand = (0.5e-3 + 6.5 * 62.5e-6 + 3.0 * 22 / 242 * 0.0055) / (220 / 242)
    assert presence.limit_v(PROFILE, 1, 2, False) == pytest.approx(by_hand, rel=1e-3)
    blunt = replace(PROFILE.converters[1], offset_millilsb=400_000)
    worse = replace(PROFILE, converters={1: blunt})
    assert find(worse, 1, False, Taps(1.5, 1.45, -0.02)) is None
    assert find(PROFILE, 1, False, Taps(1.5, 1.45, -0.02)) is not None


def checked(raw) -> str | None:
    try:
        presence.check_step(read_step(raw, PROFILE, 1), PROFILE, 1)
    except AnalysisError as error:
        assert error.message and error.remedy
        return error.code
    return None


@pytest.mark.parametrize("load", [0, 1, 2, 3])
@pytest.mark.parametrize("emf_v, r_ohm", [(1.58, 0.15), (0.9, 2.0), (3.0, 20.0), (4.1, 0.03)])
def test_a_sound_step_passes(load: int, emf_v: float, r_ohm: float) -> None:
    raw = make_step(Cell(emf_v, r_ohm), load=load, rng=np.random.default_rng(1), rest_s=1.0)
    assert checked(raw) is None


def test_a_step_whose_force_tap_does_not_move_had_no_current() -> None:
    raw = make_step(Cell(1.58, 0.15), rng=np.random.default_rng(1), rest_s=1.0)
    resting = raw.total[(raw.source == 5) & (raw.start_us < 1e5)]
    count = raw.n[(raw.source == 5) & (raw.start_us < 1e5)]
    still = round(float(resting.sum() / count.sum()))
    assert checked(replace(raw, total=np.where(raw.source == 5, still * raw.n, raw.total))) == (
        "no_current"
    )


@pytest.mark.parametrize("load", [0, 1, 2, 3])
def test_any_current_while_no_load_is_on_is_a_stuck_load(load: int) -> None:
    """What a load draws is what a stuck one would; a cell that is left alone draws none."""
    raw = make_step(Cell(1.58, 0.15), load=load, rng=np.random.default_rng(1), rest_s=1.0)
    with pytest.raises(AnalysisError) as caught:
        stuck.check_armed(raw, PROFILE, 1)
    assert caught.value.code == "load_stuck"
    rest_us = raw.edges_us[0]
    alone = replace(raw, edges_us=(rest_us - 60_000, rest_us - 20_000))
    stuck.check_armed(alone, PROFILE, 1)


def test_a_record_without_both_edges_is_not_judged() -> None:
    raw = make_step(Cell(9.0, 2.0), load=2, rng=np.random.default_rng(1), rest_s=1.0)
    for edges_us in ((), raw.edges_us[:1], (10**8, 10**8 + 10**5)):
        with pytest.raises(AnalysisError) as caught:
            stuck.check_armed(replace(raw, edges_us=edges_us), PROFILE, 1)
        assert caught.value.code == "few_points"


def test_more_in_the_return_lead_than_the_load_takes_is_a_stray_current() -> None:
    """The record of the 3.3 ohm load, taken for one of the 470 ohm load."""
    raw = make_step(Cell(1.58, 0.15), rng=np.random.default_rng(1), rest_s=1.0)
    assert checked(replace(raw, load=3)) == "stray_current"

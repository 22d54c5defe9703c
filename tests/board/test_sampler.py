# SPDX-License-Identifier: MIT
"""The record: exact sums, no gap, no window across an edge, never more than foreseen."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from board.still import StillHardware, let_pass
from sagline.virtual.address import parse
from sagline.virtual.clock import VirtualClock
from sagline.virtual.port import build_hardware
from sagline_board import ticks, wire
from sagline_board.board import Board
from sagline_board.commands import CHUNK_POINTS, DONE
from sagline_board.sampler import (
    CAPACITY,
    LOADED_SLICE_US,
    MOST_LENGTH_US,
    Sampler,
    expected_points,
    slice_plan,
)


def record(hw, segments):
    """Run the segments on a board over `hw`; return (engine, points as an array)."""
    board = Board(hw)
    text = ";".join(f"SEGM {mask},{ms}" for mask, ms in segments)
    board.receive(f"STEP:RANG 0;{text};STAR\n".encode())
    while board.poll() == 0:
        pass
    engine = board.engine
    assert engine.state == DONE, board.errors.pop()
    sampler = engine.sampler
    return engine, np.array([sampler.point(i) for i in range(sampler.count)])


SEGMENTS = ((0, 1200), (8, 300), (0, 700))


def test_onboard_windows_follow_each_other_without_a_gap():
    engine, points = record(StillHardware(), SEGMENTS)
    for channel in range(3):
        start, length = points[points[:, 0] == channel][:, 1:3].T
        assert start[0] == 0
        assert np.array_equal(start[1:], (start + length)[:-1])
        assert start[-1] + length[-1] == 2_200_000
    for edge in engine.edges_us:
        assert edge in points[:, 1], "a window begins at each edge"


def test_it_is_dense_after_an_edge():
    engine, points = record(StillHardware(), SEGMENTS)
    sense = points[points[:, 0] == 0]
    for edge in engine.edges_us:
        age = sense[:, 1] - edge
        after = sense[(age >= 0) & (age < 1000)]
        assert len(after) == 20
        assert (after[:, 2] == 50).all()


def test_no_window_spans_an_edge():
    hw = build_hardware(parse("virtual://lr6?seed=3"), VirtualClock(real_pace=False))
    engine, points = record(hw, SEGMENTS)
    for edge in engine.edges_us:
        starts, ends = points[:, 1], points[:, 1] + points[:, 2]
        assert not ((starts < edge) & (ends > edge)).any()
    # The converter's conversion begins anew at the edge, with sense less null, then force.
    first = points[(points[:, 0] >= 4) & (points[:, 1] >= engine.edges_us[0])][:2]
    assert first[:, 0].tolist() == [7, 5]
    assert first[0, 1] == engine.edges_us[0]


@given(st.lists(st.tuples(st.integers(0, 4095), st.integers(1, 900)), min_size=1, max_size=60))
def test_sums_are_exact(conversions):
    sampler = Sampler()
    sampler.begin(0)
    at_us = 0
    for code, n in conversions:
        sampler.add([1, at_us, 10_000, n, n * code], 1, 50_000)
        at_us += 10_000
    sampler.flush()
    points = [sampler.point(i) for i in range(sampler.count)]
    assert sum(p[3] for p in points) == sum(n for _, n in conversions)
    assert sum(p[4] for p in points) == sum(n * code for code, n in conversions)
    assert all(type(value) is int for point in points for value in point)


def test_a_window_that_would_outgrow_its_field_ends_before():
    """A slice that comes late: 49 ms summed already, then nothing for 20 ms."""
    sampler = Sampler()
    sampler.begin(0)
    slices = [(at_us, 10_000) for at_us in range(0, 40_000, 10_000)] + [(40_000, 9_000)]
    slices += [(69_000, 10_000), (79_000, 10_000)]
    for start_us, length_us in slices:
        sampler.add([0, start_us, length_us, 1000, 7000], 1, 50_000)
    sampler.flush()
    points = [sampler.point(i) for i in range(sampler.count)]
    assert points == [(0, 0, 49_000, 5000, 35_000), (0, 69_000, 20_000, 2000, 14_000)]


def test_a_record_across_the_wrap_of_the_counter():
    hw = StillHardware()
    hw.now_us = ticks.PERIOD - 1_300_000
    _, points = record(hw, SEGMENTS)
    assert points[:, 1].min() == 0
    assert (points[:, 1] + points[:, 2]).max() == 2_200_000


def test_a_full_record_is_said_and_not_overrun():
    sampler = Sampler()
    sampler.begin(0)
    for index in range(CAPACITY + 5):
        sampler.add([0, index * 10, 10, 1, 7], 1, 0)
    assert sampler.count == CAPACITY
    assert sampler.full


# Four together are no more than the load may be on.
RUNS = st.lists(st.tuples(st.sampled_from([0, 8]), st.integers(1, 1250)), min_size=1, max_size=4)


@settings(max_examples=25)
@given(RUNS)
def test_the_foreseen_count_is_an_upper_bound(segments):
    assume(expected_points(segments) <= CAPACITY)
    # The fastest converter the profile allows: a short period is what fills the record.
    hw = build_hardware(parse("virtual://lr6?seed=1"), VirtualClock(real_pace=False))
    hw._sampling._ads_us = 1057.0
    _, points = record(hw, segments)
    assert len(points) <= expected_points(segments)


def test_the_usual_step_fits():
    assert expected_points(((0, 5000), (1, 300), (0, 1000))) <= CAPACITY
    assert expected_points(((0, 5000), (1, 1200), (0, 2000))) <= CAPACITY


@pytest.mark.parametrize("loaded", [False, True])
def test_slices_stay_short(loaded):
    for since in (None, 0, 999, 1000, 4999, 20_000, 499_999, 500_000, 10_000_000):
        for until in (None, 1, 400_000, 600_000):
            slice_us, bin_us, group_us = slice_plan(since, until, loaded)
            assert 0 < bin_us <= slice_us <= (LOADED_SLICE_US if loaded else 10_000)
            assert slice_us // bin_us <= 20
            assert group_us in (0, 50_000)


@given(st.integers(0, ticks.PERIOD - 1), st.integers(-(1 << 29) + 1, (1 << 29) - 1))
def test_tick_arithmetic(tick, delta):
    assert ticks.diff(ticks.add(tick, delta), tick) == delta


def test_let_pass_passes_exactly():
    hw = StillHardware()
    let_pass(Board(hw), hw, 123_456)
    assert hw.now_us == 123_456


def test_the_longest_chunk_fits_into_a_reply():
    """Eight points of the largest values there are, sealed under the longest session and seq."""
    board = Board(StillHardware())
    sampler = board.engine.sampler
    rows = [7, 0, 0, 65_535, (1 << 27) - 1]
    for index in range(CHUNK_POINTS):
        start_us = 120_000_000 + index
        sampler.add([rows[0], start_us, MOST_LENGTH_US, *rows[3:]], 1, 0)
    message = board._do_fetch(0)
    assert isinstance(message, str)
    assert message.count(",") == 5 * CHUNK_POINTS + 1
    assert len(wire.seal("FFFFFFFF", 999_999, message)) <= wire.MAX_REPLY

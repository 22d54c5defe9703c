# SPDX-License-Identifier: MIT
"""One suite for all that implements `sagline_board.hardware` here: boards and the virtual rig."""

from collections.abc import Callable
from itertools import pairwise

import pytest

from board.rp2_standin.bench import FullBoard, pico
from board.still import StillHardware, StillNull
from sagline.virtual.address import parse
from sagline.virtual.clock import VirtualClock
from sagline.virtual.port import build_hardware
from sagline_board import profile, ticks
from sagline_board.engine import LIVE_US
from sagline_board.hardware import MAX_ROWS, ROW, Hardware
from sagline_board.sampler import FAR_SLICE_US, LOADED_SLICE_US, SCHEDULE

SLICES = [*(entry[1:] for entry in SCHEDULE), (FAR_SLICE_US, FAR_SLICE_US), (LIVE_US, LIVE_US)]
Make = Callable[[pytest.FixtureRequest], Hardware]


def virtual(request: pytest.FixtureRequest) -> Hardware:
    return build_hardware(parse("virtual://lr6?seed=3"), VirtualClock(real_pace=False))


def still(request: pytest.FixtureRequest) -> Hardware:
    return StillHardware()


def still_null(request: pytest.FixtureRequest) -> Hardware:
    return StillNull()


def pico_base(request: pytest.FixtureRequest) -> Hardware:
    request.getfixturevalue("chip")
    return pico().PicoHardware()


def pico_full(request: pytest.FixtureRequest) -> Hardware:
    chip = request.getfixturevalue("chip")
    FullBoard(request.getfixturevalue("monkeypatch"), chip, "RP2040")
    return pico().PicoHardware()


@pytest.fixture(params=[virtual, still, still_null, pico_base, pico_full])
def hw(request: pytest.FixtureRequest) -> Hardware:
    return request.param(request)


def capture(hw: Hardware, length_us: int, bin_us: int) -> list[tuple[int, ...]]:
    count = hw.capture(length_us, bin_us)
    assert count <= MAX_ROWS
    return [tuple(hw.rows[ROW * i : ROW * i + ROW]) for i in range(count)]


def test_it_says_what_it_is(hw: Hardware) -> None:
    for flag in (hw.onboard, hw.ads1115, hw.null, hw.wide_codes, hw.one_shot, hw.cold):
        assert flag in (0, 1)
    assert hw.ads1115 or not hw.null
    for field in (hw.model, hw.serial):
        assert field and "," not in field and field.isascii()


@pytest.mark.parametrize("mask", [0, 8])
@pytest.mark.parametrize(("length_us", "bin_us"), SLICES)
def test_rows_of_a_slice(hw: Hardware, length_us: int, bin_us: int, mask: int) -> None:
    hw.set_range(0)
    hw.switch(mask, 1_000_000)
    began = hw.ticks_us()
    rows = capture(hw, length_us, bin_us)
    ended = hw.ticks_us()
    assert ticks.diff(ended, began) >= length_us - 6
    named = {0, 1, 2} if hw.onboard else set()
    own = {4, 5, 6} if hw.ads1115 else set()
    if hw.null:
        own.add(4 + profile.NULL_DIFFERENCE)
    assert {row[0] for row in rows} <= named | own
    assert {row[0] for row in rows if row[0] < 4} == named
    for source, start, length, n, total in rows:
        assert 0 <= start < ticks.PERIOD
        assert n >= 1 and length >= 1
        full = profile.CONVERTERS[source >> 2]["full_code"]
        low = -full - 1 if source >> 2 == profile.ADS1115 else 0
        assert n * low <= total <= n * full
        assert ticks.diff(ticks.add(start, length), ended) <= 0, "nothing of the future"
        if source < 4:
            assert ticks.diff(start, began) >= 0, "nothing of before"
    for channel in named:
        windows = [row for row in rows if row[0] == channel]
        assert len(windows) <= -(-length_us // min(bin_us, LOADED_SLICE_US))
        for earlier, later in pairwise(windows):
            assert ticks.diff(later[1], ticks.add(earlier[1], earlier[2])) >= 0
    hw.switch(0, 0)


def test_a_live_reading_holds_every_front_end_that_is_named(hw: Hardware) -> None:
    sources = {row[0] for row in capture(hw, LIVE_US, LIVE_US)}
    wanted = {0, 1, 2} if hw.onboard else set()
    if hw.ads1115:
        wanted |= {4, 5, 6}
    if hw.null:
        wanted.add(7)
    assert sources == wanted


def test_no_conversion_spans_a_change_of_the_load(hw: Hardware) -> None:
    for mask in (8, 0, 8, 0):
        capture(hw, 5000, 5000)
        hw.switch(mask, 1_000_000)
        edge = hw.ticks_us()
        for _ in range(2):
            for _source, start, _length, _n, _total in capture(hw, 4000, 200):
                assert ticks.diff(start, edge) >= 0


def test_the_null_holds_until_it_is_set(hw: Hardware) -> None:
    if not hw.null:
        return
    for setting in (0, 2000, 0):
        hw.set_null(setting)
        # The filter settles.
        for _ in range(30):
            capture(hw, 10_000, 10_000)
        codes = {row[4] for row in capture(hw, LIVE_US, LIVE_US) if row[0] == 7}
        assert all(code > 0 for code in codes) == (setting == 0)
        assert codes

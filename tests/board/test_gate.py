# SPDX-License-Identifier: MIT
"""The load can never stay on: every path that could leave it on, one test each.

Each starts a step whose load goes on at 20 ms + 100 ms (two live readings of
10 ms come first) for 300 ms, then something happens in the middle of the pulse.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from board.still import StillHardware, let_pass
from sagline_board import commands, faults, sampler, wire
from sagline_board.board import SESSION_MS, Board
from sagline_board.engine import ONE_SHOT_MARGIN_US

ON_MS = 300
PLAN = b"STEP:SEGM 0,100;SEGM 8,%d;SEGM 0,100;STAR\n" % ON_MS


def running_with_load_on():
    """Return a board in the middle of a pulse."""
    hw = StillHardware()
    board = Board(hw)
    board.receive(PLAN)
    let_pass(board, hw, 200_000)
    assert hw.mask == 8
    return board, hw


def pulse_lengths(hw):
    """Return how long each pulse lasted, in us."""
    lengths = []
    on_since = None
    for at_us, mask in hw.switchings:
        if on_since is not None:
            lengths.append(at_us - on_since)
            on_since = None
        if mask:
            on_since = at_us
    return lengths


def test_it_ends_by_itself():
    board, hw = running_with_load_on()
    let_pass(board, hw, 1_000_000)
    assert hw.mask == 0
    assert pulse_lengths(hw) == [ON_MS * 1000]


@pytest.mark.parametrize(
    "line", [b"ABOR\n", b"abort\r", b"*RST\r\n", wire.seal("5", 1, "ABORt") + b"\n"]
)
def test_whoever_asks_turns_it_off_at_once(line):
    board, hw = running_with_load_on()
    board.receive(line)
    assert hw.mask == 0
    let_pass(board, hw, 1_000_000)
    assert hw.mask == 0


def test_abort_is_obeyed_within_20_ms_at_any_time():
    board, hw = running_with_load_on()
    longest_us = 0
    while hw.mask:
        before_us = hw.now_us
        board.poll()
        longest_us = max(longest_us, hw.now_us - before_us)
    assert 0 < longest_us <= 20_000


@pytest.mark.parametrize("fault", [RuntimeError("converter"), OSError(5), MemoryError()])
def test_an_exception_while_sampling(fault):
    board, hw = running_with_load_on()
    hw.fail = fault
    board.poll()
    assert hw.mask == 0
    hw.fail = None
    board.receive(b"STEP:STAT?\n")
    assert board.take_output().endswith(b",%d\n" % faults.TRIP_CAPTURE)


@pytest.mark.parametrize("interrupt", [KeyboardInterrupt, SystemExit])
def test_an_interrupt_while_sampling_passes_on_with_the_load_off(interrupt):
    board, hw = running_with_load_on()
    hw.fail = interrupt()
    with pytest.raises(interrupt):
        board.poll()
    assert hw.mask == 0


def test_the_firmware_hangs_and_the_one_shot_ends_the_pulse():
    _board, hw = running_with_load_on()
    hw.now_us += 10_000_000
    hw.settle()
    assert hw.mask == 0
    assert pulse_lengths(hw) == [ON_MS * 1000 + ONE_SHOT_MARGIN_US]


def test_the_host_falls_silent():
    hw = StillHardware()
    board = Board(hw)
    for seq, message in enumerate(
        ("SESSion:OPEN 1", "STEP:SEGMent 0,100", "STEP:SEGMent 8,300", "STEP:STARt"), 1
    ):
        board.receive(wire.seal("7", seq, message) + b"\n")
    let_pass(board, hw, 200_000)
    assert hw.mask == 8
    let_pass(board, hw, SESSION_MS * 2000)
    assert hw.mask == 0
    assert pulse_lengths(hw) == [ON_MS * 1000]


@pytest.mark.parametrize(
    "lines",
    [
        b"\x00\xff\x03garbage\n" * 50,
        b"x" * 100_000,
        b"STEP:CLE\nSTEP:SEGM 8,5000\nSTEP:STAR\nSTEP:RANG 1\n",
        b"@1.1 STEP:SEGMent 8,5000*00000000\n",
        wire.seal("9", 1, "SESSion:OPEN 1") + b"\n" + wire.seal("9", 2, "STEP:STARt") + b"\n",
        b"GUAR:CLE;*CLS\n",
    ],
)
def test_nothing_said_meanwhile_prolongs_it(lines):
    board, hw = running_with_load_on()
    board.receive(lines)
    let_pass(board, hw, 2_000_000)
    assert hw.mask == 0
    assert max(pulse_lengths(hw)) <= ON_MS * 1000


def test_over_voltage_trips_and_stays_tripped():
    board, hw = running_with_load_on()
    hw.codes[0] = 4000
    board.poll()
    assert hw.mask == 0
    hw.codes[0] = 300
    board.take_output()
    board.receive(b"STEP:STAR;STAT?\nSYST:ERR?\nGUAR:CLE\nSTEP:STAR\nSYST:ERR?\n")
    refused, cleared = board.take_output().split(b"\n")[:2]
    assert refused.startswith(b"111,")
    assert cleared == b'0,"No error"'


def test_a_record_that_overflows_ends_the_step(monkeypatch):
    board, hw = running_with_load_on()
    monkeypatch.setattr(sampler, "CAPACITY", board.engine.sampler.count + 4)
    let_pass(board, hw, 50_000)
    assert hw.mask == 0
    assert board.engine.guard.reason == faults.TRIP_RECORD


def test_a_cell_beyond_the_low_range_is_not_loaded():
    """Codes at the end of the low range say nothing of the voltage behind it."""
    hw = StillHardware()
    hw.codes[0] = hw.codes[1] = 4095
    board = Board(hw)
    board.receive(b"STEP:RANG 0;SEGM 0,10;SEGM 8,100;STAR\n")
    let_pass(board, hw, 300_000)
    assert [mask for _, mask in hw.switchings] == [0]


def test_a_board_that_starts_turns_everything_off():
    hw = StillHardware()
    hw.mask = 15
    Board(hw)
    assert hw.mask == 0


def test_a_refused_start_switches_nothing():
    hw = StillHardware()
    board = Board(hw)
    board.receive(b"STEP:SEGM 1,60000;STAR\n")
    let_pass(board, hw, 100_000)
    assert [mask for _, mask in hw.switchings] == [0]


def test_a_step_may_begin_with_the_load_on():
    hw = StillHardware()
    board = Board(hw)
    board.receive(b"STEP:SEGM 8,100;SEGM 12,50;SEGM 4,50;STAR\n")
    let_pass(board, hw, 500_000)
    masks = [mask for _, mask in hw.switchings]
    assert masks == [0, 8, 12, 4, 0]
    assert hw.mask == 0


@pytest.mark.parametrize(
    ("segments", "error"),
    [
        ("SEGM 0,20;SEGM 256,50;SEGM 0,20", faults.NO_ERROR),
        ("SEGM 256,51;SEGM 0,20", faults.REFUSED_ON_TIME),
        ("SEGM 256,30;SEGM 0,20;SEGM 256,30", faults.REFUSED_ON_TIME),
        # A load's own limits hold beside it.
        ("SEGM 256,20;SEGM 1,60000", faults.REFUSED_ON_TIME),
        ("SEGM 16,20", faults.OUT_OF_RANGE),
        ("SEGM 257,20", faults.OUT_OF_RANGE),
    ],
)
def test_arm_alone_is_closed_for_a_moment_only(segments, error):
    hw = StillHardware()
    board = Board(hw)
    board.receive(f"STEP:{segments};STAR\n".encode())
    assert board.errors.pop() == error
    let_pass(board, hw, 500_000)
    masks = [mask for _, mask in hw.switchings]
    assert [mask for mask in masks if mask] == ([] if error else [commands.ARM_ALONE])
    assert hw.mask == 0


def test_the_guard_looks_at_what_the_load_has_across_it():
    """Sense alone may be off, or on another cell: force is what drives the load."""
    hw = StillHardware()
    # About 13.9 V at the force tap of the 16.5 V range; sense as on a quiet 1.6 V cell.
    hw.codes[1] = 2500
    board = Board(hw)
    board.receive(b"STEP:SEGM 1,100;STAR\n")
    assert board.engine.live_mv(1) > 13800 > 2000 > board.engine.live_mv(0)
    assert board.errors.pop() == faults.REFUSED_VOLTAGE
    let_pass(board, hw, 300_000)
    assert [mask for _, mask in hw.switchings] == [0]


def test_a_force_tap_that_leaps_in_mid_pulse_trips():
    board, hw = running_with_load_on()
    hw.codes[1] = 3500
    let_pass(board, hw, 20_000)
    assert hw.mask == 0
    assert board.engine.guard.reason == faults.TRIP_OVER_VOLTAGE


class SlowHardware(StillHardware):
    """A loop that takes 20 ms beside each slice."""

    def capture(self, length_us, bin_us):
        rows = StillHardware.capture(self, length_us, bin_us)
        self.now_us += 20_000
        self.settle()
        return rows


@pytest.mark.parametrize("hardware", [StillHardware, SlowHardware])
def test_the_guard_counts_the_clocks_time_not_the_plans(hardware):
    """Slices of 5 ms take 25 ms where the loop is slow: the load is on for all of it."""
    hw = hardware()
    board = Board(hw)
    board.receive(b"STEP:SEGM 1,500;STAR\n")
    while board.poll() == 0:
        pass
    (lasted_us,) = pulse_lengths(hw)
    assert 500_000 <= lasted_us <= 530_000
    # 1.6 V on 3.3 ohm by hand: the energy is V²·t/R.
    volt_mv = board.engine.live_mv(0)
    assert board.engine.guard._on_us[0] == pytest.approx(lasted_us, rel=0.05)
    assert board.engine.guard._pulse_uj[0] == pytest.approx(
        volt_mv**2 / 3300 * lasted_us / 1000, rel=0.05
    )


def test_arm_alone_is_taken_to_heat_every_load():
    """13.2 V on 3.3 ohm for 50 ms and the 170 ms that ARM holds is 11.6 J of 50 J: four looks."""
    hw = StillHardware()
    hw.codes[0] = hw.codes[1] = 2115
    board = Board(hw)
    for _ in range(4):
        board.receive(b"STEP:CLE;SEGM 256,50;STAR\n")
        assert board.errors.pop() == faults.NO_ERROR
        assert 13_000 < board.engine.load_mv() < 13_400
        while board.poll() == 0:
            pass
    board.receive(b"STEP:CLE;SEGM 256,50;STAR\n")
    assert board.errors.pop() == faults.REFUSED_HOT


@pytest.mark.parametrize(
    "line",
    [
        b"STEP:STAT?;ABORt\n", b"STEP:FETC? 0;:ABORt\n", b"STEP:STAR;:ABOR\n", b"FOO;:ABORt\n",
        b"MEAS:VOLT? 1;:*RST\n", b"ABORt 1\n",
    ],
)  # fmt: skip
def test_abort_is_obeyed_behind_whatever_could_not_be_done(line):
    board, hw = running_with_load_on()
    board.receive(line)
    assert hw.mask == 0
    assert board.errors.pop() < 0, "and what could not be done is still an error"


@pytest.mark.parametrize("end", [b"ABOR\n", b"abort\r\n", b"*RST\n"])
@pytest.mark.parametrize(
    "before", [b"STEP:SEGM 8,", b"\x00\xff junk", b"@7.3 STEP:STA", b"x" * 200]
)
def test_abort_is_obeyed_behind_a_line_that_was_never_finished(before, end):
    board, hw = running_with_load_on()
    board.receive(before)
    assert hw.mask, "not yet"
    board.receive(end)
    assert hw.mask == 0


def test_a_word_that_only_begins_so_is_no_abort():
    board, hw = running_with_load_on()
    board.receive(b"ABORTED\nABO\nRST\n")
    assert hw.mask


LINES = st.sampled_from(
    [
        b"ABOR\n", b"*RST\n", b"STEP:CLE\n", b"STEP:STAR\n", b"STEP:SEGM 0,50\n",
        b"STEP:SEGM 8,300\n", b"STEP:SEGM 12,200\n", b"STEP:SEGM 15,100\n", b"GUAR:CLE\n",
        b"STEP:SEGM 256,40\n", b"STEP:RANG 0\n", b"STEP:FETC? 0\n", b"\x03\x00@\n", b"STEP:SEGM 8,",
        wire.seal("A1", 1, "SESSion:OPEN 1") + b"\n", wire.seal("A1", 2, "STEP:STARt") + b"\n",
    ]
)  # fmt: skip
EVENTS = st.one_of(
    LINES,
    st.integers(1, 400_000),  # let so many us pass
    st.sampled_from([RuntimeError("converter"), "recovered", "hang"]),
)


@settings(max_examples=300)
@given(st.lists(EVENTS, max_size=40))
def test_no_schedule_keeps_it_on(events):
    """Random commands, waits, sampling faults and hangs: no pulse outlasts its plan."""
    hw = StillHardware()
    board = Board(hw)
    for event in events:
        if isinstance(event, bytes):
            board.receive(event)
        elif isinstance(event, int):
            let_pass(board, hw, event)
        elif event == "hang":
            hw.now_us += 3_000_000
            hw.settle()
        else:
            hw.fail = event if isinstance(event, Exception) else None
    hw.fail = None
    # The longest plan the limits allow is 16 segments with one load on.
    let_pass(board, hw, 6_000_000)
    assert hw.mask == 0
    assert all(length <= 5_000_000 + ONE_SHOT_MARGIN_US for length in pulse_lengths(hw))

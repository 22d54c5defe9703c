# SPDX-License-Identifier: MIT
"""The null channel on the board's side: set, kept over a step, read, and refused where absent."""

import pytest

from board.still import BALANCE, SETTING_CODES, StillHardware, StillNull, let_pass
from sagline_board import commands, faults, profile, wire
from sagline_board.board import Board


class Talk:
    """A board and plain lines to it."""

    def __init__(self, hw):
        self.hw = hw
        self.board = Board(hw)

    def ask(self, line):
        self.board.receive(line.encode() + b"\n")
        return self.board.take_output().decode().strip()

    def error(self):
        return int(self.ask("SYST:ERR?").split(",")[0])

    def run(self, *segments):
        """Run a step to its end; return its points as tuples."""
        self.ask("STEP:CLE")
        for segment in segments:
            self.ask("STEP:SEGM %d,%d" % segment)
        self.ask("STEP:STAR")
        assert self.error() == faults.NO_ERROR
        let_pass(self.board, self.hw, 1000 * sum(ms for _, ms in segments) + 500_000)
        state, _, _, count, _ = self.ask("STEP:STAT?").split(",")
        assert int(state) == commands.DONE
        values = []
        for chunk in range(-(-int(count) // commands.CHUNK_POINTS)):
            values += [int(text) for text in self.ask("STEP:FETC? %d" % chunk).split(",")[2:]]
        return [tuple(values[at : at + 5]) for at in range(0, len(values), 5)]


@pytest.fixture
def fitted():
    return Talk(StillNull())


def test_set_and_read_back_with_the_difference(fitted):
    assert fitted.ask("MEAS:NULL?") == "0,1,32767", "far from balance: the end of the range"
    for setting in (BALANCE - 3, BALANCE, BALANCE + 5):
        assert fitted.ask("STEP:NULL %d;:MEAS:NULL?" % setting) == "%d,1,%d" % (
            setting, SETTING_CODES * (BALANCE - setting),
        )  # fmt: skip
    assert fitted.hw.settings == [0, BALANCE - 3, BALANCE, BALANCE + 5]
    assert fitted.error() == faults.NO_ERROR


def test_every_setting_of_the_profile_and_no_other(fitted):
    last = profile.NULL["settings"] - 1
    assert fitted.ask("STEP:NULL %d;:MEAS:NULL?" % last).split(",")[0] == str(last)
    for bad in (profile.NULL["settings"], -1):
        fitted.ask("STEP:NULL %d" % bad)
        assert fitted.error() == faults.OUT_OF_RANGE
    assert fitted.hw.setting == last


def test_kept_over_a_step_and_to_the_next(fitted):
    fitted.ask("STEP:NULL %d" % (BALANCE - 2))
    for _ in range(2):
        points = fitted.run((0, 200), (8, 100), (0, 100))
        windows = [(n, total) for source, _, _, n, total in points if source == 7]
        assert len(windows) > 5
        assert {total // n for n, total in windows} == {2 * SETTING_CODES}
        assert {total % n for n, total in windows} == {0}
    assert fitted.ask("MEAS:NULL?") == "%d,1,%d" % (BALANCE - 2, 2 * SETTING_CODES)
    assert fitted.hw.settings == [0, BALANCE - 2], "set once, when it was asked for"


def test_below_balance_the_record_is_signed(fitted):
    fitted.ask("STEP:NULL %d" % (BALANCE + 2))
    points = fitted.run((0, 200))
    assert {total // n for source, _, _, n, total in points if source == 7} == {-2 * SETTING_CODES}


def test_not_changed_while_a_step_runs(fitted):
    fitted.ask("STEP:NULL %d" % BALANCE)
    fitted.ask("STEP:SEGM 0,100;SEGM 8,100;STAR")
    let_pass(fitted.board, fitted.hw, 150_000)
    assert fitted.hw.mask == 8
    fitted.ask("STEP:NULL 0")
    assert fitted.error() == faults.INIT_IGNORED
    assert fitted.ask("MEAS:NULL?").split(",")[0] == str(BALANCE), "a query answers all the time"
    assert (fitted.hw.setting, fitted.hw.mask) == (BALANCE, 8)


@pytest.mark.parametrize("line", ["*RST", "*rst"])
def test_reset_sets_it_to_0(fitted, line):
    fitted.ask("STEP:NULL %d" % BALANCE)
    fitted.ask(line)
    assert fitted.hw.setting == 0
    assert fitted.ask("MEAS:NULL?").startswith("0,")


def test_a_board_that_starts_sets_it_to_0():
    hw = StillNull()
    hw.setting = 99
    Board(hw)
    assert hw.setting == 0


def test_abort_leaves_it(fitted):
    fitted.ask("STEP:NULL %d" % BALANCE)
    fitted.ask("ABOR")
    assert fitted.hw.setting == BALANCE


def test_in_envelopes_and_from_one_session_only(fitted):
    def sealed(session, seq, message):
        reply = fitted.ask(wire.seal(session, seq, message).decode())
        opened = wire.unseal(reply.encode())
        assert opened is not None
        return opened[2]

    sealed("A", 1, "SESSion:OPEN 1")
    assert sealed("A", 2, "STEP:NULL 7") == "OK"
    assert sealed("A", 2, "STEP:NULL 7") == "OK"
    assert fitted.hw.settings == [0, 7], "a retry is no second execution"
    fitted.ask("STEP:NULL 8")
    assert fitted.error() == faults.SETTINGS_CONFLICT
    assert sealed("A", 3, "MEASure:NULL?").startswith("7,1,")
    assert fitted.ask("MEAS:NULL?").startswith("7,1,")


def test_its_values_are_those_of_the_profile(fitted):
    values = dict(zip(commands.NULL_FIELDS, map(int, fitted.ask("RIG:NULL?").split(","))))
    assert values == {name: profile.NULL[name] for name in commands.NULL_FIELDS}
    assert fitted.ask("SYST:CAP?").split(",")[5] == "1"


def test_where_it_is_absent_it_is_refused_and_its_values_are_0():
    absent = Talk(StillHardware())
    assert absent.ask("SYST:CAP?").split(",")[5] == "0"
    for line in ("STEP:NULL 5", "MEAS:NULL?"):
        assert absent.ask(line) == ""
        assert absent.error() == faults.HARDWARE
    assert set(absent.ask("RIG:NULL?").split(",")) == {"0"}
    # No call of the contract that the board does not implement.
    absent.ask("*RST")
    assert absent.error() == faults.NO_ERROR
    assert all(source < 4 for source, *_ in absent.run((0, 100)))

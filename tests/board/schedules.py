# SPDX-License-Identifier: MIT
"""Random schedules of what may happen to a board, and how long its loads were on in each.

One schedule is one board on a virtual clock: plans and other commands, sound and senseless,
exceptions in the middle of sampling, Ctrl-C, soft resets with and without the firmware after them,
a loop that hangs, a cell that changes, a host that falls silent. The hardware has a one-shot, as a
Pico has; its own count is not what a pulse is judged by.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import groupby
from random import Random

from board.still import StillHardware
from sagline_board import commands, profile, wire
from sagline_board.board import Board
from sagline_board.engine import ONE_SHOT_MARGIN_US
from sagline_board.hardware import ROW
from sagline_board.ticks import PERIOD

LONGEST_US = 10_000_000
"""After that long without the loop, nothing may be on."""
EVENTS = 12
MASKS = (1, 2, 4, 8, 8, 8, 3, 5, 12, 15, commands.ARM_ALONE)
FAULTS = (OSError(5), RuntimeError("converter"), MemoryError(), KeyboardInterrupt(), SystemExit())
LINES = (
    b"ABOR\n",
    b"*RST\n",
    b"STEP:STAR\n",
    b"STEP:CLE\n",
    b"STEP:RANG 0\n",
    b"STEP:RANG 1\n",
    b"GUAR:CLE\n",
    b"STEP:STAT?\n",
    b"STEP:EDG?\n",
    b"*IDN?;SYST:ERR?\n",
    b"\x00\xff\x03 junk\n",
    b"STEP:SEGM 8,",
    b"5;STAR\n",
    wire.seal("7", 1, "SESSion:OPEN 1") + b"\n",
    wire.seal("7", 2, "STEP:STARt") + b"\n",
    wire.seal("7", 3, "ABORt") + b"\n",
    b"@7.3 STEP:SEGMent 8,5000*00000000\n",
)


class Switches(StillHardware):
    """A row a channel and slice; every span of one mask with what its plan allows it."""

    def __init__(self, start_us: int) -> None:
        StillHardware.__init__(self)
        self.now_us = start_us
        self.board: Board | None = None
        self.spans: list[tuple[int, int, int]] = []
        self._began_us = start_us
        self._planned_us = 0

    def switch(self, mask: int, longest_us: int) -> None:
        self.settle()
        self._close(self.now_us)
        self.mask = mask
        self.off_at_us = self.now_us + longest_us if mask else None
        self._began_us = self.now_us
        self._planned_us = self._run_us(mask)

    def settle(self) -> None:
        if self.off_at_us is not None and self.now_us >= self.off_at_us:
            self._close(self.off_at_us)
            self.mask = 0
            self.off_at_us = None

    def capture(self, length_us: int, bin_us: int) -> int:
        if self.fail is not None:
            fault, self.fail = self.fail, None
            raise fault
        at = self.now_us % PERIOD
        for channel in range(3):
            self.rows[channel * ROW : channel * ROW + ROW] = type(self.rows)(
                "i", (channel, at, length_us, 8, 8 * self.codes[channel])
            )
        self.now_us += length_us
        self.settle()
        return 3

    def _close(self, at_us: int) -> None:
        if self.mask:
            self.spans.append((self.mask, at_us - self._began_us, self._planned_us))

    def _run_us(self, mask: int) -> int:
        """The longest time that the present plan keeps this mask."""
        if self.board is None or not mask:
            return 0
        runs = groupby(self.board.engine.segments, key=lambda segment: segment[0])
        return 1000 * max((sum(ms for _, ms in run) for of, run in runs if of == mask), default=0)


@dataclass
class Outcome:
    """What went wrong in one schedule, and how far its worst span went beyond its plan (us)."""

    number: int
    wrong: list[str] = field(default_factory=list)
    beyond_us: int = -LONGEST_US
    longest_us: int = 0
    pulses: int = 0


def run(number: int) -> Outcome:
    """Play schedule `number`; a number always gives the same."""
    rng = Random(number)
    hw = Switches(rng.randrange(2 * PERIOD))
    outcome = Outcome(number)
    board = hw.board = Board(hw)
    for _ in range(rng.randint(3, EVENTS)):
        board = _event(rng, board, hw, outcome)
    # The host is gone. Either the loop goes on, or it does not.
    if rng.random() < 0.5:
        until_us = hw.now_us + LONGEST_US
        while hw.now_us < until_us and board.poll() == 0:
            pass
    hw.now_us += LONGEST_US
    hw.settle()
    if hw.mask:
        outcome.wrong.append(f"mask {hw.mask} is on at the end")
    _judge(hw, outcome)
    return outcome


def _event(rng: Random, board: Board, hw: Switches, outcome: Outcome) -> Board:
    """Let one thing happen; return the board that is there then."""
    kind = rng.choices(
        ("plan", "line", "go on", "fault", "hang", "reset", "cell"), (4, 3, 6, 1, 1, 1, 1)
    )[0]
    if kind == "plan":
        board.receive(_plan(rng))
    elif kind == "line":
        line = rng.choice(LINES)
        board.receive(line)
        if line in (b"ABOR\n", b"*RST\n") and hw.mask:
            outcome.wrong.append(f"mask {hw.mask} is on after {line!r}")
    elif kind == "go on":
        _go_on(rng, board, hw, outcome)
    elif kind == "fault":
        hw.fail = rng.choice(FAULTS)
        _go_on(rng, board, hw, outcome)
        hw.fail = None
    elif kind == "hang":
        hw.now_us += round(10 ** rng.uniform(3.0, 7.0))
        hw.settle()
    elif kind == "reset":
        # boot.py, after which the firmware may start or not.
        hw.switch(0, 0)
        if rng.random() < 0.8:
            board = hw.board = Board(hw)
        if hw.mask:
            outcome.wrong.append("a reset left a load on")
    else:
        hw.codes[rng.randrange(2)] = rng.choice((300, 300, 600, 4000, 4095))
    board.take_output()
    return board


def _go_on(rng: Random, board: Board, hw: Switches, outcome: Outcome) -> None:
    for _ in range(rng.choice((1, 3, 10, 30))):
        try:
            idle_us = board.poll()
        except (KeyboardInterrupt, SystemExit):
            idle_us = 0
            if hw.mask:
                outcome.wrong.append(f"mask {hw.mask} is on after an interrupt")
        if idle_us:
            hw.now_us += min(idle_us, 20_000)
        hw.settle()


def _plan(rng: Random) -> bytes:
    text = "STEP:CLE"
    for _ in range(rng.randint(1, 4)):
        mask = 0 if rng.random() < 0.4 else rng.choice(MASKS)
        longest = 3.9 if rng.random() < 0.05 else 1.6
        text += f";SEGM {mask},{round(10 ** rng.uniform(0.0, longest))}"
    return (text + (";STAR\n" if rng.random() < 0.9 else "\n")).encode()


def _judge(hw: Switches, outcome: Outcome) -> None:
    for mask, lasted_us, planned_us in hw.spans:
        outcome.pulses += 1
        outcome.longest_us = max(outcome.longest_us, lasted_us)
        outcome.beyond_us = max(outcome.beyond_us, lasted_us - planned_us)
        if lasted_us > planned_us + ONE_SHOT_MARGIN_US:
            outcome.wrong.append(f"mask {mask} was on for {lasted_us} us, planned {planned_us} us")
        if lasted_us > _most_us(mask) + ONE_SHOT_MARGIN_US:
            outcome.wrong.append(f"mask {mask} was on for {lasted_us} us, beyond its loads' limits")


def _most_us(mask: int) -> int:
    """What the profile allows the loads of a mask."""
    if mask == commands.ARM_ALONE:
        return commands.ARM_ALONE_MS * 1000
    return 1000 * min(
        load["max_on_ms"] for index, load in enumerate(profile.LOADS) if mask >> index & 1
    )

# SPDX-License-Identifier: MIT
"""Fuzzed lines into the board and into the host: no crash, no hang, no load left on.

    python tests/bench/fuzz.py [--lines 1000000] [--seed 1]

The board's lines are valid ones, damaged ones, and noise, with time passing
between them; the host's are what a board could have answered, damaged. Prints
how many lines each took and what came of them. The test suite runs a small
number of both.
"""

import argparse
import random
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from board.still import StillHardware, let_pass
from sagline.device.link import Link
from sagline.errors import SaglineError
from sagline_board import commands, profile, wire
from sagline_board.board import Board
from sagline_board.engine import ONE_SHOT_MARGIN_US

LONGEST_ON_US = max(load["max_on_ms"] for load in profile.LOADS) * 1000 + ONE_SHOT_MARGIN_US


def damaged(data: bytes, chance: random.Random) -> bytes:
    """Return `data` with a few bytes flipped, lost, doubled or inserted."""
    bytes_ = bytearray(data)
    for _ in range(chance.choice((0, 0, 1, 1, 2, 5))):
        at = chance.randrange(len(bytes_) + 1)
        kind = chance.randrange(4)
        if kind == 0 and at < len(bytes_):
            bytes_[at] ^= 1 << chance.randrange(8)
        elif kind == 1 and at < len(bytes_):
            del bytes_[at]
        elif kind == 2 and at < len(bytes_):
            bytes_.insert(at, bytes_[at])
        else:
            bytes_.insert(at, chance.randrange(256))
    return bytes(bytes_)


def a_message(chance: random.Random) -> str:
    """Return a message that the table knows, with values in or out of their bounds."""
    command = chance.choice(commands.TABLE)
    values = [
        chance.choice((low, high, chance.randint(low, high), high + 1, -1))
        for _, low, high in command.args
    ]
    return commands.request(command.name, *values)


def a_plan(chance: random.Random) -> list[str]:
    """Return the messages of a step that the guard may allow, sometimes tripping before it."""
    masks = [chance.choice((0, 1, 2, 4, 8, 12, 15)) for _ in range(chance.randrange(1, 4))]
    segments = [f"STEP:SEGMent {mask},{chance.choice((1, 30, 300, 1500))}" for mask in masks]
    return ["GUARd:CLEar", "STEP:CLEar", *segments, "STEP:STARt"]


def a_line(chance: random.Random, session: str, seq: int) -> bytes:
    """Return one line for the board, more or less well formed."""
    kind = chance.randrange(12)
    if kind >= 10:
        plan = a_plan(chance)
        if kind == 10:
            line = b";:".join(message.encode() for message in plan)
        else:
            line = b"\n".join(
                wire.seal(session, seq + number, message) for number, message in enumerate(plan)
            )
    elif kind < 4:
        line = a_message(chance).encode()
    elif kind < 8:
        line = wire.seal(session, seq, a_message(chance))
    elif kind == 8:
        line = b";".join(a_message(chance).encode() for _ in range(chance.randrange(1, 5)))
    else:
        line = chance.randbytes(chance.randrange(400))
    return damaged(line, chance) + chance.choice((b"\n", b"\r", b"\r\n", b""))


def fuzz_board(lines: int, seed: int) -> Counter[str]:
    """Feed `lines` lines to a board; count what came of it. Raises where something is wrong."""
    chance = random.Random(seed)
    hw = StillHardware()
    board = Board(hw)
    seen: Counter[str] = Counter()
    on_since = None
    checked = 0
    for number in range(lines):
        board.receive(a_line(chance, "A1", number // 3 % 999_999 + 1))
        if chance.randrange(4) == 0:
            let_pass(board, hw, chance.choice((1, 5_000, 60_000, 700_000)))
        seen["replies"] += board.take_output().count(b"\n")
        for at_us, mask in hw.switchings[checked:]:
            if on_since is not None and at_us - on_since > LONGEST_ON_US:
                raise AssertionError(f"a load was on for {at_us - on_since} us by line {number}")
            on_since = at_us if mask else None
            seen["pulses"] += bool(mask)
        checked = len(hw.switchings)
        if checked > 10_000:
            del hw.switchings[:]
            checked = 0
    let_pass(board, hw, LONGEST_ON_US * commands.MAX_SEGMENTS)
    if hw.mask:
        raise AssertionError("a load is on at the end")
    seen["lines"] = lines
    return seen


class FuzzedPort:
    """A board whose replies are damaged on their way to the host; its own clock."""

    def __init__(self, chance: random.Random) -> None:
        self._chance = chance
        self._board = Board(StillHardware())
        self._pending = b""
        self._now_s = 0.0
        self.clock = self
        self.lines = 0
        self.calm = True

    def now_s(self) -> float:
        return self._now_s

    def wait(self, seconds: float) -> None:
        self._now_s += seconds

    @property
    def in_waiting(self) -> int:
        return len(self._pending)

    def write(self, data: bytes) -> int:
        self._board.receive(data)
        self._board.poll()
        for line in self._board.take_output().splitlines(keepends=True):
            if not self.calm:
                line = damaged(line, self._chance)
                if self._chance.randrange(8) == 0:
                    line = self._chance.randbytes(self._chance.randrange(300)) + line
            self.lines += 1
            self._pending += line
        return len(data)

    def read(self, size: int) -> bytes:
        if not self._pending:
            self._now_s += 0.1
        data, self._pending = self._pending[:size], self._pending[size:]
        return data

    def close(self) -> None:
        """Nothing is open."""


def fuzz_host(lines: int, seed: int) -> Counter[str]:
    """Ask until `lines` damaged replies have come; count what came of it; raise on a wrong one."""
    chance = random.Random(seed)
    port = FuzzedPort(chance)
    link = Link(port, "fuzzed")
    link._open_session()
    names = ("identity", "load_count", "range_values", "reference_values", "error_count")
    right = {name: link.request(name) for name in names}
    port.calm = False
    seen: Counter[str] = Counter()
    while port.lines < lines:
        name = chance.choice(names)
        try:
            reply = link.request(name)
        except SaglineError as error:
            seen[error.code] += 1
            continue
        if reply != right[name]:
            raise AssertionError(f"{name} was answered {reply!r}, not {right[name]!r}")
        seen["right"] += 1
    seen["lines"] = port.lines
    return seen


def main() -> None:
    """Run both and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--lines", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    for name, fuzz in (("board", fuzz_board), ("host", fuzz_host)):
        start_s = time.perf_counter()
        seen = fuzz(args.lines, args.seed)
        rate = args.lines / (time.perf_counter() - start_s)
        print(f"{name}: {dict(seen)}; {rate:.0f} lines a second; emulated", flush=True)


if __name__ == "__main__":
    main()

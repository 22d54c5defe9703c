# SPDX-License-Identifier: MIT
"""Fuzzed lines into the board and into the host: no crash, no hang, no load left on.

    python tests/bench/fuzz.py [--lines 1000000] [--seed 1] [--only board,host,rig,stranger]

board: lines for the board, valid ones, damaged ones, and noise, with time
passing between them. host: what a board answers, damaged on its way. rig: whole
envelopes with other words in them, as from a board gone mad, through a whole
step. stranger: what something else might say while it is taken for a board.
Prints how many lines each took and what came of them. The test suite runs a
small number of each.
"""

import argparse
import faulthandler
import random
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from board.still import StillHardware, let_pass
from sagline.device import commandset
from sagline.device.link import Link
from sagline.device.rig import Rig
from sagline.errors import SaglineError
from sagline_board import commands, faults, profile, wire
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
    command = chance.choice(commandset.TABLE)
    values = [
        chance.choice((low, high, chance.randint(low, high), high + 1, -1))
        for _, low, high in command.args
    ]
    return commandset.request(command.name, *values)


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
        self.hw = StillHardware()
        self._board = Board(self.hw)
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
                line = self.garble(line)
            self.lines += 1
            self._pending += line
        return len(data)

    def garble(self, line: bytes) -> bytes:
        """Return what becomes of a line of the board's."""
        line = damaged(line, self._chance)
        if self._chance.randrange(8) == 0:
            line = self._chance.randbytes(self._chance.randrange(300)) + line
        return line

    def read(self, size: int) -> bytes:
        if not self._pending:
            self.wait(0.1)
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


class LyingPort(FuzzedPort):
    """A board whose replies come whole but say something else now and then."""

    def __init__(self, chance: random.Random, rate: float) -> None:
        super().__init__(chance)
        self._rate = rate

    def wait(self, seconds: float) -> None:
        self._now_s += seconds
        let_pass(self._board, self.hw, round(seconds * 1e6))

    def garble(self, line: bytes) -> bytes:
        opened = wire.unseal(line.strip())
        if opened is None or self._chance.random() > self._rate:
            return line
        session, seq, message = opened
        return wire.seal(session, seq, other_words(message, self._chance)) + b"\n"


def other_words(message: str, chance: random.Random) -> str:
    """Return something else than `message` that a mad board might answer."""
    fields = message.split(",")
    at = chance.randrange(len(fields))
    kind = chance.randrange(7)
    if kind == 0:
        number = chance.choice((*faults.TEXTS, 999))
        return wire.error_text(number, faults.TEXTS.get(number, "?"))
    if kind == 1:
        return "OK"
    if kind == 2:
        return "".join(chr(chance.randrange(32, 127)) for _ in range(chance.randrange(1, 60)))
    if kind == 3:
        del fields[at]
    elif kind == 4:
        fields.insert(at, str(chance.randrange(-9, 99)))
    else:
        fields[at] = chance.choice(("0", "-1", "1", "7", "2147483647", "-2147483648", "x", ""))
    return ",".join(fields) or " "


def fuzz_rig(lines: int, seed: int) -> Counter[str]:
    """Open rigs on boards gone mad and run a step on each; only errors of ours may come of it."""
    chance = random.Random(seed)
    seen: Counter[str] = Counter()
    while seen["lines"] < lines:
        port = LyingPort(chance, chance.choice((0.002, 0.02, 0.1)))
        port.calm = False
        try:
            link = Link(port, "fuzzed")
            link._open_session()
            with Rig(link, "fuzzed") as rig:
                for _ in rig.step(3, ((0, 60), (8, 60), (0, 60))):
                    seen["polls"] += 1
                seen["steps"] += 1
        except SaglineError as error:
            seen[error.code] += 1
        let_pass(port._board, port.hw, LONGEST_ON_US)
        if port.hw.mask:
            raise AssertionError("a load is on at the end")
        seen["lines"] += port.lines
    return seen


TALK = (
    b">>> ", b"Traceback (most recent call last):\r\n", b'  File "<stdin>", line 1\r\n',
    b"MPY: soft reboot\r\n", b"OK\r\n", b"ERROR\r\n", b"Maker,Model,0,1\n", b"Sagline,pico,1,0\n",
    b",,,\n", b"@\n", b"@2F.1 OK*00000000\n", b"\n", b"\r", b" ", b"*", b"\x00", b"\xff\xfe",
)  # fmt: skip


class Stranger(FuzzedPort):
    """Something that answers whatever is said to it with something."""

    def write(self, data: bytes) -> int:
        for _ in range(self._chance.randrange(3)):
            kind = self._chance.randrange(8)
            if kind == 0:
                said = self._chance.randbytes(self._chance.randrange(1, 60))
            elif kind == 1:
                said = damaged(data, self._chance)
            elif kind == 2:
                said = a_line(self._chance, "A1", 1)
            else:
                said = self._chance.choice(TALK)
            self._pending += said
            self.lines += 1
        return len(data)


def fuzz_stranger(lines: int, seed: int) -> Counter[str]:
    """Open links on strangers; each must be told apart with an error of ours."""
    chance = random.Random(seed)
    seen: Counter[str] = Counter()
    while seen["lines"] < lines:
        port = Stranger(chance)
        try:
            Link(port, "fuzzed")._open_session()
        except SaglineError as error:
            if not (error.message and error.remedy and error.message.isprintable()):
                raise AssertionError(f"not for a person: {error.message!r}") from error
            seen[error.code] += 1
        else:
            raise AssertionError("a stranger was taken for a board")
        seen["lines"] += port.lines
    return seen


FUZZERS = {"board": fuzz_board, "host": fuzz_host, "rig": fuzz_rig, "stranger": fuzz_stranger}
HANG_S = 3600


def main() -> None:
    """Run both and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--lines", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default=",".join(FUZZERS), metavar="NAME,...")
    args = parser.parse_args()
    # Where something hangs, say where.
    faulthandler.enable()
    for name in args.only.split(","):
        faulthandler.dump_traceback_later(HANG_S, exit=True)
        start_s = time.perf_counter()
        seen = FUZZERS[name](args.lines, args.seed)
        rate = args.lines / (time.perf_counter() - start_s)
        faulthandler.cancel_dump_traceback_later()
        print(f"{name}: {dict(seen)}; {rate:.0f} lines a second; emulated", flush=True)


if __name__ == "__main__":
    main()

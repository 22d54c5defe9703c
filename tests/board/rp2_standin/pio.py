# SPDX-License-Identifier: MIT
"""A PIO state machine of the stand-in chip, and the part of MicroPython's assembler it needs.

Instructions and their encoding are those of the RP2040 data sheet, 3.4; one takes a period of the
state machine's clock, which runs whatever the interpreter does. A stalled `pull` takes the word
in the period in which it comes.
"""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any

from board.rp2_standin import Chip

Instruction = tuple[str, Any, Any]
FIFO_WORDS = 4
CALL_US = 4
"""What a call of the interpreter takes after it has acted."""
BITS = 32


class Program:
    """Assembled instructions, and how the state machine is to be set up for them."""

    def __init__(self, made: list[Instruction], out_low: int, shift_right: bool) -> None:
        self.made, self.out_low, self.shift_right = made, out_low, shift_right


class PIO:
    """Names of MicroPython's rp2.PIO."""

    OUT_LOW, SHIFT_RIGHT = 2, 1


def asm_pio(*, out_init: list[int], out_shiftdir: int) -> Callable[[Any], Program]:
    """Assemble the function below, which calls the instructions by their names."""
    assert set(out_init) == {PIO.OUT_LOW}

    def assemble(function: Any) -> Program:
        made: list[Instruction] = []
        labels: dict[str, int] = {}
        names = {
            **{name: name for name in ("block", "pins", "x", "null", "x_dec")},
            "pull": lambda how: made.append(("pull", how, None)),
            "out": lambda where, bits: made.append(("out", where, bits)),
            "mov": lambda where, what: made.append(("mov", where, what)),
            "jmp": lambda when, to: made.append(("jmp", when, to)),
            "label": lambda name: labels.update({name: len(made)}),
        }
        kept = dict(function.__globals__)
        function.__globals__.update(names)
        try:
            function()
        finally:
            function.__globals__.clear()
            function.__globals__.update(kept)
        linked = [(op, a, labels[b] if op == "jmp" else b) for op, a, b in made]
        return Program(linked, len(out_init), out_shiftdir == PIO.SHIFT_RIGHT)

    return assemble


class StateMachine:
    """One state machine; `edges` are its pins' changes, (us, word)."""

    chip: Chip

    def __init__(self, _number: int) -> None:
        self._first, self._count, self._hz = 0, 0, 1
        self._program: Program | None = None
        self._enabled = False
        self._at_us = 0.0
        self._next = self._x = self._osr = self._pins = 0
        self._fifo: list[int] = []
        self.edges: list[tuple[float, int]] = []
        self.chip.machines.append(self)

    def init(self, program: Program, *, freq: int, out_base: Any) -> None:
        """Disable, set up and give the pins, low, to this state machine."""

        def act() -> None:
            self.catch_up()
            self._program, self._hz, self._enabled = program, freq, False
            self._first, self._count = out_base.number, program.out_low
            self._next = 0
            self._fifo.clear()
            self._drive(0)
            for number in range(self._first, self._first + self._count):
                self.chip.given[number] = self

        self._call(act)

    def active(self, value: int) -> None:
        """Start or stop the clock; pins stay as they are."""

        def act() -> None:
            self.catch_up()
            self._enabled, self._at_us = bool(value), float(self.chip.now_us)

        self._call(act)

    def put(self, word: int) -> None:
        """Push a word; the real one would wait here where the FIFO is full."""

        def act() -> None:
            self.catch_up()
            assert 0 <= word < 1 << 30, "no small integer: this takes memory"
            assert len(self._fifo) < FIFO_WORDS, "would wait"
            self._fifo.append(word)

        self._call(act)

    def exec(self, encoded: int) -> None:
        """Execute one instruction at once, between those of the program."""

        def act() -> None:
            self.catch_up()
            assert self._enabled
            self._do(decoded(encoded))

        self._call(act)

    def _call(self, act: Callable[[], None]) -> None:
        self.chip.access(act)
        self.chip.now_us += CALL_US

    def level(self, number: int) -> bool:
        """Whether the pin is high now."""
        self.catch_up()
        return bool(self._pins >> number - self._first & 1)

    def reset(self, at_us: int) -> None:
        """Run until then and never again, the pins low."""
        self.catch_up(at_us)
        self._at_us, self._enabled = float(at_us), False
        if self._pins:
            self.edges.append((self._at_us, 0))
        self._pins = 0

    def catch_up(self, until_us: int | None = None) -> None:
        """Run until `until_us`, or now."""
        if not self._enabled or self._program is None:
            return
        now_us = self.chip.now_us if until_us is None else until_us
        period_us = 1e6 / self._hz
        while self._at_us + period_us <= now_us:
            op, _, _ = instruction = self._program.made[self._next]
            if op == "pull" and not self._fifo:
                self._at_us = float(now_us)
                return
            if op == "jmp" and instruction[2] == self._next and self._x > 1:
                # The same, without doing each: up to the last but one of what time allows.
                times = min(self._x - 1, int((now_us - self._at_us) / period_us))
                self._x -= times
                self._at_us += times * period_us
                continue
            self._at_us += period_us
            self._next = (self._next + 1) % len(self._program.made)
            self._do(instruction)

    def _do(self, instruction: Instruction) -> None:
        match instruction:
            case ("pull", "block", None):
                self._osr = self._fifo.pop(0)
            case ("out", "pins", bits):
                self._drive(self._shift(bits) & (1 << self._count) - 1)
            case ("out", "x", bits):
                self._x = self._shift(bits)
            case ("mov", "x", "null"):
                self._x = 0
            case ("mov", "pins", "null"):
                self._drive(0)
            case ("jmp", "x_dec", to):
                if self._x:
                    self._next = to
                self._x = (self._x - 1) % (1 << BITS)
            case _:
                raise AssertionError(f"not known here: {instruction}")

    def _shift(self, bits: int) -> int:
        assert self._program is not None and self._program.shift_right
        value = self._osr & (1 << bits) - 1
        self._osr >>= bits
        return value

    def _drive(self, word: int) -> None:
        if word != self._pins:
            self.edges.append((self._at_us if self._enabled else float(self.chip.now_us), word))
        self._pins = word


def decoded(encoded: int) -> Instruction:
    """An instruction by its bits: of MOV 101, delay, destination, operation, source (3.4.8)."""
    assert encoded >> 13 == 0b101 and encoded >> 8 & 31 == 0 and encoded >> 3 & 3 == 0
    places = {0b000: "pins", 0b001: "x"}
    sources = {0b001: "x", 0b011: "null"}
    return "mov", places[encoded >> 5 & 7], sources[encoded & 7]


def module(chip: Chip) -> ModuleType:
    """What `rp2` is on this chip."""
    rp2 = ModuleType("rp2")
    own = type("StateMachine", (StateMachine,), {"chip": chip})
    vars(rp2).update(PIO=PIO, StateMachine=own, asm_pio=asm_pio)
    return rp2

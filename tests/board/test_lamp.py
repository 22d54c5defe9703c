# SPDX-License-Identifier: MIT
"""What the lamp of a Pico shows, second by second. Emulated."""

from itertools import pairwise
from pathlib import Path

import pytest

from board.rp2_standin import Chip
from board.rp2_standin.bench import all_low, pico
from sagline_board import faults, lamp
from sagline_board.board import Board

ASSEMBLY = Path(__file__).parents[2] / "hardware" / "assembly.md"


class Bench:
    """The firmware on the stand-in, its loop's waits, and when the lamp changed."""

    def __init__(self, chip: Chip) -> None:
        self.chip = chip
        self.hw = pico().PicoHardware()
        self.board = Board(self.hw)
        self.shown = pico().Shown(self.board, self.hw)

    def wait(self, seconds: float) -> list[int]:
        """Let so much time pass at rest; return the lengths (ms) of lit and dark, lit first."""
        self.shown(20)
        begun = len(self.chip.named_history)
        first_us = self.chip.now_us
        until_us = first_us + round(seconds * 1e6)
        while self.chip.now_us < until_us:
            self.chip.now_us += 20_000
            self.board.poll()
            self.shown(20)
        changes = [at for at, name, _ in self.chip.named_history[begun:] if name == "LED"]
        return [round((b - a) / 1e3) for a, b in pairwise(changes)]


@pytest.fixture
def bench(chip: Chip) -> Bench:
    return Bench(chip)


def blinks_of(lengths: list[int], pattern: tuple[int, ...]) -> bool:
    """Whether these lengths are the pattern's, over and over from anywhere, within 25 ms."""
    assert len(lengths) >= 2 * len(pattern)
    return any(
        all(
            abs(length - pattern[(at + shift) % len(pattern)]) <= 25
            for at, length in enumerate(lengths)
        )
        for shift in range(len(pattern))
    )


def test_a_board_at_rest_is_warm_first_and_then_ready(bench: Bench) -> None:
    assert blinks_of(bench.wait(6.0), lamp.PATTERNS[lamp.WARM])
    bench.wait(30.0)
    assert lamp.state_of(bench.board) == lamp.READY
    assert blinks_of(bench.wait(12.0), lamp.PATTERNS[lamp.READY])


def test_two_blinks_while_a_program_has_the_rig(bench: Bench) -> None:
    bench.board._session = "A1"
    bench.board._heard_tick = bench.hw.ticks_us()
    assert blinks_of(bench.wait(9.0), lamp.PATTERNS[lamp.HELD])


@pytest.mark.parametrize(
    "reason", [number for number in faults.TEXTS if 100 < number < faults.REFUSED_TRIPPED]
)
def test_a_trip_blinks_its_number(bench: Bench, reason: int) -> None:
    bench.board.engine.guard.trip(reason)
    lengths = bench.wait(16.0)
    pauses = [at for at, length in enumerate(lengths) if length > 1000]
    assert len(pauses) >= 2
    # From one pause to the next: so many times lit, with one fewer dark between.
    assert (pauses[1] - pauses[0]) == 2 * (reason - 100)


def test_it_is_dark_from_the_first_reading_of_a_step_to_the_last(chip: Chip, bench: Bench) -> None:
    bench.wait(30.0)
    bench.hw.light(1)
    bench.board.receive(b"STEP:RANG 0;SEGM 0,50;SEGM 8,300;SEGM 0,50;STAR\n")
    assert chip.named["LED"] == 0
    begun = len(chip.named_history)
    while bench.board.poll() == 0:
        assert chip.named["LED"] == 0
        assert lamp.state_of(bench.board) in (lamp.STEP, lamp.READY, lamp.WARM)
    assert [one for one in chip.named_history[begun:] if one[1] == "LED"] == []


def test_it_is_lit_while_the_firmware_starts_and_dark_where_it_may_not(
    chip: Chip, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = pico()
    monkeypatch.setattr(module, "serve", lambda *_: None)
    lit = []
    monkeypatch.setattr(module.time, "sleep_ms", lambda _ms: lit.append(chip.named["LED"]))
    module.start()
    assert lit[0] == 1 and chip.named["LED"] == 0 and all_low(chip)
    chip.named.clear()
    chip.grounded.add(15)
    module.start()
    assert chip.named == {}


def in_words(pattern: tuple[int, ...]) -> str:
    """What somebody sees who looks at the lamp."""
    if not pattern:
        return "dark for seconds"
    if len(pattern) == 1:
        return f"lit for {pattern[0] / 1000:g} s"
    if max(pattern[::2]) < 100:
        blinks = {1: "a short blink", 2: "two short blinks"}[len(pattern) // 2]
        return f"{blinks} every {sum(pattern) / 1000:g} s"
    lit, dark = pattern
    return f"lit {lit / 1000:g} s, dark {dark / 1000:g} s"


def test_no_two_states_look_alike() -> None:
    trips = [lamp.pattern_of(lamp.TRIPPED, number) for number in range(101, 108)]
    patterns = [*lamp.PATTERNS.values(), *trips]
    assert len(set(patterns)) == len(patterns)


def test_the_page_on_building_has_the_table() -> None:
    """Every pattern as it looks, and the words of every trip by its blinks."""
    text = ASSEMBLY.read_text(encoding="utf-8")
    table = text[text.index("### What the board's lamp says") :]
    table = table[: table.index("Slow blinks, then a pause:")]
    seen = [line.split(" | ")[0].lstrip("| ") for line in table.splitlines() if line[:2] == "| "]
    slow, longer = "some slow blinks, then a pause", "dark for longer"
    patterns = [in_words(pattern) for pattern in lamp.PATTERNS.values()]
    assert sorted(seen) == sorted(["seen", *patterns, slow, longer])
    trips = [number for number in faults.TEXTS if 100 < number < faults.REFUSED_TRIPPED]
    for number in trips:
        words = faults.TEXTS[number].removeprefix("Guard: ")
        assert f"| {lamp.blinks(number)} | {words} |" in text


def test_a_hung_board_says_so_once(chip: Chip) -> None:
    """The loop stops in a pulse, the watchdog starts the board anew: a trip until it is cleared."""
    hw = pico().PicoHardware()
    hw.switch(8, 300_000)
    hw.capture(5_000, 200)
    chip.now_us += 2_000_000
    assert all_low(chip) and chip.watchdog.resets
    board = Board(pico().PicoHardware())
    assert board.engine.guard.reason == faults.TRIP_HUNG
    board.receive(b"GUAR:STAT?;CLE\nSTEP:SEGM 0,5;STAR\nSYST:ERR?\n")
    assert b"%d," % faults.TRIP_HUNG in board.take_output()
    # A soft reset later, after pulses that ended as they should, is none.
    hw = board.engine._hw
    hw.switch(8, 300_000)
    hw.switch(0, 0)
    assert not pico().PicoHardware().hung

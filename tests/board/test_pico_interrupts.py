# SPDX-License-Identifier: MIT
"""Ctrl-C at every instant of a pulse on a Pico, and a soft reset in the middle of one.

Emulated: nothing here ran on a physical board.
"""

from collections.abc import Callable

import pytest

from board.rp2_standin import Chip
from board.rp2_standin.bench import (
    ARM,
    GATES,
    SWITCHES,
    FullBoard,
    all_low,
    pico,
    run_boot,
)


def test_interrupted_sampling_has_the_gates_low_before_anyone_else_acts(chip: Chip) -> None:
    hw = pico().PicoHardware()
    hw.switch(8, 1_000_000)
    chip.interrupts = {chip.accesses + 40}
    with pytest.raises(KeyboardInterrupt):
        hw.capture(5_000, 1_000)
    assert all_low(chip)


class ScriptedPort:
    """Says one plan once the loads are cool, then nothing until the step is over."""

    chip: Chip

    def __init__(self) -> None:
        self._left = [b"STEP:RANG 0;SEGM 0,2;SEGM 8,3;SEGM 0,2;STAR\n", b"", None]

    def read(self, wait_ms: int) -> bytes | None:
        if wait_ms == 0:
            return b""
        self.chip.now_us += 8_000_000
        return self._left.pop(0)

    def write(self, data: bytes) -> None:
        raise AssertionError(f"nothing was asked: {data!r}")


@pytest.fixture
def pulse(chip: Chip, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """A function that runs the firmware from start to end, interrupted where it is told."""
    module = pico()
    ScriptedPort.chip = chip
    monkeypatch.setattr(module, "StdioPort", ScriptedPort)
    monkeypatch.setattr(module.gc, "collect", lambda: None)

    def run(*interrupts: int, late: bool = False) -> None:
        chip.accesses = 0
        chip.interrupts = set(interrupts)
        chip.late = late
        module.start()

    return run


def pulse_span(chip: Chip, pulse: Callable[..., None]) -> range:
    """Return the accesses from just before ARM's first edge to the last gate's fall."""
    chip.history.clear()
    pulse()
    switched = [entry for entry in chip.history if entry[1] == ARM or entry[2]]
    raised = next(entry[3] for entry in switched if entry[1] == ARM and entry[2])
    fallen = [entry[3] for entry in chip.history if entry[1] in GATES and not entry[2]]
    assert any(word == 8 for machine in chip.machines for _, word in machine.edges)
    return range(raised - 2, fallen[-1] + 1)


@pytest.mark.parametrize("late", [False, True])
def test_ctrl_c_at_every_instant_of_a_pulse(
    chip: Chip, pulse: Callable[..., None], late: bool
) -> None:
    """Before and after every access to the chip: it ends in the REPL with the gates low."""
    span = pulse_span(chip, pulse)
    assert len(span) > 300
    for k in span:
        with pytest.raises(KeyboardInterrupt):
            pulse(k, late=late)
        on = [number for number in SWITCHES if chip.drives_high(number)]
        assert on == [], f"interrupt at access {k}"
        assert not chip.watchdog.enabled, "it would restart the board under the REPL"
    assert chip.was_reset == 0


def test_ctrl_c_twice(chip: Chip, pulse: Callable[..., None]) -> None:
    """A second one at any instant of what the first one sets going."""
    span = pulse_span(chip, pulse)
    for k in span[::11]:
        for second in range(k + 1, k + 16):
            with pytest.raises(KeyboardInterrupt):
                pulse(k, second, late=bool(second % 2))
            on = [number for number in SWITCHES if chip.drives_high(number)]
            assert on == [], f"interrupts at accesses {k} and {second}"


def test_soft_reset_in_mid_pulse_runs_boot_and_nothing_else(chip: Chip) -> None:
    """Ctrl-C, Ctrl-A, Ctrl-D: raw REPL skips main.py, pins stay latched until boot.py."""
    hw = pico().PicoHardware()
    hw.switch(8, 300_000)
    assert chip.drives_high(GATES[3])
    run_boot()
    assert all_low(chip)


@pytest.mark.parametrize("late", [False, True])
def test_ctrl_c_while_everything_is_sampled(
    full: FullBoard, pulse: Callable[..., None], late: bool
) -> None:
    """The same on a full build, where FIFO, DMA and the bus are busy: at every 211th access."""
    span = pulse_span(full.chip, pulse)
    assert len(span) > 300
    for k in span[int(late) :: 211]:
        with pytest.raises(KeyboardInterrupt):
            pulse(k, late=late)
        on = [number for number in SWITCHES if full.chip.drives_high(number)]
        assert on == [], f"interrupt at access {k}"

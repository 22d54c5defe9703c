# SPDX-License-Identifier: MIT
"""One step of a rig, told of as it goes; a load that is still warm is waited for."""

from collections.abc import Callable, Generator, Sequence

from sagline.analysis.values import RawStep
from sagline.device.progress import REPEAT, Cooling, Progress, Stepping
from sagline.device.rig import Rig
from sagline.errors import BoardRefused
from sagline_board import commands, faults

REST, LOAD_ON, RECOVERY = "rest", "load on", "recovery"
COOLING_POLL_S = 0.5
"""How often a load that is still warm is asked for again."""

Segments = Sequence[tuple[int, int]]
"""A mask of loads, and how long (ms)."""


def step(
    rig: Rig,
    load: int,
    segments: Segments,
    number: int,
    count: int,
    of: str = REPEAT,
    *,
    before: Callable[[], None] | None = None,
) -> Generator[Progress, None, RawStep]:
    """Make one step, `number` of `count`; yield Progress, return its record.

    `before` is called right before each try, and may refuse: while a load cools there is time to
    put in another cell. Closing the generator turns the load off. Raises as `Rig.step` does.
    """
    total_s = sum(duration_ms for _, duration_ms in segments) * 1e-3
    phases = _phases(segments)
    while True:
        if before is not None:
            before()
        running = rig.step(load, segments)
        while True:
            try:
                state = next(running)
            except StopIteration as end:
                return end.value
            except BoardRefused as refusal:
                if refusal.number != faults.REFUSED_HOT:
                    raise
                # Nothing has been switched. The guard counts every load as hot after a reset.
                yield Cooling(rig.ready_in_s())
                rig.wait(COOLING_POLL_S)
                break
            try:
                phase = phases[state.segment]
                yield Stepping(number, count, phase, state.elapsed_s, total_s, state.sense_v, of)
            except BaseException:
                running.close()
                raise


def _phases(segments: Segments) -> list[str]:
    loaded = [mask not in (0, commands.ARM_ALONE) for mask, _ in segments]
    return [
        LOAD_ON if on else RECOVERY if any(loaded[:index]) else REST
        for index, on in enumerate(loaded)
    ]

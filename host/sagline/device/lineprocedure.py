# SPDX-License-Identifier: MIT
"""The steps of a V-I line, after the repeats of the usual measurement: each load, light to heavy
and back, every one from rest."""

from collections.abc import Callable, Generator

from sagline.analysis import bank
from sagline.analysis.lineplan import LinePlan
from sagline.analysis.values import RawStep
from sagline.device.balance import keep_balanced
from sagline.device.progress import LineStepDone, Progress
from sagline.device.rests import phase_ms
from sagline.device.rig import Rig
from sagline.records import LINE_FROM, StepRecord

Segments = tuple[tuple[int, int], ...]
# Makes one step of these segments; the load is that of fewest ohms, then number and count.
Step = Callable[[int, Segments, int, int], Generator[Progress, None, RawStep]]
# Waits so many seconds before step number of count.
Rest = Callable[[float, int, int], Generator[Progress, None, None]]


def run(
    rig: Rig, plan: LinePlan, last: RawStep, rest_ms: int, step: Step, rest: Rest
) -> Generator[Progress, None, list[StepRecord]]:
    """Make the steps of `plan`; yield Progress, return their records.

    `last` is the step before, `rest_ms` what the cell has come to need between steps.
    """
    made: list[StepRecord] = []
    count = len(plan.order)
    for number, mask in enumerate(plan.order, start=1):
        rest_now_ms = plan.rest_ms + phase_ms(number)
        segments = ((0, rest_now_ms), (mask, plan.on_ms), (0, plan.recovery_ms))
        yield from rest((rest_ms - plan.rest_ms) * 1e-3, number, count)
        keep_balanced(rig, last)
        at_s = rig.now_s()
        load = bank.heaviest(rig.profile, mask)
        last = yield from step(load, segments, number, count)
        made.append(StepRecord.of(LINE_FROM + number - 1, at_s, last))
        words = bank.words(rig.profile, mask)
        yield LineStepDone(number, count, words, made[-1])
    return made

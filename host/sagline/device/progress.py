# SPDX-License-Identifier: MIT
"""What a running measurement reports, one small message each."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from sagline.analysis.calibration import Waveform
from sagline.analysis.lineplan import LinePlan
from sagline.analysis.plan import Plan
from sagline.analysis.terminal import Terminal
from sagline.analysis.values import Estimate, Notice
from sagline.wording import line_sentence, plan_sentence

if TYPE_CHECKING:
    from sagline.records import Ending, Record, StepRecord
    from sagline.results import Result


REPEAT, LINE_STEP = "Repeat", "V-I line, step"


@dataclass(frozen=True)
class OpenVoltage:
    """The terminal voltage before anything was switched."""

    open_v: float


@dataclass(frozen=True)
class Probing:
    """A short look with the lightest load, because the cell is unknown."""

    load_ohm: float


@dataclass(frozen=True)
class Planned:
    """What will be done, and why; `record` is the run's record, still without steps.

    `advice` is what to know beforehand: it stands with the result too.
    """

    plan: Plan
    record: "Record"
    advice: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class LinePlanned:
    """After the repeats, the points of a V-I line will be made."""

    plan: LinePlan


@dataclass(frozen=True)
class Extended:
    """The first repeats have shown how many the target takes: `repeats` in all."""

    repeats: int
    u_rel: float
    target_u_rel: float


@dataclass(frozen=True)
class LongerRest:
    """The cell had not come to rest before the last step: it gets longer before the next."""

    rest_s: float


@dataclass(frozen=True)
class Stepping:
    """A step is running: which one, and how far it has come.

    `of` is what the steps are: repeats, or those of a line.
    """

    repeat: int
    repeats: int
    phase: str
    elapsed_s: float
    total_s: float
    terminal_v: float
    of: str = REPEAT


@dataclass(frozen=True)
class Cooling:
    """The load is still warm; the step begins when it may."""

    ready_in_s: float


@dataclass(frozen=True)
class RepeatDone:
    """A step is in: its record, its waveform, and how to estimate from all steps so far.

    `terminal` is what was read, for the working.
    """

    repeat: int
    repeats: int
    step: "StepRecord"
    waveform: Waveform
    evaluate: Callable[[], Estimate]
    terminal: Terminal | None = None

    @cached_property
    def estimate(self) -> Estimate:
        """The estimate, provisional with fewer repeats than planned; made when first asked for.

        Raises AnalysisError where the steps yield no figure.
        """
        return self.evaluate()


@dataclass(frozen=True)
class LineStepDone:
    """A step of the V-I line is in: its record, and which loads were on, in words."""

    number: int
    count: int
    loads: str
    step: "StepRecord"


@dataclass(frozen=True)
class Finished:
    """The result, and the ending of the run's record."""

    result: "Result"
    ending: "Ending"


Progress = (
    OpenVoltage
    | Probing
    | Planned
    | LinePlanned
    | Extended
    | LongerRest
    | Cooling
    | Stepping
    | RepeatDone
    | LineStepDone
    | Finished
)


def describe(item: Progress) -> str:
    """Return one line of words for a person who waits."""
    match item:
        case OpenVoltage(open_v):
            return f"Open voltage {open_v:.3f} V"
        case Probing(load_ohm):
            return f"Unknown cell: a short look on {load_ohm:g} Ω"
        case Planned(plan, _):
            return plan_sentence(plan)
        case Extended(repeats, u_rel, target_u_rel):
            return (
                f"U(r) is {100 * u_rel:.2g} %, {100 * target_u_rel:g} % was asked for: "
                f"{repeats} repeats in all"
            )
        case LongerRest(rest_s):
            return f"The open voltage still drifts: the cell rests {rest_s:.0f} s from now on"
        case LinePlanned(plan):
            return line_sentence(plan)
        case Stepping(repeat, repeats, phase, elapsed_s, total_s, _, of):
            which = f"{of} {repeat} of {repeats}" if repeat else "Looking"
            return f"{which}: {phase}, {elapsed_s:.1f} of {total_s:.1f} s"
        case Cooling(ready_in_s):
            return f"The load is still warm: cool in {ready_in_s:.0f} s at the latest"
        case RepeatDone(repeat, repeats):
            r_ohm = item.estimate.r_at[0][1].value
            return f"Repeat {repeat} of {repeats}: r {r_ohm:.4f} Ω so far"
        case LineStepDone(number, count, loads):
            return f"{LINE_STEP} {number} of {count}: {loads} done"
        case Finished():
            return "Done"

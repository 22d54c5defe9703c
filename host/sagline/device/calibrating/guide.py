# SPDX-License-Identifier: MIT
"""The guided calibration: step after step, what was found put together as it goes."""

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sagline.analysis.calibrating.found import Findings, Found
from sagline.analysis.onboard_table import OnboardTable
from sagline.analysis.values import Notice
from sagline.calibrationcard import merged
from sagline.calibrations import Calibration
from sagline.designations import Designation
from sagline.device.calibrating.asking import Given
from sagline.device.calibrating.plan import CalibrationStep
from sagline.device.calibrating.prompts import Answerer, no_resistor
from sagline.device.calibrating.steps import KINDS, SETTLE_S, cell_prompt
from sagline.device.progress import Progress
from sagline.device.ramp import Ramping
from sagline.device.rig import Rig
from sagline.errors import Refused


@dataclass(frozen=True)
class Begun:
    """A step begins."""

    step: CalibrationStep


@dataclass(frozen=True)
class StepFound:
    """A step has found this; `calibration` is what there is with it."""

    step: CalibrationStep
    findings: Findings
    calibration: Calibration


@dataclass(frozen=True)
class StepRefused:
    """A step found nothing; the others go on."""

    step: CalibrationStep
    error: Refused


@dataclass(frozen=True)
class Calibrated:
    """The end: what was found, and the calibration that it makes with what was known before.

    `calibration` is None where nothing was found.
    """

    found: tuple[Found, ...]
    table: OnboardTable | None
    notices: tuple[Notice, ...]
    calibration: Calibration | None


Event = Begun | StepFound | StepRefused | Calibrated | Ramping | Progress


def calibrate(
    rig: Rig, steps: Sequence[CalibrationStep], answer: Answerer, given: Given | None = None
) -> Generator[Event, None, Calibrated]:
    """Guide through `steps`; what one finds serves the next. The rig keeps nothing of it yet.

    Closing the generator turns the load off. Raises UsageError, RigError; Refused of a step
    that is the only one, others are told as StepRefused.
    """
    given = given or Given()
    known = rig.kept_calibration or rig.calibration
    in_clips: Designation | None = None
    found: list[Found] = []
    notices: list[Notice] = []
    table: OnboardTable | None = None
    made = False
    for step in steps:
        yield Begun(step)
        if step.cell is not None and step.cell is not in_clips:
            answer(cell_prompt(step.cell))
            in_clips = step.cell
            rig.wait(SETTLE_S)
        if step.kind == "table":
            in_clips = None
        now = datetime.now(UTC)
        at_now = None if known is None else known.at(now)
        try:
            findings = yield from KINDS[step.kind](rig, step, answer, at_now, given)
        except Refused as error:
            if len(steps) == 1:
                raise
            yield StepRefused(step, error)
            if step.kind == "scale":
                # The next step finds the clips where they belong.
                answer(no_resistor())
            continue
        known = merged(
            known,
            findings.found,
            findings.table,
            serial=rig.identity.serial,
            made_at=datetime.now(UTC),
            temperature_c=given.temperature_c,
        )
        made = True
        found += findings.found
        table = findings.table or table
        notices += findings.notices
        yield StepFound(step, findings, known)
    rig.set_null(None)
    end = Calibrated(tuple(found), table, tuple(notices), known if made else None)
    yield end
    return end

# SPDX-License-Identifier: MIT
"""The check of a calibration by a resistor of known ohms and a moved tap."""

from collections.abc import Generator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sagline import checkchart
from sagline.analysis.calibrated import Known
from sagline.analysis.calibrating import control, scales
from sagline.analysis.calibrating.control import Judged
from sagline.analysis.calibrating.found import Found
from sagline.analysis.values import Notice
from sagline.device.calibrating.asking import Given
from sagline.device.calibrating.guide import Begun
from sagline.device.calibrating.plan import CalibrationStep, steps_of
from sagline.device.calibrating.prompts import Answerer
from sagline.device.calibrating.steps import SETTLE_S, cell_prompt, moved
from sagline.device.progress import Progress
from sagline.device.rig import Rig
from sagline.errors import Refused


@dataclass(frozen=True)
class Checked:
    """A check: what was judged, and the line for the control chart."""

    judged: Judged
    at: datetime
    line: dict[str, Any]
    notices: tuple[Notice, ...]


def step_for(rig: Rig, name: str | None) -> CalibrationStep:
    """Return the step to check with: the one named, else the first that is calibrated.

    Raises Refused where the rig has no scale to check.
    """
    known = rig.calibration
    held = () if known is None else tuple((s.load, s.range_high) for s in known.scales)
    for step in steps_of(rig.profile):
        if step.kind != "scale" or (step.load, step.range_high) not in held:
            continue
        if name is None or step.name == name:
            return step
    raise Refused(
        "nothing_to_check",
        "This rig's calibration has no scale to check" + (f" by {name}." if name else "."),
        "Calibrate it first: sagline calibrate",
    )


def check(
    rig: Rig, step: CalibrationStep, answer: Answerer, given: Given
) -> Generator[Begun | Progress, None, Checked]:
    """Measure the resistor and judge it. Nothing is kept yet. Raises Refused, UsageError,
    RigError."""
    assert rig.calibration is not None and step.cell is not None, "step_for has seen to it"
    yield Begun(step)
    answer(cell_prompt(step.cell))
    rig.wait(SETTLE_S)
    taken, resistor = yield from moved(rig, step, answer, given)
    rig.set_null(None)
    now = datetime.now(UTC)
    known = rig.calibration.at(now)
    findings = scales.find(taken, rig.profile, resistor, known)
    found, scale = _best(findings.found, known.scales)
    bank = rig.profile.loads[step.load]
    line: dict[str, Any] = {
        "calibration_id": known.id,
        "load_ohm": bank.load_ohm,
        "range_high": step.range_high,
        "front_end": found.key[2],
        "scale_k": scale.value,
        "resistor_ohm": resistor.value,
        "u_resistor_ohm": resistor.u,
    }
    judged = control.judge(
        found,
        scale,
        resistor,
        checkchart.earlier(rig.identity.serial, line),
        control.temperature_u_rel(rig.profile, step.load),
    )
    line |= {
        "r_ohm": judged.r.value,
        "u_ohm": judged.r.u,
        "rel": judged.rel,
        "e_n": judged.e_n,
        "centre": judged.centre,
        "u_rel": judged.u,
        "warning_rel": list(judged.limits(control.WARN)),
        "action_rel": list(judged.limits(control.ACT)),
        "of": judged.of,
        "state": judged.state,
    }
    return Checked(judged, now, line, findings.notices)


def _best(found: tuple[Found, ...], scales_known: Any) -> tuple[Found, Known]:
    """The least uncertain front end that the calibration has a scale for."""
    both = [(one, scales_known[one.key]) for one in found if one.key in scales_known]
    if not both:
        raise Refused(
            "nothing_to_check",
            "The calibration has no scale for what was measured.",
            "Calibrate this load and range first: sagline calibrate",
        )
    return min(both, key=lambda pair: pair[0].u / pair[0].value)

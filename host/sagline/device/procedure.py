# SPDX-License-Identifier: MIT
"""One cell measured: look, choose range and load, step and rest, repeat, compute.

`run` is a generator of Progress: whoever drives it may stop at any item, and
closing it turns the load off.
"""

from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import asdict, replace
from datetime import UTC, datetime
from functools import partial

from uuid6 import uuid7

from sagline.analysis import calibrated, lineplan, quickplan, stuck, target
from sagline.analysis import plan as planning
from sagline.analysis.advice import before
from sagline.analysis.calibration import waveform
from sagline.analysis.estimate import estimate, read_series
from sagline.analysis.repeats import require_usable
from sagline.analysis.terminal import terminal
from sagline.analysis.values import AnalysisError, RawStep
from sagline.calibrations import Calibration
from sagline.computing import result_of
from sagline.designations import Designation
from sagline.designations import find as find_designation
from sagline.device import lineprocedure, stepping, temperature
from sagline.device.admission import (
    Seen,
    open_voltage,
    refuse_what_could_harm,
    require_same_cell,
    within_band,
)
from sagline.device.balance import UNBALANCED, keep_balanced
from sagline.device.progress import (
    LINE_STEP,
    REPEAT,
    Extended,
    Finished,
    LinePlanned,
    LongerRest,
    OpenVoltage,
    Planned,
    Probing,
    Progress,
    RepeatDone,
    Stepping,
)
from sagline.device.rests import drift_share, next_rest_ms, phase_ms
from sagline.device.rig import Rig
from sagline.device.settings import MAX_REPEATS, Settings
from sagline.errors import UsageError
from sagline.records import RECORD_SCHEMA, Asked, Ending, Record, RigIdentity, StepRecord
from sagline.results import Result, Warning_
from sagline_board import __version__, commands

Segments = tuple[tuple[int, int], ...]

# How often a cell that rests longer is read, to be shown.
RESTING_POLL_S = 0.1
# The look at an unknown cell with the largest load: shorter than a repeat, not counted as one.
PROBE_MS = (1000, 150, 200)
# Rest, ARM alone, rest: before any load, for one that conducts without being asked. The rest
# outlasts ARM's letting go after whatever was on before by the look's own window.
ARMED_MS = (300, 40, 60)
# Refusals that are about what was asked for, not about the cell.
_WISHES = ("load_not_in_bank", "unknown_designation", "time_outside_step", "few_points")


def measure(rig: Rig, settings: Settings) -> Result:
    """Run the whole measurement and return its Result. Raises as `run`."""
    with closing(run(rig, settings)) as items:
        for item in items:
            if isinstance(item, Finished):
                return item.result
    raise AssertionError("a measurement ends with Finished or an error")


def run(rig: Rig, settings: Settings) -> Generator[Progress, None, None]:
    """Measure the cell; yield Progress, Finished last.

    Closing the generator turns the load off. Raises UsageError for a load
    that is not in the bank, Refused (guard, validity), RigError (link).
    """
    try:
        yield from _run(rig, settings)
    except AnalysisError as error:
        if error.code in _WISHES:
            raise UsageError(error.code, error.message, error.remedy) from error
        raise


def _run(rig: Rig, settings: Settings) -> Iterator[Progress]:
    if settings.clear_trip:
        rig.clear_trip()
    # What was left by the run before is of another cell.
    rig.set_null(None)
    open_v = open_voltage(rig)
    yield OpenVoltage(open_v)
    known = None if settings.designation is None else find_designation(settings.designation)
    band = within_band(known, open_v)
    refuse_what_could_harm(rig, known, open_v)
    seen = Seen(known, open_v)
    yield from _look_for_stuck_loads(rig, seen)
    probe_r_ohm = None
    unknown = settings.load_ohm is None and settings.designation is None
    if unknown:
        load = planning.probe_load(rig.profile, open_v)
        yield Probing(rig.profile.loads[load].load_ohm)
        probe_r_ohm = yield from _look(rig, seen, load)
    calibration = _aged(rig.calibration, datetime.now(UTC))
    plan = planning.choose(
        rig.profile,
        rig.converter,
        open_v,
        designation=settings.designation,
        load_ohm=settings.load_ohm,
        probe_r_ohm=probe_r_ohm,
        times_s=settings.times_s,
        target_u_rel=settings.target_u_rel,
        calibration=calibration,
    )
    plan = replace(plan, repeats=settings.repeats)
    haste = ()
    if settings.quick:
        plan = quickplan.quick(plan)
        haste = (plan.notice,)
    warmth, unread = (None, ()) if settings.temperature_c is not None else temperature.read(rig)
    if warmth is not None:
        settings = replace(settings, temperature_c=round(warmth.celsius, 1))
    record = _record(rig, settings, known, plan)
    seen_as = (open_v, settings.designation, probe_r_ohm)
    line_plan = None
    if settings.line:
        r_ohm = known.typical_r_ohm if known is not None else probe_r_ohm
        line_plan = lineplan.choose(rig.profile, plan, open_v, r_ohm)
        record = record.model_copy(update={"line": line_plan})
    aim = settings.target_u_rel
    advice = before(rig.profile, rig.converter, plan, *seen_as, aim, calibration)
    yield Planned(plan, record, advice)
    if line_plan is not None:
        yield LinePlanned(line_plan)
    steps: list[StepRecord] = []
    raws: list[RawStep] = []
    first_stage = record.asked.first_stage
    calibration = _aged(record.calibration, record.started_at)
    rest_ms = plan.resting_ms
    repeats = plan.repeats
    while (repeat := len(steps) + 1) <= repeats:
        durations_ms = (plan.rest_ms + phase_ms(repeat), plan.on_ms, plan.recovery_ms)
        segments = _segments(plan.load_index, durations_ms)
        yield from _rest((rest_ms - plan.rest_ms) * 1e-3, rig, repeat, repeats)
        keep_balanced(rig, raws[-1] if raws else None)
        at_s = rig.now_s()
        raw = yield from _step(rig, seen, plan.load_index, segments, repeat, repeats)
        raws.append(raw)
        steps.append(StepRecord.of(repeat, at_s, raw))
        kept = require_usable(raws, rig.profile, rig.converter, settings.times_s)
        drawn = waveform(raw, rig.profile, rig.converter)
        evaluate = partial(
            estimate,
            tuple(raws),
            rig.profile,
            rig.converter,
            settings.times_s,
            first_stage,
            calibration,
        )
        read = terminal(raws, kept, rig.profile, rig.converter, settings.times_s[0])
        done = RepeatDone(repeat, repeats, steps[-1], drawn, evaluate, read)
        if repeat == 1:
            # What must not be loaded again is refused now.
            read_series(raws, rig.profile, rig.converter, settings.times_s, None, calibration)
        yield done
        if repeat == first_stage and settings.target_u_rel is not None:
            repeats = target.repeats_for(done.estimate, settings.target_u_rel, MAX_REPEATS)
            if repeats > repeat:
                reached = target.u_rel(done.estimate)
                assert reached is not None, "without it no number of repeats is found"
                yield Extended(repeats, reached, settings.target_u_rel)
        if repeat == repeats:
            break
        drift = drift_share(raw, rig.profile, rig.converter)
        before_ms, rest_ms = rest_ms, rest_ms if settings.quick else next_rest_ms(rest_ms, drift)
        if rest_ms > before_ms:
            yield LongerRest(rest_ms * 1e-3)
    if line_plan is not None:
        steps += yield from lineprocedure.run(
            rig,
            line_plan,
            raws[-1],
            rest_ms,
            lambda load, segments, n, count: _step(rig, seen, load, segments, n, count, LINE_STEP),
            lambda seconds, n, count: _rest(seconds, rig, n, count, LINE_STEP),
        )
    without_null = rig.has_null and any(step.null_setting is None for step in steps)
    unbalanced = (UNBALANCED,) if without_null else ()
    warmed = temperature.moved(rig, warmth)
    said = band + advice + haste + rig.notices + unbalanced + unread + warmed
    remarks = [Warning_(**asdict(notice)) for notice in said]
    ending = Ending(at=datetime.now(UTC), how="complete", code=None, remarks=remarks)
    yield Finished(result_of(record.with_steps(steps, ending)), ending)


def _aged(calibration: Calibration | None, at: datetime) -> calibrated.Calibration | None:
    return None if calibration is None else calibration.at(at)


def _look(rig: Rig, seen: Seen, load: int) -> Generator[Progress, None, float]:
    """One short step; return the cell's r in ohms, roughly."""
    step = yield from _step(rig, seen, load, _segments(load, PROBE_MS), 0, 0)
    return max(0.0, estimate([step], rig.profile, rig.converter, (0.1,)).r_at[0][1].value)


def _look_for_stuck_loads(rig: Rig, seen: Seen) -> Generator[Progress, None, None]:
    """See that no load conducts while none is switched on."""
    segments = tuple(zip((0, commands.ARM_ALONE, 0), ARMED_MS, strict=True))
    step = yield from _step(rig, seen, 0, segments, 0, 0)
    stuck.check_armed(step, rig.profile, rig.converter)


def _segments(load: int, durations_ms: tuple[int, int, int]) -> Segments:
    return tuple(zip((0, 1 << load, 0), durations_ms, strict=True))


def _rest(
    seconds: float, rig: Rig, repeat: int, repeats: int, of: str = REPEAT
) -> Generator[Progress, None, None]:
    """Wait before a step: a board's record holds no more rest than is planned."""
    begun_s = rig.now_s()
    while (elapsed_s := rig.now_s() - begun_s) < seconds:
        yield Stepping(repeat, repeats, stepping.REST, elapsed_s, seconds, rig.live().sense_v, of)
        rig.wait(min(RESTING_POLL_S, seconds - elapsed_s))


def _step(
    rig: Rig,
    seen: Seen,
    load: int,
    segments: Segments,
    repeat: int,
    repeats: int,
    of: str = REPEAT,
) -> Generator[Progress, None, RawStep]:
    """One step with the cell that was looked at, and no other."""
    same = partial(require_same_cell, rig, seen)
    return stepping.step(rig, load, segments, repeat, repeats, of, before=same)


def _record(rig: Rig, settings: Settings, known: Designation | None, plan: planning.Plan) -> Record:
    identity = rig.identity
    return Record(
        schema=RECORD_SCHEMA,
        id=str(uuid7()),
        kind="virtual" if rig.is_virtual else "rig",
        started_at=datetime.now(UTC),
        label=settings.label,
        designation=settings.designation if known is None else known.designation,
        operator=settings.operator,
        temperature_c=settings.temperature_c,
        sagline=__version__,
        rig=RigIdentity(
            maker=identity.maker,
            model=identity.model,
            serial=identity.serial,
            firmware=identity.firmware,
            protocol=identity.protocol,
            one_shot=identity.one_shot,
        ),
        profile=rig.profile,
        converter=rig.converter,
        calibration=rig.calibration,
        asked=Asked(
            load_ohm=settings.load_ohm,
            repeats=settings.repeats,
            times_s=list(settings.times_s),
            target_u_rel=settings.target_u_rel,
        ),
        plan=plan,
        steps=[],
        ending=None,
    )

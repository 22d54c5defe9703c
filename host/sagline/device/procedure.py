# SPDX-License-Identifier: MIT
"""One cell measured: look, choose range and load, step and rest, repeat, compute.

`run` is a generator of Progress: whoever drives it may stop at any item, and
closing it turns the load off.
"""

from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from sagline.analysis import plan as planning
from sagline.analysis import presence, stuck
from sagline.analysis.calibration import waveform
from sagline.analysis.estimate import estimate
from sagline.analysis.values import AnalysisError, Estimate, RawStep
from sagline.designations import find as find_designation
from sagline.device.progress import (
    Cooling,
    Finished,
    OpenVoltage,
    Planned,
    Probing,
    Progress,
    RepeatDone,
    Stepping,
)
from sagline.device.rig import Rig
from sagline.errors import BoardRefused, Refused, UsageError
from sagline.records import Result, make_result
from sagline_board import faults

Segments = tuple[tuple[int, int], ...]

# Below this nothing that could be measured is between the clips.
ABSENT_V = presence.LEAST_V
PHASES = ("rest", "load on", "recovery")
# Above this a cell without designation may be lithium or lead-acid.
UNKNOWN_WITHOUT_ONE_SHOT_V = 1.7
# How often a load that is still warm is asked for again.
COOLING_POLL_S = 0.5
# The look with the largest load: shorter than a repeat, and not counted as one. It finds an
# unknown cell's r, and a load that conducts without being asked before it can do harm.
PROBE_MS = (1000, 150, 200)
# Rest, the largest load beside the planned one, the planned one alone, recovery.
RELEASE_MS = (200, 60, 60, 100)
MAX_REPEATS = 100
# No cell works beyond; kelvins given for degrees Celsius are.
TEMPERATURES_C = (-100.0, 150.0)
# Refusals that are about what was asked for, not about the cell.
_WISHES = ("load_not_in_bank", "unknown_designation", "time_outside_step", "few_points")


@dataclass(frozen=True)
class Settings:
    """What the user asks of one measurement; None leaves the choice to the plan."""

    load_ohm: float | None = None
    designation: str | None = None
    repeats: int = 5
    times_s: tuple[float, ...] = (0.1,)
    label: str | None = None
    operator: str | None = None
    temperature_c: float | None = None
    clear_trip: bool = False

    def __post_init__(self) -> None:
        if not 1 <= self.repeats <= MAX_REPEATS:
            raise UsageError(
                "bad_repeats",
                f"{self.repeats} repeats are not possible.",
                f"Ask for 1 to {MAX_REPEATS}; 5 is usual.",
            )
        if not self.times_s or any(not 0.01 <= t <= 10.0 for t in self.times_s):
            raise UsageError(
                "bad_times",
                "Each time must lie between 0.01 s and 10 s after switching.",
                "Ask for example for --times 0.1,1.",
            )
        # Asked for twice, a time is reported once.
        object.__setattr__(self, "times_s", tuple(dict.fromkeys(self.times_s)))
        least_c, most_c = TEMPERATURES_C
        if self.temperature_c is not None and not least_c <= self.temperature_c <= most_c:
            raise UsageError(
                "bad_temperature",
                f"{self.temperature_c:g} °C is no temperature to measure a cell at.",
                f"Give it in °C, from {least_c:g} to {most_c:g}.",
            )


def measure(rig: Rig, settings: Settings) -> Result:
    """Run the whole measurement and return its Result. Raises as `run`."""
    for item in run(rig, settings):
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
    open_v = _open_voltage(rig)
    yield OpenVoltage(open_v)
    _refuse_without_one_shot(rig, settings.designation, open_v)
    probe_r_ohm = None
    unknown = settings.load_ohm is None and settings.designation is None
    if unknown:
        load = planning.probe_load(rig.profile, open_v)
        yield Probing(rig.profile.loads[load].load_ohm)
        probe_r_ohm = yield from _look(rig, load)
    plan = planning.choose(
        rig.profile,
        rig.converter,
        open_v,
        designation=settings.designation,
        load_ohm=settings.load_ohm,
        probe_r_ohm=probe_r_ohm,
        times_s=settings.times_s,
    )
    plan = replace(plan, repeats=settings.repeats)
    yield Planned(plan)
    if not unknown and (load := planning.probe_load(rig.profile, open_v)) != plan.load_index:
        yield from _look(rig, load)
    if stuck.tellable(rig.profile, rig.converter, plan.load_index, rig.high_range):
        yield from _release(rig, plan.load_index)
    steps: list[RawStep] = []
    found: Estimate | None = None
    durations_ms = (plan.rest_ms, plan.on_ms, plan.recovery_ms)
    for repeat in range(1, plan.repeats + 1):
        segments = _segments(plan.load_index, durations_ms)
        steps.append((yield from _step(rig, plan.load_index, segments, repeat, plan.repeats)))
        found = estimate(steps, rig.profile, rig.converter, settings.times_s)
        drawn = waveform(steps[-1], rig.profile, rig.converter)
        yield RepeatDone(repeat, plan.repeats, drawn, found)
    assert found is not None, "a plan has at least one repeat"
    yield Finished(_result(rig, settings, found))


def _open_voltage(rig: Rig) -> float:
    """Look at the cell, in both ranges if it fits, and leave the one to measure in set."""

    def look(high: bool) -> presence.Taps:
        rig.set_range(high)
        live = rig.live()
        return presence.Taps(live.sense_v, live.force_v, live.return_v)

    taps = look(True)
    readings = [(True, taps)]
    if not planning.needs_high_range(rig.profile, max(taps.sense_v, taps.force_v)):
        readings.insert(0, (False, look(False)))
    presence.refuse(rig.profile, rig.converter, readings, ABSENT_V)
    return readings[0][1].sense_v


def _refuse_without_one_shot(rig: Rig, designation: str | None, open_v: float) -> None:
    """Keep a board that cannot end a pulse in hardware away from cells that could do harm."""
    if rig.identity.one_shot:
        return
    why = "This board has no hardware that ends a pulse by itself"
    known = None if designation is None else find_designation(designation)
    if known is not None and known.rechargeable and known.chemistry != "nickel":
        raise Refused(
            "no_one_shot",
            f"{why}, so no {known.title} cell is loaded.",
            "Use it with primary or nickel cells; lithium and lead-acid need a board with it.",
        )
    if open_v <= UNKNOWN_WITHOUT_ONE_SHOT_V:
        return
    if known is not None and open_v > known.high_v:
        raise Refused(
            "no_one_shot",
            f"{why}, and {open_v:.2f} V is more than the {known.high_v:g} V that "
            f"{known.designation} ({known.title}) can have: it must be something else.",
            "Read what is printed on the cell; only primary and nickel cells may be loaded here.",
        )
    if known is None:
        raise Refused(
            "no_one_shot",
            f"{why}, so no unknown cell above {UNKNOWN_WITHOUT_ONE_SHOT_V:g} V is loaded; "
            f"this one has {open_v:.2f} V.",
            "If it is a primary cell, say which with --designation, e.g. 6LR61 or CR2032.",
        )


def _look(rig: Rig, load: int) -> Generator[Progress, None, float]:
    """One short step; return the cell's r in ohms, roughly."""
    step = yield from _step(rig, load, _segments(load, PROBE_MS), 0, 0)
    return max(0.0, estimate([step], rig.profile, rig.converter, (0.1,)).r_at[0][1].value)


def _release(rig: Rig, load: int) -> Generator[Progress, None, None]:
    """See that the largest load lets go of the cell."""
    both = 1 << load | 1 << stuck.largest(rig.profile)
    segments = tuple(zip((0, both, 1 << load, 0), RELEASE_MS, strict=True))
    step = yield from _step(rig, load, segments, 0, 0)
    stuck.check_release(step, rig.profile, rig.converter)


def _segments(load: int, durations_ms: tuple[int, int, int]) -> Segments:
    return tuple(zip((0, 1 << load, 0), durations_ms, strict=True))


def _step(
    rig: Rig, load: int, segments: Segments, repeat: int, repeats: int
) -> Generator[Progress, None, RawStep]:
    total_s = sum(duration_ms for _, duration_ms in segments) * 1e-3
    # A step begins with its rest, ends with its recovery, and loads the cell between.
    phases = (PHASES[0], *[PHASES[1]] * (len(segments) - 2), PHASES[2])
    step = rig.step(load, segments)
    while True:
        try:
            state = next(step)
        except StopIteration as end:
            return end.value
        except BoardRefused as refusal:
            if refusal.number != faults.REFUSED_HOT:
                raise
            # Nothing has been switched. The guard counts every load as hot after a reset.
            yield Cooling(rig.ready_in_s())
            rig.wait(COOLING_POLL_S)
            step = rig.step(load, segments)
            continue
        try:
            yield Stepping(
                repeat, repeats, phases[state.segment], state.elapsed_s, total_s, state.sense_v
            )
        except BaseException:
            step.close()
            raise


def _result(rig: Rig, settings: Settings, found: Estimate) -> Result:
    return make_result(
        replace(found, notices=found.notices + rig.notices),
        kind="virtual" if rig.is_virtual else "rig",
        measured_at=datetime.now(UTC),
        rig=f"{rig.identity.model} {rig.identity.serial}",
        firmware=rig.identity.firmware,
        label=settings.label,
        designation=settings.designation,
        operator=settings.operator,
        temperature_c=settings.temperature_c,
    )

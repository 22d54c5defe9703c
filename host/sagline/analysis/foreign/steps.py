# SPDX-License-Identifier: MIT
"""A foreign record's pulses as the fit takes them: rows of volts about each edge.

Where no pulse has a rest before it, the step at release is read instead: the cell under load is
what was before, and the current that ends is the step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sagline.analysis.foreign import release
from sagline.analysis.foreign.drive import Drive
from sagline.analysis.foreign.edges import Pulse, pulses
from sagline.analysis.foreign.onestep import FEWEST_LOADED, Left, OneStep, since, step_of
from sagline.analysis.foreign.table import Column, ForeignTable
from sagline.analysis.jointfit import JointFit
from sagline.analysis.rebound import Rebound
from sagline.analysis.rows import Rows
from sagline.analysis.step import REST_WINDOW_S
from sagline.analysis.values import AnalysisError, FloatArray

FEWEST_REST = 3
"""Readings at rest that a level and a drift take, with one to tell their noise."""

REST_READINGS = 8
"""A rest window is longer than REST_WINDOW_S where it would hold fewer readings than these."""

REST_SHARE = 0.5
"""Of a rest after a load: before that the cell still recovers fast."""

LEAST_REST_S = 0.3
"""After a load before: sooner its recovery is no drift that a line could follow."""

RELEASE_SHARE = 0.1
"""Of the time that a load was on: r may be read at release up to then."""

UNEQUAL = 0.1
"""Currents of one record's pulses that differ by more are no repeats."""

MODEL_SHARE = 8e-4
"""Of r: what a grid of time constants may miss of a cell's course, in all steps alike. It missed
1e-4 of cells in a circuit simulator, and up to 7e-4 of a single time constant between two of the
grid that made a third of r, on a load of 6 r (by trial)."""


@dataclass(frozen=True, eq=False)
class ForeignSteps:
    """What `course.course_of` asks for. `at_release` says that it is the recovery that is read."""

    steps: list[OneStep]
    left: list[Left]
    at_release: bool

    @property
    def rows(self) -> list[Rows]:
        return [one.rows for one in self.steps]

    @property
    def first_s(self) -> float:
        return max(one.first_s for one in self.steps)

    @property
    def floor_s(self) -> float:
        """Without a model: a time with readings before and after it."""
        return max(one.third_s for one in self.steps)

    @property
    def on_s(self) -> float:
        return min(one.on_s for one in self.steps)

    @property
    def last_s(self) -> float:
        """The last time with a reading of every step, and at release one that the load outlasted
        by far: what it leaves behind goes on meanwhile."""
        last_s = min(float(one.rows.middle_s[-1]) for one in self.steps)
        if self.at_release:
            last_s = min(last_s, *(RELEASE_SHARE * one.loaded_s for one in self.steps))
        return last_s

    @property
    def half_s(self) -> float:
        return max(one.half_s for one in self.steps)

    def sag_limit_ohm2(self, t_s: float, weights: Sequence[FloatArray], joint: JointFit) -> float:
        """What the model may miss; what the instrument's linearity does is not known."""
        r_ohm = np.mean(
            [joint.curves.at(np.array([t_s])) @ one.amplitudes for one in joint.repeats]
        )
        return float((MODEL_SHARE * r_ohm) ** 2)

    def rebound(self, joint: JointFit) -> Rebound | None:
        """The step at release, where the record has it and it is not the one that is read."""
        return None if self.at_release else release.rebound(self.steps, joint)


def steps_of(table: ForeignTable) -> ForeignSteps:
    """Find the pulses and read each.

    Raises AnalysisError: those of `edges.pulses`, `few_points`, `mixed_steps`, `sense_still`.
    """
    if not np.ptp(table.sense.v):
        raise AnalysisError(
            "sense_still",
            f"sense_v is {table.sense.v[0]:g} V throughout: the instrument did not read the cell, "
            "or too coarsely to see it sag",
            "see to the sense leads, or choose a finer range",
        )
    found = pulses(table)
    at_release = not any(_rest(table, one).t_s.size >= FEWEST_REST for one in found)
    steps: list[OneStep] = []
    left: list[Left] = []
    for n, pulse in enumerate(found, start=1):
        one = _at_release(table, pulse, n) if at_release else _loaded(table, pulse, n)
        if isinstance(one, Left):
            left.append(one)
        else:
            steps.append(one)
    if not steps:
        raise AnalysisError(
            "few_points",
            f"no step can be read: {left[0].reason}",
            f"record at least {FEWEST_REST} readings at rest and {FEWEST_LOADED} under load, one "
            "of them within a tenth of a second after load on",
        )
    _refuse_mixed(steps)
    found_steps = ForeignSteps(steps, left, at_release)
    if found_steps.last_s < found_steps.first_s:
        raise AnalysisError(
            "few_points",
            "the record has no rest before the load, which was on too briefly to read r at release",
            "begin the record before the load goes on, with at least 1 s of rest",
        )
    return found_steps


def _rest(table: ForeignTable, pulse: Pulse) -> Column:
    """The rest window of sense before a pulse; empty where the record begins with the pulse."""
    if pulse.on is None:
        return table.sense.within(0.0, -1.0)
    from_s, to_s = pulse.rest_from_s, pulse.on.before_s
    whole = table.sense.within(from_s, to_s)
    if _is_after_load(table, pulse):
        from_s = to_s - REST_SHARE * (to_s - from_s)
    last = whole.t_s[-REST_READINGS:]
    wanted_s = min(to_s - REST_WINDOW_S, float(last[0]) if last.size else to_s)
    return whole.within(max(from_s, wanted_s), to_s)


def _is_after_load(table: ForeignTable, pulse: Pulse) -> bool:
    """Whether the rest before a pulse began with a release."""
    return pulse.rest_from_s > float(min(table.sense.t_s[0], table.driver.t_s[0]))


def _loaded(table: ForeignTable, pulse: Pulse, n: int) -> OneStep | Left:
    rest = _rest(table, pulse)
    if pulse.on is None or rest.t_s.size < FEWEST_REST:
        return Left(n, "the record has no rest before it")
    rested_s = pulse.on.before_s - pulse.rest_from_s
    if rested_s < LEAST_REST_S and _is_after_load(table, pulse):
        return Left(n, f"only {rested_s:.2g} s of rest between it and the load before")
    end_s = pulse.end_s if pulse.off is None else pulse.off.before_s
    on = (pulse.on.after_s, end_s)
    origin_s = pulse.on.at_s
    try:
        drive = Drive(table, origin_s, (float(rest.t_s[0]), pulse.on.before_s), on)
    except ValueError:
        return Left(n, "no reading of the current while the load was on")
    recovery = table.sense.within(0.0, -1.0)
    if pulse.off is not None:
        recovery = since(table.sense.within(pulse.off.after_s, pulse.end_s), pulse.off.at_s)
    off_s = end_s if pulse.off is None else pulse.off.at_s
    return step_of(
        table, n, rest, table.sense.within(*on), drive, 1.0, pulse.on.half_s,
        origin_s=origin_s, on_s=off_s - origin_s, loaded_s=off_s - origin_s,
        rest_s=pulse.on.at_s - pulse.rest_from_s, recovery=recovery,
    )  # fmt: skip


def _at_release(table: ForeignTable, pulse: Pulse, n: int) -> OneStep | Left:
    if pulse.off is None:
        return Left(n, "the record has neither a rest before it nor a recovery after it")
    start_s = pulse.rest_from_s if pulse.on is None else pulse.on.after_s
    on = (start_s, pulse.off.before_s)
    held = table.sense.within(*on)
    # The cell still sags: the straighter the shorter before the edge.
    from_s = max(on[1] - REST_WINDOW_S, on[1] - REST_SHARE * (on[1] - on[0]))
    if held.t_s.size < FEWEST_REST:
        return Left(n, "too few readings before the load went off")
    held = held.within(min(from_s, *held.t_s[-REST_READINGS:]), on[1])
    after = (pulse.off.after_s, pulse.end_s)
    origin_s = start_s - 0.5 * (on[1] - on[0])
    try:
        drive = Drive(table, origin_s, after, on, pulse.off.at_s - origin_s)
    except ValueError:
        return Left(n, "no reading of the current while the load was on")
    return step_of(
        table, n, held, table.sense.within(*after), drive, -1.0, pulse.off.half_s,
        origin_s=pulse.off.at_s, on_s=after[1] - pulse.off.at_s, loaded_s=on[1] - on[0],
        rest_s=0.0, recovery=table.sense.within(0.0, -1.0),
    )  # fmt: skip


def _refuse_mixed(steps: list[OneStep]) -> None:
    amps = [one.drive.levels(one.first_s).current_a for one in steps]
    if max(amps) > (1.0 + UNEQUAL) * min(amps):
        raise AnalysisError(
            "mixed_steps",
            f"the steps of the record have currents from {min(amps):.3g} A to {max(amps):.3g} A",
            "repeats have one load: put the steps of each load into a file of its own",
        )

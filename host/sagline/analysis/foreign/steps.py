# SPDX-License-Identifier: MIT
"""A foreign record's pulses as the fit takes them: rows of volts about each edge.

Where no pulse has a rest before it, the step at release is read instead: the cell under load is
what was before, and the current that ends is the step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from sagline.analysis.foreign import release
from sagline.analysis.foreign.drive import Drive
from sagline.analysis.foreign.edges import Pulse, pulses
from sagline.analysis.foreign.table import Column, ForeignTable
from sagline.analysis.foreign.thinning import thinned
from sagline.analysis.jointfit import JointFit
from sagline.analysis.rebound import Rebound
from sagline.analysis.rows import Rows
from sagline.analysis.step import REST_WINDOW_S, fit_line
from sagline.analysis.values import AnalysisError, FloatArray

FEWEST_REST = 3
"""Readings at rest that a level and a drift take, with one to tell their noise."""
FEWEST_LOADED = 4

REST_READINGS = 8
"""A rest window is longer than REST_WINDOW_S where it would hold fewer readings than these."""

REST_SHARE = 0.5
"""Of a rest after a load: before that the cell still recovers fast."""

UNEQUAL = 0.1
"""Currents of one record's pulses that differ by more are no repeats."""

MODEL_SHARE = 8e-4
"""Of r: what a grid of time constants may miss of a cell's course, in all steps alike. It missed
1e-4 of cells in a circuit simulator, and up to 7e-4 of a single time constant between two of the
grid that made a third of r, on a load of 6 r (by trial)."""

ROUNDING = 12.0**-0.5
INSTANT_S = 1e-6
"""Length given to the window of a reading that is an instant's."""


class Left(NamedTuple):
    """A pulse that is not used: its number and why."""

    n: int
    reason: str


@dataclass(frozen=True, eq=False)
class OneStep:
    """One pulse as rows about its edge, at which their time is 0.

    `half_s` is how far the edge may be from there, `on_s` how long what comes after it lasted,
    `loaded_s` how long the load was on; `rest_s` what of rest the record has before it;
    `first_s` and `third_s` the first and third usable reading after the edge; `recovery` are the
    readings of sense after release, from the edge too.
    """

    n: int
    rows: Rows
    drive: Drive
    half_s: float
    on_s: float
    loaded_s: float
    rest_s: float
    first_s: float
    third_s: float
    recovery: Column


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
        """The last time with a reading of every step."""
        return min(float(one.rows.middle_s[-1]) for one in self.steps)

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

    Raises AnalysisError: those of `edges.pulses`, `few_points`, `mixed_steps`.
    """
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
    return ForeignSteps(steps, left, at_release)


def _rest(table: ForeignTable, pulse: Pulse) -> Column:
    """The rest window of sense before a pulse; empty where the record begins with the pulse."""
    if pulse.on is None:
        return table.sense.within(0.0, -1.0)
    from_s, to_s = pulse.rest_from_s, pulse.on.before_s
    whole = table.sense.within(from_s, to_s)
    if from_s > float(min(table.sense.t_s[0], table.driver.t_s[0])):
        from_s = to_s - REST_SHARE * (to_s - from_s)
    last = whole.t_s[-REST_READINGS:]
    wanted_s = min(to_s - REST_WINDOW_S, float(last[0]) if last.size else to_s)
    return whole.within(max(from_s, wanted_s), to_s)


def _loaded(table: ForeignTable, pulse: Pulse, n: int) -> OneStep | Left:
    rest = _rest(table, pulse)
    if pulse.on is None or rest.t_s.size < FEWEST_REST:
        return Left(n, "the record has no rest before it")
    end_s = pulse.end_s if pulse.off is None else pulse.off.before_s
    on = (pulse.on.after_s, end_s)
    origin_s = pulse.on.at_s
    try:
        drive = Drive(table, origin_s, (float(rest.t_s[0]), pulse.on.before_s), on)
    except ValueError:
        return Left(n, "no reading of the current while the load was on")
    recovery = table.sense.within(0.0, -1.0)
    if pulse.off is not None:
        recovery = _from(table.sense.within(pulse.off.after_s, pulse.end_s), pulse.off.at_s)
    off_s = end_s if pulse.off is None else pulse.off.at_s
    return _step(
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
    held = held.within(min(from_s, *held.t_s[-REST_READINGS:]), on[1])
    if held.t_s.size < FEWEST_REST:
        return Left(n, "too few readings before the load went off")
    after = (pulse.off.after_s, pulse.end_s)
    origin_s = start_s - 0.5 * (on[1] - on[0])
    try:
        drive = Drive(table, origin_s, after, on, pulse.off.at_s - origin_s)
    except ValueError:
        return Left(n, "no reading of the current while the load was on")
    return _step(
        table, n, held, table.sense.within(*after), drive, -1.0, pulse.off.half_s,
        origin_s=pulse.off.at_s, on_s=after[1] - pulse.off.at_s, loaded_s=on[1] - on[0],
        rest_s=0.0, recovery=table.sense.within(0.0, -1.0),
    )  # fmt: skip


def _step(
    table: ForeignTable,
    n: int,
    before: Column,
    after: Column,
    drive: Drive,
    sign: float,
    half_s: float,
    *,
    origin_s: float,
    on_s: float,
    loaded_s: float,
    rest_s: float,
    recovery: Column,
) -> OneStep | Left:
    """Rows of the readings before and after an edge; `sign` of the current that is switched."""
    before, after = _from(before, origin_s), _from(after, origin_s)
    usable_s = after.t_s[after.t_s >= 2.0 * half_s]
    if after.t_s.size < FEWEST_LOADED or usable_s.size < FEWEST_LOADED - 1:
        return Left(n, f"only {after.t_s.size} readings after its edge")
    u_v = max(_noise(before), table.sense.resolution * ROUNDING, 1e-12)
    t_s = np.concatenate([before.t_s, after.t_s])
    length_s = np.full(t_s.size, max(table.window_s, _instant_s(t_s)))
    current_a = np.zeros(t_s.size)
    current_a[before.t_s.size :] = sign * drive.at(after.t_s)
    rows = Rows(
        # A window that reached across the edge would count as rest.
        start_s=np.where(t_s > 0.0, np.maximum(t_s - 0.5 * length_s, 0.0), t_s - 0.5 * length_s),
        length_s=length_s,
        v=np.concatenate([before.v, after.v]),
        u_v=np.full(t_s.size, u_v),
        code=np.zeros(t_s.size),
        front=np.zeros(t_s.size, dtype=np.int64),
        current_a=current_a,
    )
    third = usable_s[: FEWEST_LOADED - 1][-1]
    first_s = float(usable_s[0])
    return OneStep(
        n, thinned(rows), drive, half_s, on_s, loaded_s, rest_s, first_s, float(third), recovery
    )


def _from(column: Column, origin_s: float) -> Column:
    return Column(column.t_s - origin_s, column.v, column.digit)


def _instant_s(t_s: FloatArray) -> float:
    return min(INSTANT_S, 0.1 * float(np.diff(t_s).min()))


def _noise(rest: Column) -> float:
    return fit_line(rest.t_s, rest.v, np.ones_like(rest.v)).noise


def _refuse_mixed(steps: list[OneStep]) -> None:
    amps = [one.drive.levels(one.first_s).current_a for one in steps]
    if max(amps) > (1.0 + UNEQUAL) * min(amps):
        raise AnalysisError(
            "mixed_steps",
            f"the steps of the record have currents from {min(amps):.3g} A to {max(amps):.3g} A",
            "repeats have one load: put the steps of each load into a file of its own",
        )

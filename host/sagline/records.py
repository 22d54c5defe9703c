# SPDX-License-Identifier: MIT
"""The record of a rig's run: what was measured, whole and unchanged for ever.

Counts, times, the schedule, the rig's own values and calibration, what was asked for. Every
figure can be computed from it again, by this method or a later one. Figures themselves are
results (`results.py`).
"""

from collections.abc import Sequence
from typing import Literal

from pydantic import Field, model_validator

from sagline.analysis.lineplan import LinePlan
from sagline.analysis.plan import Plan
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import RawStep
from sagline.anyrecord import AnyRecord, Ending, Strict
from sagline.calibrations import Calibration
from sagline.results import METHOD
from sagline.wording import expectation
from sagline_board.commands import POINT_FIELDS

RECORD_SCHEMA = "sagline-record-1"
LINE_FROM = 1001
"""Steps of a V-I line are numbered from here on, far above all repeats."""


class Points(Strict):
    """The points of one step, one list a column (protocol.md, "A step"), all of one length."""

    source: list[int]
    start_us: list[int]
    length_us: list[int]
    n: list[int]
    total: list[int]

    @model_validator(mode="after")
    def _of_one_length(self) -> "Points":
        if len({len(getattr(self, name)) for name in POINT_FIELDS}) != 1:
            raise ValueError("the columns of a step must be of one length")
        return self


class StepRecord(Strict):
    """One step as the board recorded it: repeat `n`, or from LINE_FROM on one of a V-I line.

    `load` is that of fewest ohms where `segments` have several on. `at_s` is when it began on the
    rig's clock; only differences mean something. `null_setting` is where the null channel was
    held, null where it was not in use.
    """

    n: int = Field(ge=1)
    at_s: float
    load: int
    range_high: bool
    null_setting: int | None
    segments: list[tuple[int, int]]
    edges_us: list[int]
    points: Points

    @classmethod
    def of(cls, n: int, at_s: float, raw: RawStep) -> "StepRecord":
        """Return the record of step `n`, which began at `at_s` on the rig's clock."""
        return cls(
            n=n,
            at_s=at_s,
            load=raw.load,
            range_high=raw.range_high,
            null_setting=raw.null_setting,
            segments=list(raw.segments),
            edges_us=list(raw.edges_us),
            points=Points(**{name: getattr(raw, name).tolist() for name in POINT_FIELDS}),
        )

    def raw(self) -> RawStep:
        """Return the step as the analysis takes it."""
        return RawStep(
            **{name: getattr(self.points, name) for name in POINT_FIELDS},
            edges_us=tuple(self.edges_us),
            load=self.load,
            range_high=self.range_high,
            segments=tuple(self.segments),
            null_setting=self.null_setting,
        )


class RigIdentity(Strict):
    """Which rig it was: *IDN?, protocol version, whether hardware ends a pulse."""

    maker: str
    model: str
    serial: str
    firmware: str
    protocol: str
    one_shot: bool


class Asked(Strict):
    """What the user asked for; null left the choice to the plan.

    With a target, U(r)/r at 95 %, `repeats` are the first ones, which decide how many follow.
    """

    load_ohm: float | None
    repeats: int
    target_u_rel: float | None

    @property
    def first_stage(self) -> int | None:
        """How many repeats decide on the number of all; None where that was given."""
        return None if self.target_u_rel is None else self.repeats

    times_s: list[float]


class Record(AnyRecord):
    """One run of a rig on one cell."""

    METHOD = METHOD

    schema_: Literal["sagline-record-1"] = Field(RECORD_SCHEMA, alias="schema")
    rig: RigIdentity
    profile: RigProfile
    converter: int
    calibration: Calibration | None
    asked: Asked
    plan: Plan
    steps: list[StepRecord]
    ending: Ending | None
    line: LinePlan | None = None

    @property
    def repeats(self) -> list[StepRecord]:
        """The steps on the plan's own load."""
        return [step for step in self.steps if step.n < LINE_FROM]

    @property
    def line_steps(self) -> list[StepRecord]:
        """The steps of the V-I line."""
        return [step for step in self.steps if step.n >= LINE_FROM]

    @property
    def rig_name(self) -> str:
        """Model and serial number, as results name the rig."""
        return f"{self.rig.model} {self.rig.serial}"

    @property
    def asked_times_s(self) -> list[float]:
        """The times (s) after load on that r was asked for."""
        return self.asked.times_s

    @property
    def load_ohm(self) -> float:
        """The load as planned, ohms."""
        return self.plan.load_ohm

    @property
    def nothing_measured(self) -> bool:
        """Whether it ended before its first repeat."""
        return not self.repeats

    @property
    def repeats_measured(self) -> int:
        """How many repeats it has on the plan's own load."""
        return len(self.repeats)

    @property
    def kept_steps(self) -> Sequence[StepRecord]:
        """Its steps."""
        return self.steps

    @property
    def kept_ending(self) -> Ending | None:
        """How it ended; None where nobody could say so."""
        return self.ending

    def with_kept(self, steps: Sequence[StepRecord], ending: Ending | None) -> "Record":
        """Return the record with these steps and this ending."""
        return self.with_steps(steps, ending)

    def with_steps(self, steps: Sequence[StepRecord], ending: Ending | None) -> "Record":
        """Return the record with these steps and this ending."""
        return self.model_copy(update={"steps": list(steps), "ending": ending})

    def about(self) -> Sequence[tuple[str, str | None]]:
        """Return how it was done, for a person."""
        return [
            ("rig", f"{self.rig_name} (firmware {self.rig.firmware})"),
            ("done", f"{self._repeats()} on {self.plan.load_ohm:g} Ω"),
            ("plan", self.plan.reason),
            ("line", self._line()),
            ("outlook", expectation(self.plan)),
        ]

    def _line(self) -> str | None:
        if self.line is None:
            return None
        return f"{len(self.line_steps)} of {len(self.line.order)} steps; {self.line.reason}"

    def _repeats(self) -> str:
        made = len(self.repeats)
        if self.asked.target_u_rel is None:
            return f"{made} of {self.plan.repeats} repeats"
        return f"{made} repeats for a target of {100 * self.asked.target_u_rel:g} %"

# SPDX-License-Identifier: MIT
"""The record of a run: what was measured, whole and unchanged for ever.

Counts, times, the schedule, the rig's own values and calibration, what was asked for. Every
figure can be computed from it again, by this method or a later one. Figures themselves are
results (`results.py`).
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from sagline.analysis.plan import Plan
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import RawStep
from sagline.calibrations import Calibration
from sagline.results import Kind, Result, Warning_
from sagline_board.commands import POINT_FIELDS

RECORD_SCHEMA = "sagline-record-1"


class _Model(BaseModel):
    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        json_schema_serialization_defaults_required=True,
    )


class Points(_Model):
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


class StepRecord(_Model):
    """One repeat as the board recorded it.

    `at_s` is when it began on the rig's clock; only differences mean something. `null_setting`
    is where the null channel was held, null where it was not in use.
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
        """Return the record of repeat `n`, which began at `at_s` on the rig's clock."""
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


class RigIdentity(_Model):
    """Which rig it was: *IDN?, protocol version, whether hardware ends a pulse."""

    maker: str
    model: str
    serial: str
    firmware: str
    protocol: str
    one_shot: bool


class Asked(_Model):
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


class Ending(_Model):
    """How the run ended. A record without one was interrupted.

    `code` is that of the error where `how` is failed; `remarks` must be said with every figure.
    """

    at: datetime
    how: Literal["complete", "stopped", "failed"]
    code: str | None
    remarks: list[Warning_]


class Record(_Model):
    """One run on one cell."""

    schema_: Literal["sagline-record-1"] = Field(RECORD_SCHEMA, alias="schema")
    id: str
    kind: Kind
    started_at: datetime
    label: str | None
    designation: str | None
    operator: str | None
    temperature_c: float | None
    sagline: str
    rig: RigIdentity
    profile: RigProfile
    converter: int
    calibration: Calibration | None
    asked: Asked
    plan: Plan
    steps: list[StepRecord]
    ending: Ending | None

    @property
    def rig_name(self) -> str:
        """Model and serial number, as results name the rig."""
        return f"{self.rig.model} {self.rig.serial}"

    @property
    def state(self) -> str:
        """complete, stopped, failed, or interrupted where nobody could say so."""
        return "interrupted" if self.ending is None else self.ending.how

    def main_of(self, results: Sequence[Result]) -> Result | None:
        """Return the newest of the record's results at the times asked for, else the newest."""
        asked = [one for one in results if one.is_at(self.asked.times_s)]
        return next(reversed(asked or results), None)

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document as plain dicts, lists, strings and numbers."""
        return self.model_dump(mode="json", by_alias=True)

    def with_steps(self, steps: Sequence[StepRecord], ending: Ending | None) -> "Record":
        """Return the record with these steps and this ending."""
        return self.model_copy(update={"steps": list(steps), "ending": ending})

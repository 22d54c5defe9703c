# SPDX-License-Identifier: MIT
"""The result as the outside sees it: one JSON document, versioned.

Fields that do not apply are null, never left out. Numbers are finite.
"""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr
from uuid6 import uuid7

from sagline.analysis import values
from sagline.analysis.terminal import Terminal
from sagline_board import __version__

if TYPE_CHECKING:
    from sagline.analysis.lineestimate import LineEstimate
    from sagline.analysis.values import Estimate

RESULT_SCHEMA = "sagline-result-1"
Kind = Literal["rig", "virtual", "hand", "file"]
METHOD = "joint-3"


class _Model(BaseModel):
    model_config = ConfigDict(
        frozen=True, allow_inf_nan=False, json_schema_serialization_defaults_required=True
    )


class Quantity(_Model):
    """A figure with its uncertainty; `dof` null is infinite, other nulls are unknown."""

    value: float
    u: float | None
    dof: float | None
    k: float | None
    low95: float | None
    high95: float | None


class ResistanceAt(Quantity):
    """r at a stated time after switching."""

    t_s: float | None


class OhmicPart(Quantity):
    """r at the first usable sample."""

    from_s: float


class LinePoint(_Model):
    """One point; `load_ohm` null where the current was read and not the load."""

    load_ohm: float | None
    current_a: float
    v_v: float


class Line(_Model):
    """The V-I line: intercept, minus slope, and their covariance in V ohm."""

    emf_v: Quantity
    r_ohm: Quantity
    covariance: float
    points: list[LinePoint]
    t_s: float | None


class Repeat(_Model):
    n: int
    r_ohm: float | None
    emf_v: float | None
    kept: bool
    reason: str | None


class ResistanceShare(_Model):
    source: str
    type: Literal["A", "B"]
    u_ohm: float
    share: float


class EmfShare(_Model):
    source: str
    type: Literal["A", "B"]
    u_v: float
    share: float


class Conditions(_Model):
    temperature_c: float | None
    rest_s: float | None
    dvdt_v_per_s: float | None
    on_s: float | None


class Warning_(_Model):
    code: str
    text: str
    remedy: str


class Result(_Model):
    """One measurement of one cell.

    `emf_v` is null where readings by hand leave it open: lengths on a wire whose volts per
    centimetre are not known. `terminal` is what was read at its terminals, for the working, and
    `working` the working in words of what was not read by a rig: no part of the document, for
    the record has it.
    """

    schema_: Literal["sagline-result-1"] = Field(RESULT_SCHEMA, alias="schema")
    id: str
    kind: Kind
    measured_at: datetime
    label: str | None
    designation: str | None
    operator: str | None
    sagline: str
    method: str
    firmware: str | None
    rig: str | None
    calibration_id: str | None
    emf_v: Quantity | None
    r_ohm: ResistanceAt
    r_ohmic_ohm: OhmicPart | None
    r_extrapolated_ohm: float | None
    r_at: list[ResistanceAt]
    line: Line | None
    load_ohm: Quantity | None
    current_a: Quantity | None
    short_circuit_a: Quantity | None
    max_power_w: Quantity | None
    repeats: list[Repeat]
    rejected: int
    budget: list[ResistanceShare]
    emf_budget: list[EmfShare]
    conditions: Conditions
    warnings: list[Warning_]
    _terminal: Terminal | None = PrivateAttr(None)
    _working: tuple[str, ...] = PrivateAttr(())

    def __eq__(self, other: object) -> bool:
        """Whether the documents are equal, whatever is at hand beside them."""
        return isinstance(other, Result) and self.to_dict() == other.to_dict()

    @property
    def terminal(self) -> Terminal | None:
        """Means of the readings at r's time; None where the record is not at hand."""
        return self._terminal

    def with_terminal(self, terminal: Terminal | None) -> "Result":
        """Return the same result with these readings beside it."""
        beside = self.model_copy()
        beside._terminal = terminal
        return beside

    @property
    def working(self) -> tuple[str, ...]:
        """The working in words, a line each; empty where a rig measured, or it is not at hand."""
        return self._working

    def with_working(self, lines: Sequence[str]) -> "Result":
        """Return the same result with this working beside it."""
        beside = self.model_copy()
        beside._working = tuple(lines)
        return beside

    def with_warning(self, code: str, text: str, remedy: str) -> "Result":
        """Return the same result with one warning more."""
        warning = Warning_(code=code, text=text, remedy=remedy)
        return self.model_copy(update={"warnings": [*self.warnings, warning]})

    @property
    def main_times_s(self) -> list[float | None]:
        """The times of r_at without t_f at its end, which no one needs to ask for."""
        times = [at.t_s for at in self.r_at]
        first = None if self.r_ohmic_ohm is None else self.r_ohmic_ohm.from_s
        return times[:-1] if len(times) > 1 and times[-1] == first else times

    def is_at(self, times_s: Sequence[float]) -> bool:
        """Return whether r is given at these times (s), t_f apart."""
        times = [at.t_s for at in self.r_at]
        return list(times_s) in (times, self.main_times_s)

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document as plain dicts, lists, strings and numbers."""
        return self.model_dump(mode="json", by_alias=True)

    def to_frame(self) -> Any:
        """Return the repeats as a pandas.DataFrame. Raises ImportError without pandas."""
        from sagline.notebook import frame_of

        return frame_of(self)

    def _repr_html_(self) -> str:
        from sagline.notebook import html_of

        return html_of(self)


def make_result(
    found: "Estimate",
    *,
    kind: Kind,
    measured_at: datetime,
    rig: str | None,
    firmware: str | None,
    label: str | None,
    designation: str | None,
    operator: str | None,
    temperature_c: float | None,
    calibration_id: str | None,
    line: "LineEstimate | None" = None,
    method: str = METHOD,
) -> Result:
    """Return the Result for an Estimate and the circumstances it was made in."""
    times = [ResistanceAt(**_fields(quantity), t_s=t_s) for t_s, quantity in found.r_at]
    return Result(
        schema=RESULT_SCHEMA,
        id=str(uuid7()),
        kind=kind,
        measured_at=measured_at,
        label=label,
        designation=designation,
        operator=operator,
        sagline=__version__,
        method=method,
        firmware=firmware,
        rig=rig,
        calibration_id=calibration_id,
        emf_v=_quantity(found.emf),
        r_ohm=times[0],
        r_ohmic_ohm=OhmicPart(**_fields(found.ohmic[1]), from_s=found.ohmic[0]),
        r_extrapolated_ohm=found.start_ohm,
        r_at=times,
        line=None if line is None else _line(line),
        load_ohm=None if found.load is None else _quantity(found.load),
        current_a=_quantity(found.current),
        short_circuit_a=None if found.short_circuit is None else _quantity(found.short_circuit),
        max_power_w=None if found.max_power is None else _quantity(found.max_power),
        repeats=[Repeat(**asdict(row)) for row in found.repeats],
        rejected=found.rejected,
        budget=[ResistanceShare.model_validate({**asdict(b), "u_ohm": b.u}) for b in found.budget],
        emf_budget=[EmfShare.model_validate({**asdict(b), "u_v": b.u}) for b in found.emf_budget],
        conditions=Conditions(
            temperature_c=temperature_c,
            rest_s=found.rest_s,
            dvdt_v_per_s=found.dvdt_v_per_s,
            on_s=found.on_s,
        ),
        warnings=[Warning_(**asdict(n)) for n in found.notices],
    )


def _line(line: "LineEstimate") -> Line:
    return Line(
        emf_v=_quantity(line.emf),
        r_ohm=_quantity(line.r),
        covariance=line.covariance_v_ohm,
        points=[LinePoint(**asdict(point)) for point in line.points],
        t_s=line.t_s,
    )


def _quantity(quantity: values.Quantity) -> Quantity:
    return Quantity(**_fields(quantity))


def _fields(quantity: values.Quantity) -> dict[str, Any]:
    return asdict(quantity)

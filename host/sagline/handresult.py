# SPDX-License-Identifier: MIT
"""From a record of readings by hand to its result."""

from collections.abc import Sequence
from dataclasses import asdict

from uuid6 import uuid7

from sagline.analysis.hand.estimate import estimate
from sagline.analysis.hand.values import HandEstimate
from sagline.analysis.values import AnalysisError
from sagline.analysis.values import Quantity as Figure
from sagline.errors import UsageError
from sagline.handrecord import HandRecord
from sagline.handwording import working_lines
from sagline.results import (
    RESULT_SCHEMA,
    Conditions,
    EmfShare,
    Line,
    LinePoint,
    Quantity,
    Repeat,
    ResistanceAt,
    ResistanceShare,
    Result,
    Warning_,
)
from sagline_board import __version__


def hand_result(record: HandRecord, times_s: Sequence[float] | None = None) -> Result:
    """Compute the record's result. Raises AnalysisError, UsageError."""
    if times_s is not None:
        raise AnalysisError(
            "no_other_times",
            "readings by hand are of the one time at which they were taken",
            "leave --times out, or leave these readings out",
        )
    found = estimate(record.sheet)
    return _result(record, found).with_working(working_lines(record.way, found))


def with_working(record: HandRecord, result: Result) -> Result:
    """Return a stored result of the record with its working, computed again."""
    try:
        found = estimate(record.sheet)
    except (AnalysisError, UsageError):
        return result
    return result.with_working(working_lines(record.way, found))


def _result(record: HandRecord, found: HandEstimate) -> Result:
    r_ohm = ResistanceAt(**asdict(found.r), t_s=record.closed_s)
    return Result(
        schema=RESULT_SCHEMA,
        id=str(uuid7()),
        kind=record.kind,
        measured_at=record.started_at,
        label=record.label,
        designation=record.designation,
        operator=record.operator,
        sagline=__version__,
        method=record.METHOD,
        firmware=None,
        rig=None,
        calibration_id=None,
        emf_v=_quantity(found.emf),
        r_ohm=r_ohm,
        r_ohmic_ohm=None,
        r_extrapolated_ohm=None,
        r_at=[r_ohm],
        line=_line(record, found),
        load_ohm=_quantity(found.load),
        current_a=_quantity(found.current),
        short_circuit_a=_quantity(found.short_circuit),
        max_power_w=_quantity(found.max_power),
        repeats=[Repeat(**asdict(row)) for row in found.groups],
        rejected=sum(not row.kept for row in found.groups),
        budget=[ResistanceShare.model_validate({**asdict(b), "u_ohm": b.u}) for b in found.budget],
        emf_budget=[EmfShare.model_validate({**asdict(b), "u_v": b.u}) for b in found.emf_budget],
        conditions=Conditions(
            temperature_c=record.temperature_c,
            rest_s=None,
            dvdt_v_per_s=None,
            on_s=record.closed_s,
        ),
        warnings=[Warning_(**asdict(notice)) for notice in found.notices],
    )


def _line(record: HandRecord, found: HandEstimate) -> Line | None:
    line = found.line
    if line is None:
        return None
    return Line(
        emf_v=Quantity(**asdict(line.emf)),
        r_ohm=Quantity(**asdict(line.r)),
        covariance=line.covariance_v_ohm,
        points=[LinePoint(**asdict(point)) for point in line.points],
        t_s=record.closed_s,
    )


def _quantity(figure: Figure | None) -> Quantity | None:
    return None if figure is None else Quantity(**asdict(figure))

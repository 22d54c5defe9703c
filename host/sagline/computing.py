# SPDX-License-Identifier: MIT
"""From a record to its result: the one way, for a run that ends now and one of years ago."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from sagline.analysis.estimate import estimate
from sagline.analysis.foreign.analyse import analyse
from sagline.analysis.foreign.terminal import terminal as foreign_terminal
from sagline.analysis.lineestimate import estimate_line
from sagline.analysis.target import missed
from sagline.analysis.terminal import terminal
from sagline.analysis.values import AnalysisError, Notice
from sagline.anyrecord import AnyRecord
from sagline.filerecord import FileRecord
from sagline.handrecord import HandRecord
from sagline.handresult import hand_result, with_working
from sagline.records import Record
from sagline.results import Result, make_result

_EXTRAPOLATED = Notice(
    "extrapolated",
    "short-circuit current and greatest power are computed from E and r, far beyond the current "
    "that was measured: there r is another, and a fuse or a protection would act first",
    "take them for what the model says, not for what the cell gives; never short a cell",
)


def result_of(record: AnyRecord, times_s: Sequence[float] | None = None) -> Result:
    """Compute the record's result by the present method; `times_s` (s) other than asked for.

    Raises AnalysisError where the record yields no figure, or none at other times.
    """
    return _WAYS[type(record)](record, times_s)


def _of_run(record: Record, times_s: Sequence[float] | None) -> Result:
    times_s = tuple(record.asked.times_s if times_s is None else times_s)
    steps = [step.raw() for step in record.repeats]
    asked = record.asked
    known = record.calibration
    calibration = None if known is None else known.at(record.started_at)
    rig = (record.profile, record.converter)
    found = estimate(steps, *rig, times_s, asked.first_stage, calibration)
    line = None
    if record.line_steps:
        steps = [step.raw() for step in record.line_steps]
        line, notices = estimate_line(steps, *rig, times_s[0], found, calibration)
        new = [notice for notice in notices if notice not in found.notices]
        found = replace(found, notices=(*found.notices, *new))
    if asked.target_u_rel is not None:
        notice = missed(found, asked.target_u_rel, *rig, record.plan.load_index, calibration)
        found = replace(found, notices=(*found.notices, *(() if notice is None else (notice,))))
    if found.short_circuit is not None:
        found = replace(found, notices=(*found.notices, _EXTRAPOLATED))
    if record.state != "complete":
        found = replace(found, notices=(*found.notices, _cut_off(record)))
    remarks = () if record.ending is None else record.ending.remarks
    said = tuple(Notice(remark.code, remark.text, remark.remedy) for remark in remarks)
    result = make_result(
        replace(found, notices=found.notices + said),
        kind=record.kind,
        measured_at=record.started_at,
        rig=record.rig_name,
        firmware=record.rig.firmware,
        label=record.label,
        designation=record.designation,
        operator=record.operator,
        temperature_c=record.temperature_c,
        calibration_id=None if known is None else known.id,
        line=line,
    )
    return with_terminal(record, result)


def _of_file(record: FileRecord, times_s: Sequence[float] | None) -> Result:
    asked_s = record.options.times_s if times_s is None else times_s
    found = analyse(record.table(), asked_s)
    said = [*found.notices, *record.remarks()]
    if found.short_circuit is not None:
        said.append(_EXTRAPOLATED)
    result = make_result(
        replace(found, notices=tuple(said)),
        kind=record.kind,
        measured_at=record.started_at,
        rig=None,
        firmware=None,
        label=record.label,
        designation=record.designation,
        operator=record.operator,
        temperature_c=record.temperature_c,
        calibration_id=None,
        method=record.METHOD,
    )
    return with_terminal(record, result)


def with_terminal(record: AnyRecord, result: Result) -> Result:
    """Return the record's `result`, stored or new, with what its working is made from.

    Where the record does not have that, the result is returned as it is.
    """
    if isinstance(record, HandRecord):
        return with_working(record, result)
    t_s = result.r_ohm.t_s
    if isinstance(record, FileRecord) and t_s is not None:
        return result.with_terminal(foreign_terminal(record.table(), t_s))
    if not isinstance(record, Record):
        return result
    kept = [row.kept for row in result.repeats]
    # A result of a run that went on is of its first steps.
    steps = [step.raw() for step in record.repeats[: len(kept)]]
    if t_s is None or len(steps) < len(kept):
        return result
    try:
        read = terminal(steps, kept, record.profile, record.converter, t_s)
    except AnalysisError:
        return result
    return result.with_terminal(read)


def _cut_off(record: Record) -> Notice:
    made = f"repeat {len(record.repeats)} of {record.asked.repeats}"
    if record.line_steps and record.line is not None:
        made = f"step {len(record.line_steps)} of {len(record.line.order)} of its V-I line"
    return Notice(
        "run_cut_off",
        f"the run was {record.state} after {made}",
        "measure again for the whole of it; U is that of the repeats there are",
    )


# How a record of each class is computed.
_WAYS: dict[type[AnyRecord], Callable[[Any, Sequence[float] | None], Result]] = {
    Record: _of_run,
    HandRecord: hand_result,
    FileRecord: _of_file,
}

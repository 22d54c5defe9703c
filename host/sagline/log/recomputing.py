# SPDX-License-Identifier: MIT
"""A record computed again, its result put beside those it has."""

from collections.abc import Sequence
from dataclasses import dataclass

from sagline.analysis.values import AnalysisError
from sagline.computing import result_of
from sagline.log.store import Log
from sagline.results import Result


@dataclass(frozen=True)
class Recomputed:
    """`result`, and `before`, the newest one of the record until now; `added` if it is new.

    It is not new where the record has a result of this method at the same times.
    """

    record_id: str
    result: Result
    before: Result | None
    added: bool


def recompute(log: Log, record_id: str, times_s: Sequence[float] | None = None) -> Recomputed:
    """Compute by the present method and add the result. Nothing that was there changes.

    Raises AnalysisError where the record yields no figure, NotStored.
    """
    record = log.any_record(record_id)
    if record.nothing_measured:
        raise AnalysisError(
            "no_steps",
            "the run ended before its first repeat: there is nothing to compute",
            "measure the cell again",
        )
    results = log.results(record_id)
    asked_s = record.asked_times_s if times_s is None else list(times_s)
    before = results[-1] if results else None
    for known in results:
        if known.method == record.METHOD and (asked_s is None or known.is_at(asked_s)):
            return Recomputed(record_id, known, before, added=False)
    result = result_of(record, asked_s)
    log.add_result(record_id, result)
    return Recomputed(record_id, result, before, added=True)

# SPDX-License-Identifier: MIT
"""Readings by hand beside a logged run, in words and as JSON; which runs there are for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id

if TYPE_CHECKING:
    from sagline.analysis.beside import Beside
    from sagline.analysis.comparison import Candidate
    from sagline.anyrecord import AnyRecord
    from sagline.log.store import Log
    from sagline.results import ResistanceAt, Result


def candidate_of(record: AnyRecord, result: Result, r_ohm: ResistanceAt) -> Candidate:
    """Return a result as it is compared, by this r of it."""
    from sagline.analysis.comparison import Candidate
    from sagline.designations import find
    from sagline.wording import expanded, shown

    known = None if record.designation is None else find(record.designation)
    return Candidate(
        id=record.id,
        name=shown(record.label or short_id(record.id)),
        r_ohm=r_ohm.value,
        u95_ohm=expanded(r_ohm),
        t_s=r_ohm.t_s,
        load_ohm=None if result.load_ohm is None else result.load_ohm.value,
        temperature_c=result.conditions.temperature_c,
        chemistry=None if known is None else known.chemistry,
        rig=result.rig,
        method=result.method,
    )


def longest(result: Result) -> ResistanceAt:
    """Return r at the longest time the result has."""
    return max(result.r_at, key=lambda at: at.t_s or 0.0, default=result.r_ohm)


def against(log: Log, given: str, record: AnyRecord, result: Result) -> Beside:
    """Put a new result beside the logged one of this id. Raises LogError."""
    from sagline.analysis.beside import beside
    from sagline.log.opening import LogError

    other_id = log.find(given)
    other = log.any_record(other_id)
    known = other.meant(log.results(other_id), given)
    if known is None:
        raise LogError(
            "no_result",
            f"The run {short_id(other_id)} ended before its result was made.",
            "Name another run, or leave --beside out.",
        )
    return beside(
        candidate_of(record, result, result.r_ohm), candidate_of(other, known, longest(known))
    )


def document(found: Beside) -> dict[str, Any]:
    """Return it for JSON."""
    return {"beside": asdict(found)}


def lines(found: Beside) -> list[str]:
    """Return it in words, a line each."""
    from sagline.wording import bare_figure, instant, notice_lines, wrapped

    said = [
        "Beside each other, U at 95 %:",
        f"{'ID':<8}  {'r / Ω':>19}  {'after':>7}  {'load':>9}  {'T / °C':>6}  LABEL",
    ]
    for row in found.rows:
        after = "-" if row.t_s is None else instant(row.t_s)
        load = "-" if row.load_ohm is None else f"{row.load_ohm:.4g} Ω"
        temperature = "-" if row.temperature_c is None else f"{row.temperature_c:g}"
        figure = bare_figure(row.r_ohm, row.u95_ohm)
        said.append(
            f"{short_id(row.id)}  {figure:>19}  {after:>7}  {load:>9}  {temperature:>6}  {row.name}"
        )
    said += ["", *_verdict(found), ""]
    return [*said, *wrapped(notice_lines(found.notices), 79)][:-1]


def _verdict(found: Beside) -> Sequence[str]:
    en = found.pair.en
    if en is None:
        return ["E_n is not known."]
    agree = "the two agree within their U" if en <= 1.0 else "they differ by more than their U"
    return [f"E_n = |r1 − r2| / √(U1² + U2²) = {en:.2f}: {agree}."]

# SPDX-License-Identifier: MIT
"""The runs of a log in words: a line a run for 80 columns, and how a run was made."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sagline.ids import short_id
from sagline.wording import bare_figure, counted, figure, shown

if TYPE_CHECKING:
    from sagline.anyrecord import AnyRecord
    from sagline.log.listing import Row
    from sagline.log.recomputing import Recomputed

HEADING = f"{'ID':<8}  {'STARTED':<16}  {'CELL':<8}  {'E / V':>7}  {'r / Ω':>17}  LABEL"


def run_line(row: Row) -> str:
    """Return one run: when, which cell, its figures, or how it ended without any."""
    started = f"{row.started_at.astimezone():%Y-%m-%d %H:%M}"
    if row.r_ohm is None:
        figures = f"{row.state}, {counted(row.repeats, 'repeat')}"[:26].rjust(26)
    else:
        emf_v = "-" if row.emf_v is None else f"{row.emf_v:.3f}"
        figures = f"{emf_v:>7}  {bare_figure(row.r_ohm, row.r_u95_ohm):>17}"
        if row.state != "complete":
            figures += f"  ({row.state})"
    label = shown(row.label or "")
    cell = shown(row.designation or "-")
    line = f"{short_id(row.id)}  {started}  {cell:<8.8}  {figures}  {label}"
    return line.rstrip()


def about_lines(record: AnyRecord, note: str | None, *, deleted: bool) -> list[str]:
    """Return what a run is and how it was made, a line each."""
    state, ending = record.state, record.kept_ending
    if ending is not None and ending.code is not None:
        state += f": {ending.code}"
    rows = [
        ("run", record.id),
        ("label", record.label),
        ("cell", record.designation),
        ("started", f"{record.started_at.astimezone():%Y-%m-%d %H:%M:%S %z}"),
        ("operator", record.operator),
        ("note", note),
        *record.about(),
        ("state", f"{state}; deleted" if deleted else state),
    ]
    return [f"{name:<9} {shown(value)}" for name, value in rows if value is not None]


def recomputed_line(one: Recomputed) -> str:
    """Return what became of a run that was computed again."""
    known = short_id(one.record_id)
    now = figure(one.result.r_ohm, "Ω")
    if not one.added:
        return f"{known}  r {now}: has a result of method {one.result.method} already"
    before = "" if one.before is None else f"; before {figure(one.before.r_ohm, 'Ω')}"
    return f"{known}  r {now}{before}"

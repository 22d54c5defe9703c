# SPDX-License-Identifier: MIT
"""One cell over time: the runs under one label, r and its interval drawn on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sagline.ids import short_id
from sagline.log.listing import Filters, Row, list_runs
from sagline.log.opening import LogError
from sagline.log.store import Log
from sagline.wording import bare_figure, counted, instant, shown

BAR = 24
"""The width of the scale in characters."""


@dataclass(frozen=True)
class OverTime:
    """The runs of one label, the first one first, whose r is at one time after load on (s).

    `others` are so many that have none, or one at another time.
    """

    label: str
    t_s: float | None
    rows: tuple[Row, ...]
    others: int

    @property
    def scale_ohm(self) -> tuple[float, float]:
        """The ends of the scale: those of the intervals."""
        lows = [low for low, _ in map(interval_ohm, self.rows)]
        return min(lows), max(high for _, high in map(interval_ohm, self.rows))

    def lines(self) -> list[str]:
        """Return it in words, a line a run."""
        at = "" if self.t_s is None else f"({instant(self.t_s)})"
        low_ohm, high_ohm = self.scale_ohm
        first_ohm = self.rows[0].r_ohm
        scale = f"{f'{low_ohm:.4g}':<{BAR - 8}}{f'{high_ohm:.4g}':>8}"
        heading = f"r{at} / Ω"
        lines = [
            f"{shown(self.label)}: {counted(len(self.rows), 'run')}, each r with U at 95 %",
            "",
            f"{'STARTED':<16}  {'E / V':>6}  {heading:>17}  {scale}   CHANGE",
        ]
        for row in self.rows:
            emf_v = "-" if row.emf_v is None else f"{row.emf_v:.3f}"
            figure = bare_figure(row.r_ohm or 0.0, row.r_u95_ohm)
            change = ""
            if row is not self.rows[0] and first_ohm and row.r_ohm is not None:
                change = f"{100.0 * (row.r_ohm - first_ohm) / first_ohm:+.1f} %"
            lines.append(
                f"{row.started_at.astimezone():%Y-%m-%d %H:%M}  {emf_v:>6}  {figure:>17}  "
                f"{bar(row, low_ohm, high_ohm)} {change:>8}".rstrip()
            )
        lines += [
            "",
            "CHANGE is against the first run. Loads and temperatures may not be alike: `sagline "
            "log compare` says which runs may be compared, and whether they differ.",
        ]
        if self.others:
            lines.append(f"{counted(self.others, 'run')} of this label: no r at this time.")
        return lines


def over_time(log: Log, record_id: str) -> OverTime:
    """Return the runs that have this one's label. Raises LogError where it has none, or no r."""
    record = log.any_record(record_id)
    if record.label is None:
        raise LogError(
            "no_label",
            f"The run {short_id(record_id)} has no label.",
            "Runs of one cell are known by their label: give it one.",
        )
    rows = [row for row in list_runs(log, Filters(label=record.label)) if row.label == record.label]
    own = next((row for row in rows if row.id == record_id), None)
    if own is None or own.r_ohm is None:
        raise LogError(
            "no_result",
            f"The run {short_id(record_id)} has no r, or is deleted.",
            "Choose one that has; `sagline log recompute` makes one of an interrupted run.",
        )
    alike = tuple(row for row in reversed(rows) if row.r_ohm is not None and row.r_t_s == own.r_t_s)
    return OverTime(record.label, own.r_t_s, alike, len(rows) - len(alike))


def interval_ohm(row: Row) -> tuple[float, float]:
    """Return the ends of r's interval (ohm); r twice where U is not known."""
    value_ohm, u_ohm = row.r_ohm or 0.0, row.r_u95_ohm or 0.0
    return value_ohm - u_ohm, value_ohm + u_ohm


def bar(row: Row, low_ohm: float, high_ohm: float) -> str:
    """Return r as a dot within its interval, on a scale of BAR characters."""
    span_ohm = high_ohm - low_ohm

    def place(at_ohm: float) -> int:
        share = 0.5 if span_ohm <= 0.0 else (at_ohm - low_ohm) / span_ohm
        return round(share * (BAR - 1))

    left, right = (place(end) for end in interval_ohm(row))
    drawn = [" "] * BAR
    drawn[left : right + 1] = ["─"] * (right + 1 - left)
    drawn[place(row.r_ohm or 0.0)] = "●"
    return "".join(drawn)


def documents(found: OverTime) -> Sequence[dict[str, object]]:
    """Return the runs for JSON, names with their units."""
    return [
        {
            "id": row.id,
            "started_at": row.started_at.isoformat(),
            "emf_v": row.emf_v,
            "r_ohm": row.r_ohm,
            "r_u95_ohm": row.r_u95_ohm,
            "t_s": row.r_t_s,
        }
        for row in found.rows
    ]

# SPDX-License-Identifier: MIT
"""A drawer's rows with their figures: what a table of it shows, sorted and filtered."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Any

from sagline.analysis.comparison import compare
from sagline.analysis.values import AnalysisError
from sagline.drawer.figures import Figures
from sagline.drawer.state import INTERRUPTED, Cell, Drawer

MEASURED = "measured"
DELETED = "deleted"


@dataclass(frozen=True)
class Turns:
    """One cell measured several times, turned in its holder in between.

    `mean_ohm` and `spread_ohm` (largest less smallest) are of r, `s_ohm` its standard deviation.
    """

    count: int
    mean_ohm: float
    spread_ohm: float
    s_ohm: float


@dataclass(frozen=True)
class Beside:
    """r beside the reference's: the difference as a share of the reference, and E_n.

    `refused` says why the two may not be compared; then both are None.
    """

    share: float | None
    en: float | None
    refused: str | None = None


@dataclass(frozen=True)
class Row:
    """One row. `state` is a word; `reason` stands where there is no figure.

    The figures are those of the newest turn. `open_v` is what was read where nothing else was.
    """

    number: int
    label: str
    designation: str | None
    state: str
    reason: str | None
    open_v: float | None
    figures: Figures | None
    turns: Turns | None
    beside: Beside | None

    @property
    def emf_v(self) -> float | None:
        """E (V), None without figures."""
        return None if self.figures is None else self.figures.emf_v

    @property
    def r_ohm(self) -> float | None:
        """r (ohm), None without figures."""
        return None if self.figures is None else self.figures.r_ohm

    @property
    def u95_ohm(self) -> float | None:
        """U of r (ohm) at 95 %."""
        return None if self.figures is None else self.figures.u95_ohm

    @property
    def spread_ohm(self) -> float | None:
        """The spread of the turns (ohm), None with fewer than two."""
        return None if self.turns is None else self.turns.spread_ohm


SORTS: Mapping[str, Callable[[Row], Any]] = {
    "order": lambda row: row.number,
    "label": lambda row: row.label,
    "emf": lambda row: row.emf_v,
    "r": lambda row: row.r_ohm,
    "u": lambda row: row.u95_ohm,
    "spread": lambda row: row.spread_ohm,
    "reference": lambda row: None if row.beside is None else row.beside.share,
    "state": lambda row: row.state,
}
"""What rows can be sorted by; those without it stand last, in either direction."""


def rows_of(
    drawer: Drawer,
    figures: Mapping[str, Figures],
    references: Mapping[str, Figures] | None = None,
) -> list[Row]:
    """Return the drawer's rows; `references` are the figures of each designation's own one."""
    return [
        _row(number, cell, figures, references or {})
        for number, cell in enumerate(drawer.cells, start=1)
    ]


def sort_rows(rows: Sequence[Row], by: str, *, falling: bool = False) -> list[Row]:
    """Return the rows by one of SORTS, the smallest first or `falling`. Raises KeyError."""
    key = SORTS[by]
    having = [row for row in rows if key(row) is not None]
    lacking = [row for row in rows if key(row) is None]
    return [*sorted(having, key=key, reverse=falling), *lacking]


def filter_rows(rows: Sequence[Row], text: str) -> list[Row]:
    """Return the rows that have every word of `text` in label, designation, state or reason."""
    words = text.casefold().split()

    def has_all(row: Row) -> bool:
        said = " ".join(
            part for part in (row.label, row.designation, row.state, row.reason) if part
        ).casefold()
        return all(word in said for word in words)

    return [row for row in rows if has_all(row)]


def turns_of(values_ohm: Sequence[float]) -> Turns | None:
    """Return how r of several turns scatters, None with fewer than two."""
    if len(values_ohm) < 2:
        return None
    spread_ohm = max(values_ohm) - min(values_ohm)
    return Turns(len(values_ohm), fmean(values_ohm), spread_ohm, stdev(values_ohm))


def _row(
    number: int, cell: Cell, figures: Mapping[str, Figures], references: Mapping[str, Figures]
) -> Row:
    known = [figures[one] for one in cell.done_ids if one in figures]
    last = cell.tries[-1]
    newest = known[-1] if known else None
    state, reason = MEASURED, None
    if newest is None:
        state, reason = (last.code or INTERRUPTED), last.reason
        if last.is_done:
            state, reason = DELETED, "its run is deleted in the log"
    elif not last.is_done:
        # What was tried after the figures that there are.
        reason = f"last try: {last.reason}"
    turns = turns_of([one.r_ohm for one in known])
    own = None if cell.designation is None else references.get(cell.designation)
    beside = None if newest is None or own is None else beside_reference(newest, own)
    return Row(
        number,
        cell.label,
        cell.designation,
        state_words(state),
        reason,
        last.open_v,
        newest,
        turns,
        beside,
    )


def state_words(code: str) -> str:
    """Return the word for a state or the code of a refusal."""
    return code.removeprefix("cell_").replace("_", " ")


def beside_reference(found: Figures, reference: Figures) -> Beside:
    """Return a cell's r beside the reference's, by the rules of every comparison."""
    if found.candidate.id == reference.candidate.id:
        return Beside(0.0, None, "it is the reference itself")
    try:
        done = compare([reference.candidate, found.candidate])
    except AnalysisError as error:
        return Beside(None, None, error.message)
    share = (found.r_ohm - reference.r_ohm) / reference.r_ohm
    return Beside(share, done.pairs[0].en)

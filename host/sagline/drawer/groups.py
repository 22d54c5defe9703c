# SPDX-License-Identifier: MIT
"""Cells put together whose r, and if asked E, lie within a stated tolerance of each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sagline.drawer.table import Row
from sagline.errors import UsageError


@dataclass(frozen=True)
class Tolerance:
    """Within a group r differs by at most `r_share` of its smallest, E by `emf_v` (V).

    Raises UsageError for what is no tolerance.
    """

    r_share: float
    emf_v: float | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.r_share <= 1.0:
            raise UsageError(
                "bad_tolerance",
                f"A tolerance of {self.r_share:g} is not possible.",
                "It is a share of r, above 0 and up to 1: 0.05 is 5 %.",
            )
        if self.emf_v is not None and not self.emf_v > 0.0:
            raise UsageError(
                "bad_tolerance",
                f"A tolerance of {self.emf_v:g} V is not possible.",
                "Give more than 0 V: 0.01 is 10 mV.",
            )


def share_of(text: str) -> float | None:
    """Return the share that "5", "5 %" or "2,5" per cent are, None for nothing.

    Raises UsageError.
    """
    typed = text.replace("%", "").replace(",", ".").strip()
    if not typed:
        return None
    try:
        return Tolerance(float(typed) / 100.0).r_share
    except ValueError:
        raise UsageError(
            "bad_tolerance", f"{text!r} is no number of per cent.", "Write for example 5."
        ) from None


@dataclass(frozen=True)
class Group:
    """Labels in the order of their r. `unsure` are those whose U reaches beyond the tolerance:

    by their figures alone they may belong elsewhere.
    """

    name: str
    designation: str | None
    labels: tuple[str, ...]
    low_ohm: float
    high_ohm: float
    unsure: tuple[str, ...]


def group_rows(rows: Sequence[Row], tolerance: Tolerance) -> list[Group]:
    """Return groups of rows of one designation, load and time; each row is in one of them.

    Beginning with the smallest r, each group takes all that the tolerance lets it. By r alone no
    other way makes fewer groups (each begins where the one before cannot reach). Rows without
    figures are in none.
    """
    apart: dict[tuple[object, ...], list[Row]] = {}
    for row in rows:
        if row.figures is None or not row.figures.r_ohm > 0.0:
            continue
        apart.setdefault((row.designation, *row.figures.conditions), []).append(row)
    groups: list[Group] = []
    for (designation, *_), alike in apart.items():
        for members in _split(alike, tolerance):
            name = _name(len(groups))
            groups.append(_group(name, designation, members, tolerance))
    return groups


def _split(rows: Sequence[Row], tolerance: Tolerance) -> list[list[Row]]:
    left = sorted(rows, key=lambda row: (row.r_ohm or 0.0, row.label))
    made: list[list[Row]] = []
    while left:
        taken: list[Row] = []
        for row in left:
            if _fits(row, taken, tolerance):
                taken.append(row)
        left = [row for row in left if row not in taken]
        made.append(taken)
    return made


def _fits(row: Row, taken: Sequence[Row], tolerance: Tolerance) -> bool:
    if not taken:
        return True
    first_ohm, own_ohm = taken[0].r_ohm, row.r_ohm
    if first_ohm is None or own_ohm is None or own_ohm > first_ohm * (1.0 + tolerance.r_share):
        return False
    if tolerance.emf_v is None:
        return True
    volts = [one.emf_v for one in (*taken, row) if one.emf_v is not None]
    return len(volts) == len(taken) + 1 and max(volts) - min(volts) <= tolerance.emf_v


def _group(name: str, designation: object, members: Sequence[Row], tolerance: Tolerance) -> Group:
    values = [row.r_ohm for row in members if row.r_ohm is not None]
    low_ohm, high_ohm = min(values), max(values)
    room_ohm = low_ohm * tolerance.r_share
    unsure = tuple(
        row.label
        for row, r_ohm in zip(members, values, strict=True)
        if row.u95_ohm is None
        or r_ohm + row.u95_ohm > low_ohm + room_ohm
        or r_ohm - row.u95_ohm < high_ohm - room_ohm
    )
    said = None if designation is None else str(designation)
    return Group(name, said, tuple(row.label for row in members), low_ohm, high_ohm, unsure)


def _name(index: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters

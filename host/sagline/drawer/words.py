# SPDX-License-Identifier: MIT
"""A drawer in words: a line a row for 80 columns, groups, and what a person is told meanwhile."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from sagline.drawer.groups import Group, Tolerance
from sagline.drawer.table import Row
from sagline.wording import bare_figure, counted, shown

HEADING = (
    f"{'LABEL':<10} {'CELL':<7} {'E / V':>6} {'r / Ω':>15} {'TURNS':>8} {'REFERENCE':>15} STATE"
)
NO_ROWS = "No cell yet."
UNSURE_WORDS = (
    "By their U these may belong elsewhere, as far as the rig's own error is not the same in all"
)


def row_line(row: Row, groups: Mapping[str, str] | None = None) -> str:
    """Return one row; behind the state the group that `groups` give its label."""
    figures = row.figures
    emf = "-" if row.emf_v is None else f"{row.emf_v:.3f}"
    if row.emf_v is None and row.open_v is not None:
        emf = f"{row.open_v:.3f}"
    r = "-" if figures is None else bare_figure(figures.r_ohm, figures.u95_ohm)
    turns = "-"
    if row.turns is not None:
        turns = f"{row.turns.count}: {1e3 * row.turns.spread_ohm:.2g} mΩ"
    state = row.state
    if groups is not None and row.label in groups:
        state = f"group {groups[row.label]}"
    line = (
        f"{shown(row.label):<10.10} {shown(row.designation or '-'):<7.7} {emf:>6} {r:>15} "
        f"{turns:>8} {reference_words(row):>15} {state}"
    )
    return line.rstrip()


def reference_words(row: Row) -> str:
    """Return r beside the reference's: the difference and E_n."""
    beside = row.beside
    if beside is None:
        return "-"
    if beside.share is None:
        return "not comparable"
    if beside.en is None:
        return "itself" if beside.refused else f"{100 * beside.share:+.1f} %"
    return f"{100 * beside.share:+.1f} % E_n {beside.en:.1f}"


def row_details(row: Row) -> list[str]:
    """Return what else there is to say of a row, for people who ask."""
    lines = []
    if row.reason is not None:
        lines.append(f"{row.label}: {row.reason}")
    turns = row.turns
    if turns is not None:
        said = (
            f"{row.label}, {turns.count} turns in the holder: mean r {turns.mean_ohm:.4g} Ω, "
            f"spread {1e3 * turns.spread_ohm:.3g} mΩ, standard deviation {1e3 * turns.s_ohm:.3g} mΩ"
        )
        if row.u95_ohm is not None:
            wider = turns.spread_ohm > row.u95_ohm
            said += ", more than U: contacts count here" if wider else ", within U"
        lines.append(f"{said}.")
    if row.beside is not None and row.beside.refused is not None:
        lines.append(f"{row.label} beside its reference: {row.beside.refused}")
    return lines


def groups_words(groups: Sequence[Group], tolerance: Tolerance) -> str:
    """Return how many groups there are, and within what tolerance."""
    within = f"r within {100 * tolerance.r_share:g} % of the smallest"
    if tolerance.emf_v is not None:
        within += f", E within {1e3 * tolerance.emf_v:g} mV"
    return f"{counted(len(groups), 'group')}, {within}"


def group_lines(groups: Sequence[Group], tolerance: Tolerance) -> list[str]:
    """Return the groups, a line each, and what their tolerance is."""
    lines = [f"{groups_words(groups, tolerance)}:"]
    for group in groups:
        labels = " ".join(shown(label) for label in group.labels)
        lines.append(
            f"  {group.name}  {group.designation or '-'}  {group.low_ohm:.4g} to "
            f"{group.high_ohm:.4g} Ω  {counted(len(group.labels), 'cell')}: {labels}"
        )
    unsure = [label for group in groups for label in group.unsure]
    if unsure:
        lines.append(f"{UNSURE_WORDS}: {' '.join(shown(label) for label in unsure)}")
    return lines


def group_names(groups: Sequence[Group]) -> dict[str, str]:
    """Return the group of each label."""
    return {label: group.name for group in groups for label in group.labels}


def row_document(row: Row) -> dict[str, Any]:
    """Return a row for JSON."""
    figures = row.figures
    return {
        "number": row.number,
        "label": row.label,
        "designation": row.designation,
        "state": row.state,
        "reason": row.reason,
        "open_v": row.open_v,
        "record_id": None if figures is None else figures.candidate.id,
        "emf_v": row.emf_v,
        "emf_u95_v": None if figures is None else figures.emf_u95_v,
        "r_ohm": row.r_ohm,
        "r_u95_ohm": row.u95_ohm,
        "t_s": None if figures is None else figures.candidate.t_s,
        "load_ohm": None if figures is None else figures.candidate.load_ohm,
        "turns": None if row.turns is None else asdict(row.turns),
        "reference": None if row.beside is None else asdict(row.beside),
    }


def put_in_words(label: str, *, again: bool) -> str:
    """Return what is asked for, with the label that it will have."""
    once_more = ", once more" if again else ""
    return f"Next: {shown(label)}{once_more}. Put it in."

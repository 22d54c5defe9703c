# SPDX-License-Identifier: MIT
"""A drawer on one page: every cell's interval under one axis, the rows, groups, what to cite."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from sagline.drawer.events import Opened
from sagline.drawer.figures import Figures
from sagline.drawer.groups import Group, Tolerance
from sagline.drawer.table import Row
from sagline.drawer.words import (
    UNSURE_WORDS,
    group_names,
    groups_words,
    reference_words,
    row_details,
)
from sagline.ids import short_id
from sagline.report.markup import Html, Piece, rows, tag
from sagline.report.page import figure as drawn
from sagline.report.page import page, ruled, section
from sagline.report.plot import Interval, intervals
from sagline.wording import bare_figure, counted, instant
from sagline_board import __version__

MOST_LINES = 30
"""Intervals in one drawing: more would not fit on a sheet of A4."""
HOW_WORDS = (
    "Each cell was measured by a quick plan, of fewer repeats and shorter rests than one that is "
    "measured alone: U is wider. Only figures of one load and one time after load on stand under "
    "one axis. What the rig itself is off by is mostly the same for all cells of the page, so "
    "that smaller differences than U may be real."
)


@dataclass(frozen=True)
class Chosen:
    """What of a drawer goes on the page: the rows in their order; groups where there is a
    tolerance."""

    name: str
    opened: Opened
    found: Sequence[Row]
    tolerance: Tolerance | None = None
    groups: Sequence[Group] = ()


def drawer_page(chosen: Chosen) -> str:
    """The page's HTML."""
    opened = chosen.opened
    lead = [f"{opened.at.astimezone():%Y-%m-%d %H:%M}", counted(len(chosen.found), "cell")]
    lead += [f"by {opened.operator}"] if opened.operator else []
    lead += ["simulated"] if opened.simulated else []
    parts = [_pictures(*key, alike) for key, alike in _alike(chosen.found).items()]
    parts.append(_table(chosen))
    said = [line for row in chosen.found for line in row_details(row)]
    if said:
        parts.append(section("Of single cells", tag("ul", *(tag("li", one) for one in said))))
    if chosen.tolerance is not None:
        parts.append(_groups(chosen.groups, chosen.tolerance))
    parts += [section("How to read it", tag("p", HOW_WORDS)),
              ruled("Conclusions", "In your own words:")]  # fmt: skip
    return page(f"Drawer {chosen.name}", ", ".join(lead), parts, _cite(chosen))


_Alike = tuple[str | None, float | None, float | None]
"""Designation, load (ohm) and time (s)."""


def _alike(found: Sequence[Row]) -> dict[_Alike, list[Row]]:
    """Rows whose r may stand under one axis."""
    apart: dict[_Alike, list[Row]] = {}
    for row in found:
        if row.figures is not None:
            apart.setdefault((row.designation, *row.figures.conditions), []).append(row)
    return apart


def _pictures(
    designation: str | None, load_ohm: float | None, t_s: float | None, alike: Sequence[Row]
) -> Html:
    lines = [_interval(row.label, row.figures) for row in alike if row.figures is not None]
    middle = median(line.value for line in lines)
    r_name = _r_name(t_s)
    on = "" if load_ohm is None else f" on {load_ohm:g} Ω"
    title = f"{r_name} of {designation or 'cells without designation'}{on}"
    parts = [
        drawn(
            intervals(title, f"{r_name} / Ω", lines[start : start + MOST_LINES], middle, lines),
            "Each cell's r and 95 % interval; the upright line is the median, "
            f"{bare_figure(middle, None)} Ω.",
        )
        for start in range(0, len(lines), MOST_LINES)
    ]
    return section(title, *parts)


def _interval(label: str, figures: Figures) -> Interval:
    return Interval(label, figures.r_ohm, figures.u95_ohm)


def _r_name(t_s: float | None) -> str:
    return "r" if t_s is None else f"r({instant(t_s)})"


def _table(chosen: Chosen) -> Html:
    names = group_names(chosen.groups)
    times = {row.figures.candidate.t_s for row in chosen.found if row.figures is not None}
    r_name = _r_name(next(iter(times))) if len(times) == 1 else "r"
    heads = ["label", "cell", "E / V", f"{r_name} / Ω", "beside the reference", "state", "run"]
    body: list[list[Piece]] = []
    for row in chosen.found:
        figures = row.figures
        emf = "" if row.open_v is None else f"{row.open_v:.3f} open"
        if figures is not None and figures.emf_v is not None:
            emf = _unbroken(bare_figure(figures.emf_v, figures.emf_u95_v))
        body.append(
            [
                row.label,
                row.designation,
                emf,
                "" if figures is None else _unbroken(bare_figure(figures.r_ohm, figures.u95_ohm)),
                "" if row.beside is None else reference_words(row),
                f"group {names[row.label]}" if row.label in names else row.state,
                "" if figures is None else short_id(figures.candidate.id),
            ]
        )
    table = rows(heads, body) if body else tag("p", "There is no cell in it.")
    return section("All cells", tag("div", table, class_="wide"))


def _groups(groups: Sequence[Group], tolerance: Tolerance) -> Html:
    body: list[list[Piece]] = [
        [
            group.name,
            group.designation,
            _unbroken(f"{group.low_ohm:.4g} to {group.high_ohm:.4g}"),
            str(len(group.labels)),
            "; ".join(group.labels),
        ]
        for group in groups
    ]
    heads = ["group", "cell", "r / Ω", "cells", "labels"]
    unsure = "; ".join(label for group in groups for label in group.unsure)
    return section(
        "Groups",
        tag("p", f"{groups_words(groups, tolerance)}."),
        tag("div", rows(heads, body), class_="wide") if body else None,
        tag("p", f"{UNSURE_WORDS}: {unsure}") if unsure else None,
    )


def _unbroken(words: str) -> str:
    """The same on one line, however narrow its column."""
    return words.replace(" ", "\N{NO-BREAK SPACE}")


def _cite(chosen: Chosen) -> str:
    known = [row.figures for row in chosen.found if row.figures is not None]
    methods = sorted({one.candidate.method for one in known if one.candidate.method})
    rigs = sorted({one.candidate.rig for one in known if one.candidate.rig})
    how = "simulated" if chosen.opened.simulated else "measured"
    said = f"Drawer {chosen.name}, {how}"
    said += f" on rig {', '.join(rigs)}" if rigs else ""
    said += f"; results by method {', '.join(methods)}" if methods else ""
    return f"{said}; page by sagline {__version__}. Each run is in the log under the id of its row."

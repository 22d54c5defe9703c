# SPDX-License-Identifier: MIT
"""A result as a notebook shows it, and as a table for pandas."""

from html import escape
from typing import TYPE_CHECKING, Any

from sagline import wording

if TYPE_CHECKING:
    from sagline.results import Result

_CELL = "text-align:left;padding:0.1em 0.8em"


def html_of(result: "Result") -> str:
    """Return the result as a piece of HTML: figures, equation, budget, what must be said.

    Nothing in it is fetched, and no text of the user's becomes markup.
    """
    figures = [] if result.emf_v is None else [("EMF", "V", result.emf_v)]
    figures += [
        (f"r({wording.instant(at.t_s)})", "Ω", at) for at in result.r_at if at.t_s is not None
    ]
    rows = [
        (name, wording.figure(quantity, unit), wording.coverage(quantity))
        for name, unit, quantity in figures
    ]
    parts = [_table(rows)]
    title = " · ".join(filter(None, (result.label, result.designation)))
    if title:
        parts.insert(0, f"<p><strong>{escape(title)}</strong></p>")
    lines = wording.report_lines(result)
    parts.append(_folded("The working and the budget", lines))
    if result.warnings:
        heading = wording.count(result.warnings, "note") + " with these figures"
        parts.append(_folded(heading, wording.notice_lines(result.warnings)))
    return "\n".join(parts)


def frame_of(result: "Result") -> Any:
    """Return the repeats as a pandas.DataFrame: r_ohm, emf_v, kept, reason, by repeat number.

    Raises ImportError where pandas is not installed.
    """
    try:
        import pandas
    except ImportError as error:
        raise ImportError(
            "to_frame() needs pandas: pip install pandas. to_dict() needs nothing."
        ) from error
    rows = [repeat.model_dump() for repeat in result.repeats]
    frame = pandas.DataFrame(rows, columns=["n", "r_ohm", "emf_v", "kept", "reason"])
    frame = frame.astype({"r_ohm": float, "emf_v": float, "kept": bool})
    return frame.set_index("n")


def _table(rows: list[tuple[str, str, str]]) -> str:
    body = "".join(
        "<tr>" + "".join(f'<td style="{_CELL}">{escape(cell)}</td>' for cell in row) + "</tr>"
        for row in rows
    )
    return f"<table>{body}</table>"


def _folded(title: str, lines: list[str]) -> str:
    text = escape("\n".join(lines))
    return f"<details><summary>{escape(title)}</summary><pre>{text}</pre></details>"

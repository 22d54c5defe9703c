# SPDX-License-Identifier: MIT
"""A whole page: its head, its sections, and what is cited at its foot."""

from __future__ import annotations

from collections.abc import Sequence

from sagline.report.markup import Html, Piece, join, tag
from sagline.report.style import CSS

RULED_LINES = 7


def page(title: str, lead: str, sections: Sequence[Html], cite: Piece) -> str:
    """The file's text. It needs nothing else: no script, no font, no picture from elsewhere."""
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("title", title),
        # The style is ours alone, and holds no "<".
        tag("style", Html(CSS)),
    )
    main = tag(
        "main",
        tag("h1", title),
        tag("p", lead, class_="lead"),
        join(sections),
        section("Citation", tag("p", cite, class_="cite")),
    )
    return f"<!DOCTYPE html>\n{tag('html', head, tag('body', main), lang='en')}\n"


def section(heading: str, *inside: Piece) -> Html:
    """A section with its heading."""
    return tag("section", tag("h2", heading), *inside)


def figure(drawing: Html, caption: str) -> Html:
    """A drawing and what it shows."""
    return tag("figure", drawing, tag("figcaption", caption))


def ruled(heading: str, ask: str, lines: int = RULED_LINES) -> Html:
    """Room to write by hand."""
    return tag(
        "section",
        tag("h2", heading),
        tag("p", ask),
        *(tag("div", "") for _ in range(lines)),
        class_="ruled",
    )


def listing(lines: Sequence[str]) -> Html:
    """Lines that keep their columns."""
    return tag("pre", "\n".join(lines))

# SPDX-License-Identifier: MIT
"""HTML and SVG made of escaped pieces: what is no Html is text, and is escaped."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

VOID = frozenset({"meta", "br", "hr", "line", "rect", "circle", "path", "polyline", "col"})


class Html(str):
    """Text that is markup already."""

    __slots__ = ()


Piece = Html | str | int | None


def text(piece: Piece) -> Html:
    """Return `piece` as markup: nothing in it can be taken for a tag or end an attribute."""
    if piece is None:
        return Html()
    return piece if isinstance(piece, Html) else Html(escape(str(piece), quote=True))


def join(pieces: Iterable[Piece]) -> Html:
    """Return all pieces, one behind the other."""
    return Html("".join(text(piece) for piece in pieces))


def tag(name: str, /, *inside: Piece, **attributes: object) -> Html:
    """Return an element. An attribute's underscore stands for a hyphen, `class_` for class; one
    that is None is left out."""
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(str(value), quote=True)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if name in VOID and not inside:
        # SVG's own elements are closed in themselves, those of HTML need no end.
        return Html(
            f"<{name}{given}>" if name in ("meta", "br", "hr", "col") else f"<{name}{given}/>"
        )
    return Html(f"<{name}{given}>{join(inside)}</{name}>")


def rows(heads: Iterable[Piece], body: Iterable[Iterable[Piece]], **attributes: object) -> Html:
    """Return a table with a row of headings."""
    head = tag("tr", *(tag("th", one, scope="col") for one in heads))
    lines = (tag("tr", *(tag("td", cell) for cell in line)) for line in body)
    return tag("table", tag("thead", head), tag("tbody", *lines), **attributes)

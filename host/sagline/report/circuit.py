# SPDX-License-Identifier: MIT
"""The circuit that is measured, drawn: a cell as E and r, a key, a load, a voltmeter."""

from __future__ import annotations

from sagline.report.markup import Html, join, tag

_WIRES = (
    "M70,122V186H430V110",  # the negative side
    "M70,110V20H130", "M190,20H300",  # E, r, up to the key
    "M340,20H430V60",  # the load
    "M256,20V66", "M256,110V186",  # the voltmeter, at the cell's own terminals
)  # fmt: skip


def circuit(load_words: str) -> Html:
    """The drawing; `load_words` stand beside the load."""
    parts = [tag("path", d=wire, class_="wire") for wire in _WIRES]
    parts += [
        # The cell: a long plate for plus, a short one for minus.
        tag("path", d="M48,110H92M58,122H82", class_="wire"),
        tag("rect", x=130, y=11, width=60, height=18, class_="wire"),
        tag("path", d="M300,20L336,4", class_="wire"),
        tag("circle", cx=300, cy=20, r=3, class_="mark"),
        tag("circle", cx=340, cy=20, r=3, class_="mark"),
        tag("rect", x=421, y=60, width=18, height=50, class_="wire"),
        tag("circle", cx=256, cy=88, r=22, class_="wire"),
        tag("circle", cx=256, cy=20, r=3, class_="mark"),
        tag("circle", cx=256, cy=186, r=3, class_="mark"),
        # What is inside the cell.
        tag("rect", x=24, y=2, width=190, height=166, class_="bound"),
        tag("text", "E", x=100, y=121),
        tag("text", "r", x=160, y=46, text_anchor="middle"),
        tag("text", "V", x=256, y=93, text_anchor="middle"),
        tag("text", "key", x=320, y=42, text_anchor="middle"),
        tag("text", load_words, x=446, y=90),
        tag("text", "the cell", x=204, y=160, text_anchor="end", class_="soft"),
    ]
    title = "A cell as an EMF E in series with r; a voltmeter at its terminals; a key and a load"
    return tag(
        "svg", tag("title", title), join(parts), viewBox="0 0 560 200", role="img", aria_label=title
    )

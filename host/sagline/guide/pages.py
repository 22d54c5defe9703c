# SPDX-License-Identifier: MIT
"""Pages and entries of the handbook: text files beside this one, and the board's faults as
`errors.py` has them.

A page is a title, an empty line, and the text. An entry is a line that is not indented, its
names parted by commas, with indented lines behind it.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files

from sagline.errors import BoardRefused, UsageError
from sagline_board import faults

TOPICS = ("start", "method", "glossary", "faults", "safety")
WITH_ENTRIES = ("glossary", "faults")
WIDTH = 79
BOARD_INTRODUCTION = (
    "What the board itself says no to, by the number behind the words. From {first} to {last} the "
    "guard has ended a step and stays tripped until it is told to go on."
)


@dataclass(frozen=True)
class Page:
    """One page, or one entry of a page: `topic` names the page, `text` ends without a newline."""

    topic: str
    title: str
    text: str


def page(topic: str) -> Page:
    """Return a page, or an entry of one: a word of the glossary, an error's code or number.

    Raises UsageError (`unknown_topic`).
    """
    wanted = " ".join(topic.split()).casefold()
    if wanted in TOPICS:
        return _whole(wanted)
    entries = {name.casefold(): found for found in _entries() for name in _names(found.title)}
    # A board's fault goes by its number too, as errors print it.
    found = entries.get(wanted) or entries.get(f"board_{wanted}".replace("-", "m"))
    if found is None:
        raise UsageError(
            "unknown_topic",
            f"The guide has nothing called {topic!r}.",
            _instead(wanted, [*TOPICS, *entries]),
        )
    return found


def contents() -> list[tuple[str, str]]:
    """Return every topic with its title."""
    return [(topic, _whole(topic).title) for topic in TOPICS]


def _whole(topic: str) -> Page:
    text = files("sagline.guide").joinpath(f"{topic}.txt").read_text(encoding="utf-8")
    title, _, body = text.strip().partition("\n")
    body = body.strip("\n")
    if topic == "faults":
        body = f"{body}\n\n{_board_faults()}"
    return Page(topic, title, body)


def _board_faults() -> str:
    said = BOARD_INTRODUCTION.format(
        first=faults.TRIP_OVER_VOLTAGE, last=faults.REFUSED_TRIPPED - 1
    )
    blocks = [textwrap.fill(said, WIDTH)]
    for number in sorted(faults.TEXTS):
        if number == faults.NO_ERROR:
            continue
        error = BoardRefused(number, faults.TEXTS[number])
        words = textwrap.fill(
            f"{error.message} {error.remedy}", WIDTH, initial_indent="  ", subsequent_indent="  "
        )
        blocks.append(f"{error.code}\n{words}")
    return "\n\n".join(blocks)


def _entries() -> Iterator[Page]:
    for topic in WITH_ENTRIES:
        for block in re.split(r"\n\n+", _whole(topic).text):
            title, _, text = block.partition("\n")
            if text and all(line.startswith("  ") for line in text.splitlines()):
                yield Page(topic, title, text)


def _names(title: str) -> list[str]:
    """The names of an entry: each of those between commas, and all of them as they stand."""
    return [title, *(name.strip() for name in title.split(","))]


def _instead(wanted: str, known: list[str]) -> str:
    near = get_close_matches(wanted, known, 3)
    if near:
        return f"Did you mean {' or '.join(near)}? `sagline guide` lists the pages."
    return "`sagline guide` lists the pages; words are in `sagline guide glossary`."

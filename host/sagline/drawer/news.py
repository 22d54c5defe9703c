# SPDX-License-Identifier: MIT
"""What a drawer at the rig tells, one small message each, and what it may be told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue

from sagline.device.progress import Progress
from sagline.drawer.contact import Look
from sagline.drawer.figures import Figures
from sagline.drawer.looking import Doubt
from sagline.drawer.state import Drawer
from sagline.drawer.verbwords import VERBS


@dataclass(frozen=True)
class Rows:
    """The drawer as it is now, with the figures of its runs; `about` says what happened.

    `references` are the figures of each designation's own reference.
    """

    drawer: Drawer
    figures: Mapping[str, Figures]
    about: str = ""
    references: Mapping[str, Figures] = field(default_factory=dict)


@dataclass(frozen=True)
class PutIn:
    """A cell is waited for; this will be its label. `again`: it is one that has a row."""

    label: str
    again: bool


@dataclass(frozen=True)
class Reading:
    """A look at what is between the clips."""

    look: Look


@dataclass(frozen=True)
class Trouble:
    """A contact is not right yet: what to do. No row comes of it."""

    reason: str
    remedy: str


@dataclass(frozen=True)
class Paused:
    """Nothing is loaded before a person has said what to do."""

    label: str
    doubt: Doubt


@dataclass(frozen=True)
class Measuring:
    """The run of this label goes on."""

    label: str
    item: Progress


@dataclass(frozen=True)
class TakeOut:
    """The cell of this label may be taken out."""

    label: str


@dataclass(frozen=True)
class Answer:
    """What became of what was asked: words, and a remedy where it was not done."""

    text: str
    remedy: str = ""


@dataclass(frozen=True)
class Unkept:
    """A result stands, but the log could not take it."""

    text: str
    remedy: str


News = Rows | PutIn | Reading | Trouble | Paused | Measuring | TakeOut | Answer | Unkept


@dataclass(frozen=True)
class Command:
    """One of VERBS, with what it is about."""

    verb: str
    value: str = ""


@dataclass(frozen=True)
class Inbox:
    """Commands on their way to the drawer, from any thread."""

    _queue: SimpleQueue[Command] = field(default_factory=SimpleQueue)

    def put(self, verb: str, value: str = "") -> None:
        """Ask for something. Raises KeyError for what is none of VERBS."""
        _ = VERBS[verb]
        self._queue.put(Command(verb, value))

    def take(self) -> Command | None:
        """Return the next command, None where there is none."""
        try:
            return self._queue.get_nowait()
        except Empty:
            return None

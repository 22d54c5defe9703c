# SPDX-License-Identifier: MIT
"""A drawer as its file has it, with the figures of its log: to be looked at, not gone on with."""

from __future__ import annotations

from sagline.drawer import journal
from sagline.drawer.beginning import figures_in, references_for
from sagline.drawer.news import Rows


def newest() -> tuple[str, Rows] | None:
    """Return name and rows of the drawer that was used last, None where there is none yet.

    Raises UsageError, LogError.
    """
    names = journal.names()
    if not names:
        return None
    found = journal.read(names[-1])
    return found.name, Rows(found.drawer, figures_in(found), references=references_for(found))

# SPDX-License-Identifier: MIT
"""From a sheet of readings to what it says, by the way they were taken."""

from __future__ import annotations

from dataclasses import replace

from sagline.analysis.hand import definitions, line, slidewire, voltmeter
from sagline.analysis.hand.fields import LINE, SLIDEWIRE, VOLTMETER
from sagline.analysis.hand.sheet import Sheet, require_known
from sagline.analysis.hand.values import HandEstimate
from sagline.errors import UsageError

_WAYS = {VOLTMETER: voltmeter.estimate, LINE: line.estimate, SLIDEWIRE: slidewire.estimate}


def estimate(sheet: Sheet) -> HandEstimate:
    """Return what the readings say.

    Raises UsageError for what cannot be understood, AnalysisError for what no cell can show.
    """
    require_known(sheet)
    if sheet.closed_s is not None and not 0.0 < sheet.closed_s < float("inf"):
        raise UsageError(
            "bad_closed_s", "--closed-s is a time above zero.", "Give it in seconds, such as 2."
        )
    definitions.times_of(sheet)
    found = _WAYS[sheet.way](sheet)
    return replace(found, notices=(*found.notices, *definitions.notices(sheet)))

# SPDX-License-Identifier: MIT
"""Sheets of readings for tests, written short: "open=1.58 loaded=1.49 load=10.0"."""

from sagline.analysis.hand.estimate import estimate
from sagline.analysis.hand.sheet import Sheet
from sagline.analysis.hand.values import HandEstimate


def sheet(way: str, readings: str, **options) -> Sheet:
    """A sheet; options are text, but for those of Sheet itself."""
    own = {
        name: options.pop(name)
        for name in ("designation", "closed_s", "fit_open", "extrapolate")
        if name in options
    }
    entries = tuple((name, text) for name, text in (word.split("=") for word in readings.split()))
    return Sheet(way, entries, options, **own)


def said(way: str, readings: str, **options) -> HandEstimate:
    """What such a sheet says."""
    return estimate(sheet(way, readings, **options))


def codes(found: HandEstimate) -> list[str]:
    """The codes of its notices."""
    return [notice.code for notice in found.notices]

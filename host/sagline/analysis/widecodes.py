# SPDX-License-Identifier: MIT
"""The four wide codes of an RP2040's converter, where no table of the board's own corrects them.

Each stands still while the input passes about 9 LSB (data sheet, erratum E11), so that between
them the codes are a little too narrow. That much is known of any such chip and is undone; what
happens at a wide code itself is not, so that a step across one is of no use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sagline.analysis.onboard_table import WIDE_CODES, OnboardTable, corrected, straddled
from sagline.analysis.profile import RigProfile
from sagline.analysis.step import REST_WINDOW_S, channel_points, edges_us
from sagline.analysis.values import ONBOARD, SENSE, AnalysisError, Notice, RawStep

APART_CODES = 1024


@dataclass(frozen=True, eq=False)
class Straightened:
    """Steps with the on-board codes corrected, or without them; what must be said of it."""

    steps: tuple[RawStep, ...]
    notices: tuple[Notice, ...] = ()


def straighten(
    steps: Sequence[RawStep], profile: RigProfile, converter: int, table: OnboardTable | None
) -> Straightened:
    """Correct the on-board codes by the board's `table`, or by what is known of the chip.

    Without a table, a step across a wide code loses its on-board readings; raises AnalysisError
    `wide_code` where there are no others.
    """
    if ONBOARD not in profile.converters:
        return Straightened(tuple(steps))
    unit = profile.converter(ONBOARD)
    if table is None and unit.wide_codes:
        crossed = {code for raw in steps if (code := crossing(raw)) is not None}
        if crossed and converter == ONBOARD:
            raise AnalysisError(
                "wide_code",
                f"the step crosses code {min(crossed)} of the on-board converter, which this chip "
                "makes about nine codes wide: r would be off by 10 to 20 %",
                "measure with another --load, so that the voltages fall elsewhere, or with an "
                "ADS1115 fitted",
            )
        if crossed:
            return Straightened(tuple(map(_without_onboard, steps)), (_LEFT_OUT,))
        table = nominal_table(unit.full_code, unit.wide_codes)
    if table is None:
        return Straightened(tuple(steps))
    on_one = converter == ONBOARD and unit.wide_codes and any(map(_level_on_one, steps))
    return Straightened(
        tuple(corrected(raw, table, unit.full_code) for raw in steps), (_ON_ONE,) if on_one else ()
    )


def nominal_table(full_code: int, wide_codes: float) -> OnboardTable:
    """What four codes, each `wide_codes` too wide, do to all others, undone.

    With h half of that, the converter is behind by h just above a wide code and ahead by h just
    below the next one 1024 codes on, and in proportion between.
    """
    half = 0.5 * wide_codes
    knots = [(0.0, 0.0)]
    for code in WIDE_CODES:
        knots += [(code - 1.0, -half), (float(code), 0.0), (code + 1.0, half)]
    knots[0] = (0.0, -half * (1.0 - WIDE_CODES[0] / (APART_CODES / 2)))
    last = WIDE_CODES[-1]
    knots.append((float(full_code), half * (1.0 - (full_code - last) / (APART_CODES / 2))))
    return OnboardTable(tuple(code for code, _ in knots), tuple(lsb for _, lsb in knots))


def crossing(raw: RawStep) -> int | None:
    """The wide code between the rest and the load of a step, or near either; None without one."""
    levels = _levels(raw)
    return None if levels is None else straddled(*levels)


def _level_on_one(raw: RawStep) -> bool:
    """Whether the rest or the end of the load of a step lies on a wide code."""
    return any(straddled(level, level) is not None for level in _levels(raw) or ())


def _levels(raw: RawStep) -> tuple[float, float] | None:
    """Mean codes of the rest and of the end of the load; None where either was not read."""
    on_us, off_us, _ = edges_us(raw)
    rest = channel_points(raw, ONBOARD, SENSE, on_us - REST_WINDOW_S * 1e6, on_us)
    loaded = channel_points(raw, ONBOARD, SENSE, on_us, off_us)
    if not (rest.code.size and loaded.code.size):
        return None
    # The rest and the end of the load are the ends of what the step passes through.
    return (
        float(np.average(rest.code, weights=rest.n)),
        float(np.average(loaded.code[-3:], weights=loaded.n[-3:])),
    )


def _without_onboard(raw: RawStep) -> RawStep:
    kept = raw.source // 4 != ONBOARD
    names = ("source", "start_us", "length_us", "n", "total")
    return replace(raw, **{name: getattr(raw, name)[kept] for name in names})


_ON_ONE = Notice(
    "wide_code",
    "a level of the step lies on a code that the on-board converter makes about nine codes wide, "
    "within which no table can tell one voltage from another: U holds that",
    "measure with another --load, so that the voltages fall elsewhere, or with an ADS1115 fitted",
)

_LEFT_OUT = Notice(
    "wide_code",
    "the step crosses a code of the on-board converter that this chip makes about nine codes "
    "wide; its readings are left out, so that r begins at 4 ms",
    "for r at earlier times measure with another --load",
)

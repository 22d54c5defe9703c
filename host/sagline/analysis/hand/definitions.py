# SPDX-License-Identifier: MIT
"""The same readings as others define a resistance: said beside r, never in its place."""

from __future__ import annotations

from math import fsum

from sagline.analysis.hand.fields import LINE, VOLTMETER, option
from sagline.analysis.hand.sheet import Group, Sheet, groups_of
from sagline.analysis.hand.typed import positive
from sagline.analysis.hand.voltmeter import settings_of
from sagline.analysis.standards import PRESCRIBED, Closed, TwoCurrent, two_current_r, voltage_drop_r
from sagline.analysis.values import Notice
from sagline.errors import UsageError

EACH = "closed_each"
"""How long the key was closed at either of two currents, where that differed (s, as typed)."""
RATED = "rated_amps"


def times_of(sheet: Sheet) -> tuple[float, float] | None:
    """How long the key was closed at either of two currents (s), None where that is not known.

    Raises UsageError.
    """
    text = sheet.options.get(EACH)
    if text is None:
        return None if sheet.closed_s is None else (sheet.closed_s, sheet.closed_s)
    both = [positive(option(EACH), one).value for one in text.split()]
    if len(both) != 2 or sheet.closed_s is not None:
        raise UsageError(
            "bad_closed_each",
            f"{option(EACH)} is two times, for readings at two currents.",
            f"Give it as {option(EACH)} 10 1, and --closed-s instead where all were alike.",
        )
    return both[0], both[1]


def notices(sheet: Sheet) -> list[Notice]:
    """What is to be said of a sheet that was understood. Raises AnalysisError, UsageError."""
    times_s = times_of(sheet)
    asked = RATED in sheet.options or EACH in sheet.options
    settings = settings_of(groups_of(sheet.entries))
    closers = {group.closer for same in settings for group in same}
    if sheet.way == LINE and len(settings) == 2 and closers == {"amps"} and times_s is not None:
        first, second = (
            Closed(_mean_v(same), same[0].setting.value, after_s)
            for same, after_s in zip(settings, times_s, strict=True)
        )
        if min(first.current_a, second.current_a) >= 0.0 and first.v != second.v:
            return [_two_current(sheet, two_current_r(first, second, sheet.temperature_c))]
    if asked:
        raise UsageError(
            "not_two_currents",
            f"{option(RATED)} and {option(EACH)} are for readings of discharge at two currents, "
            "each of a known time.",
            "Enter two groups with `sagline hand line`, each with --amps, and --closed-s or "
            f"{option(EACH)}.",
        )
    return _voltage_drop(sheet, settings)


def _two_current(sheet: Sheet, two: TwoCurrent) -> Notice:
    rated = sheet.number(RATED)
    if rated is None:
        others = " or ".join(f"{method.name} ({method.rated})" for method in PRESCRIBED)
        return Notice(
            "two_current_r",
            str(two),
            f"give the cell's rated current with {option(RATED)} to see whether currents and times "
            f"are those of {others}; never short a cell",
        )
    told = []
    for method in PRESCRIBED:
        departures = two.departures(method, rated.value)
        if not departures:
            told.append(f"currents and times are those of {method.name}")
        else:
            told.append(f"it is no figure of {method.name}: {', '.join(departures)}")
    return Notice(
        "two_current_r",
        f"{two}; with {_rated_names(rated.value)}, {'; '.join(told)}",
        "compare it only with figures of the same two currents and times; never short a cell",
    )


def _rated_names(rated_a: float) -> str:
    """What the rated current is called, with its value."""
    return f"{' or '.join(method.rated for method in PRESCRIBED)} of {rated_a:g} A"


def _voltage_drop(sheet: Sheet, settings: list[list[Group]]) -> list[Notice]:
    """Where one load was on for no longer than the method has it."""
    if sheet.way != VOLTMETER or len(settings) != 1 or sheet.closed_s is None:
        return []
    same = settings[0]
    opened = [one.value for group in same for one in group.opened]
    if same[0].closer != "load" or not opened:
        return []
    open_v, loaded_v = fsum(opened) / len(opened), _mean_v(same)
    if loaded_v >= open_v:
        return []
    drop = voltage_drop_r(
        open_v, loaded_v, same[0].setting.value, sheet.closed_s, sheet.temperature_c
    )
    if not drop.is_short:
        return []
    return [
        Notice(
            "voltage_drop_r",
            f"{drop}: as the voltage-drop method has it",
            "compare it only with figures of that method and of a like load",
        )
    ]


def _mean_v(same: list[Group]) -> float:
    volts = [one.value for group in same for one in group.loaded]
    return fsum(volts) / len(volts)

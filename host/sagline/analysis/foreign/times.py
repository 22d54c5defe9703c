# SPDX-License-Identifier: MIT
"""At which times after load on a foreign record can tell r."""

from __future__ import annotations

from collections.abc import Sequence

from sagline.analysis.values import AnalysisError, Notice

HEADLINE_S = 0.1


def times_of(
    first_s: float, last_s: float, times_s: Sequence[float] | None
) -> tuple[tuple[float, ...], tuple[Notice, ...]]:
    """The times at which r is given, and what is to be said where they are not the usual one.

    `first_s` and `last_s` are the first and last at which the record can tell r. Times that were
    asked for are never replaced. Raises AnalysisError `time_before_first`,
    `time_outside_step`, `no_times`.
    """
    if times_s is None:
        if first_s > HEADLINE_S:
            return (first_s,), (_coarse(first_s),)
        if last_s < HEADLINE_S:
            return (last_s,), (_short(last_s),)
        return (HEADLINE_S,), ()
    if not times_s:
        raise AnalysisError("no_times", "no time after load on was asked for", "ask for one")
    for t_s in times_s:
        # The times themselves are printed to six digits: whoever asks for one gets it.
        if t_s < first_s * (1.0 - 1e-5):
            raise AnalysisError(
                "time_before_first",
                f"the record can tell r from {first_s:.6g} s after load on, not at {t_s:g} s",
                "ask for later --times, or record more readings a second",
            )
        if not t_s <= last_s * (1.0 + 1e-5):
            raise AnalysisError(
                "time_outside_step",
                f"{t_s:g} s is not within the {last_s:.6g} s that the record has of the step",
                "ask for earlier --times, or record a longer step",
            )
    return tuple(times_s), ()


def _coarse(first_s: float) -> Notice:
    return Notice(
        "too_coarse",
        f"the readings are too far apart for r(0.1 s): the first time that they tell r at is "
        f"{first_s:.3g} s after load on, and r then is given; it is more than r(0.1 s)",
        "record at least 100 readings a second; compare this r with others at the same time only",
    )


def _short(last_s: float) -> Notice:
    return Notice(
        "too_short",
        f"the step is too short for r(0.1 s): the last time that it tells r at is {last_s:.3g} s, "
        "and r then is given; it is less than r(0.1 s)",
        "record a rest, and leave the load on for 0.3 s; compare this r with others at the same "
        "time only",
    )

# SPDX-License-Identifier: MIT
"""Readings by hand beside a rig's run of the same cell: what was alike, and E_n.

A hand closes the key for seconds, a rig for tenths of one, and the loads are seldom the same. So
unlike `comparison.compare` this refuses nothing: it says what a difference may be of.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isclose

from sagline.analysis.comparison import (
    LOAD_SHARE,
    TEMPERATURE_K,
    TIME_SHARE,
    Candidate,
    Pair,
    pair_of,
)
from sagline.analysis.values import Notice


@dataclass(frozen=True)
class Beside:
    """The two results and their pair; `notices` say what was not alike or not known."""

    rows: tuple[Candidate, Candidate]
    pair: Pair
    notices: tuple[Notice, ...]


def beside(first: Candidate, second: Candidate) -> Beside:
    """Put two results beside each other.

    E_n = |r1 - r2| / sqrt(U1² + U2²); where temperatures are known, what they leave open of r
    is in it, as in `comparison`.
    """
    both = (first, second)
    notices = [*_times(both), *_loads(both), *_temperatures(both)]
    if first.u95_ohm is None or second.u95_ohm is None:
        notices.append(
            Notice(
                "u_unknown",
                "U of one of the two is not known, so nothing can be said of their difference",
                "measure with more --repeats",
            )
        )
    return Beside(both, pair_of(first, second), tuple(notices))


def _times(both: tuple[Candidate, Candidate]) -> list[Notice]:
    known = [one.t_s for one in both if one.t_s is not None]
    if len(known) == 2 and isclose(*known, rel_tol=TIME_SHARE):
        return []
    if len(known) == 2:
        text = (
            f"the two r are of {known[0]:g} s and of {known[1]:g} s after load on, and r grows "
            "with time"
        )
    else:
        text = "the time after load on is not known of both, and r grows with time"
    return [
        Notice(
            "mixed_times",
            f"{text}: a difference may be of that alone",
            "measure with --times as long as the key was closed (a rig's load stays on for 5 s at "
            "most), and give that with --closed-s",
        )
    ]


def _loads(both: tuple[Candidate, Candidate]) -> list[Notice]:
    known = [one.load_ohm for one in both if one.load_ohm is not None]
    if len(known) == 2 and isclose(*known, rel_tol=LOAD_SHARE):
        return []
    if len(known) == 2:
        text = f"the loads were {known[0]:.4g} Ω and {known[1]:.4g} Ω"
    else:
        text = "one of the two is of no single load"
    return [
        Notice(
            "mixed_loads",
            f"{text}, and r depends on the current: a difference may be of that alone",
            "read by hand on a load like the rig's",
        )
    ]


def _temperatures(both: tuple[Candidate, Candidate]) -> list[Notice]:
    known = [one.temperature_c for one in both if one.temperature_c is not None]
    if len(known) < 2:
        return [
            Notice(
                "temperature_unknown",
                "the temperature is not known of both; r falls as a cell gets warmer",
                "give it with --temperature",
            )
        ]
    if abs(known[0] - known[1]) <= TEMPERATURE_K:
        return []
    return [
        Notice(
            "mixed_temperatures",
            f"the temperatures were {known[0]:g} °C and {known[1]:g} °C; r falls as a cell gets "
            "warmer",
            f"bring the cell to one temperature, within {TEMPERATURE_K:g} K",
        )
    ]
